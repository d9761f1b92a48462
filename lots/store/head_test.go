package store

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// historyOf records rows one second after the other, so that the same rows give the same hashes.
func historyOf(t *testing.T, rows ...Statement) (*DB, Head) {
	t.Helper()
	db, err := Create(context.Background(), filepath.Join(t.TempDir(), "history.db"))
	require.NoError(t, err)
	t.Cleanup(func() { db.Close() })
	db.Now = func() time.Time { return time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC) }
	enter(t, db, rows...)
	var head Head
	require.NoError(t, db.View(context.Background(), func(tx *Tx) (err error) {
		head, err = tx.LastEntry()
		return err
	}))
	return db, head
}

// A history that was written anew with hashes that fit, or whose end was cut off with a seal that fits, is found by a head
// that was kept elsewhere, short or whole; one that has grown is not.
func TestAgainstAHead(t *testing.T) {
	rows := statements(t, plant)
	other := statements(t, strings.Replace(plant, "quantity=50", "quantity=51", 1))
	_, before := historyOf(t, rows[:len(rows)-2]...)
	db, head := historyOf(t, rows...)
	rewritten, forged := historyOf(t, other...)
	require.Equal(t, head.Seq, forged.Seq)
	require.NotEqual(t, head.Hash, forged.Hash)
	cut, _ := historyOf(t, rows[:len(rows)-1]...)
	short, err := ParseHead(head.Short())
	require.NoError(t, err)
	for name, c := range map[string]struct {
		db      *DB
		against Head
		first   int64
	}{
		"its own":             {db, head, 0},
		"its own, short":      {db, short, 0},
		"an earlier one":      {db, before, 0},
		"rewritten":           {rewritten, head, head.Seq},
		"rewritten, short":    {rewritten, short, head.Seq},
		"cut off":             {cut, head, head.Seq},
		"cut off, but before": {cut, before, 0},
	} {
		report, err := c.db.Audit(context.Background(), func(string) {}, c.against)
		require.NoError(t, err, name)
		require.Equal(t, c.first != 0, len(report.Differences) > 0, "%s: %v", name, report.Differences)
		require.Equal(t, c.first, report.FirstWrong, name)
	}
}

func TestParseHead(t *testing.T) {
	for _, text := range []string{"", "812", "812:", "812:3f9a", "x:3f9a22c14b07d3e1", "0:3f9a22c14b07d3e1", "812:3f9a22c14b07d3e", "812:" + strings.Repeat("a", 66), "-1:3f9a22c14b07d3e1", "99999999999999999999:3f9a22c14b07d3e1"} {
		_, err := ParseHead(text)
		require.Error(t, err, text)
	}
	h, err := ParseHead(" 812:3F9A-22C1-4B07-D3E1 ")
	require.NoError(t, err)
	require.Equal(t, "812:3f9a-22c1-4b07-d3e1", h.Short())
}

// A checkpoint reads back as it was signed, and not at all with any of its bytes changed.
func TestCheckpoint(t *testing.T) {
	_, head := historyOf(t, statements(t, plant)...)
	pem, err := NewKey()
	require.NoError(t, err)
	key, err := ParseKey(pem)
	require.NoError(t, err)
	signed := Checkpoint{Head: head, Site: "Invented\nhead: 1:00", At: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)}.Sign(key)
	c, err := ParseCheckpoint(signed)
	require.NoError(t, err)
	require.Equal(t, head, c.Head)
	require.Equal(t, "Invented head: 1:00", c.Site)
	for i := range signed {
		changed := append([]byte(nil), signed...)
		changed[i] ^= 1
		if again, err := ParseCheckpoint(changed); err == nil { // base64 has bits that say nothing, and a hash two cases
			require.Equal(t, c, again, i)
		}
	}
	_, err = ParseKey([]byte("no key"))
	require.Error(t, err)
}

func FuzzCheckpoint(f *testing.F) {
	pem, _ := NewKey()
	key, _ := ParseKey(pem)
	f.Add(Checkpoint{Head: Head{3, make([]byte, 32)}, Site: "x", At: time.Unix(0, 0)}.Sign(key))
	f.Fuzz(func(t *testing.T, data []byte) {
		if c, err := ParseCheckpoint(data); err == nil && len(c.Hash) != 32 {
			t.Fatal("a checkpoint without a whole hash")
		}
	})
}
