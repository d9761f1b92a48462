package backup

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/stretchr/testify/require"

	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func record(t *testing.T, db *store.DB, sheet string, row lots.Row) {
	t.Helper()
	s, ok := lots.SheetNamed(sheet)
	require.True(t, ok)
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: s, Row: row, By: "tester"}})
		require.Empty(t, faults)
		return err
	}))
}

// built makes a house with a database, a paper and a list of people.
func built(t *testing.T) (House, *store.DB) {
	t.Helper()
	folder := t.TempDir()
	house := House{filepath.Join(folder, "heeltap.db"), filepath.Join(folder, "heeltap-people.db"), filepath.Join(folder, "heeltap-papers")}
	ctx := context.Background()
	db, err := store.Create(ctx, house.DB)
	require.NoError(t, err)
	t.Cleanup(func() { db.Close() })
	record(t, db, "site", lots.Row{"name": "Invented", "time_zone": "Europe/Berlin"})
	record(t, db, "items", lots.Row{"item": "HOP", "name": "hop", "kind": "hop", "unit": "kg"})
	_, err = papers.Store{Folder: house.Papers}.Keep("note.pdf", []byte("%PDF-1.7 a note"))
	require.NoError(t, err)
	people, err := store.Create(ctx, house.People) // any SQLite file
	require.NoError(t, err)
	require.NoError(t, people.Close())
	return house, db
}

// read gives all files of a house but the databases' own.
func read(t *testing.T, h House) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(h.Papers, func(name string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			out[strings.TrimPrefix(name, h.Papers)] = string(data)
		}
		return err
	}))
	return out
}

// A backup is made while the database is open, brings everything back elsewhere, plain or encrypted, and the drill says
// how far the database has gone on since.
func TestThereAndBack(t *testing.T) {
	ctx := context.Background()
	house, db := built(t)
	key, err := age.GenerateX25519Identity()
	require.NoError(t, err)
	for name, to := range map[string][]age.Recipient{"plain": nil, "encrypted": {key.Recipient()}} {
		folder := t.TempDir()
		made, about, err := Write(ctx, house, folder, noon, to)
		require.NoError(t, err, name)
		require.EqualValues(t, 3, len(about.Files))
		entries, err := os.ReadDir(folder)
		require.NoError(t, err)
		require.Len(t, entries, 1, "nothing else is left in the folder")
		info, err := os.Stat(made.Path)
		require.NoError(t, err)
		require.EqualValues(t, 0o600, info.Mode().Perm())
		data, err := os.ReadFile(made.Path)
		require.NoError(t, err)
		require.Equal(t, to == nil, strings.Contains(string(data), "SQLite format 3"))

		var keys []age.Identity
		if to != nil {
			_, _, err = Restore(ctx, made.Path, house, nil, "")
			require.ErrorContains(t, err, "--identity")
			keys = []age.Identity{key}
		}
		_, report, since, err := Drill(ctx, made.Path, db, keys)
		require.NoError(t, err)
		require.Empty(t, report.Differences)
		require.Positive(t, report.Compared)
		require.Zero(t, since)

		elsewhere := filepath.Join(t.TempDir(), "x")
		require.NoError(t, os.Mkdir(elsewhere, 0o700))
		back := House{filepath.Join(elsewhere, "heeltap.db"), filepath.Join(elsewhere, "p.db"), filepath.Join(elsewhere, "papers")}
		_, _, err = Restore(ctx, made.Path, back, keys, "")
		require.NoError(t, err)
		require.Equal(t, read(t, house), read(t, back))
		require.NoError(t, sound(ctx, back.DB))
		require.NoError(t, sound(ctx, back.People))
	}
}

// What is there is not overwritten: it is said what would be lost, and it is moved aside only where somebody says so.
func TestRestoreOverSomething(t *testing.T) {
	ctx := context.Background()
	house, db := built(t)
	made, _, err := Write(ctx, house, t.TempDir(), noon, nil)
	require.NoError(t, err)
	record(t, db, "items", lots.Row{"item": "MALT", "name": "malt", "kind": "malt", "unit": "kg"})
	_, _, since, err := Drill(ctx, made.Path, db, nil)
	require.NoError(t, err)
	require.EqualValues(t, 1, since)
	require.NoError(t, db.Close())
	_, _, err = Restore(ctx, made.Path, house, nil, "")
	require.Equal(t, lots.Conflict, lots.KindOf(err))
	require.ErrorContains(t, err, "1 entries would be lost")
	about, moved, err := Restore(ctx, made.Path, house, nil, ".aside")
	require.NoError(t, err)
	require.EqualValues(t, 2, about.Entries)
	require.Len(t, moved, 3)
	require.NoError(t, sound(ctx, house.DB))
	require.NoError(t, sound(ctx, house.DB+".aside"))
	left, err := filepath.Glob(filepath.Join(filepath.Dir(house.DB), ".heeltap-*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// A backup with a byte changed, cut short, or of another history brings nothing back and leaves nothing behind.
func TestDamagedBackup(t *testing.T) {
	ctx := context.Background()
	house, _ := built(t)
	made, _, err := Write(ctx, house, t.TempDir(), noon, nil)
	require.NoError(t, err)
	whole, err := os.ReadFile(made.Path)
	require.NoError(t, err)
	for name, change := range map[string]func([]byte) []byte{
		"a byte of the database": func(b []byte) []byte { b[len(b)/3] ^= 1; return b },
		"cut short":              func(b []byte) []byte { return b[:len(b)/2] },
		"empty":                  func([]byte) []byte { return nil },
		"no tar":                 func(b []byte) []byte { return []byte(strings.Repeat("x", 2000)) },
	} {
		bad := filepath.Join(t.TempDir(), "heeltap-2026-03-01T120000Z.tar")
		require.NoError(t, os.WriteFile(bad, change(append([]byte(nil), whole...)), 0o600))
		folder := t.TempDir()
		_, _, err := Restore(ctx, bad, House{filepath.Join(folder, "a.db"), filepath.Join(folder, "b.db"), filepath.Join(folder, "c")}, nil, "")
		require.Equal(t, lots.Corrupt, lots.KindOf(err), "%s: %v", name, err)
		left, err := os.ReadDir(folder)
		require.NoError(t, err)
		require.Empty(t, left, name)
	}
	_, other := built(t)
	record(t, other, "items", lots.Row{"item": "MALT", "name": "malt", "kind": "malt", "unit": "kg"})
	_, report, _, err := Drill(ctx, made.Path, other, nil)
	require.NoError(t, err)
	require.NotEmpty(t, report.Differences)
}

// The last of each day and of each month is kept, and always the newest.
func TestRotation(t *testing.T) {
	var made []Made
	for at := noon; at.After(noon.AddDate(0, -6, 0)); at = at.Add(-11 * time.Hour) {
		made = append(made, Made{At: at})
	}
	r := Rotation{Days: 5, Months: 3}
	over := map[time.Time]bool{}
	for _, m := range r.Over(made) {
		over[m.At] = true
	}
	days, months := map[string]bool{}, map[string]bool{}
	for _, m := range made {
		day, month := m.At.Format("2006-01-02"), m.At.Format("2006-01")
		keep := !days[day] && len(days) < 5 || !months[month] && len(months) < 3
		require.Equal(t, keep, !over[m.At], m.At)
		days[day], months[month] = true, true
	}
	require.Equal(t, 6, len(made)-len(over)) // five days, of which two are the last of their months, and the end of January
	require.Empty(t, Rotation{}.Over(made[:1]))
}

// While the pages are served a backup is made at once where there is none of that day, and older ones go.
func TestEvery(t *testing.T) {
	house, _ := built(t)
	folder := t.TempDir()
	for _, day := range []string{"2025-01-01", "2025-01-02"} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, "heeltap-"+day+"T000000Z.tar"), nil, 0o600))
	}
	ctx, cancel := context.WithCancel(context.Background())
	told := 0
	Every(ctx, house, folder, Rotation{Days: 1, Months: 1}, nil, func() time.Time { return noon }, func(m Made, err error) {
		require.NoError(t, err)
		told++
		cancel()
	})
	require.Equal(t, 1, told)
	made, err := In(folder)
	require.NoError(t, err)
	require.Len(t, made, 1)
	require.True(t, made[0].At.Equal(noon))
}
