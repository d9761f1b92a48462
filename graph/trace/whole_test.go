package trace_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
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
