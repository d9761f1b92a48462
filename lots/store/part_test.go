package store

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// A code may be typed with spaces around it: the clean is found all the same.
func TestACleanIsFoundWhateverSpacesStandAroundItsVessel(t *testing.T) {
	db := create(t)
	enter(t, db, statements(t, plant)...)
	s, _ := lots.SheetNamed("cleans")
	require.NoError(t, record(db, []Statement{{Sheet: s, Row: lots.Row{"vessel": " FV\t", "at": "2026-02-25 10:37", "method": "cip"}, By: "x"}}))
	require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
		require.Len(t, tx.Moments("FV", "cleans", 0, 1<<40), 1)
		return tx.Err()
	}))
	requireSound(t, db)
}
