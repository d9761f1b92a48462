package trace_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// book reads a small history: a line "sheet: column, column ..." and rows under it.
func book(t *testing.T, text string) []store.Statement {
	t.Helper()
	var rows []store.Statement
	var sheet *lots.Sheet
	var columns []string
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		name, rest, heading := strings.Cut(line, ": ")
		if s, ok := lots.SheetNamed(name); ok && heading {
			sheet, columns = s, strings.Fields(strings.ReplaceAll(rest, ",", " "))
			continue
		}
		cells, err := csv.NewReader(strings.NewReader(line)).Read()
		require.NoError(t, err)
		row := lots.Row{}
		for i, c := range cells {
			if c = strings.TrimSpace(c); c != "" {
				row[columns[i]] = c
			}
		}
		rows = append(rows, store.Statement{Sheet: sheet, Row: row, By: "test"})
	}
	return rows
}

func open(t *testing.T, text string) *store.DB {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "test.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(book(t, text))
		require.Empty(t, faults)
		return err
	}))
	return db
}

func ask(t *testing.T, db *store.DB, dir graph.Direction, codes ...string) *trace.Answer {
	t.Helper()
	var a *trace.Answer
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) (err error) {
		a, err = trace.Trace(tx, dir, codes...)
		return err
	}))
	return a
}

const ends = `
site: name, time_zone
Test, UTC
items: item, name, kind, unit
HOP, hop, hop, kg
END, end, closure, each
parties: party, name, role, channel
S, s, supplier,
D1, d, consignee, distributor
vessels: vessel, kind
FV, fermenter
BT, bright
lines: line, margin_min, overlap_min
L1, 0, 15
products: product, name, container_ml, per_case, cases_per_pallet
PALE, Pale, 440, 24, 80
receipts: lot, item, supplier, supplier_lot, quantity, unit, received_at
H1, HOP, S, h-1, 20, kg, 2026-03-01 08:00
E-77, END, S, e-77, 5000, each, 2026-03-01 08:00
E-78, END, S, e-78, 9600, each, 2026-03-01 08:00
brews: brew, beer, started_at, cast_out_at, into, volume, unit
B1, pale, 2026-03-02 08:00, 2026-03-02 14:00, FV, 5000, L
additions: vessel, from, quantity, unit, at
FV, H1, 10, kg, 2026-03-05 10:00
transfers: transfer, from, to, out, in, unit, started_at, ended_at
T1, FV, BT, 5000, 4900, L, 2026-03-09 08:00, 2026-03-09 09:00
runs: run, product, line, started_at, ended_at, date_code, good, clock_offset_min
R-101, PALE, L1, 2026-03-10 08:00, 2026-03-10 12:00, BB 10MAR27, 9600, 4
feeds: run, from, since, until
R-101, BT,,
R-101, E-77,, 2026-03-10 09:30
R-101, E-78, 2026-03-10 09:30,
units: unit, kind, run, quantity, first_at, last_at
P-1, pallet, R-101, 80, 2026-03-10 08:00, 2026-03-10 08:48
P-2, pallet, R-101, 80, 2026-03-10 08:48, 2026-03-10 09:36
P-3, pallet, R-101, 80, 2026-03-10 09:36, 2026-03-10 10:24
P-4, pallet, R-101, 80, 2026-03-10 10:24, 2026-03-10 11:12
P-5, pallet, R-101, 80, 2026-03-10 11:12, 2026-03-10 12:00
shipments: shipment, unit, quantity, consignee, shipped_at, document
SH1, P-2, 80, D1, 2026-03-11 08:00, BOL-9
SH1, P-3, 30, D1, 2026-03-11 08:00, BOL-9
holds: subject, at, reason, by
H1, 2026-03-12 08:00, smell, Q
`

func TestLook(t *testing.T) {
	db := open(t, ends)
	for _, q := range [][]string{{"f", "E-78"}, {"f", "e-77"}, {"b", "BB 10MAR27@09:33"}, {"f", "BB 10MAR27@09:33"}, {"f", "BOL-9"}, {"f", "FV@2026-03-06"}, {"f", "L1@10:05..10:25"}, {"f", "H1"}, {"b", "P-1"}} {
		dir := graph.Forward
		if q[0] == "b" {
			dir = graph.Back
		}
		b, _ := json.Marshal(ask(t, db, dir, q[1]))
		t.Log(q, string(b))
	}
	for _, q := range [][]string{{"H1", "P-1"}, {"E-78", "P-1"}, {"E-78", "P-2"}, {"P-1", "H1"}, {"BT", "FV@2026-03-02T15:00"}} {
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			w, err := trace.Why(tx, q[0], q[1])
			b, _ := json.Marshal(w)
			t.Log(q, string(b), err)
			return nil
		}))
	}
	for _, q := range []string{"E-7B", "nope", "R-101@13:00", "BT@2026-01-01T10:00", "lot:e-77", "supplier_lot:e-77"} {
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			a, err := trace.Trace(tx, graph.Forward, q)
			t.Log(q, err, a != nil)
			return nil
		}))
	}
}
