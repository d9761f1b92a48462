package mailing

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// began opens a recall of a lot of hops that nobody has packed yet.
func began(t *testing.T) (*store.DB, string) {
	ctx := context.Background()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "heeltap.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	code := ""
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		var rows []store.Statement
		for _, x := range []struct {
			sheet string
			row   lots.Row
		}{
			{"site", lots.Row{"name": "Test", "time_zone": "UTC"}},
			{"items", lots.Row{"item": "HOP", "name": "hop", "kind": "hop", "unit": "kg"}},
			{"parties", lots.Row{"party": "SUP", "name": "s", "role": "supplier"}},
			{"receipts", lots.Row{"lot": "H", "item": "HOP", "supplier": "SUP", "supplier_lot": "h", "quantity": "5", "unit": "kg", "received_at": "2026-02-01 09:00"}},
		} {
			sheet, _ := lots.SheetNamed(x.sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: x.row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)
		r, err := recall.Begin(tx, recall.Opened{Suspects: []string{"H"}, Hazard: "dissolved", Reason: "x"}, recall.At{}, "me")
		require.NoError(t, err)
		code = r.Code
		return nil
	}))
	return db, code
}

func load(t *testing.T, db *store.DB, code string) (r *recall.Recall) {
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) (err error) {
		r, err = recall.Load(tx, code)
		return err
	}))
	return r
}

// Letters are tried, drafted, written and only then logged: what fails on the way leaves no step, and what the
// recall does not allow is written nowhere.
func TestLettersAreLoggedLast(t *testing.T) {
	ctx := context.Background()
	db, code := began(t)
	folder := filepath.Join(t.TempDir(), "letters")
	o := Order{Recall: code, By: "me"}
	_, _, err := Make(ctx, db, o, func(*Drafts) error { return errors.New("the disk is full") })
	require.ErrorContains(t, err, "the disk is full")
	require.Len(t, load(t, db, code).Log, 1)

	made, after, err := Make(ctx, db, o, func(d *Drafts) error {
		require.Len(t, load(t, db, code).Log, 1, "nothing is logged before it is written")
		return d.Write(folder, func() {})
	})
	require.NoError(t, err)
	require.Len(t, after, 1)
	require.Equal(t, "Letters drafted for 1 party, for no frozen version", after[0].Log[1].Text())
	require.Empty(t, made.Stale)
	require.FileExists(t, filepath.Join(folder, "supplier SUP.pdf"))
	require.FileExists(t, filepath.Join(folder, "merge.xlsx"))

	require.NoError(t, os.WriteFile(filepath.Join(folder, "consignee D-1.txt"), nil, 0o600))
	_, err = recall.Freeze(ctx, db, code, "first", "me")
	require.NoError(t, err)
	made, after, err = Make(ctx, db, o, func(d *Drafts) error { return d.Write(folder, func() {}) })
	require.NoError(t, err)
	require.Equal(t, []string{"consignee D-1.txt"}, made.Stale)
	require.Equal(t, "Letters drafted for 1 party, for version 1", after[0].Log[3].Text())

	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, code)
		require.NoError(t, err)
		_, err = now.Take(tx, &recall.Decided{Choice: "exclude", Codes: []string{"H"}, Reason: "x"}, recall.At{}, "me")
		return err
	}))
	_, after, err = Make(ctx, db, o, func(*Drafts) error { return nil })
	require.NoError(t, err)
	require.Len(t, after, 2)
	require.Equal(t, "Letters drafted for 1 party, for no frozen version", after[0].Log[5].Text())
	require.Contains(t, after[1].Log[6].Text(), "which differs from version 1")

	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		now, err := recall.Load(tx, code)
		require.NoError(t, err)
		_, err = now.Take(tx, &recall.Terminated{Authority: "TTB"}, recall.At{}, "me")
		return err
	}))
	_, _, err = Make(ctx, db, o, func(*Drafts) error { t.Error("written all the same"); return nil })
	require.ErrorContains(t, err, "was terminated by TTB")
}
