package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"heeltap/graph/epcis/official"
)

// conforms validates a document.
func conforms(t *testing.T, schema *jsonschema.Schema, path string) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(doc))
}

// eventsOfFile reads the events of a document by their identifier; no two may share one but for a declaration of error.
func eventsOfFile(t *testing.T, path string) map[string]map[string]any {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var doc struct {
		EPCISBody struct{ EventList []map[string]any }
	}
	require.NoError(t, json.Unmarshal(text, &doc))
	out := map[string]map[string]any{}
	for _, e := range doc.EPCISBody.EventList {
		id := e["eventID"].(string)
		require.NotContains(t, out, id)
		out[id] = e
	}
	return out
}

// eventsAreTheSame exports the events of a database and of one that imported its rows: both conform, and what stands is
// the same event by event, but for when it was entered.
func eventsAreTheSame(t *testing.T, dir, here, there string) {
	one, two := filepath.Join(dir, "one.jsonld"), filepath.Join(dir, "two.jsonld")
	require.Contains(t, say(t, "--db", here, "export", one), "declare that an earlier one was in error")
	say(t, "--db", there, "export", two)
	mine, theirs := eventsOfFile(t, one), eventsOfFile(t, two)
	require.Greater(t, len(mine), 5000)
	wrong := 0
	for id, e := range mine {
		if _, declared := e["errorDeclaration"]; declared {
			require.NotContains(t, theirs, id, "what was taken back is not exported as rows")
			wrong++
			continue
		}
		other := theirs[id]
		require.NotNil(t, other, "%v", e)
		delete(e, "recordTime")
		delete(other, "recordTime")
		delete(e, "heeltap:by") // the row's own, else whoever entered it
		delete(other, "heeltap:by")
		require.Equal(t, e, other)
	}
	require.Len(t, theirs, len(mine)-wrong)
	onlyTheScope(t, dir, here)
	t.Run("official schema", func(t *testing.T) {
		official.Folder(t)
		schema := official.Schema(t)
		conforms(t, schema, one)
		conforms(t, schema, two)
	})
}

// onlyTheScope exports what a recall reaches: exactly those events of the whole export that name something in its scope, found
// by the identifiers in them and not by the rows.
func onlyTheScope(t *testing.T, dir, db string) {
	t.Helper()
	say(t, "--db", db, "recall", "open", "L25-0085", "--mock", "--lead", "Quint", "--reason", "a trial", "--hazard", "foreign-body", "--by", "Quint")
	var list []struct{ Code, State string }
	require.NoError(t, json.Unmarshal([]byte(say(t, "--db", db, "recall", "list", "--json")), &list))
	code := list[len(list)-1].Code
	var scope struct {
		Trace struct {
			Lots, Brews, Runs, Units []struct{ Code string }
			Fills                    []struct{ Vessel, Since string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(say(t, "--db", db, "recall", "scope", "--recall", code, "--json")), &scope))
	in := map[string]bool{}
	for _, things := range [][]struct{ Code string }{scope.Trace.Lots, scope.Trace.Brews, scope.Trace.Runs, scope.Trace.Units} {
		for _, x := range things {
			in[x.Code] = true
		}
	}
	for _, x := range scope.Trace.Fills {
		in[x.Vessel+"@"+x.Since] = true
	}
	require.Greater(t, len(in), 30)
	folder := filepath.Join(dir, "rows of the scope")
	say(t, "--db", db, "export", folder)
	file, err := os.Open(filepath.Join(folder, "units.csv"))
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	unit, sscc := slices.Index(rows[0], "unit"), slices.Index(rows[0], "sscc")
	for _, row := range rows[1:] {
		if in[row[unit]] && row[sscc] != "" {
			in[row[sscc]] = true
		}
	}
	whole, part := filepath.Join(dir, "whole.jsonld"), filepath.Join(dir, "part.jsonld")
	say(t, "--db", db, "export", whole)
	say(t, "--db", db, "export", part, "--recall", code)
	some := eventsOfFile(t, part)
	require.Greater(t, len(some), 70)
	for id, e := range eventsOfFile(t, whole) {
		named := false
		for field, value := range e {
			if !slices.Contains([]string{"bizTransactionList", "sourceList", "destinationList", "readPoint"}, field) {
				named = named || names(value, in)
			}
		}
		_, there := some[id]
		require.Equal(t, named, there, "%v", e)
		if there {
			require.Equal(t, e, some[id])
		}
	}
}

// ofThing is an identifier of ours, or a Digital Link of a pallet or of a run's goods.
var ofThing = regexp.MustCompile(`^(?:urn:heeltap:[^:]*:(?:lot|brew|run|unit|content):|https://id\.gs1\.org/00/|https://id\.gs1\.org/01/\d+/10/)(.*)$`)

// names reports whether a value holds an identifier of something listed.
func names(value any, in map[string]bool) bool {
	switch x := value.(type) {
	case string:
		m := ofThing.FindStringSubmatch(x)
		if m == nil {
			return false
		}
		code, err := url.PathUnescape(m[1])
		return err == nil && (in[code])
	case []any:
		return slices.ContainsFunc(x, func(v any) bool { return names(v, in) })
	case map[string]any:
		for _, v := range x {
			if names(v, in) {
				return true
			}
		}
	}
	return false
}
