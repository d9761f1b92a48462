package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// lineageTables are what a rebuild of the lineage empties.
var lineageTables = []string{"finding", "pass", "arrival", "draw", "link", "node", "part", "move", "cell"}

// rebuildLineage derives everything anew from the records.
func (tx *Tx) rebuildLineage() error {
	ledger, faults, err := lots.ReadLedger(tx.sheetRows)
	if err != nil {
		return err
	}
	if len(faults) > 0 {
		for i := range faults {
			faults[i].File = fmt.Sprintf("%s, entry", faults[i].File)
		}
		return lots.Errorf(lots.Invalid, "the records cannot be read together: %w", faults)
	}
	delta, err := lineage.DeriveAll(ledger, tx.db.Limits)
	if err != nil {
		return err
	}
	for _, t := range lineageTables {
		if err := tx.exec("DELETE FROM " + t); err != nil {
			return err
		}
	}
	return tx.withoutIndexes(lineageTables, func() error { return tx.load(delta) })
}

// withoutIndexes runs f, which fills tables, and makes their indexes afterwards: that is faster than keeping them up row by
// row, all the more where they outgrow SQLite's cache.
func (tx *Tx) withoutIndexes(tables []string, f func() error) error {
	names, texts, err := tx.indexesOf(tables)
	if err != nil {
		return err
	}
	for _, name := range names {
		if _, err := tx.sql.ExecContext(tx.ctx, "DROP INDEX "+name); err != nil {
			return err
		}
	}
	if err := f(); err != nil {
		return err
	}
	for _, text := range texts {
		if _, err := tx.sql.ExecContext(tx.ctx, text); err != nil {
			return err
		}
	}
	clear(tx.stmts) // prepared against the old indexes
	return nil
}

// indexesOf lists the indexes of tables that only find rows, and the statements that make them.
func (tx *Tx) indexesOf(tables []string) (names, texts []string, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var name, text string
		err := rows.Scan(&name, &text)
		names, texts = append(names, name), append(texts, text)
		return err
	}, "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql LIKE 'CREATE INDEX%' AND tbl_name IN (SELECT value FROM json_each(?)) ORDER BY name", jsonList(tables))
	return names, texts, err
}

// load writes a whole lineage into empty tables. Nodes get their numbers in the
// order of their codes, links go in by key: both load fastest in that order.
func (tx *Tx) load(delta *lineage.Delta) error {
	owners := slices.Sorted(maps.Keys(delta.Cells))
	ids := map[lineage.Ref]int64{}
	a := &applying{tx: tx, ids: ids, fresh: true}
	cells := map[string]int64{}
	for i, owner := range owners {
		cells[owner] = int64(i + 1)
		if err := tx.exec("INSERT INTO cell(id, owner) VALUES (?,?)", i+1, owner); err != nil {
			return err
		}
		for _, n := range delta.Cells[owner].Nodes {
			id, err := a.insertNode(cells[owner], n)
			if err != nil {
				return err
			}
			ids[n.Ref] = id
		}
	}
	type placed struct {
		linkRow
		cell int64
	}
	var links []placed
	for _, owner := range owners {
		c := delta.Cells[owner]
		for _, l := range c.Links {
			r, err := a.row(l)
			if err != nil {
				return err
			}
			links = append(links, placed{r, cells[owner]})
		}
		if err := cmp.Or(a.books(cells[owner], c), a.findings(cells[owner], c.Findings)); err != nil {
			return err
		}
		delete(delta.Cells, owner) // it is in the file now
	}
	slices.SortFunc(links, func(x, y placed) int {
		return cmp.Or(cmp.Compare(x.src, y.src), cmp.Compare(x.dst, y.dst), cmp.Compare(x.entry, y.entry), cmp.Compare(x.cause, y.cause))
	})
	for i, r := range links {
		if i > 0 && r.linkKey == links[i-1].linkKey {
			continue
		}
		if err := tx.exec("INSERT INTO link(src, dst, entry, cause, grade, qty, at, cell) VALUES (?,?,?,?,?,?,?,?)",
			r.src, r.dst, r.entry, r.cause, r.grade, r.qty, r.at, r.cell); err != nil {
			return err
		}
	}
	return nil
}

// newScratch makes a database in a temporary folder of its own; closing it removes both.
func newScratch(ctx context.Context) (*DB, error) {
	dir, err := os.MkdirTemp("", "heeltap-")
	if err != nil {
		return nil, lots.Errorf(lots.Internal, "a temporary file cannot be created: %w", err)
	}
	db, err := Create(ctx, filepath.Join(dir, "scratch.db"))
	if err != nil {
		return nil, err
	}
	db.scratch = true
	return db, nil
}

// AsKnown makes a scratch database with the journal up to a moment and all that
// follows from it: what the records said then.
func (db *DB) AsKnown(ctx context.Context, moment time.Time) (*DB, error) {
	then, err := db.replay(ctx, func(e *Entry) bool { return !e.Recorded.After(moment) })
	if err == nil {
		then.Now = func() time.Time { return moment } // what is judged by today is judged by that day
	}
	return then, err
}

// Copy makes a scratch database with the whole journal: what is tried on it is gone when it is closed.
func (db *DB) Copy(ctx context.Context) (*DB, error) {
	return db.replay(ctx, func(*Entry) bool { return true })
}

// replay copies the entries that keep accepts into a scratch database and derives everything from them.
func (db *DB) replay(ctx context.Context, keep func(*Entry) bool) (*DB, error) {
	scratch, err := newScratch(ctx)
	if err != nil {
		return nil, err
	}
	scratch.Limits, scratch.Now = db.Limits, db.Now
	if err := db.View(ctx, func(from *Tx) error {
		if first, err := from.chain(); err != nil || first != 0 {
			return cmp.Or(err, error(lots.Errorf(lots.Corrupt, "entry %d of the journal does not match its hash: nothing is derived from it. %s", first, mendJournal)))
		}
		return from.copyTo(ctx, scratch, keep)
	}); err != nil {
		scratch.Close()
		return nil, err
	}
	return scratch, nil
}

// copyTo writes the entries that keep accepts into an empty database and derives everything from them.
func (tx *Tx) copyTo(ctx context.Context, scratch *DB, keep func(*Entry) bool) error {
	return scratch.Update(ctx, func(to *Tx) error {
		var failed error
		err := tx.Entries(0, func(e *Entry) bool {
			if !keep(e) {
				return false
			}
			failed = to.insertEntry(e)
			return failed == nil
		})
		if err := cmp.Or(failed, err); err != nil {
			return err
		}
		return to.rebuildRecords()
	})
}

// portion is how many entries of the journal are read at once.
const portion = 2000

// rebuildRecords reads the journal anew into empty records, a portion at a time, and derives the lineage.
func (tx *Tx) rebuildRecords() error {
	corrections := map[int64][]*Entry{} // by the entry that they correct in the end
	root := map[int64]int64{}           // of each correction
	if err := tx.AllCorrections(func(e *Entry) bool {
		root[e.Seq] = cmp.Or(root[e.Target], e.Target)
		corrections[root[e.Seq]] = append(corrections[root[e.Seq]], e)
		return true
	}); err != nil {
		return err
	}
	site, err := tx.siteIn(corrections)
	if err != nil {
		return err
	}
	if err := tx.inBulk(func() error {
		for after := int64(0); ; {
			var some []*Entry
			if err := tx.entries(func(e *Entry) bool { some = append(some, e); return true },
				"SELECT seq, kind, target, at_from, at_to, recorded, by, body, hash FROM journal WHERE seq > ? ORDER BY seq LIMIT ?", after, portion); err != nil || len(some) == 0 {
				return err
			}
			for _, e := range some {
				if err := tx.reenter(e, corrections[e.Seq], site); err != nil {
					return err
				}
			}
			after = some[len(some)-1].Seq
		}
	}); err != nil {
		return err
	}
	tx.reading.reset()
	return tx.rebuildLineage()
}

// reenter puts what an entry of the journal says, after its corrections, into the records.
func (tx *Tx) reenter(e *Entry, corrections []*Entry, site lots.Site) error {
	switch {
	case e.Target != 0:
		return nil
	case e.Kind == kindAct:
		return tx.enterAct(e)
	}
	row, stands, err := currentRow(e, corrections)
	if err != nil {
		return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
	}
	sheet, ok := lots.SheetNamed(e.Kind)
	if !ok {
		return lots.Errorf(lots.Corrupt, "entry %d has the unknown kind %q", e.Seq, e.Kind)
	}
	if !stands {
		return nil
	}
	return tx.enter(e.Seq, sheet, row, site)
}

// siteIn reads the site's row in the journal, by which all other rows are read.
func (tx *Tx) siteIn(corrections map[int64][]*Entry) (lots.Site, error) {
	site := lots.DefaultSite()
	sheet, _ := lots.SheetNamed("site")
	err := tx.entries(func(e *Entry) bool {
		row, stands, err := currentRow(e, corrections[e.Seq])
		if err != nil || !stands {
			return true // what cannot be read is told when it is entered
		}
		rec, _, faults := lots.Decode(sheet, row, noCodes{})
		if len(faults) == 0 {
			site = *rec.(*lots.Site)
		}
		return len(faults) > 0
	}, "SELECT seq, kind, target, at_from, at_to, recorded, by, body, hash FROM journal WHERE kind = ? ORDER BY seq", sheet.Name)
	return site, err
}
