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
	rows, err := tx.Everything()
	if err != nil {
		return err
	}
	ledger, faults := lots.NewLedger(rows)
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
	// Indexes are made after the tables are filled: that is faster than keeping them up row by row.
	names, texts, err := tx.lineageIndexes()
	if err != nil {
		return err
	}
	for _, name := range names {
		if _, err := tx.sql.ExecContext(tx.ctx, "DROP INDEX "+name); err != nil {
			return err
		}
	}
	if err := tx.load(delta); err != nil {
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

// lineageIndexes lists the indexes of the lineage's tables that only find rows, and the statements that make them.
func (tx *Tx) lineageIndexes() (names, texts []string, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var name, text string
		err := rows.Scan(&name, &text)
		names, texts = append(names, name), append(texts, text)
		return err
	}, "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql LIKE 'CREATE INDEX%' AND tbl_name IN (SELECT value FROM json_each(?)) ORDER BY name", jsonList(lineageTables))
	return names, texts, err
}

// load writes a whole lineage into empty tables. Nodes get their numbers in the
// order of their codes, links go in by key: both load fastest in that order.
func (tx *Tx) load(delta *lineage.Delta) error {
	owners := slices.Sorted(maps.Keys(delta.Cells))
	ids := map[lineage.Ref]int64{}
	a := &applying{tx: tx, ids: ids}
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

// rebuildRecords reads the journal anew into empty records and derives the lineage.
func (tx *Tx) rebuildRecords() error {
	entries := map[int64]*Entry{}
	corrections := map[int64][]*Entry{}
	root := map[int64]int64{}
	var order []int64
	err := tx.Entries(0, func(e *Entry) bool {
		if e.Target == 0 {
			root[e.Seq] = e.Seq
			entries[e.Seq] = e
			order = append(order, e.Seq)
		} else {
			root[e.Seq] = root[e.Target]
			corrections[root[e.Target]] = append(corrections[root[e.Target]], e)
		}
		return true
	})
	if err != nil {
		return err
	}
	site := siteIn(entries, corrections)
	for _, seq := range order {
		if entries[seq].Kind == kindAct {
			if err := tx.enterAct(entries[seq]); err != nil {
				return err
			}
			continue
		}
		row, stands, err := currentRow(entries[seq], corrections[seq])
		if err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", seq, err)
		}
		sheet, ok := lots.SheetNamed(entries[seq].Kind)
		if !ok {
			return lots.Errorf(lots.Corrupt, "entry %d has the unknown kind %q", seq, entries[seq].Kind)
		}
		if stands {
			if err := tx.enter(seq, sheet, row, site); err != nil {
				return err
			}
		}
	}
	tx.reading.reset()
	return tx.rebuildLineage()
}

// siteIn reads the site's row in a journal, by which all other rows are read.
func siteIn(entries map[int64]*Entry, corrections map[int64][]*Entry) lots.Site {
	for seq, e := range entries {
		sheet, ok := lots.SheetNamed(e.Kind)
		if !ok || sheet.Name != "site" {
			continue
		}
		row, stands, err := currentRow(e, corrections[seq])
		if err != nil || !stands {
			continue // what cannot be read is told when it is entered
		}
		if rec, _, faults := lots.Decode(sheet, row, noCodes{}); len(faults) == 0 {
			return *rec.(*lots.Site)
		}
	}
	return lots.DefaultSite()
}
