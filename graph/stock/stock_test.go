package stock_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/balance"
	"heeltap/graph/stock"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// TestTanksFitTheirBalances lists the tanks of random histories: what each holds is what its
// balance, which adds up flow by flow, closes with; and a vessel that is not listed closes with nothing.
func TestTanksFitTheirBalances(t *testing.T) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		db, err := store.Create(context.Background(), filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(rt, err)
		defer func() { require.NoError(rt, db.Discard()) }()
		err = db.Update(context.Background(), func(tx *store.Tx) error {
			var rows []store.Statement
			for _, r := range histories.Entered(histories.Draw(rt)) {
				rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
			}
			if _, _, faults, err := tx.RecordRows(rows); err != nil || len(faults) > 0 {
				return errors.Join(err, faults)
			}
			tanks, err := stock.Tanks(tx)
			require.NoError(rt, err)
			listed := map[string]stock.Tank{}
			for _, x := range tanks {
				listed[x.Vessel] = x
			}
			for _, code := range tx.CodesOf(lots.KindVessel) {
				compare(rt, tx, code, listed[code])
			}
			return nil
		})
		if lots.KindOf(err) == lots.Conflict { // rings are refused
			return
		}
		require.NoError(rt, err)
	})
}

func compare(rt *rapid.T, tx *store.Tx, code string, tank stock.Tank) {
	if thing, _ := tx.Thing(code); thing.VesselKind == "path" {
		require.Empty(rt, tank.Vessel)
		return
	}
	list, err := balance.Of(tx, code, balance.Period{})
	require.NoError(rt, err)
	closing := 0.0
	for _, x := range list[0].Terms {
		if x.Name == "closing" {
			closing += x.Amount
		}
	}
	if tank.Vessel == "" {
		require.InDelta(rt, 0, closing, 0.001, code)
		return
	}
	unit, balanced := lots.Unit(tank.Left.Unit), lots.Unit(list[0].Unit)
	require.Equal(rt, unit.Dim(), balanced.Dim(), code)
	require.InDelta(rt, closing/balanced.Of(1), tank.Left.Quantity/unit.Of(1), 0.01/unit.Of(1), code)
}
