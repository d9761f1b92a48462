package trace

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

// What a vessel holds is asked of one place: silo of 1000 kg, 800 kg taken out twice, counted empty.
func TestAVesselNeverHoldsLessThanNothing(t *testing.T) {
	rows := []store.Statement{}
	add := func(sheet string, cells ...string) {
		s, ok := lots.SheetNamed(sheet)
		require.True(t, ok)
		row := lots.Row{}
		for i := 0; i < len(cells); i += 2 {
			row[cells[i]] = cells[i+1]
		}
		rows = append(rows, store.Statement{Sheet: s, Row: row, By: "me"})
	}
	add("site", "name", "Ebbwater (invented)", "time_zone", "UTC")
	add("items", "item", "MALT", "name", "malt", "kind", "malt", "unit", "kg")
	add("parties", "party", "S", "name", "S", "role", "supplier")
	add("vessels", "vessel", "SILO", "kind", "silo", "unit", "kg")
	add("receipts", "lot", "L1", "item", "MALT", "supplier", "S", "supplier_lot", "1", "quantity", "1000", "unit", "kg", "received_at", "2026-01-01 08:00", "into", "SILO")
	add("removals", "subject", "SILO", "quantity", "800", "unit", "kg", "at", "2026-01-02 08:00", "reason", "loss", "ref", "a")
	add("removals", "subject", "SILO", "quantity", "800", "unit", "kg", "at", "2026-01-03 08:00", "reason", "loss", "ref", "b")
	add("counts", "subject", "SILO", "quantity", "0", "unit", "kg", "at", "2026-01-04 08:00")
	add("counts", "subject", "SILO", "quantity", "150", "unit", "kg", "at", "2026-01-02 20:00")

	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "x.db"))
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		require.NoError(t, err)

		fills := FillsOf(tx, "SILO")
		require.Len(t, fills, 1)
		at := func(text string) int64 {
			w, _, err := lots.ParseWhen(text, tx.Site().Zone)
			require.NoError(t, err)
			return w.From
		}
		for _, c := range []struct {
			when string
			kg   float64
			ok   bool
		}{
			{"2026-01-01 08:00", 0, false}, // just before it came in
			{"2026-01-01 08:01", 1000, true},
			{"2026-01-02 08:00", 1000, true},
			{"2026-01-02 08:01", 200, true},
			{"2026-01-03 08:01", 0, true}, // 600 kg more than was there were taken out
		} {
			held, ok := HeldAt(fills, at(c.when))
			require.Equal(t, c.ok, ok, c.when)
			require.InDelta(t, c.kg*1000, held, 1e-6, c.when)
		}
		now, ok := ContentOf(tx, "SILO")
		require.True(t, ok)
		require.Zero(t, now.Left)
		last, ok := LastCount(tx, "SILO", fills[0].Since)
		require.True(t, ok)
		require.Zero(t, last.Qty.N, "the last count by its time, and not the one entered last")
		_, ok = LastCount(tx, "SILO", at("2026-01-05 00:00"))
		require.False(t, ok)
		return nil
	}))
}
