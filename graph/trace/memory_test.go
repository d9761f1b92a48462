package trace_test

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// TestAnswersFromMemoryEqualTheFile asks every code of random histories, recorded row by row with some taken back in between,
// both ways and for several hazards, of a database whose lineage is kept in memory and of the file: the whole answers, with bands and reasons, are the same.
func TestAnswersFromMemoryEqualTheFile(t *testing.T) {
	dir, n, asked, kept := t.TempDir(), 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		ctx := context.Background()
		path := filepath.Join(dir, fmt.Sprintf("%d.db", n))
		db, err := store.Create(ctx, path)
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		db.KeepInMemory(64 << 20)
		rows := histories.Draw(t)
		var entries []int64
		for i, e := range histories.Entered(rows) {
			_ = db.Update(ctx, func(tx *store.Tx) error { // what is refused leaves no trace
				seqs, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: e.Sheet, Row: e.Row, By: "test"}})
				if err == nil && len(faults) > 0 {
					return faults
				}
				entries = append(entries, seqs...)
				return err
			})
			if i == 0 {
				require.NoError(t, db.Warm(ctx))
			}
		}
		if len(entries) > 0 {
			void := rapid.SampledFrom(entries).Draw(t, "void")
			_ = db.Update(ctx, func(tx *store.Tx) error {
				_, err := tx.Void(void, "random", "test")
				return err
			})
		}
		file, err := store.Open(ctx, path)
		require.NoError(t, err)
		defer func() { require.NoError(t, file.Close()) }()
		codes := codesOf(rows, "receipts brews crops runs units vessels")
		hazard := rapid.SampledFrom(graph.Hazards()).Draw(t, "hazard")
		ask := func(db *store.DB, code string, dir graph.Direction) (out string) {
			require.NoError(t, db.View(ctx, func(tx *store.Tx) error {
				a, err := trace.Ask(tx, trace.Question{Dir: dir, From: []string{code}, Hazard: hazard})
				if err != nil {
					out = err.Error()
					return nil
				}
				text, err := json.Marshal(a)
				out = string(text)
				return err
			}))
			return out
		}
		for _, code := range codes {
			for _, dir := range []graph.Direction{graph.Forward, graph.Back} {
				require.Equal(t, ask(file, code, dir), ask(db, code, dir), code)
				asked++
			}
		}
		if nodes, _, _ := db.InMemory(); nodes > 0 {
			kept++
		}
	})
	require.Greater(t, asked, 500)
	require.Greater(t, kept, n/2)
}
