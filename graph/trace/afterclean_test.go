package trace_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// withDye draws a history in which one clean was done with a lot that nothing else names.
func withDye(t *rapid.T) []histories.Row {
	rows := histories.DrawSize(t, histories.Size{Acts: 30, Vessels: 2})
	var cleans []int
	for i, r := range rows {
		if r.Sheet == "cleans" {
			cleans = append(cleans, i)
		}
	}
	if cleans == nil {
		return rows
	}
	rows[rapid.SampledFrom(cleans).Draw(t, "clean")].Row["from"] = "DYE"
	dye := histories.Written("items item=I-DYE name=dye kind=chemical unit=L\nparties party=DYER name=D role=supplier\n" +
		"receipts lot=DYE item=I-DYE supplier=DYER supplier_lot=1 quantity=9 unit=L received_at=2020-01-01_08:00\n")
	return slices.Insert(rows, 1, dye...) // after the site
}

// A trace that starts at a clean reaches what one of a lot does that was used in it alone.
func TestATraceOfACleanReachesWhatItsLotDoes(t *testing.T) {
	seen, beside := 0, 0
	onRows(t, withDye, func(t *rapid.T, tx *store.Tx, rows []histories.Row) {
		dye := tx.NodesNamed("DYE")
		if len(dye) == 0 {
			return
		}
		var clean *lots.Clean
		for _, rec := range tx.Touching("DYE") {
			if c, ok := rec.(*lots.Clean); ok {
				clean = c
			}
		}
		var first, after []int64
		links, _ := tx.Beside(graph.Forward, []int64{dye[0].ID})
		for _, l := range links {
			first = append(first, l.Dst)
			if l.Cause == graph.UncertainTime {
				beside++
			}
		}
		for _, ref := range lineage.AfterClean(tx, lineage.DefaultLimits(), clean) {
			for _, n := range tx.NodesNamed(ref.Code) { // not what passed on a line that keeps nothing
				after = append(after, n.ID)
			}
		}
		seen++
		reached := func(starts []int64) (out []string) {
			r, err := tx.Reach(graph.Forward, starts)
			require.NoError(t, err)
			for _, n := range r.Nodes {
				out = append(out, n.Code)
			}
			slices.Sort(out)
			return out
		}
		require.Equal(t, reached(first), reached(after), "%v\n%s", clean, histories.Text(rows))
	})
	require.NotZero(t, seen)
	t.Logf("%d cleans, %d links of uncertain time", seen, beside)
}
