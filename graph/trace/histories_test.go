package trace_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// onHistories records random histories, each in a file of its own, and looks at each.
func onHistories(t *testing.T, look func(t *rapid.T, tx *store.Tx, rows []histories.Row)) {
	onRows(t, histories.Draw, look)
}

// onRows is the same of rows drawn otherwise. Those that are refused are not looked at.
func onRows(t *testing.T, drawRows func(*rapid.T) []histories.Row, look func(t *rapid.T, tx *store.Tx, rows []histories.Row)) {
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		rows := drawRows(t)
		var said []store.Statement
		for _, e := range histories.Entered(rows) {
			said = append(said, store.Statement{Sheet: e.Sheet, Row: e.Row, By: "test"})
		}
		n++
		db, err := store.Create(context.Background(), filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		refused := false
		_ = db.Update(context.Background(), func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(said)
			if refused = err != nil || len(faults) > 0; refused { // a ring
				return fmt.Errorf("refused: %v %v", err, faults)
			}
			return nil
		})
		if refused {
			return
		}
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			look(t, tx, rows)
			return nil
		}))
	})
}

// codesOf lists the codes that rows of sheets introduce, each once.
func codesOf(rows []histories.Row, sheets string) (out []string) {
	seen := map[string]bool{}
	for _, r := range rows {
		s, _ := lots.SheetNamed(r.Sheet)
		if code := r.Row[s.Code]; code != "" && strings.Contains(sheets, r.Sheet) && !seen[code] {
			seen[code] = true
			out = append(out, code)
		}
	}
	return out
}

// bandsOf tells the band of all that an answer names, and of those who received any.
func bandsOf(a *trace.Answer) map[string]string {
	out := map[string]string{}
	for _, x := range a.Lots {
		out[x.Code] = x.Band
	}
	for _, x := range a.Brews {
		out[x.Code] = x.Band
	}
	for _, x := range a.Fills {
		out[x.Code] = x.Band
	}
	for _, x := range a.Units {
		out[x.Code] = x.Band
	}
	for _, x := range a.Shipments {
		out[x.Code+" to "+x.Consignee] = x.Band
	}
	for _, x := range a.Bulk {
		out[x.Code+" to "+x.Consignee] = x.Band
	}
	return out
}

// Whoever does not know the hazard hears of all that is affected by any.
func TestAnythingReachesWhatAnyHazardDoes(t *testing.T) {
	onHistories(t, func(t *rapid.T, tx *store.Tx, rows []histories.Row) {
		for _, from := range codesOf(rows, "receipts crops brews units runs") {
			all, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{from}, Hazard: graph.Anything})
			require.NoError(t, err, from)
			reached := bandsOf(all)
			for _, hazard := range graph.Hazards() {
				one, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{from}, Hazard: hazard})
				require.NoError(t, err, from)
				for code, band := range bandsOf(one) {
					if had := reached[code]; had == "" || had == graph.Possible.String() && band == graph.In.String() {
						t.Fatalf("from %s for %s: %s is %q, for anything %q\n%s", from, hazard, code, band, had, histories.Text(rows))
					}
				}
			}
		}
	})
}

// What a lot is in holds the lot, in the same band.
func TestForwardAndBackAgree(t *testing.T) {
	onHistories(t, func(t *rapid.T, tx *store.Tx, rows []histories.Row) {
		back := map[string]map[string]string{}
		for _, unit := range codesOf(rows, "units") {
			a, err := trace.Trace(tx, graph.Back, unit)
			require.NoError(t, err, unit)
			back[unit] = bandsOf(a)
		}
		for _, from := range codesOf(rows, "receipts crops brews units") {
			a, err := trace.Trace(tx, graph.Forward, from)
			require.NoError(t, err, from)
			forward := bandsOf(a)
			for unit, sources := range back {
				if forward[unit] != sources[from] {
					t.Fatalf("%s to %s is %q forward and %q back\n%s", from, unit, forward[unit], sources[from], histories.Text(rows))
				}
			}
		}
	})
}
