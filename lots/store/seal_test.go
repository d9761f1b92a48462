package store

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// filled makes a small brewery's database and closes it.
func filled(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "small.db")
	db, err := Create(context.Background(), path)
	require.NoError(t, err)
	enter(t, db, statements(t, plant)...)
	seqs := enter(t, db, statements(t, acts)...)
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		_, err := tx.Amend(seqs[0], lots.Row{"quantity": "3100"}, "weighed again", "tester")
		if err == nil {
			err = tx.Set(SiteSettings, "decimal", ",", "", "tester")
		}
		if err == nil {
			err = tx.Answer("form-1", "recorded")
		}
		return err
	}))
	require.NoError(t, db.Close())
	return path
}

// bySQL changes a file as somebody with a SQL tool does.
func bySQL(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	require.NoError(t, err)
	for _, s := range statements {
		_, err := db.Exec(s)
		require.NoError(t, err, s)
	}
	require.NoError(t, db.Close())
}

const unguarded = "DROP TRIGGER journal_keep; DROP TRIGGER journal_stay"

// The seal is what a scan of all rows adds up to, after every step of a random history, and of a rebuild.
func TestTheSealAddsUp(t *testing.T) {
	path := filled(t)
	db, err := Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	fits := func() {
		require.NoError(t, db.View(context.Background(), (*Tx).Sound))
		requireSound(t, db)
	}
	fits()
	seqs := enter(t, db, statements(t, "cleans vessel=FV at=2026-02-25_10:37 method=cip\nadditions vessel=FV from=H-1 quantity=2.5 unit=kg at=2026-02-09 ref=x")...)
	fits()
	require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
		_, err := tx.Void(seqs[1], "never happened", "tester")
		return err
	}))
	fits()
	require.Error(t, db.Update(context.Background(), func(tx *Tx) error {
		_, _, _, err := tx.RecordRows(statements(t, "cleans vessel=FV at=2026-02-26 method=cip"))
		require.NoError(t, err)
		return lots.Errorf(lots.Invalid, "no")
	}))
	fits()
	require.NoError(t, db.Rebuild(context.Background()))
	fits()
}

// What was changed by other means than an entry is refused where it must be, and found by an audit; a rebuild mends
// what is derived, and refuses a journal that was changed.
func TestChangedBySQL(t *testing.T) {
	for name, c := range map[string]struct {
		sql             string
		opens, rebuilds bool
	}{
		"a link deleted":          {"DELETE FROM link WHERE (src, dst) = (SELECT src, dst FROM link LIMIT 1)", true, true},
		"a node's total changed":  {"UPDATE node SET total = total + 1 WHERE id = (SELECT max(id) FROM node)", true, true},
		"a record changed":        {"UPDATE record SET body = replace(body, '3000', '3001') WHERE sheet = 'brews'", true, true},
		"a printed text removed":  {"DELETE FROM printed WHERE text = 'h1'", true, true},
		"a form's answer changed": {"UPDATE answered SET answer = 'no'", true, false},
		"the seal removed":        {"DELETE FROM seal; DELETE FROM link", true, true}, // all is derived anew when it is opened
		"the seal's sum changed":  {"UPDATE seal SET sum = randomblob(32)", true, true},
		"the end of the journal":  {unguarded + "; DELETE FROM journal WHERE seq = (SELECT max(seq) FROM journal)", false, false},
		"an entry changed":        {unguarded + "; UPDATE journal SET by = 'nobody' WHERE seq = 20", true, false},
		"the last entry changed":  {unguarded + "; UPDATE journal SET hash = randomblob(32) WHERE seq = (SELECT max(seq) FROM journal)", false, false},
		"an entry added":          {"INSERT INTO journal(seq, kind, recorded, by, body, hash) SELECT seq + 1, kind, recorded, by, body, randomblob(32) FROM journal ORDER BY seq DESC LIMIT 1", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			bySQL(t, path, c.sql)
			ctx := context.Background()
			db, err := Open(ctx, path)
			if !c.opens {
				require.Equal(t, lots.Corrupt, lots.KindOf(err), "%v", err)
				require.ErrorContains(t, err, "heeltap audit")
				db, err = OpenAnyway(ctx, path)
			}
			require.NoError(t, err)
			defer db.Close()
			if name == "the seal removed" {
				requireSound(t, db)
				return
			}
			report, err := db.Audit(ctx, func(string) {})
			require.NoError(t, err)
			require.NotEmpty(t, report.Differences)
			err = db.View(ctx, (*Tx).Sound)
			require.Equal(t, lots.Corrupt, lots.KindOf(err), "%v", err)
			err = db.Rebuild(ctx)
			if !c.rebuilds && name != "a form's answer changed" {
				require.Equal(t, lots.Corrupt, lots.KindOf(err), "%v", err)
				return
			}
			require.NoError(t, err)
			require.NoError(t, db.View(ctx, (*Tx).Sound))
			requireSound(t, db)
		})
	}
}

// A whole number of a column of real numbers, text and nothing each count as what they are.
func TestHashRow(t *testing.T) {
	one, _ := hashRow(nil, "t", []any{int64(1), "a", nil})
	same, _ := hashRow(nil, "t", []any{1.0, "a", nil})
	require.Equal(t, one, same)
	for _, other := range [][]any{{int64(2), "a", nil}, {int64(1), "a"}, {int64(1), []byte("a"), nil}, {1.5, "a", nil}, {"1", "a", nil}, {int64(1), nil, "a"}} {
		h, _ := hashRow(nil, "t", other)
		require.NotEqual(t, one, h, other)
	}
	var sum total
	sum.add(one)
	sum.sub(one)
	require.Equal(t, total{}, sum)
	require.Equal(t, one, totalOf(one.bytes()))
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(to, data, 0o600))
}
