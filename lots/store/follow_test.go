package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Following a journal shows at each moment what was known then, and ends with its very hash.
func TestFollow(t *testing.T) {
	ctx := context.Background()
	db := create(t)
	clock := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return clock }
	enter(t, db, statements(t, plant)...)
	var from int64
	require.NoError(t, db.View(ctx, func(tx *Tx) (err error) {
		from, err = tx.Head()
		return err
	}))
	for _, s := range statements(t, acts) {
		clock = clock.Add(time.Hour)
		enter(t, db, s)
	}
	clock = clock.Add(time.Hour)
	require.NoError(t, db.Update(ctx, func(tx *Tx) error {
		_, err := tx.Act("something", map[string]string{"do": "nothing"}, "me")
		return err
	}))
	clock = clock.Add(time.Hour)
	require.NoError(t, db.Update(ctx, func(tx *Tx) error {
		_, err := tx.Amend(from+1, map[string]string{"by": "another"}, "misread", "me")
		return err
	}))

	var moments int
	var last *Entry
	require.NoError(t, db.Follow(ctx, from, func(tx *Tx, entries []*Entry) error {
		head, err := tx.Head()
		require.NoError(t, err)
		if moments == 0 {
			require.Empty(t, entries)
			require.Equal(t, from, head)
		} else {
			require.Equal(t, head, entries[len(entries)-1].Seq)
		}
		moments++
		var ok bool
		last, ok, err = tx.Entry(head)
		require.NoError(t, err)
		require.True(t, ok || head == 0)
		return nil
	}))
	require.Equal(t, len(statements(t, acts))+2, moments, "the start, each entry, and the correction; a step alone changes nothing")
	require.NoError(t, db.View(ctx, func(tx *Tx) error {
		head, err := tx.Head()
		require.NoError(t, err)
		want, _, err := tx.Entry(head)
		require.NoError(t, err)
		require.Equal(t, want.Hash, last.Hash, "entered again it is the same journal")
		return nil
	}))
}
