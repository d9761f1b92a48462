package graph

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// brewery makes a lineage of the shape that breweries have, large enough to measure:
// per site and year about 250 brews into some 75 tank batches, dry hops, transfers over heels, two
// to three runs a batch of two to four segments, forty pallets a run, hop lots used over tens
// of brews, yeast cropped and pitched again. It gives a hop lot of average reach and a pallet.
func brewery(links int) (nodes []Node, out []Link, lot, pallet int64) {
	rng := rand.New(rand.NewPCG(7, 11))
	add := func(kind Kind, code string) int64 {
		id := int64(len(nodes) + 1)
		nodes = append(nodes, Node{ID: id, Kind: kind, Code: fmt.Sprintf("%s%d", code, id), Total: 100, Den: 100})
		return id
	}
	join := func(src, dst int64, cause Cause, qty float64) {
		out = append(out, Link{Src: src, Dst: dst, Cause: cause, Qty: qty, Entry: dst})
	}
	var hops, malts, yeast []int64
	for len(out) < links {
		if len(malts)%12 == 0 {
			hops = append(hops, add(Lot, "H"))
		}
		malts = append(malts, add(Lot, "M"))
		fill := int64(0)
		for range 3 + rng.IntN(2) { // brews of one tank
			brew := add(Brew, "B")
			join(malts[len(malts)-1], brew, Moved, 20)
			join(hops[len(hops)-1], brew, Moved, 2)
			next := add(Fill, "F")
			join(brew, next, Moved, 100)
			if fill != 0 {
				join(fill, next, Carried, 100)
			}
			fill = next
		}
		if len(yeast) > 0 && rng.IntN(8) > 0 {
			join(yeast[len(yeast)-1], fill, Moved, 50)
		} else {
			yeast = append(yeast, add(Lot, "Y"))
			join(yeast[len(yeast)-1], fill, Moved, 50)
		}
		crop := add(Lot, "C")
		join(fill, crop, Cropped, 5)
		yeast = append(yeast, crop)
		dry := add(Fill, "F")
		join(fill, dry, Carried, 95)
		join(hops[len(hops)-1], dry, Moved, 1)
		for range 2 + rng.IntN(2) { // runs
			bright := add(Fill, "T")
			join(dry, bright, Moved, 30)
			ends := add(Lot, "E")
			var last int64
			for s := range 2 + rng.IntN(3) {
				seg := add(Segment, "S")
				nodes[seg-1].Run = fmt.Sprintf("R%d", bright)
				join(bright, seg, Moved, 25)
				join(ends, seg, Part, 25)
				for p := range 13 {
					unit := add(Unit, "P")
					join(seg, unit, Packed, 7)
					if p == 0 && s > 0 {
						join(last, unit, Packed, 3)
					}
					pallet = unit
				}
				last = seg
			}
		}
	}
	return nodes, out, hops[len(hops)/2], pallet
}

const benchLinks = 1_000_000

func BenchmarkBuild(b *testing.B) {
	nodes, links, _, _ := brewery(benchLinks)
	b.ReportMetric(float64(len(links)), "links")
	for b.Loop() {
		_, err := Build(nodes, links)
		require.NoError(b, err)
	}
}

// BenchmarkWalk times a walk in memory beside SQLite's recursive query over the same
// links, in one run: x_of_sql is how many times longer the query takes.
func BenchmarkWalk(b *testing.B) {
	nodes, links, lot, pallet := brewery(benchLinks)
	g, err := Build(nodes, links)
	require.NoError(b, err)
	db := linkTable(b, links)
	for _, x := range []struct {
		name  string
		query Query
		sql   string
	}{
		{"forward", Query{Dir: Forward, Starts: []Start{{ID: lot}}}, "WITH RECURSIVE reach(id) AS (SELECT ?1 UNION SELECT dst FROM link JOIN reach ON src = id) SELECT count(*) FROM reach"},
		{"back", Query{Dir: Back, Starts: []Start{{ID: pallet}}}, "WITH RECURSIVE reach(id) AS (SELECT ?1 UNION SELECT src FROM link JOIN reach ON dst = id) SELECT count(*) FROM reach"},
	} {
		b.Run(x.name, func(b *testing.B) {
			reached, counted := 0, 0
			for b.Loop() {
				reached = 0
				for range g.Walk(x.query).All() {
					reached++
				}
			}
			perWalk := b.Elapsed() / time.Duration(b.N)
			const times = 5
			start := time.Now()
			for range times {
				require.NoError(b, db.QueryRow(x.sql, x.query.Starts[0].ID).Scan(&counted))
			}
			require.Equal(b, counted, reached)
			b.ReportMetric(float64(reached), "nodes")
			b.ReportMetric(float64(time.Since(start)/times)/float64(perWalk), "x_of_sql")
		})
	}
}

func linkTable(b *testing.B, links []Link) *sql.DB {
	db, err := sql.Open("sqlite", b.TempDir()+"/links.db?_pragma=journal_mode(off)&_pragma=synchronous(0)")
	require.NoError(b, err)
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { require.NoError(b, db.Close()) })
	_, err = db.Exec("CREATE TABLE link(src INTEGER NOT NULL, dst INTEGER NOT NULL, PRIMARY KEY(src, dst)) WITHOUT ROWID")
	require.NoError(b, err)
	tx, err := db.Begin()
	require.NoError(b, err)
	insert, err := tx.Prepare("INSERT OR IGNORE INTO link VALUES (?,?)")
	require.NoError(b, err)
	for _, l := range links {
		_, err := insert.Exec(l.Src, l.Dst)
		require.NoError(b, err)
	}
	require.NoError(b, tx.Commit())
	_, err = db.Exec("CREATE INDEX link_back ON link(dst)")
	require.NoError(b, err)
	return db
}
