package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// lineageTables are what a rebuild of the lineage empties.
var lineageTables = []string{"finding", "pass", "arrival", "draw", "link", "node", "cell"}

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
	if err := db.View(ctx, func(from *Tx) error { return from.copyTo(ctx, scratch, keep) }); err != nil {
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

// Audit re-reads the journal's chain, rebuilds records and lineage in a scratch
// database, and reports every difference. All of it is read in one snapshot: what others
// record meanwhile is no difference. progress is told what is being done.
func (db *DB) Audit(ctx context.Context, progress func(step string)) (report AuditReport, err error) {
	scratch, err := newScratch(ctx)
	if err != nil {
		return report, err
	}
	defer func() { err = cmp.Or(err, scratch.Close()) }()
	scratch.Limits, scratch.Now = db.Limits, db.Now
	err = db.View(ctx, func(tx *Tx) error {
		progress("reading the journal's chain")
		if err := report.readChain(tx); err != nil {
			return err
		}
		progress("rebuilding records and lineage")
		if err := tx.copyTo(ctx, scratch, func(*Entry) bool { return true }); err != nil {
			if ctx.Err() != nil {
				return err
			}
			report.add("the journal cannot be rebuilt: %v", err)
			return nil
		}
		progress("comparing")
		return scratch.View(ctx, func(should *Tx) error { return report.compareAll(tx, should) })
	})
	return report, err
}

// readChain checks every entry's hash.
func (r *AuditReport) readChain(tx *Tx) error {
	var prev []byte
	next := int64(1)
	return tx.Entries(0, func(e *Entry) bool {
		want, err := e.hashOf(prev)
		switch {
		case e.Seq != next:
			r.add("entry %d is missing from the journal", next)
			next = e.Seq
		case err != nil || string(want) != string(e.Hash):
			r.add("entry %d does not match its hash: it, or an entry before it, was changed after it was recorded", e.Seq)
		}
		prev = e.Hash
		next++
		r.Entries, r.Head = e.Seq, fmt.Sprintf("%x", e.Hash)
		return true
	})
}

// compareAll compares all that follows from a journal with what a rebuild gives.
func (r *AuditReport) compareAll(is, should *Tx) error {
	for _, part := range dumps {
		has, err := is.dump(part.query)
		if err != nil {
			return err
		}
		wants, err := should.dump(part.query)
		if err != nil {
			return err
		}
		r.Compared += len(wants)
		r.compare(part.name, has, wants)
	}
	return nil
}

// AuditReport is what an audit found.
type AuditReport struct {
	Entries     int64    `json:"entries"`
	Head        string   `json:"head"`     // hash of the last entry: written down elsewhere, it proves that none is missing at the end
	Compared    int      `json:"compared"` // rows of records and lineage compared
	Differences []string `json:"differences"`
}

const mostDifferences = 50

func (r *AuditReport) add(format string, args ...any) {
	if len(r.Differences) < mostDifferences {
		r.Differences = append(r.Differences, fmt.Sprintf(format, args...))
	}
}

// compare reports rows that only one of two sorted dumps has.
func (r *AuditReport) compare(name string, is, should []string) {
	for len(is) > 0 || len(should) > 0 {
		switch {
		case len(should) == 0 || (len(is) > 0 && is[0] < should[0]):
			r.add("%s not in the journal: %s", name, is[0])
			is = is[1:]
		case len(is) == 0 || should[0] < is[0]:
			r.add("%s missing: %s", name, should[0])
			should = should[1:]
		default:
			is, should = is[1:], should[1:]
		}
	}
}

// dumps write every table that follows from the journal in terms of codes, so
// that two databases with different row numbers compare.
var dumps = []struct{ name, query string }{
	{"record", "SELECT seq, sheet, body FROM record"},
	{"code", "SELECT code, kind, seq FROM code"},
	{"mention", "SELECT code, seq FROM mention"},
	{"act", "SELECT seq, about, body FROM act"},
	{"printed text", "SELECT text, kind, seq FROM printed"},
	{"what is stopped", "SELECT seq, receipt, code, at_from, at_to, reason, over FROM stop"},
	{"place on a line", "SELECT seq, line, start, finish, running FROM line_span"},
	{"node", "SELECT n.kind, n.code, c.owner, n.home, n.since, n.until, n.total, n.den, n.entry FROM node n LEFT JOIN cell c ON c.id = n.cell"},
	{"link", `SELECT s.kind, s.code, d.kind, d.code, l.entry, l.cause, l.grade, coalesce(l.qty, 'unknown'), l.at, c.owner
		FROM link l LEFT JOIN node s ON s.id = l.src LEFT JOIN node d ON d.id = l.dst LEFT JOIN cell c ON c.id = l.cell`},
	{"draw", "SELECT c.owner, d.entry, d.start, d.finish, d.qty, d.state, d.fill, d.root, d.one_of, d.maybe FROM draw d JOIN cell c ON c.id = d.cell"},
	{"arrival", "SELECT c.owner, a.entry, a.start, a.finish, a.fill FROM arrival a JOIN cell c ON c.id = a.cell"},
	{"pass", "SELECT item, start, entry, dst, dst_kind, finish, srcs FROM pass"},
	{"finding", "SELECT c.owner, f.name, f.code, f.text, f.entry FROM finding f JOIN cell c ON c.id = f.cell"},
}

// dump runs a query and gives its rows as sorted lines.
func (tx *Tx) dump(query string) ([]string, error) {
	var lines []string
	err := tx.each(func(rows *sql.Rows) error {
		names, err := rows.Columns()
		if err != nil {
			return err
		}
		cells := make([]any, len(names))
		for i := range cells {
			cells[i] = new(any)
		}
		if err := rows.Scan(cells...); err != nil {
			return err
		}
		parts := make([]string, len(cells))
		for i, c := range cells {
			parts[i] = cellText(*c.(*any))
		}
		lines = append(lines, strings.Join(parts, " | "))
		return nil
	}, query)
	slices.Sort(lines)
	return lines, err
}

func cellText(v any) string {
	switch x := v.(type) {
	case nil:
		return "-"
	case []byte:
		return string(x)
	case float64:
		if x == math.Trunc(x) && math.Abs(x) < 1e15 {
			return fmt.Sprintf("%.0f", x)
		}
		return fmt.Sprintf("%.12g", x)
	}
	return fmt.Sprint(v)
}
