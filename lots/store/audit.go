package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// Audit reads the whole file through every index, re-reads the journal's chain, checks the seal, rebuilds records and
// lineage in a scratch database, and reports every difference. All of it is read in one snapshot: what others
// record meanwhile is no difference. progress is told what is being done. A journal that did not grow from the heads
// given is a difference too.
func (db *DB) Audit(ctx context.Context, progress func(step string), against ...Head) (report AuditReport, err error) {
	scratch, err := newScratch(ctx)
	if err != nil {
		return report, err
	}
	defer func() { err = cmp.Or(err, scratch.Close()) }()
	scratch.Limits, scratch.Now = db.Limits, db.Now
	err = db.View(ctx, func(tx *Tx) error {
		progress("reading the whole file")
		faults, err := tx.integrity()
		for _, f := range faults {
			report.add(0, "the file is damaged: %s", f)
		}
		if err != nil {
			report.unreadable(ctx, "the file", err)
		}
		progress("reading the journal's chain")
		if err := report.readChain(tx); err != nil {
			report.unreadable(ctx, "the journal", err)
			return ctx.Err()
		}
		for _, h := range against {
			odds, err := tx.extends(h)
			if err != nil {
				return err
			}
			if odds != "" {
				report.add(h.Seq, "%s", odds)
			}
		}
		report.checkSeal(ctx, tx)
		progress("rebuilding records and lineage")
		if err := tx.copyTo(ctx, scratch, func(*Entry) bool { return true }); err != nil {
			if ctx.Err() != nil {
				return err
			}
			report.add(0, "the journal cannot be rebuilt: %v", err)
			return nil
		}
		progress("comparing")
		return scratch.View(ctx, func(should *Tx) error { return report.compareAll(ctx, tx, should) })
	})
	return report, err
}

// integrity has SQLite read every page, every row and every entry of every index, and gives what it finds wrong.
//
// Some releases report a NULL, or a value of another type, in a column of a table WITHOUT ROWID whose columns are not
// stored in the order they were declared in (3.40 does so for arrival.finish): they look at the wrong place. So what it
// says about single values is looked up, and counts only if a row bears it out.
func (tx *Tx) integrity() (faults []string, err error) {
	var said []string
	err = tx.each(func(rows *sql.Rows) error {
		var text string
		err := rows.Scan(&text)
		if text != "ok" {
			said = append(said, text)
		}
		return err
	}, fmt.Sprintf("PRAGMA integrity_check(%d)", mostDifferences))
	for _, text := range said {
		if m := aboutValue.FindStringSubmatch(text); m != nil && err == nil {
			real, look := tx.bornOut(m[1], m[2], m[3])
			if look == nil && !real {
				continue
			}
		}
		faults = append(faults, text)
	}
	return faults, err
}

var aboutValue = regexp.MustCompile(`^(NULL|non-[A-Z]+|[A-Z]+) value in ([a-z_]+)\.([a-z_]+)$`)

// bornOut reports whether a table has a row whose value in a column is of a type that it must not be of.
func (tx *Tx) bornOut(what, table, column string) (bool, error) {
	var declared string
	if ok, err := tx.one([]any{&declared}, "SELECT type FROM pragma_table_info(?) WHERE name = ?", table, column); !ok || err != nil {
		return true, err
	}
	kind := map[string]string{"INTEGER": "'integer'", "REAL": "'real', 'integer'", "TEXT": "'text'", "BLOB": "'blob'"}[declared]
	if what != "NULL" {
		kind += ", 'null'"
	}
	var hit bool
	_, err := tx.one([]any{&hit}, fmt.Sprintf("SELECT EXISTS (SELECT 1 FROM %s NOT INDEXED WHERE typeof(%s) NOT IN (%s))", table, column, kind))
	return hit, err
}

// readChain checks every entry's hash.
func (r *AuditReport) readChain(tx *Tx) error {
	var prev []byte
	next := int64(1)
	return tx.Entries(0, func(e *Entry) bool {
		want, err := e.hashOf(prev)
		switch {
		case e.Seq != next:
			r.add(next, "entry %d is missing from the journal", next)
			next = e.Seq
		case err != nil || string(want) != string(e.Hash):
			r.add(e.Seq, "entry %d does not match its hash: it, or an entry before it, was changed after it was recorded", e.Seq)
		}
		prev = e.Hash
		next++
		r.Entries, r.Head, r.Short = e.Seq, fmt.Sprintf("%x", e.Hash), Head{e.Seq, e.Hash}.Short()
		return true
	})
}

// checkSeal checks that the derived rows are those that were written with the journal's last entry.
func (r *AuditReport) checkSeal(ctx context.Context, tx *Tx) {
	err := tx.belongs()
	if err == nil {
		var s seal
		var sum total
		if s, _, err = tx.seal(); err == nil {
			if sum, err = tx.sum(); err == nil && sum != s.sum {
				r.add(0, "the seal does not fit: records, lineage or answered forms were changed by something other than an entry")
			}
		}
		err = cmp.Or(err, tx.mirrors())
	}
	if err != nil {
		r.unreadable(ctx, "the seal", err)
	}
}

// compareAll compares all that follows from a journal with what a rebuild gives, and how the file is laid out.
func (r *AuditReport) compareAll(ctx context.Context, is, should *Tx) error {
	for _, part := range dumps {
		has, err := is.dump(part.query, part.entry)
		if err != nil {
			r.unreadable(ctx, "the table of a "+part.name, err)
			continue
		}
		wants, err := should.dump(part.query, part.entry)
		if err != nil {
			return err
		}
		r.Compared += len(wants)
		r.compare(part.name, has, wants)
	}
	return ctx.Err()
}

// AuditReport is what an audit found.
type AuditReport struct {
	Entries     int64    `json:"entries"`
	Head        string   `json:"head"`                  // hash of the last entry: written down elsewhere, it proves that none is missing at the end
	Short       string   `json:"short"`                 // the same, to be copied by hand
	Compared    int      `json:"compared"`              // rows of records and lineage compared
	FirstWrong  int64    `json:"first_wrong,omitempty"` // the first entry that is wrong, or that what is wrong comes from
	Differences []string `json:"differences"`
}

const mostDifferences = 50

// add reports a difference; entry is what it comes from, 0 where that is not known.
func (r *AuditReport) add(entry int64, format string, args ...any) {
	if entry > 0 && (r.FirstWrong == 0 || entry < r.FirstWrong) {
		r.FirstWrong = entry
	}
	if len(r.Differences) < mostDifferences {
		r.Differences = append(r.Differences, fmt.Sprintf(format, args...))
	}
}

// unreadable reports what cannot be read, unless reading was stopped.
func (r *AuditReport) unreadable(ctx context.Context, what string, err error) {
	if ctx.Err() == nil {
		r.add(0, "%s cannot be read as it should: %v", what, err)
	}
}

// compare reports rows that only one of two sorted dumps has.
func (r *AuditReport) compare(name string, is, should []dumped) {
	for len(is) > 0 || len(should) > 0 {
		switch {
		case len(should) == 0 || (len(is) > 0 && is[0].text < should[0].text):
			r.add(is[0].entry, "%s not in the journal: %s", name, is[0].text)
			is = is[1:]
		case len(is) == 0 || should[0].text < is[0].text:
			r.add(should[0].entry, "%s missing: %s", name, should[0].text)
			should = should[1:]
		default:
			is, should = is[1:], should[1:]
		}
	}
}

// dumps write every table that follows from the journal in terms of codes, so
// that two databases with different row numbers compare.
var dumps = []struct {
	name  string
	entry int // the column that holds the entry it comes from; -1 where none does
	query string
}{
	{"piece of the layout", -1, "SELECT type, name, tbl_name, sql FROM sqlite_schema"},
	{"record", 0, "SELECT seq, sheet, body, digest FROM record"},
	{"code", 2, "SELECT code, kind, seq FROM code"},
	{"mention", 1, "SELECT code, seq FROM mention"},
	{"act", 0, "SELECT seq, about, body FROM act"},
	{"printed text", 2, "SELECT text, kind, seq FROM printed"},
	{"what is stopped", 0, "SELECT seq, receipt, code, at_from, at_to, reason, over FROM stop"},
	{"place on a line", 0, "SELECT seq, line, start, finish, running FROM line_span"},
	{"moment of a clean, circulation, count or run", 3, "SELECT code, sheet, start, seq, finish FROM moment"},
	{"part of a vessel's books", -1, "SELECT vessel, since, opens, state FROM part"},
	{"move in a part", 2, "SELECT p.vessel, p.since, m.entry, m.start, m.finish FROM move m LEFT JOIN part p ON p.cell = m.cell"},
	{"node", 8, "SELECT n.kind, n.code, c.owner, n.home, n.since, n.until, n.total, n.den, n.entry FROM node n LEFT JOIN cell c ON c.id = n.cell"},
	{"link", 4, `SELECT s.kind, s.code, d.kind, d.code, l.entry, l.cause, l.grade, coalesce(l.qty, 'unknown'), l.at, c.owner
		FROM link l LEFT JOIN node s ON s.id = l.src LEFT JOIN node d ON d.id = l.dst LEFT JOIN cell c ON c.id = l.cell`},
	{"draw", 1, "SELECT c.owner, d.entry, d.start, d.finish, d.qty, d.state, d.fill, d.root, d.one_of, d.maybe FROM draw d JOIN cell c ON c.id = d.cell"},
	{"arrival", 1, "SELECT c.owner, a.entry, a.start, a.finish, a.fill FROM arrival a JOIN cell c ON c.id = a.cell"},
	{"pass", 2, "SELECT item, start, entry, dst, dst_kind, finish, srcs FROM pass"},
	{"finding", 4, "SELECT c.owner, f.name, f.code, f.text, f.entry FROM finding f JOIN cell c ON c.id = f.cell"},
}

// dumped is one row, and the entry it comes from.
type dumped struct {
	text  string
	entry int64
}

// dump runs a query and gives its rows as sorted lines.
func (tx *Tx) dump(query string, entry int) ([]dumped, error) {
	var lines []dumped
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
		line := dumped{text: strings.Join(parts, " | ")}
		if entry >= 0 {
			line.entry, _ = (*cells[entry].(*any)).(int64)
		}
		lines = append(lines, line)
		return nil
	}, query)
	slices.SortFunc(lines, func(a, b dumped) int { return cmp.Compare(a.text, b.text) })
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
