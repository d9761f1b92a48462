package store

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// year makes rows of a plain brewery: so many batches of two brews, each packed from a bright
// tank onto forty pallets that are shipped, with hops, malt and can ends in lots.
func year(batches int) []Statement {
	var rows []Statement
	add := func(sheet string, cells ...string) {
		s, _ := lots.SheetNamed(sheet)
		row := lots.Row{}
		for i := 0; i+1 < len(cells); i += 2 {
			row[cells[i]] = cells[i+1]
		}
		rows = append(rows, Statement{Sheet: s, Row: row, By: "bench"})
	}
	at := func(day, hour, minute int) string {
		return time.Date(2025, 1, 1+day, hour, minute, 0, 0, time.UTC).Format("2006-01-02 15:04")
	}
	add("site", "name", "Bench", "time_zone", "UTC")
	add("items", "item", "HOP", "name", "hop", "kind", "hop", "unit", "kg")
	add("items", "item", "END", "name", "end", "kind", "closure", "unit", "each")
	add("parties", "party", "S", "name", "S", "role", "supplier")
	add("parties", "party", "D", "name", "D", "role", "consignee", "channel", "distributor")
	add("products", "product", "PALE", "name", "Pale", "container_ml", "440", "per_case", "24", "cases_per_pallet", "80")
	for v := range 12 {
		add("vessels", "vessel", fmt.Sprintf("FV%d", v), "kind", "fermenter")
		add("vessels", "vessel", fmt.Sprintf("BT%d", v), "kind", "bright")
	}
	for b := range batches {
		day, fv, bt := b*2, fmt.Sprintf("FV%d", b%12), fmt.Sprintf("BT%d", b%12)
		hop, end, run := fmt.Sprintf("H%04d", b/10), fmt.Sprintf("E%04d", b/4), fmt.Sprintf("R%04d", b)
		if b%10 == 0 {
			add("receipts", "lot", hop, "item", "HOP", "supplier", "S", "supplier_lot", hop, "quantity", "100", "unit", "kg", "received_at", at(day, 5, 0))
		}
		if b%4 == 0 {
			add("receipts", "lot", end, "item", "END", "supplier", "S", "supplier_lot", end, "quantity", "400000", "unit", "each", "received_at", at(day, 5, 0))
		}
		add("cleans", "vessel", fv, "at", at(day, 5, 30), "method", "cip")
		for i := range 2 {
			brew := fmt.Sprintf("B%04d-%d", b, i)
			add("brews", "brew", brew, "beer", "Pale", "started_at", at(day, 6+7*i, 0), "cast_out_at", at(day, 12+7*i, 0), "into", fv, "volume", "17500", "unit", "L")
			add("brew_inputs", "brew", brew, "from", hop, "quantity", "4", "unit", "kg", "stage", "boil")
		}
		add("cleans", "vessel", bt, "at", at(day+14, 6, 0), "method", "cip")
		add("transfers", "transfer", fmt.Sprintf("T%04d", b), "from", fv, "to", bt, "out", "35000", "in", "34900", "unit", "L", "started_at", at(day+14, 8, 0), "ended_at", at(day+14, 10, 0))
		add("runs", "run", run, "product", "PALE", "started_at", at(day+15, 8, 0), "ended_at", at(day+15, 18, 0), "date_code", run, "good", "76800")
		add("feeds", "run", run, "from", bt)
		add("feeds", "run", run, "from", end)
		for p := range 40 {
			unit := fmt.Sprintf("P%04d-%02d", b, p)
			add("units", "unit", unit, "kind", "pallet", "run", run, "quantity", "80", "first_at", at(day+15, 8, 15*p), "last_at", at(day+15, 8, 15*p+15))
			add("shipments", "shipment", fmt.Sprintf("S%04d-%02d", b, p), "unit", unit, "quantity", "80", "consignee", "D", "shipped_at", at(day+18, 9, 0))
		}
	}
	return rows
}

func benchDB(b *testing.B, rows []Statement) *DB {
	db, err := Create(context.Background(), filepath.Join(b.TempDir(), "bench.db"))
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, db.Close()) })
	require.NoError(b, record(db, rows))
	return db
}

func record(db *DB, rows []Statement) error {
	return db.Update(context.Background(), func(tx *Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		if err == nil && len(faults) > 0 {
			return faults
		}
		return err
	})
}

// BenchmarkImport records a year in one batch, all derived. import/insert is how many times longer that
// takes than writing the same rows, as text and neither checked nor derived, into one plain table.
func BenchmarkImport(b *testing.B) {
	rows := year(180)
	for b.Loop() {
		benchDB(b, rows)
	}
	perImport := float64(b.Elapsed()) / float64(b.N)
	b.ReportMetric(float64(len(rows))/perImport*float64(time.Second), "rows/s")
	b.ReportMetric(perImport/float64(plainInsert(b, rows)), "import/insert")
}

func plainInsert(b *testing.B, rows []Statement) time.Duration {
	db := benchDB(b, year(0))
	began := time.Now()
	require.NoError(b, db.Update(context.Background(), func(tx *Tx) error {
		if err := tx.exec("CREATE TABLE plain(seq INTEGER PRIMARY KEY, sheet TEXT, body TEXT) STRICT"); err != nil {
			return err
		}
		for _, row := range rows {
			body, err := json.Marshal(row.Row)
			if err != nil {
				return err
			}
			if err := tx.exec("INSERT INTO plain(sheet, body) VALUES (?,?)", row.Sheet.Name, string(body)); err != nil {
				return err
			}
		}
		return nil
	}))
	return time.Since(began)
}

// BenchmarkEntry records single entries durably, each its own transaction, on top of a year.
// Entries go to one pallet, one tank after another, as they do in a brewery.
// entry/fsync is how many times longer an entry takes than bringing 12 KB to the disk, rebuild/entry
// how many times longer deriving everything anew takes than the entry.
func BenchmarkEntry(b *testing.B) {
	for _, x := range []struct {
		name, sheet string
		row         func(n int) lots.Row
	}{
		{"received", "receipts", func(n int) lots.Row {
			lot := fmt.Sprintf("N%06d", n)
			return lots.Row{"lot": lot, "item": "HOP", "supplier": "S", "supplier_lot": lot, "quantity": "100", "unit": "kg", "received_at": "2025-12-20 09:00"}
		}},
		{"sampled", "removals", func(n int) lots.Row {
			return lots.Row{"subject": fmt.Sprintf("P%04d-%02d", n/40%180, n%40), "quantity": "1", "at": "2026-01-20 08:00", "reason": "sample", "ref": fmt.Sprint(n)}
		}},
		{"late dry hop", "additions", lateAddition},
	} {
		b.Run(x.name, func(b *testing.B) {
			db := benchDB(b, year(180))
			sheet, _ := lots.SheetNamed(x.sheet)
			n := 0
			for b.Loop() {
				require.NoError(b, record(db, []Statement{{Sheet: sheet, Row: x.row(n), By: "bench"}}))
				n++
			}
			perEntry := float64(b.Elapsed()) / float64(b.N)
			b.ReportMetric(perEntry/float64(timeFsync(b)), "entry/fsync")
			b.ReportMetric(float64(timeRebuild(b, db))/perEntry, "rebuild/entry")
		})
	}
}

// lateAddition is hops that went into a tank whose beer is long packed: the tank, the run and its
// forty pallets hang on another fill from then on.
func lateAddition(n int) lots.Row {
	batch := 20 + n%150
	at := time.Date(2025, 1, 1+2*batch+2+n/150%10, 8, 0, 0, 0, time.UTC)
	return lots.Row{"vessel": fmt.Sprintf("FV%d", batch%12), "from": fmt.Sprintf("H%04d", batch/10), "quantity": "0.001", "unit": "kg",
		"at": at.Format("2006-01-02 15:04"), "ref": fmt.Sprint(n)}
}

func timeRebuild(b *testing.B, db *DB) time.Duration {
	start := time.Now()
	require.NoError(b, db.Update(context.Background(), func(tx *Tx) error { return tx.rebuildLineage() }))
	return time.Since(start)
}

// timeFsync is the least that something durable takes: a write that is known to be on the disk.
func timeFsync(b *testing.B) time.Duration {
	file, err := os.Create(filepath.Join(b.TempDir(), "plain"))
	require.NoError(b, err)
	defer file.Close()
	const times = 100
	start := time.Now()
	for range times {
		_, err := file.Write(make([]byte, 12<<10))
		require.NoError(b, err)
		require.NoError(b, file.Sync())
	}
	return time.Since(start) / times
}

// BenchmarkReach reads and walks what a lot reached, and what went into a pallet, in a
// database of a million links; query/reach is how many times longer one recursive query over
// the same table takes that only counts; query/memory and query/bare the same for what is kept in memory,
// with bands, chains and amounts, and only found. HEELTAP_LINKS sets how many links.
func BenchmarkReach(b *testing.B) {
	ctx := context.Background()
	db := benchDB(b, year(1))
	links := 1_000_000
	if n, err := strconv.Atoi(os.Getenv("HEELTAP_LINKS")); err == nil {
		links = n
	}
	lot, pallet := fillLinks(b, db, links)
	for _, x := range []struct {
		name  string
		dir   graph.Direction
		start int64
		sql   string
	}{
		{"forward", graph.Forward, lot, "WITH RECURSIVE r(id) AS (SELECT ?1 UNION SELECT dst FROM link JOIN r ON src = id) SELECT count(*) FROM r"},
		{"back", graph.Back, pallet, "WITH RECURSIVE r(id) AS (SELECT ?1 UNION SELECT src FROM link JOIN r ON dst = id) SELECT count(*) FROM r"},
	} {
		b.Run(x.name, func(b *testing.B) {
			require.NoError(b, db.View(ctx, func(tx *Tx) error {
				reached := 0
				for b.Loop() {
					r, err := tx.Reach(x.dir, []int64{x.start})
					require.NoError(b, err)
					reached = 0
					for range r.Walk(graph.Query{Dir: x.dir, Starts: []graph.Start{{ID: x.start}}, Amounts: true}).All() {
						reached++
					}
				}
				per := b.Elapsed() / time.Duration(b.N)
				counted, start := 0, time.Now()
				const times = 5
				for range times {
					_, err := tx.one([]any{&counted}, x.sql, x.start)
					require.NoError(b, err)
				}
				require.Equal(b, counted, reached)
				b.ReportMetric(float64(reached), "nodes")
				query := time.Since(start) / times
				b.ReportMetric(float64(query)/float64(fromMemory(b, db, x.dir, x.start)), "query/memory")
				b.ReportMetric(float64(query)/float64(bareFromMemory(b, db, x.dir, x.start)), "query/bare")
				b.ReportMetric(float64(query)/float64(per), "query/reach")
				return nil
			}))
		})
	}
}

// fromMemory times reading and walking the lineage that is kept in memory, with bands, chains and amounts.
func fromMemory(b *testing.B, db *DB, dir graph.Direction, start int64) time.Duration {
	keepFor(b, db)
	defer func() { db.live.close(); db.live = nil }()
	const times = 10
	var took time.Duration
	require.NoError(b, db.View(context.Background(), func(tx *Tx) error {
		began := time.Now()
		for range times {
			r, err := tx.Reach(dir, []int64{start})
			require.NoError(b, err)
			r.Walk(graph.Query{Dir: dir, Starts: []graph.Start{{ID: start}}, Amounts: true})
		}
		took = time.Since(began) / times
		require.EqualValues(b, times, db.live.answered.Load())
		return nil
	}))
	return took
}

// bareFromMemory times only finding what is reached.
func bareFromMemory(b *testing.B, db *DB, dir graph.Direction, start int64) time.Duration {
	keepFor(b, db)
	defer func() { db.live.close(); db.live = nil }()
	const times = 50
	began, reached := time.Now(), 0
	for range times {
		db.live.net.Reach(dir, []int64{start}, func(int64, lineage.Node) { reached++ }, func(graph.Link) {})
	}
	return time.Since(began) / times
}

func keepFor(b *testing.B, db *DB) {
	db.KeepInMemory(8 << 30)
	require.NoError(b, db.Warm(context.Background()))
	_, links, bytes := db.InMemory()
	b.ReportMetric(float64(bytes)/float64(links), "B/link")
}

// fillLinks writes a lineage of so many links straight into the tables: hop lots into thirty brews
// each, brews into fills, fills into segments, and thirteen pallets a segment.
func fillLinks(b *testing.B, db *DB, links int) (lot, pallet int64) {
	node, made, next := int64(10_000_000), 0, int64(0)
	require.NoError(b, db.Update(context.Background(), func(tx *Tx) error {
		add := func(kind graph.Kind, home string) int64 {
			node++
			require.NoError(b, tx.exec("INSERT INTO node(id, kind, code, cell, home, since, until, total, den, entry) VALUES (?,?,?,1,?,0,0,100,100,1)", node, int64(kind), fmt.Sprint(node), home))
			return node
		}
		join := func(src, dst int64) {
			made++
			require.NoError(b, tx.exec("INSERT INTO link(src, dst, entry, cause, grade, qty, at, cell) VALUES (?,?,1,0,0,10,0,1)", src, dst))
		}
		for batch := 0; made < links; batch++ {
			if batch%8 == 0 {
				next = add(graph.Lot, "")
				if made < links/2 {
					lot = next
				}
			}
			fill := add(graph.Fill, "V")
			for range 4 {
				brew := add(graph.Brew, "")
				join(next, brew)
				join(brew, fill)
			}
			for range 3 {
				bright := add(graph.Fill, "V")
				join(fill, bright)
				for range 3 {
					segment := add(graph.Segment, "R")
					join(bright, segment)
					for range 13 {
						pallet = add(graph.Unit, "")
						join(segment, pallet)
					}
				}
			}
		}
		return nil
	}))
	return lot, pallet
}
