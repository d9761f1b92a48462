package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

// standards is the folder with the standards' own files, which are not ours to pass on; without it the test is skipped.
func standards(t *testing.T) string {
	t.Helper()
	folder := os.Getenv("HEELTAP_STANDARDS")
	if folder == "" && os.Getenv("HEELTAP_CI") != "" {
		t.Fatal("HEELTAP_STANDARDS names no folder with the official files")
	}
	if folder == "" {
		t.Skip("HEELTAP_STANDARDS names no folder with the official files: nothing is compared with them")
	}
	return folder
}

// officialSchema is the EPCIS 2.0 JSON Schema, with formats judged.
func officialSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	c.UseRegexpEngine(expression)
	s, err := c.Compile(filepath.Join(standards(t), "epcis", "EPCIS-JSON-Schema.json"))
	require.NoError(t, err)
	return s
}

// notBefore is an expression that begins with what must not stand there: the schema uses those, and Go has none.
type notBefore struct {
	*regexp.Regexp
	text string
}

func (n notBefore) MatchString(s string) bool { return !n.Regexp.MatchString(s) }
func (n notBefore) String() string            { return n.text }

// expression reads an expression of the schema.
func expression(text string) (jsonschema.Regexp, error) {
	if rest, ok := strings.CutPrefix(text, "^(?!"); ok && strings.HasSuffix(rest, ")") {
		re, err := regexp.Compile("^(?:" + strings.TrimSuffix(rest, ")") + ")")
		return notBefore{re, text}, err
	}
	return regexp.Compile(text)
}

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
	schema := officialSchema(t)
	conforms(t, schema, one)
	conforms(t, schema, two)
}
