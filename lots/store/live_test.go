package store

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

const plenty = 64 << 20

// TestMemoryEqualsTheFile records random rows, several at a time, corrects some and takes some back in between, and after each
// holds every walk over the lineage in memory, both ways, against the one over the file: nodes, links, bands, chains, amounts.
// The memory is read once: all that follows is taken over change by change.
func TestMemoryEqualsTheFile(t *testing.T) {
	dir, n := t.TempDir(), 0
	walks, taken := 0, int64(0)
	rapid.Check(t, func(t *rapid.T) {
		n++
		ctx := context.Background()
		path := filepath.Join(dir, fmt.Sprintf("%d.db", n))
		db, err := Create(ctx, path)
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		db.KeepInMemory(plenty)
		require.NoError(t, db.Warm(ctx)) // an empty journal is kept nowhere
		enterText(t, db, hall)
		require.NoError(t, db.Warm(ctx))
		loads := db.live.loads.Load()
		file, err := Open(ctx, path)
		require.NoError(t, err)
		defer func() { require.NoError(t, file.Close()) }()
		for i := range rapid.IntRange(5, 25).Draw(t, "rows") {
			if rapid.IntRange(0, 5).Draw(t, "what") == 0 {
				correctOne(t, db)
			} else {
				var rows []Statement
				for k := range rapid.SampledFrom([]int{1, 1, 3}).Draw(t, "at once") {
					sheet, row := act(t, 3*i+k)
					s, _ := lots.SheetNamed(sheet)
					rows = append(rows, Statement{Sheet: s, Row: row, By: "test"})
				}
				try(t, db, func(tx *Tx) error {
					_, _, faults, err := tx.RecordRows(rows)
					if err == nil && len(faults) > 0 {
						return faults
					}
					return err
				})
			}
			if rapid.IntRange(0, 2).Draw(t, "look") > 0 { // several changes are taken over at once, too
				walks += sameWalks(t, db, file)
			}
		}
		walks += sameWalks(t, db, file)
		require.Equal(t, loads, db.live.loads.Load(), "the lineage was read anew")
		taken += db.live.taken.Load()
	})
	require.Greater(t, walks, 100)
	require.Greater(t, taken, int64(100))
}

// sameWalks compares all walks on one database, which must answer from memory, with those on another, which has none.
func sameWalks(t require.TestingT, db, file *DB) (walks int) {
	ctx := context.Background()
	require.NoError(t, file.View(ctx, func(have *Tx) error {
		return db.View(ctx, func(kept *Tx) error {
			answered := db.live.answered.Load()
			whole, err := have.Snapshot()
			require.NoError(t, err)
			inMemory, err := kept.Snapshot()
			require.NoError(t, err)
			require.Equal(t, slices.Collect(whole.Nodes()), slices.Collect(inMemory.Nodes()))
			require.Equal(t, texts(slices.Collect(whole.Links())), texts(slices.Collect(inMemory.Links())))
			for node := range whole.Nodes() {
				for _, dir := range []graph.Direction{graph.Forward, graph.Back} {
					starts := []int64{node.ID, node.ID, -1}
					want, err := have.Reach(dir, starts)
					require.NoError(t, err)
					got, err := kept.Reach(dir, starts)
					require.NoError(t, err)
					require.Equal(t, want.Nodes, got.Nodes)
					require.Equal(t, texts(slices.Collect(want.Graph.Links())), texts(slices.Collect(got.Graph.Links())))
					q := graph.Query{Dir: dir, Starts: []graph.Start{{ID: node.ID}}, Amounts: true}
					require.Equal(t, answerOf(want.Walk(q)), answerOf(got.Walk(q)))
					walks++
				}
			}
			require.Equal(t, answered+1+int64(walks), db.live.answered.Load(), "some of it was read from the file")
			return nil
		})
	}))
	return walks
}

// texts writes links as texts, in which unknown quantities equal each other.
func texts(links []graph.Link) (out []string) {
	for _, l := range links {
		out = append(out, fmt.Sprint(l))
	}
	return out
}

func answerOf(r *graph.Reach) (out []string) {
	for n, band := range r.All() {
		out = append(out, fmt.Sprint(n, band, texts(linksOf(r.Why(n.ID))), graph.Codes(r.Why(n.ID)), r.Amount(n.ID)))
	}
	return out
}

func linksOf(steps []graph.Step) (out []graph.Link) {
	for _, s := range steps {
		out = append(out, s.Link)
	}
	return out
}

// reachedFrom gives how many nodes a lot reaches, and whether memory answered.
func reachedFrom(t require.TestingT, tx *Tx, code string) (int, bool) {
	before := tx.db.live.answered.Load()
	nodes := tx.NodesNamed(code)
	require.Len(t, nodes, 1)
	r, err := tx.Reach(graph.Forward, []int64{nodes[0].ID})
	require.NoError(t, err)
	return len(r.Nodes), tx.db.live.answered.Load() > before
}

func view(t require.TestingT, db *DB, f func(tx *Tx)) {
	require.NoError(t, db.View(context.Background(), func(tx *Tx) error { f(tx); return tx.Err() }))
}

const oneBrew = "brews brew=Ba beer=x started_at=2026-03-02T08:00 cast_out_at=2026-03-02T12:00 into=F1 volume=100 unit=L\nbrew_inputs brew=Ba from=LH quantity=1 unit=kg ref=1"

// TestMemoryIsOfTheJournalOnly sees that memory answers nothing of another state than the reading transaction's: not what was
// recorded after it began, nor before another program's entry, nor what a transaction did itself, nor after a rebuild.
func TestMemoryIsOfTheJournalOnly(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "kept.db")
	db, err := Create(ctx, path)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	db.KeepInMemory(plenty)
	enterText(t, db, hall)
	require.NoError(t, db.Warm(ctx))

	view(t, db, func(early *Tx) {
		alone, _ := reachedFrom(t, early, "LH")
		require.Equal(t, 1, alone)
		enterText(t, db, oneBrew)
		view(t, db, func(late *Tx) {
			more, memory := reachedFrom(t, late, "LH")
			require.True(t, memory)
			require.Equal(t, 3, more) // and the brew, and the fill
		})
		still, memory := reachedFrom(t, early, "LH")
		require.False(t, memory)
		require.Equal(t, 1, still)
	})

	require.Error(t, db.Update(ctx, func(tx *Tx) error { // what is not kept was never seen
		s, _ := lots.SheetNamed("brew_inputs")
		_, _, faults, err := tx.RecordRows([]Statement{{Sheet: s, Row: lots.Row{"brew": "Ba", "from": "LM", "quantity": "1", "unit": "kg", "ref": "2"}, By: "test"}})
		require.NoError(t, err)
		require.Empty(t, faults)
		within, memory := reachedFrom(t, tx, "LM")
		require.False(t, memory)
		require.Equal(t, 3, within)
		return fmt.Errorf("no")
	}))
	view(t, db, func(tx *Tx) {
		none, memory := reachedFrom(t, tx, "LM")
		require.True(t, memory)
		require.Equal(t, 1, none)
	})

	other, err := Open(ctx, path)
	require.NoError(t, err)
	defer func() { require.NoError(t, other.Close()) }()
	enterText(t, other, "brew_inputs brew=Ba from=LM quantity=1 unit=kg ref=3")
	db.live.rest = db.live.rest.AddDate(100, 0, 0) // it is not read anew by itself
	view(t, db, func(tx *Tx) {
		some, memory := reachedFrom(t, tx, "LM")
		require.False(t, memory)
		require.Equal(t, 3, some)
	})
	enterText(t, db, "brew_inputs brew=Ba from=LM quantity=1 unit=kg ref=4") // follows what memory does not know
	view(t, db, func(tx *Tx) {
		_, memory := reachedFrom(t, tx, "LM")
		require.False(t, memory)
	})
	require.NoError(t, db.Warm(ctx))
	sameWalks(t, db, other)

	db.live.rest = db.live.rest.AddDate(100, 0, 0)
	require.NoError(t, other.Rebuild(ctx)) // nodes get other numbers, at the same head
	view(t, db, func(tx *Tx) {
		_, memory := reachedFrom(t, tx, "LM")
		v, _ := tx.version()
		require.Equal(t, v == db.live.at, memory)
	})
	require.NoError(t, db.Warm(ctx))
	sameWalks(t, db, other)

	then, err := db.AsKnown(ctx, db.Now())
	require.NoError(t, err)
	defer func() { require.NoError(t, then.Close()) }()
	require.Nil(t, then.live)
}

// TestMemoryIsBounded sees that a lineage that would be larger than it may be is not kept, and the file answers.
func TestMemoryIsBounded(t *testing.T) {
	ctx := context.Background()
	db, err := Create(ctx, filepath.Join(t.TempDir(), "kept.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, record(db, year(6)))
	db.KeepInMemory(plenty)
	require.NoError(t, db.Warm(ctx))
	nodes, links, bytes := db.InMemory()
	require.Greater(t, nodes, 200)
	require.Greater(t, links, 200)
	small, err := OpenAnyway(ctx, db.Path())
	require.NoError(t, err)
	defer func() { require.NoError(t, small.Close()) }()
	small.KeepInMemory(bytes / 2)
	require.NoError(t, small.Warm(ctx))
	nodes, _, _ = small.InMemory()
	require.Zero(t, nodes)
	view(t, small, func(tx *Tx) {
		reached, memory := reachedFrom(t, tx, "H0000")
		require.False(t, memory)
		require.Greater(t, reached, 200)
	})
	db.live.most = bytes // it grows beyond that
	for i := range 400 {
		enterText(t, db, fmt.Sprintf("receipts lot=N%d item=HOP supplier=S supplier_lot=%d quantity=1 unit=kg received_at=2026-03-01", i, i))
	}
	view(t, db, func(tx *Tx) { reachedFrom(t, tx, "H0000") })
	db.live.busy.Wait()
	_, _, now := db.InMemory()
	require.LessOrEqual(t, now, bytes)
}

// TestMemoryWhileOthersRecord reads and records at once, for the race detector; what is read agrees within its transaction.
func TestMemoryWhileOthersRecord(t *testing.T) {
	ctx := context.Background()
	db, err := Create(ctx, filepath.Join(t.TempDir(), "kept.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	db.KeepInMemory(plenty)
	enterText(t, db, hall+oneBrew)
	require.NoError(t, db.Warm(ctx))
	done := make(chan error, 2)
	for range 2 {
		go func() {
			done <- func() error {
				for range 60 {
					if err := db.View(ctx, func(tx *Tx) error {
						n := tx.NodesNamed("LH")[0].ID
						got, err := tx.Reach(graph.Forward, []int64{n})
						if err != nil {
							return err
						}
						nodes := map[int64]lineage.Node{}
						if _, err := tx.read(graph.Forward, []int64{n}, nodes); err != nil {
							return err
						}
						if fmt.Sprint(nodes) != fmt.Sprint(got.Nodes) {
							return fmt.Errorf("memory says %v, the file %v", got.Nodes, nodes)
						}
						return nil
					}); err != nil {
						return err
					}
				}
				return nil
			}()
		}()
	}
	for i := range 20 {
		enterText(t, db, fmt.Sprintf("brew_inputs brew=Ba from=LH quantity=0.1 unit=kg ref=x%d\nadditions vessel=F1 from=LH quantity=0.1 unit=kg at=2026-03-03T10:%02d ref=y%d", i, i, i))
	}
	require.NoError(t, <-done)
	require.NoError(t, <-done)
	require.Greater(t, db.live.answered.Load(), int64(60))
}
