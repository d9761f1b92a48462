package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// answers is all that the small brewery's database says, by every way that questions are asked: through each index of
// records and lineage, forwards and back, and what is known of each code.
func answers(ctx context.Context, db *DB) (out string, err error) {
	var b strings.Builder
	err = db.View(ctx, func(tx *Tx) error {
		rows, err := tx.Everything()
		if err != nil {
			return err
		}
		for _, r := range rows {
			fmt.Fprintln(&b, r.Seq, r.Sheet.Name, r.Row)
			again, ok := tx.Row(r.Seq)
			fmt.Fprintln(&b, again.Row, ok)
			known, err := tx.IsRecorded(r.Sheet, r.Row)
			fmt.Fprintln(&b, known, err)
		}
		for _, part := range dumps {
			if part.entry < 0 {
				continue // the layout's text is no answer
			}
			lines, err := tx.dump(part.query, part.entry)
			if err != nil {
				return err
			}
			fmt.Fprintln(&b, lines)
		}
		for _, q := range []string{
			"SELECT n.code, l.dst, l.entry FROM node n JOIN link l INDEXED BY link_back ON l.dst = n.id ORDER BY 1, 2, 3",
			"SELECT n.code, l.dst, l.entry FROM node n JOIN link l ON l.src = n.id ORDER BY 1, 2, 3",
			"SELECT c.owner, n.code FROM cell c JOIN node n INDEXED BY node_cell ON n.cell = c.id ORDER BY 1, 2",
			"SELECT n.code, n.total FROM node n INDEXED BY node_home WHERE home > '' ORDER BY 1",
			"SELECT m.code, m.seq FROM mention m INDEXED BY mention_seq WHERE seq > 0 ORDER BY 1, 2",
			"SELECT name, text FROM finding INDEXED BY finding_code WHERE code > '' ORDER BY 1, 2",
			"SELECT code, kind FROM code INDEXED BY code_fold WHERE code > '' COLLATE NOCASE ORDER BY 1, 2",
		} {
			lines, err := tx.dump(q, 0)
			if err != nil {
				return err
			}
			fmt.Fprintln(&b, lines)
		}
		fmt.Fprintln(&b, tx.Settings(SiteSettings), tx.ActedOn())
		text, before, err := tx.Answered("form-1")
		fmt.Fprintln(&b, text, before)
		return err
	})
	return b.String(), err
}

// fate is what became of a database with one byte changed.
type fate int

const (
	harmless fate = iota // all answers are the same, and the audit finds nothing
	found                // the audit names it
	refused              // opening it, or asking, is refused as damaged
	silent               // answers differ, or fail, and the audit finds nothing
	unkind               // refused, but not as a damaged file
)

// fateOf opens a damaged file, asks it everything, and audits it.
func fateOf(ctx context.Context, path, want string) (f fate, said string) {
	db, err := Open(ctx, path)
	if err != nil {
		return kindly(err), err.Error()
	}
	defer func() {
		if e := db.Close(); e != nil && f == harmless {
			f, said = kindly(db.explain(e)), e.Error()
		}
	}()
	got, asked := answers(ctx, db)
	report, err := db.Audit(ctx, func(string) {})
	switch {
	case err == nil && len(report.Differences) > 0:
		if asked != nil && kindly(asked) == unkind {
			return unkind, asked.Error()
		}
		return found, report.Differences[0]
	case err != nil:
		return kindly(err), err.Error()
	case asked != nil:
		return silent, asked.Error()
	case got != want:
		return silent, "answers differ"
	}
	return harmless, ""
}

// kindly reports whether a refusal says that the file is damaged, or no file of ours.
func kindly(err error) fate {
	switch lots.KindOf(err) {
	case lots.Corrupt, lots.Invalid, lots.Conflict:
		return refused
	}
	return unkind
}

// One byte of a small database is changed, and it is opened, asked everything and audited: that is found, harmless or
// refused, never passed over in silence, and nothing panics. CI tries a sample; HEELTAP_FLIPS=all tries every byte once,
// HEELTAP_FLIPS=N tries N.
func TestEveryByteFlipped(t *testing.T) {
	path := filled(t)
	ctx := context.Background()
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	db, err := Open(ctx, path)
	require.NoError(t, err)
	want, err := answers(ctx, db)
	require.NoError(t, err)
	require.NoError(t, db.Close())

	tries := 60
	if testing.Short() {
		tries = 10
	}
	rnd := rand.New(rand.NewPCG(1, 14))
	places := rnd.Perm(len(whole))
	switch n := os.Getenv("HEELTAP_FLIPS"); n {
	case "":
	case "all":
		tries = len(places)
	default:
		tries, err = strconv.Atoi(n)
		require.NoError(t, err)
	}
	counts := map[fate]int{}
	said := map[string]int{}
	folder := t.TempDir()
	for i, at := range places[:min(tries, len(places))] {
		mask := byte(1 + rnd.IntN(255))
		damaged := append([]byte(nil), whole...)
		damaged[at] ^= mask
		name := filepath.Join(folder, fmt.Sprintf("%d.db", i))
		require.NoError(t, os.WriteFile(name, damaged, 0o600))
		f, text := func() (f fate, text string) {
			defer func() {
				if broken := recover(); broken != nil {
					t.Errorf("byte %d ^ %#x: panic: %v", at, mask, broken)
				}
			}()
			return fateOf(ctx, name, want)
		}()
		counts[f]++
		if f == silent || f == unkind {
			t.Errorf("byte %d ^ %#x: fate %d: %s", at, mask, f, text)
		}
		text, _, _ = strings.Cut(text, ":")
		said[strings.ReplaceAll(text, name, "FILE")]++
		for _, ending := range []string{"", "-wal", "-shm"} {
			if err := os.Remove(name + ending); err != nil && !errors.Is(err, os.ErrNotExist) {
				require.NoError(t, err)
			}
		}
	}
	t.Logf("of %d bytes changed once, %d were found, %d refused and %d harmless", tries, counts[found], counts[refused], counts[harmless])
}
