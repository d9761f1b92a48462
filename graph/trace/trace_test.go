package trace_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"maps"
	"path/filepath"
	"slices"
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

// keysOf gives the field names of an answer's JSON, by array.
func keysOf(t *testing.T, a *trace.Answer) map[string][]string {
	text, err := json.Marshal(a)
	require.NoError(t, err)
	var whole map[string]any
	require.NoError(t, json.Unmarshal(text, &whole))
	keys := map[string][]string{"": slices.Sorted(maps.Keys(whole))}
	for name, v := range whole {
		if list, ok := v.([]any); ok && len(list) > 0 {
			if element, ok := list[0].(map[string]any); ok {
				keys[name] = slices.Sorted(maps.Keys(element))
			}
		}
	}
	return keys
}

func TestTheJSONKeepsItsNames(t *testing.T) {
	db := open(t, ends)
	keys := keysOf(t, ask(t, db, graph.Forward, "H1"))
	require.Equal(t, map[string][]string{
		"":          {"brews", "direction", "fills", "findings", "from", "lots", "runs", "shipments", "totals", "units"},
		"from":      {"band", "code", "kind"},
		"lots":      {"amount", "band", "code", "item", "supplier", "supplier_lot", "unit", "why"},
		"fills":     {"amount", "band", "code", "since", "unit", "until", "vessel", "volume", "why"},
		"runs":      {"band", "cases", "code", "date_codes", "line", "product", "unassigned", "why"},
		"units":     {"affected", "amount", "band", "code", "codes", "date_codes", "held", "held_possible", "kind", "on_hand", "place", "product", "quantity", "runs", "unit", "why"},
		"shipments": {"band", "code", "consignee", "document", "quantity", "shipped_at", "unit", "why"},
	}, keys)
	require.Equal(t, []string{"amount", "band", "beer", "code", "unit", "why"}, keysOf(t, ask(t, db, graph.Back, "P-1"))["brews"])
}

// TestAmountsByHand follows 10 kg of hops in 5,000 L by perfect mixing: 4,900 L reach the
// bright tank, of which 9,600 cans of 440 mL, 4,224 L, are filled, 844.8 L on each pallet.
func TestAmountsByHand(t *testing.T) {
	db := open(t, ends)
	ahead := ask(t, db, graph.Forward, "H1")
	require.InDelta(t, 10*4900/5000.0, *ahead.Fills[0].Amount.Amount, 1e-9)
	require.Equal(t, "kg", *ahead.Fills[0].Unit)
	for _, u := range ahead.Units {
		require.InDelta(t, 10*844.8/5000, *u.Amount.Amount, 1e-9, u.Code)
	}
	back := ask(t, db, graph.Back, "P-1")
	for _, l := range back.Lots {
		if l.Code == "H1" {
			require.InDelta(t, 10*844.8/5000, *l.Amount.Amount, 1e-9)
		}
	}
	// The can ends of the whole run were not weighed out: how many are in a pallet is not known.
	require.Nil(t, back.Lots[0].Amount.Amount)
}

// The ends of a run are opened by the sleeve, and the later lot is certain only after the overlap: however many were
// fed, no pallet has more of them than it has cans, of one lot or of both, and the lot's ends add up to the lot.
func TestPartsAreNeverMoreThanContainers(t *testing.T) {
	for _, feeds := range []string{
		"R-101, E-77, 4000, each, , 2026-03-10 09:30\nR-101, E-78, 9600, each, 2026-03-10 09:30,",
		"R-101, E-77, 5000, each, ,\nR-101, E-78, 9600, each, ,",
	} {
		text := strings.Replace(ends, "feeds: run, from, since, until\nR-101, BT,,\nR-101, E-77,, 2026-03-10 09:30\nR-101, E-78, 2026-03-10 09:30,",
			"feeds: run, from, quantity, unit, since, until\nR-101, BT,,,,\n"+feeds, 1)
		require.NotEqual(t, ends, text)
		db := open(t, text)
		for _, lot := range []string{"E-77", "E-78"} {
			ahead, sum := ask(t, db, graph.Forward, lot), 0.0
			for _, u := range ahead.Units {
				if u.Amount.Amount != nil {
					require.LessOrEqual(t, *u.Amount.Amount, float64(u.Quantity*24), "%s in %s", lot, u.Code)
				}
			}
			for _, e := range ahead.Ends() {
				if e.Band == graph.In {
					sum += e.Left
					require.GreaterOrEqual(t, e.Left, e.Beyond-1e-9)
				}
			}
			require.InDelta(t, map[string]float64{"E-77": 5000, "E-78": 9600}[lot], sum, 1e-6, lot)
		}
		for _, unit := range []string{"P-1", "P-2", "P-3", "P-4", "P-5"} {
			sum := 0.0
			for _, l := range ask(t, db, graph.Back, unit).Lots {
				if l.Item == "END" && l.Amount.Amount != nil {
					sum += *l.Amount.Amount
				}
			}
			require.LessOrEqual(t, sum, 80*24+1e-6, unit)
		}
	}
}

// Of a part that is not one to a container, a case has as many as were fed to each, and no part of one more.
func TestCartonsAreNeverMoreThanCases(t *testing.T) {
	text := strings.Replace(ends, "END, end, closure, each", "END, tray, carton, each", 1)
	text = strings.Replace(text, "feeds: run, from, since, until\nR-101, BT,,\nR-101, E-77,, 2026-03-10 09:30\nR-101, E-78, 2026-03-10 09:30,",
		"feeds: run, from, quantity, unit, since, until\nR-101, BT,,,,\nR-101, E-77, 170, each,, 2026-03-10 09:30\nR-101, E-78, 250, each, 2026-03-10 09:30,", 1)
	for _, u := range ask(t, open(t, text), graph.Forward, "E-78").Units {
		if u.Amount.Amount != nil {
			require.LessOrEqual(t, *u.Amount.Amount, 80.0, u.Code)
		}
	}
}

func TestWhatWasMeantDoesNotDependOnHowItIsAsked(t *testing.T) {
	db := open(t, ends)
	told := func(dir graph.Direction, code string) string {
		text, err := json.Marshal(ask(t, db, dir, code))
		require.NoError(t, err)
		return string(text)
	}
	want := told(graph.Forward, "E-78")
	for _, code := range []string{" E-78 ", "lot:E-78", "LOT:e-78", "supplier lot:e-78", "supplier_lot: e-78"} {
		require.Equal(t, want, told(graph.Forward, code), code)
	}
	require.Equal(t, ask(t, db, graph.Forward, "P-2", "P-3").Units, ask(t, db, graph.Forward, "BOL-9").Units)
	require.Equal(t, told(graph.Back, "R-101"), told(graph.Back, "BB 10MAR27"))
}
