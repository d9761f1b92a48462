package common

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// TestPeriodEqualsReadingAllUnits holds the units found by the runs of a period against when every unit was packed.
func TestPeriodEqualsReadingAllUnits(t *testing.T) {
	dir, n, found := t.TempDir(), 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		db, err := store.Create(context.Background(), filepath.Join(dir, fmt.Sprint(n, ".db")))
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		var said []store.Statement
		for _, e := range histories.Entered(histories.Draw(t)) {
			said = append(said, store.Statement{Sheet: e.Sheet, Row: e.Row, By: "test"})
		}
		if err := db.Update(context.Background(), func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(said)
			if err == nil && len(faults) > 0 {
				return faults
			}
			return err
		}); err != nil {
			return // flows that form a ring
		}
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			s := &search{tx: tx}
			units := tx.CodesOf(lots.KindUnit)
			moments := []int64{-1, 0, 1}
			for _, code := range units {
				at := s.packed(code)
				moments = append(moments, at-1, at, at+1)
			}
			slices.Sort(moments)
			moments = slices.Compact(moments)
			for i, from := range moments {
				for _, until := range moments[i:] {
					in := s.perhaps(from, until, map[string]bool{})
					for _, code := range units {
						if at := s.packed(code); at >= from && at <= until {
							found++
							require.Contains(t, in, code)
						}
					}
				}
			}
			return tx.Err()
		}))
	})
	require.Greater(t, found, 1000)
}
