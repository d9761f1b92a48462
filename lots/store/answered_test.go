package store_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/store"
)

func TestAFormIsAnsweredOnce(t *testing.T) {
	ctx := context.Background()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "a.db"))
	require.NoError(t, err)
	defer db.Close()
	now := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return now }
	answered := func(form string) (text string, before bool) {
		require.NoError(t, db.View(ctx, func(tx *store.Tx) (err error) { text, before, err = tx.Answered(form); return err }))
		return text, before
	}
	answer := func(form, text string) error {
		return db.Update(ctx, func(tx *store.Tx) error { return tx.Answer(form, text) })
	}
	_, before := answered("f1")
	require.False(t, before)
	require.NoError(t, answer("f1", "recorded"))
	text, before := answered("f1")
	require.True(t, before)
	require.Equal(t, "recorded", text)
	require.Equal(t, lots.Conflict, lots.KindOf(answer("f1", "again")))
	require.Equal(t, lots.Invalid, lots.KindOf(answer("", "nothing")))

	// What is not kept is not remembered either.
	require.Error(t, db.Update(ctx, func(tx *store.Tx) error {
		require.NoError(t, tx.Answer("f2", "lost"))
		return lots.Errorf(lots.Invalid, "refused")
	}))
	_, before = answered("f2")
	require.False(t, before)

	now = now.Add(61 * 24 * time.Hour)
	require.NoError(t, answer("f3", "later"))
	_, before = answered("f1")
	require.False(t, before, "forgotten after sixty days")
}
