package desk_test

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// prefixed sets the prefix that GS1 keeps for examples.
func prefixed(t *testing.T, db *store.DB, prefix string) {
	t.Helper()
	update(t, db, func(tx *store.Tx) error {
		_, err := desk.Set(tx, store.SiteSettings, desk.SettingPrefix, prefix, "", "Ines")
		return err
	})
}

func update(t *testing.T, db *store.DB, f func(tx *store.Tx) error) {
	t.Helper()
	require.NoError(t, db.Update(context.Background(), f))
}

func give(t *testing.T, db *store.DB, kind string) (number string, notes []string) {
	t.Helper()
	update(t, db, func(tx *store.Tx) (err error) {
		number, notes, err = desk.Give(tx, kind, "something", "Ines")
		return err
	})
	return number, notes
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(to, data, 0o600))
}

// TestPackedWithANumber packs without an SSCC: the row gets ours. A trial uses none up, and a row beside it keeps the unit's.
func TestPackedWithANumber(t *testing.T) {
	db := opened(t)
	pack := func(text string) (said *desk.Said) {
		update(t, db, func(tx *store.Tx) (err error) { said, err = desk.Record(tx, act(text)); return err })
		return said
	}
	said := pack("units unit=P-0 kind=pallet run=R-1-1 quantity=1")
	require.NotContains(t, said.Text+" ", "952", "no number is made up without a prefix")
	prefixed(t, db, "9520000")
	require.NoError(t, desk.Try(context.Background(), db, func(tx *store.Tx) error {
		_, err := desk.Record(tx, act("units unit=P-8 kind=pallet run=R-1-1 quantity=1"))
		return err
	}))
	said = pack("units unit=P-8 kind=pallet run=R-1-1 quantity=1")
	require.Contains(t, said.Warnings, "P-8 has SSCC "+gs1.Prefix("9520000").Key(gs1.SSCC, 0))
	said = pack("units unit=P-9 kind=pallet run=R-1-1 quantity=1")
	require.Contains(t, said.Warnings, "P-9 has SSCC "+gs1.Prefix("9520000").Key(gs1.SSCC, 1))
	for _, none := range []string{"units unit=P-9 kind=pallet run=R-2 quantity=1", "units unit=ST-1 kind=stack run=R-1-1 quantity=1"} {
		require.NotContains(t, pack(none).Warnings, "SSCC")
	}
	update(t, db, func(tx *store.Tx) error {
		rows, err := tx.RowsOf("ST-1")
		require.Empty(t, rows[0].Row["sscc"])
		return err
	})
}

// TestNeverTwice gives numbers over everything that could bring one back: an older backup in place, one on another machine,
// rows imported with numbers of the prefix, such rows taken back, and the prefix set anew.
func TestNeverTwice(t *testing.T) {
	path, db := openedAt(t)
	prefixed(t, db, "9520000")
	seen := map[string]bool{}
	next := func(db *store.DB) []string {
		t.Helper()
		number, notes := give(t, db, gs1.SSCC)
		require.False(t, seen[number], "%s twice", number)
		require.True(t, (gs1.Number{Digits: number}).Valid())
		seen[number] = true
		return notes
	}
	for range 3 {
		next(db)
	}
	elsewhere := filepath.Join(t.TempDir(), "elsewhere.db")
	backup := filepath.Join(t.TempDir(), "backup.db")
	reopened := func(path string) *store.DB {
		t.Helper()
		db, err := store.Open(context.Background(), path)
		require.NoError(t, err)
		t.Cleanup(func() { db.Close() })
		db.Now = func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) }
		return db
	}
	require.NoError(t, db.Close())
	copyFile(t, path, backup)
	copyFile(t, path, elsewhere)
	db = reopened(path)
	for range 5 {
		next(db)
	}
	require.NoError(t, db.Close())
	copyFile(t, backup, path) // the older one in place: what it forgot stands beside it
	db = reopened(path)
	require.Empty(t, next(db), "nothing is skipped in place")
	other := reopened(elsewhere)
	require.Contains(t, next(other)[0], "numbers of the prefix were skipped")
	require.Empty(t, next(other), "it is skipped once")

	p := gs1.Prefix("9520000")
	_, keys, err := keysOf(t, db)
	require.NoError(t, err)
	var at int64
	for _, k := range keys {
		if k.Kind == gs1.SSCC {
			at = k.Given
		}
	}
	for i := range int64(4) { // rows that come with numbers of ours, the next ones among them
		number := p.Key(gs1.SSCC, at+i)
		seen[number] = true
		update(t, db, func(tx *store.Tx) error {
			_, _, faults, err := tx.RecordRows(statements("units unit=P-5" + strconv.FormatInt(i, 10) + " kind=pallet run=R-1-1 quantity=1 sscc=(00)" + number))
			require.Empty(t, faults)
			return err
		})
	}
	update(t, db, func(tx *store.Tx) error { // and one taken back: it may stand on a pallet all the same
		rows, err := tx.RowsOf("P-51")
		require.NoError(t, err)
		_, err = tx.Void(rows[0].Seq, "wrong", "Ines")
		return err
	})
	next(db)
	prefixed(t, db, "9520001")
	give(t, db, gs1.SSCC)
	prefixed(t, db, "9520000")
	next(db)
	require.NoError(t, os.WriteFile(path+"-marks", []byte("rubbish"), 0o600))
	require.ErrorContains(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, err := desk.Give(tx, gs1.SSCC, "x", "Ines")
		return err
	}), "cannot be read")
}

func keysOf(t *testing.T, db *store.DB) (p gs1.Prefix, out []desk.KeysLeft, err error) {
	t.Helper()
	err = db.View(context.Background(), func(tx *store.Tx) (err error) { p, out, err = desk.KeysOf(tx); return err })
	return p, out, err
}

// TestResume goes on behind a number that somebody read off a label, and never back.
func TestResume(t *testing.T) {
	db := opened(t)
	prefixed(t, db, "9520000")
	p := gs1.Prefix("9520000")
	resume := func(number string) error {
		return db.Update(context.Background(), func(tx *store.Tx) error { return desk.Resume(tx, gs1.SSCC, number, "Ines") })
	}
	require.NoError(t, resume(p.Key(gs1.SSCC, 41)))
	number, _ := give(t, db, gs1.SSCC)
	require.Equal(t, p.Key(gs1.SSCC, 42), number)
	require.NoError(t, resume(p.Key(gs1.SSCC, 7)))
	number, _ = give(t, db, gs1.SSCC)
	require.Equal(t, p.Key(gs1.SSCC, 43), number)
	require.ErrorContains(t, resume("106141412345678908"), "copy it from the newest label")
}

// TestWritersAtOnce has several programs give numbers on one file at once.
func TestWritersAtOnce(t *testing.T) {
	path, db := openedAt(t)
	prefixed(t, db, "9520000")
	var mu sync.Mutex
	var wg sync.WaitGroup
	seen := map[string]int{}
	for range 4 {
		one, err := store.Open(context.Background(), path)
		require.NoError(t, err)
		t.Cleanup(func() { one.Close() })
		wg.Go(func() {
			for range 6 {
				var number string
				if err := one.Update(context.Background(), func(tx *store.Tx) (err error) {
					number, _, err = desk.Give(tx, gs1.SSCC, "x", "Ines")
					return err
				}); err != nil {
					t.Error(err)
				}
				mu.Lock()
				seen[number]++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.Len(t, seen, 24)
}

// TestPrefixUsedUp counts down to the last number, and packs without one then.
func TestPrefixUsedUp(t *testing.T) {
	db := opened(t)
	prefixed(t, db, "952000012345") // one GTIN, one GLN
	number, _ := give(t, db, gs1.GTIN)
	require.Equal(t, "9520000123451", number)
	err := db.Update(context.Background(), func(tx *store.Tx) error { _, _, err := desk.Give(tx, gs1.GTIN, "x", "Ines"); return err })
	require.ErrorContains(t, err, "has no GTIN left")
	last := gs1.Prefix("952000012345").Key(gs1.SSCC, 99998)
	update(t, db, func(tx *store.Tx) error { return desk.Resume(tx, gs1.SSCC, last, "Ines") })
	_, notes := give(t, db, gs1.SSCC)
	require.Contains(t, notes[0], "0 of the prefix's SSCC numbers are left")
	update(t, db, func(tx *store.Tx) error {
		said, err := desk.Record(tx, act("units unit=P-7 kind=pallet run=R-1-1 quantity=1"))
		require.NoError(t, err)
		require.Contains(t, said.Warnings[0], "P-7 has no SSCC")
		return nil
	})
}
