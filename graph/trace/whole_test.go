package trace_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// TestPartsOfVesselsEqualTheWhole holds what is read of one fill against a reading of all that a vessel ever held.
func TestPartsOfVesselsEqualTheWhole(t *testing.T) {
	held, shipped := 0, 0
	onHistories(t, func(t *rapid.T, tx *store.Tx, _ []histories.Row) {
		for _, vessel := range tx.CodesOf(lots.KindVessel) {
			fills := trace.FillsOf(tx, vessel)
			content, ok := trace.ContentOf(tx, vessel)
			require.Equal(t, len(fills) > 0 && fills[len(fills)-1].Until == 0, ok)
			if ok {
				held++
				last := fills[len(fills)-1]
				require.Equal(t, trace.Content{Fill: last.Node, Left: last.Left()}, content)
			}
			for _, d := range tx.VesselDraws(vessel) {
				rec, _ := tx.Record(d.Entry)
				x, bulk := rec.(*lots.Bulk)
				for _, n := range tx.NodesOf(vessel) {
					if bulk && n.Kind == graph.Fill && slices.Contains(trace.LeftFrom(tx, x), "fill "+n.Code) {
						shipped++
						require.Contains(t, tx.DrawnInBulk(vessel, []int64{n.Since}), x.Seq)
					}
				}
			}
		}
	})
	require.Greater(t, held, 100)
	require.Greater(t, shipped, 0)
}

// TestWhatIsFoundByTimeEqualsReadingAll holds the last counts, the runs of a span, and what draws on single fills, all found by indexes, against a
// reading of all rows and of all that was drawn from a vessel.
func TestWhatIsFoundByTimeEqualsReadingAll(t *testing.T) {
	counted, begun, removed, drawn := 0, 0, 0, 0
	onHistories(t, func(t *rapid.T, tx *store.Tx, _ []histories.Row) {
		moments := momentsOf(t, tx)
		for _, code := range append(tx.CodesOf(lots.KindVessel), append(tx.CodesOf(lots.KindLot), tx.CodesOf(lots.KindUnit)...)...) {
			for _, since := range moments {
				want, is := lastCount(tx, code, since)
				got, ok := trace.LastCount(tx, code, since)
				require.Equal(t, is, ok)
				require.Equal(t, want, got)
				if ok {
					counted++
				}
			}
		}
		for i := 1; i < len(moments); i++ {
			from, to := moments[0], moments[i]
			if i%2 == 0 {
				from = moments[i/2]
			}
			want, got := runsBegun(t, tx, from, to), []string{}
			for _, run := range tx.RunsBegun(from, to) {
				got = append(got, run.Run)
			}
			slices.Sort(got)
			require.Equal(t, want, got)
			begun += len(got)
		}
		for _, vessel := range tx.CodesOf(lots.KindVessel) {
			all := tx.VesselDraws(vessel)
			for _, n := range tx.NodesOf(vessel) {
				if n.Kind != graph.Fill {
					continue
				}
				want, removals := []lineage.Draw{}, []int64{}
				for _, d := range all {
					if d.Fill != n.Since {
						continue
					}
					want = append(want, d)
					if rec, _ := tx.Record(d.Entry); isRemoval(rec) {
						removals = append(removals, d.Entry)
					}
				}
				slices.Sort(removals)
				require.Equal(t, want, append([]lineage.Draw{}, tx.DrawsOn(vessel, []int64{n.Since})...))
				require.Equal(t, slices.Compact(removals), append([]int64{}, tx.RemovalsOn(vessel, []int64{n.Since})...))
				drawn, removed = drawn+len(want), removed+len(removals)
			}
			for _, rec := range tx.TouchingOf(vessel, "removals") { // and what draws on a vessel names it
				for _, d := range tx.DrawsOf(rec.Entry()) {
					require.Contains(t, rec.(*lots.Removal).Subject.Codes, d.Vessel)
				}
			}
		}
	})
	// The histories had such rows at all: how many is left to chance.
	for _, met := range []int{counted, begun, removed, drawn} {
		require.Greater(t, met, 10)
	}
}

func isRemoval(rec lots.Record) bool {
	_, is := rec.(*lots.Removal)
	return is
}

// momentsOf lists moments at, before and after which something was counted or run, in order.
func momentsOf(t *rapid.T, tx *store.Tx) []int64 {
	out := []int64{math.MinInt64, 0, math.MaxInt64}
	note := func(w lots.When) { out = append(out, w.From-1, w.From, w.From+1, w.To, w.To+1) }
	for _, sheet := range []string{"counts", "runs"} {
		rows, err := tx.Records(sheet)
		require.NoError(t, err)
		for _, rec := range rows {
			switch x := rec.(type) {
			case *lots.StockCount:
				note(x.At)
			case *lots.Run:
				note(x.Started)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// lastCount is the last count that all rows which name a code tell of.
func lastCount(tx *store.Tx, code string, since int64) (last *lots.StockCount, ok bool) {
	for _, rec := range tx.Touching(code) {
		c, is := rec.(*lots.StockCount)
		if is && c.Subject.Code() == code && c.At.To >= since && (last == nil || c.At.From >= last.At.From) {
			last = c
		}
	}
	return last, last != nil
}

// runsBegun lists the runs of all rows that began in a span, in order.
func runsBegun(t *rapid.T, tx *store.Tx, from, to int64) []string {
	out := []string{}
	rows, err := tx.Records("runs")
	require.NoError(t, err)
	for _, rec := range rows {
		if run := rec.(*lots.Run); run.Started.From >= from && run.Started.From <= to {
			out = append(out, run.Run)
		}
	}
	slices.Sort(out)
	return out
}
