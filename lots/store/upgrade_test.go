package store

import (
	"compress/gzip"
	"context"
	"database/sql"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// Databases that each earlier layout's own program wrote, with the same history in them, are kept as they were, brought up to
// date, and say then what today's program says of that history: the audit derives it anew and compares.
func TestFromEveryLayout(t *testing.T) {
	kept, err := filepath.Glob("../../testdata/layouts/*.db.gz")
	require.NoError(t, err)
	all, err := migrations.ReadDir("migration")
	require.NoError(t, err)
	require.Len(t, kept, len(all)-1, "one of each layout but today's: add it when the layout changes")
	ctx := context.Background()
	var first string
	for i, name := range kept {
		t.Run(fmt.Sprint("layout ", i+1), func(t *testing.T) {
			packed, err := os.Open(name)
			require.NoError(t, err)
			defer packed.Close()
			z, err := gzip.NewReader(packed)
			require.NoError(t, err)
			old, err := io.ReadAll(z)
			require.NoError(t, err)
			path := filepath.Join(t.TempDir(), "old.db")
			require.NoError(t, os.WriteFile(path, old, 0o600))
			require.Equal(t, i+1, layoutOf(t, path))
			db, err := Open(ctx, path)
			require.NoError(t, err)
			defer db.Close()
			requireSound(t, db)
			require.NoError(t, db.View(ctx, (*Tx).Sound))
			require.Equal(t, i+1, layoutOf(t, fmt.Sprintf("%s.layout-%d", path, i+1)), "what it was is kept")
			require.Equal(t, len(all), layoutOf(t, path))
			var lines []dumped
			require.NoError(t, db.View(ctx, func(tx *Tx) (err error) {
				lines, err = tx.dump("SELECT s.kind, s.code, d.kind, d.code, l.grade FROM link l JOIN node s ON s.id = l.src JOIN node d ON d.id = l.dst", 0)
				return err
			}))
			text := fmt.Sprint(lines)
			if first == "" {
				first = text
			}
			require.Equal(t, first, text, "the same history gives the same lineage, whichever program recorded it")
			enter(t, db, statements(t, "vessels vessel=NEW kind=path")...)
		})
	}
}

func layoutOf(t *testing.T, path string) (n int) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&n))
	return n
}

// A database of a newer program is refused, with what to do, and stays as it is.
func TestNewerLayout(t *testing.T) {
	path := filled(t)
	bySQL(t, path, "PRAGMA user_version = 999")
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = Open(context.Background(), path)
	require.Equal(t, lots.Conflict, lots.KindOf(err))
	require.ErrorContains(t, err, "use a newer heeltap")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}
