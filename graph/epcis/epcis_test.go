package epcis_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/epcis"
	"heeltap/graph/epcis/official"
	"heeltap/graph/told"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

type document struct {
	EPCISBody struct{ EventList []map[string]any }
}

func written(t require.TestingT, db *store.DB) (map[string]map[string]any, epcis.Written) {
	var b bytes.Buffer
	var done epcis.Written
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) (err error) {
		done, err = epcis.Write(context.Background(), tx, &b, epcis.Options{Created: time.Unix(0, 0)})
		return err
	}))
	var again bytes.Buffer
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		_, err := epcis.Write(context.Background(), tx, &again, epcis.Options{Created: time.Unix(0, 0)})
		return err
	}))
	require.True(t, bytes.Equal(b.Bytes(), again.Bytes()), "written again it is the same, identifiers too")
	var zone *time.Location
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error { zone = tx.Site().Zone; return nil }))
	isRead(t, b.Bytes(), done.Events, zone)
	var doc document
	require.NoError(t, json.Unmarshal(b.Bytes(), &doc), "%s", b.Bytes())
	out := map[string]map[string]any{}
	for _, e := range doc.EPCISBody.EventList {
		id := e["eventID"].(string)
		require.NotContains(t, out, id)
		out[id] = e
	}
	require.Len(t, doc.EPCISBody.EventList, done.Events)
	return out, done
}

// isRead reads a document as somebody else would, by the reader of others' documents, which refuses what the standard's
// schema and vocabulary refuse; and asks the official schema, where it is at hand.
func isRead(t require.TestingT, text []byte, events int, zone *time.Location) {
	n := 0
	_, err := told.Read(bytes.NewReader(text), func(e *told.Event) error {
		n++
		var raw struct{ EventTime, EventTimeZoneOffset string }
		require.NoError(t, json.Unmarshal(e.Raw, &raw))
		require.Equal(t, e.At.In(zone).Format("-07:00"), raw.EventTimeZoneOffset, "%s", e.Raw)
		return nil
	})
	require.NoError(t, err)
	require.Equal(t, events, n)
	if schema := official.Schema(t); schema != nil {
		x, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		require.NoError(t, err)
		require.NoError(t, schema.Validate(x))
	}
}

// What a transformation takes in was put out by another, received, or stands on a unit: the chain can be followed.
func TestTheChainCanBeFollowed(t *testing.T) {
	dir := t.TempDir()
	n, followed := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		if n++; n > 30 {
			return // each costs a database
		}
		db, err := store.Create(context.Background(), filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(rt, err)
		defer func() { require.NoError(rt, db.Discard()) }()
		err = db.Update(context.Background(), func(tx *store.Tx) error {
			var rows []store.Statement
			for _, r := range histories.Entered(histories.Draw(rt)) {
				rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
			}
			_, _, faults, err := tx.RecordRows(rows)
			if err == nil && len(faults) > 0 {
				return faults
			}
			return err
		})
		if kind := lots.KindOf(err); err != nil && (kind == lots.Conflict || kind == lots.Invalid) {
			return // it makes a ring, which is refused
		}
		require.NoError(rt, err)
		events, _ := written(rt, db)
		followed += len(events)
		made := map[string]bool{}
		for _, e := range events {
			for _, list := range []string{"outputQuantityList", "quantityList"} {
				each(e[list], func(class string) {
					if list == "outputQuantityList" || e["bizStep"] == "receiving" {
						made[class] = true
					}
				})
			}
			if p, ok := e["parentID"].(string); ok {
				made[p] = true
			}
		}
		for _, e := range events {
			each(e["inputQuantityList"], func(class string) { require.True(rt, made[class], "%s of %v", class, e) })
			units, _ := e["inputEPCList"].([]any)
			for _, u := range units {
				require.True(rt, made[u.(string)], "%v of %v", u, e)
			}
		}
	})
	require.Greater(t, followed, 100)
}

func each(list any, f func(class string)) {
	all, _ := list.([]any)
	for _, x := range all {
		f(x.(map[string]any)["epcClass"].(string))
	}
}

const house = `site name=House time_zone=Europe/Copenhagen
items item=MALT name=malt kind=malt unit=kg
parties party=S name=Supplier role=supplier gln=9520123456788
vessels vessel=FV1 kind=fermenter`

// A corrected row stands there as it was, declared in error, naming the event that corrects it; a voided one names none;
// and what was changed back, or recorded again, was not wrong.
func TestCorrections(t *testing.T) {
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "a.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	receipt := func(lot, supplierLot string) histories.Row {
		return histories.Row{Sheet: "receipts", Row: map[string]string{"lot": lot, "item": "MALT", "supplier": "S", "supplier_lot": supplierLot, "quantity": "1000", "unit": "kg", "received_at": "2026-03-01"}}
	}
	var seqs []int64
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Entered(append(histories.Written(house), receipt("L-1", "a"), receipt("L-2", "b"), receipt("L-3", "c"))) {
			rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
		}
		var faults lots.Faults
		var err error
		seqs, _, faults, err = tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	before, _ := written(t, db)
	require.Len(t, before, 3)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, err := tx.Amend(seqs[4], map[string]string{"supplier_lot": "A"}, "misread", "test")
		require.NoError(t, err)
		_, err = tx.Void(seqs[5], "never came", "test")
		require.NoError(t, err)
		_, err = tx.Amend(seqs[6], map[string]string{"supplier_lot": "x"}, "misread", "test")
		require.NoError(t, err)
		_, err = tx.Amend(seqs[6], map[string]string{"supplier_lot": "c"}, "it was right", "test")
		return err
	}))
	after, done := written(t, db)
	require.Equal(t, 3, done.Errors, "a, b and x were wrong, c was not")
	for id, e := range after {
		wrong, _ := e["errorDeclaration"].(map[string]any)
		switch lot := e["heeltap:supplierLot"]; lot {
		case "a", "b":
			require.Contains(t, before, id, "it is the same event")
			require.Equal(t, lot == "a", wrong["reason"] == "incorrect_data")
			if lot == "a" {
				next := after[wrong["correctiveEventIDs"].([]any)[0].(string)]
				require.Equal(t, "A", next["heeltap:supplierLot"])
			} else {
				require.NotContains(t, wrong, "correctiveEventIDs")
			}
		case "x":
			require.NotNil(t, wrong)
		default:
			require.Nil(t, wrong, lot)
		}
		require.Equal(t, "+01:00", e["eventTimeZoneOffset"])
		require.Equal(t, "2026-02-28T23:00:00.000Z", e["eventTime"])
		require.Equal(t, "2026-03-01", e["heeltap:onDay"])
		require.Equal(t, "https://id.gs1.org/417/9520123456788", e["sourceList"].([]any)[0].(map[string]any)["source"])
	}
}
