package recall_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// Parts that were fed without a quantity are in units, nobody knows how many: that is no nought.
func TestPartsFedWithoutQuantityAreInUnits(t *testing.T) {
	f := newFloor(t, cellar+shipped+`
items item=CAP name=cap kind=closure unit=each
receipts lot=CP-1 item=CAP supplier=SUP supplier_lot=c1 quantity=4000 unit=each received_at=2026-02-01_09:00
receipts lot=CP-2 item=CAP supplier=SUP supplier_lot=c2 quantity=4000 unit=each received_at=2026-02-01_09:00
feeds run=R-1 from=CP-1
feeds run=R-2 from=CP-2 quantity=1920 unit=each
`)
	f.with(f.begin("CP-1", "CP-2"), func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		list, err := account.LotBalances(tx, r.Traced(tx))
		require.Len(t, list, 2)
		require.Positive(t, list[0].Unmeasured)
		require.Regexp(t, `^0 to 4,?000 \(\d+ units?, not measured\)$`, list[0].InUnitsText())
		require.Zero(t, list[1].Unmeasured)
		require.NotContains(t, list[1].InUnitsText(), "to")
		return err
	})
}

// That the account was struck in time says nothing of what it came to: that stands beside it.
func TestStruckInTimeIsNotAllFound(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	note := func() (note string) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
			note = r.Timeline(tx).Targets[1].StateText()
			return nil
		})
		return note
	}
	require.Equal(t, "running", note())
	f.take(code, &recall.Reconciled{Cases: &recall.Outcome{Made: 100, Missing: 60, Percent: 40}, Kegs: &recall.Outcome{Made: 2, Percent: 100}}, f.clock)
	require.Equal(t, "met (the account is complete: every unit is in it. It does not find everything: 40 % of 100 cases accounted for, 60 not)", note())
	f.take(code, &recall.Reconciled{Cases: &recall.Outcome{Made: 100, Percent: 100}}, f.clock)
	require.Equal(t, "met", note())
}
