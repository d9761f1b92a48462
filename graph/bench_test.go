package graph

import (
	"database/sql"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const benchLinks = 1_000_000

func BenchmarkBuild(b *testing.B) {
	made := newBrewery(benchLinks)
	for b.Loop() {
		_, err := Build(made.nodes, made.links)
		require.NoError(b, err)
	}
	b.ReportMetric(float64(len(made.links)), "links")
	b.ReportMetric(float64(len(made.links))*float64(b.N)/b.Elapsed().Seconds(), "links/s")
}

// BenchmarkWalk times a walk in memory beside SQLite's recursive query over the same links,
// in one run: query/walk is how many times longer the query takes. The query only counts what is
// reached; the walk also tells the bands, and the chain to each node.
func BenchmarkWalk(b *testing.B) {
	made := newBrewery(benchLinks)
	g, err := Build(made.nodes, made.links)
	require.NoError(b, err)
	db := linkTable(b, made.links)
	hop := made.hops[len(made.hops)/2]
	for _, x := range []struct {
		name    string
		dir     Direction
		start   int64
		amounts bool
	}{
		{"hop lot", Forward, hop, false},
		{"hop lot with amounts", Forward, hop, true},
		{"silo lot", Forward, made.first, false},
		{"pallet back", Back, made.pallet, false},
		{"pallet back with amounts", Back, made.pallet, true},
	} {
		b.Run(x.name, func(b *testing.B) {
			q := Query{Dir: x.dir, Starts: []Start{{ID: x.start}}, Amounts: x.amounts}
			reached := 0
			for b.Loop() {
				reached = 0
				for range g.Walk(q).All() {
					reached++
				}
			}
			perWalk := float64(b.Elapsed()) / float64(b.N)
			perQuery := timeQuery(b, db, countSQL[x.dir], x.start, reached)
			b.ReportMetric(float64(reached), "nodes")
			b.ReportMetric(perWalk/float64(reached), "ns/node")
			b.ReportMetric(perQuery/perWalk, "query/walk")
		})
	}
}

var countSQL = map[Direction]string{
	Forward: "WITH RECURSIVE reach(id) AS (SELECT ?1 UNION SELECT dst FROM link JOIN reach ON src = id) SELECT count(*) FROM reach",
	Back:    "WITH RECURSIVE reach(id) AS (SELECT ?1 UNION SELECT src FROM link JOIN reach ON dst = id) SELECT count(*) FROM reach",
}

// timeQuery gives how long a query takes in nanoseconds, once the pages it needs are read.
func timeQuery(b *testing.B, db *sql.DB, query string, start int64, want int) float64 {
	const times = 5
	var began time.Time
	for i := range times + 1 {
		if i == 1 {
			began = time.Now()
		}
		var counted int
		require.NoError(b, db.QueryRow(query, start).Scan(&counted))
		require.Equal(b, want, counted, "walk and query reach the same")
	}
	return float64(time.Since(began)) / times
}

// linkTable writes the links into a plain table that is as good to walk as a table can be:
// clustered by source, with an index by product that needs no look-up beside it.
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
