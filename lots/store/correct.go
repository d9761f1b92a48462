package store

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"maps"
	"slices"
	"strings"

	"heeltap/lots"
)

// isReference reports whether a sheet holds what other rows are read by: correcting one reads everything anew.
func isReference(s *lots.Sheet) bool {
	switch s.Name {
	case "site", "items", "vessels", "lines", "products":
		return true
	}
	return false
}

// Amend corrects an entry: columns in set get new text (empty takes a cell away).
func (tx *Tx) Amend(entry int64, set map[string]string, reason, by string) (int64, error) {
	target, row, err := tx.correctable(entry, reason, by)
	if err != nil {
		return 0, err
	}
	if len(set) == 0 {
		return 0, lots.Errorf(lots.Invalid, "nothing to amend: give COLUMN=VALUE")
	}
	for name, value := range set {
		switch {
		case !target.Sheet.Has(name):
			return 0, lots.Errorf(lots.Invalid, "%s has no column %q; it has %s", target.Sheet.Name, name, columnNames(target.Sheet))
		case name == target.Sheet.Code && value != row[name]:
			return 0, lots.Errorf(lots.Invalid, "the code %s cannot be changed, because tags and papers carry it: void the entry and record it again under another code", row[name])
		case value == "":
			delete(row, name)
		default:
			row[name] = value
		}
	}
	if maps.Equal(row, target.Row) {
		return 0, lots.Errorf(lots.Invalid, "entry %d already reads like that", entry)
	}
	return tx.correct(kindAmend, target, row, true, correction{Reason: reason, Set: set}, by)
}

// AmendAll corrects several rows alike: what all rows of a code share can only be amended in all of them.
func (tx *Tx) AmendAll(entries []int64, set map[string]string, reason, by string) (corrections []int64, err error) {
	err = tx.jointly(func() error {
		for _, entry := range entries {
			c, err := tx.Amend(entry, set, reason, by)
			if err != nil {
				return err
			}
			corrections = append(corrections, c)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, entry := range entries {
		if err := tx.agreeing(entry); err != nil {
			return nil, err
		}
	}
	return corrections, tx.err
}

// agreeing refuses a corrected row that contradicts another row of its code.
func (tx *Tx) agreeing(entry int64) error {
	row, ok := tx.Row(entry)
	if !ok || len(row.Sheet.Shared) == 0 {
		return tx.err
	}
	code := row.Row[row.Sheet.Code]
	all, err := tx.RowsOf(code)
	for _, other := range all {
		for _, c := range row.Sheet.Shared {
			if other.Sheet == row.Sheet && !lots.SameValue(row.Sheet, c, other.Row, row.Row, tx) {
				return lots.Errorf(lots.Invalid, "the corrected %s cannot be recorded: %s is %q in another row of %s and must be the same in all of them: amend %s",
					row.Sheet.Noun, c, other.Row[c], code, code)
			}
		}
	}
	return err
}

// jointly makes several corrections as one: rows may contradict each other in between, and the lineage is derived once.
func (tx *Tx) jointly(f func() error) error {
	tx.joint = &[]lots.Record{}
	err := f()
	changed := *tx.joint
	tx.joint = nil
	if err != nil {
		return err
	}
	return tx.derive(changed)
}

// Root is the row's entry that a correction corrects in the end; of a row's entry it is that itself.
func (tx *Tx) Root(entry int64) (int64, error) {
	for {
		e, ok, err := tx.Entry(entry)
		switch {
		case err != nil:
			return 0, err
		case !ok:
			return 0, lots.Errorf(lots.NotFound, "there is no entry %d", entry)
		case e.Target == 0:
			return entry, nil
		}
		entry = e.Target
	}
}

// TakenBack finds the void that took back the last row that introduced a code.
func (tx *Tx) TakenBack(code string) (*Entry, bool) {
	var found *Entry
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var kind string
		var body []byte
		e, err := scanEntry(rows, &kind, &body)
		if err != nil {
			return err
		}
		var row lots.Row
		if s, ok := lots.SheetNamed(kind); ok && json.Unmarshal(body, &row) == nil && row[s.Code] == code {
			found = e
		}
		return nil
	}, `SELECT v.seq, v.kind, v.target, v.at_from, v.at_to, v.recorded, v.by, v.body, v.hash, r.kind, r.body FROM journal v JOIN journal r ON r.seq = v.target
		WHERE v.target IS NOT NULL AND v.kind = ? ORDER BY v.seq`, kindVoid))
	return found, found != nil
}

// Reason is why a correction was made; empty for other entries.
func (e *Entry) Reason() string {
	var k correction
	if e.Target == 0 || json.Unmarshal([]byte(e.Body), &k) != nil {
		return ""
	}
	return k.Reason
}

func columnNames(s *lots.Sheet) string {
	var names []string
	for _, c := range s.Columns {
		names = append(names, c.Name)
	}
	return strings.Join(names, ", ")
}

// Void takes an entry back: it stays in the journal and no longer counts. Void of a
// correction takes that correction back.
func (tx *Tx) Void(entry int64, reason, by string) (int64, error) {
	e, ok, err := tx.Entry(entry)
	if err != nil {
		return 0, err
	}
	if ok && (e.Kind == kindAmend || e.Kind == kindVoid) {
		return tx.voidCorrection(e, reason, by)
	}
	target, row, err := tx.correctable(entry, reason, by)
	if err != nil {
		return 0, err
	}
	return tx.correct(kindVoid, target, row, false, correction{Reason: reason}, by)
}

// VoidAll takes several rows back together: each before those that it names, so that nothing is left that names what is gone. The
// lineage is derived once.
func (tx *Tx) VoidAll(entries []int64, reason, by string) (voided, corrections []int64, err error) {
	order, err := tx.takersFirst(entries)
	if err != nil {
		return nil, nil, err
	}
	rebuild, later := false, tx.later
	err = tx.jointly(func() error {
		for _, entry := range order {
			row, ok := tx.Row(entry)
			reference := ok && isReference(row.Sheet)
			rebuild = rebuild || reference
			tx.later = later || rebuild // a rebuild derives all of it
			c, err := tx.Void(entry, reason, by)
			if err != nil {
				return err
			}
			corrections = append(corrections, c)
		}
		return nil
	})
	if tx.later = later; err == nil && rebuild && !later {
		clear(tx.reading.homes)
		err = tx.named(tx.rebuildLineage())
	}
	return order, corrections, cmp.Or(err, tx.err)
}

// takersFirst puts rows in an order in which each comes before those whose codes it names. Corrections and steps among the entries
// are passed over: they go with their rows, or cannot be taken back.
func (tx *Tx) takersFirst(entries []int64) ([]int64, error) {
	rows := map[int64]lots.Entered{}
	naming := map[string][]int64{}
	for _, seq := range entries {
		row, ok := tx.Row(seq)
		if !ok {
			continue
		}
		rows[seq] = row
		for _, code := range lots.Mentions(row.Sheet, row.Row) {
			if row.Sheet.Code == "" || code != row.Row[row.Sheet.Code] {
				naming[code] = append(naming[code], seq)
			}
		}
	}
	var order []int64
	var visit func(seq int64)
	seen := map[int64]bool{}
	visit = func(seq int64) {
		row, ok := rows[seq]
		if !ok || seen[seq] {
			return
		}
		seen[seq] = true
		if code := row.Row[row.Sheet.Code]; row.Sheet.Code != "" && code != "" {
			for _, taker := range naming[code] {
				visit(taker)
			}
		}
		order = append(order, seq)
	}
	for i := len(entries) - 1; i >= 0; i-- {
		visit(entries[i])
	}
	return order, tx.err
}

// voidCorrection takes back an amend or a void.
func (tx *Tx) voidCorrection(e *Entry, reason, by string) (int64, error) {
	if reason == "" || by == "" {
		return 0, lots.Errorf(lots.Invalid, "a correction needs a reason and a name")
	}
	seq, err := tx.Root(e.Seq)
	if err != nil {
		return 0, err
	}
	root, _, err := tx.Entry(seq)
	if err != nil {
		return 0, err
	}
	corrections, err := tx.Corrections(root.Seq)
	if err != nil {
		return 0, err
	}
	before, stands, err := currentRow(root, corrections)
	if err != nil {
		return 0, err
	}
	after, standsThen, err := currentRow(root, append(corrections, &Entry{Seq: 1 << 62, Kind: kindVoid, Target: e.Seq}))
	if err != nil {
		return 0, err
	}
	if stands == standsThen && maps.Equal(before, after) {
		return 0, lots.Errorf(lots.Invalid, "entry %d has already been undone", e.Seq)
	}
	sheet, _ := lots.SheetNamed(root.Kind)
	target := lots.Entered{Seq: root.Seq, Sheet: sheet, Row: before}
	if !stands {
		target.Row = nil
	}
	return tx.correctAs(kindVoid, e.Seq, target, after, standsThen, correction{Reason: reason}, by)
}

// correctable finds the row an entry states and refuses what cannot be corrected.
func (tx *Tx) correctable(entry int64, reason, by string) (lots.Entered, lots.Row, error) {
	if reason == "" || by == "" {
		return lots.Entered{}, nil, lots.Errorf(lots.Invalid, "a correction needs a reason and a name")
	}
	target, ok := tx.Row(entry)
	if ok {
		return target, maps.Clone(target.Row), tx.err
	}
	e, ok, err := tx.Entry(entry)
	switch {
	case err != nil:
		return lots.Entered{}, nil, err
	case !ok:
		return lots.Entered{}, nil, lots.Errorf(lots.NotFound, "there is no entry %d", entry)
	case e.Kind == kindAct:
		return lots.Entered{}, nil, lots.Errorf(lots.Invalid, "entry %d is a step, not a row: take another step instead", entry)
	case e.Kind == kindAmend || e.Kind == kindVoid:
		return lots.Entered{}, nil, lots.Errorf(lots.Invalid, "entry %d is a correction itself: amend the entry it corrects (%d), or void it", entry, e.Target)
	}
	return lots.Entered{}, nil, lots.Errorf(lots.Conflict, "entry %d is already void", entry)
}

func (tx *Tx) correct(kind string, target lots.Entered, row lots.Row, stands bool, body correction, by string) (int64, error) {
	return tx.correctAs(kind, target.Seq, target, row, stands, body, by)
}

// correctAs journals a correction of entry aim and re-reads target's row; a target
// without a row was void before.
func (tx *Tx) correctAs(kind string, aim int64, target lots.Entered, row lots.Row, stands bool, body correction, by string) (int64, error) {
	text, err := canonical(body)
	if err != nil {
		return 0, err
	}
	e := &Entry{Kind: kind, Target: aim, By: by, Body: text}
	if stands {
		e.At = happened(target.Sheet, row, tx.Site())
	}
	if err := tx.append(e); err != nil {
		return 0, err
	}
	var changed []lots.Record
	if target.Row != nil {
		if old, ok := tx.Record(target.Seq); ok {
			changed = append(changed, old)
		}
		if err := tx.unused(target, row, stands); err != nil {
			return 0, err
		}
		changed = append(changed, tx.readBy(target)...)
		if err := tx.leave(target.Seq, target.Sheet, target.Row); err != nil {
			return 0, err
		}
	}
	tx.reading.reset()
	if stands {
		if err := tx.restate(target, row); err != nil {
			return 0, err
		}
		if now, ok := tx.Record(target.Seq); ok {
			changed = append(changed, now)
		}
		changed = append(changed, tx.readBy(lots.Entered{Seq: target.Seq, Sheet: target.Sheet, Row: row})...)
	}
	if target.Sheet.Name == "site" {
		if err := tx.rederiveRows(); err != nil {
			return 0, err
		}
	}
	if tx.joint != nil && !isReference(target.Sheet) {
		*tx.joint = append(*tx.joint, changed...)
		return e.Seq, nil
	}
	if isReference(target.Sheet) && !tx.later {
		defer clear(tx.reading.homes)
		return e.Seq, tx.named(tx.rebuildLineage())
	}
	return e.Seq, tx.derive(changed)
}

// readBy lists the records that name what a row introduces: they may read differently now.
func (tx *Tx) readBy(e lots.Entered) []lots.Record {
	code := e.Row[e.Sheet.Code]
	if e.Sheet.Code == "" || code == "" {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(tx.Touching(code)), func(r lots.Record) bool { return r.Entry() == e.Seq })
}

// unused refuses to void a row whose code others name.
func (tx *Tx) unused(target lots.Entered, row lots.Row, stands bool) error {
	if stands {
		return nil
	}
	code := target.Row[target.Sheet.Code]
	if target.Sheet.Code == "" || code == "" {
		return nil
	}
	for _, rec := range tx.Touching(code) {
		if rec.Entry() == target.Seq {
			continue
		}
		other := tx.reading.rows[rec.Entry()]
		if other.Sheet == target.Sheet && other.Row[other.Sheet.Code] == code {
			return nil // another row introduces it still
		}
	}
	for _, rec := range tx.Touching(code) {
		if rec.Entry() != target.Seq {
			other := tx.reading.rows[rec.Entry()]
			return lots.Errorf(lots.Conflict, "entry %d (%s) still names %s: void or amend that first", rec.Entry(), other.Sheet.Noun, code)
		}
	}
	return nil
}

// restate checks a corrected row like a new one and enters it under its old entry.
func (tx *Tx) restate(target lots.Entered, row lots.Row) error {
	b := &batch{tx: tx, rows: []Statement{{Sheet: target.Sheet, Row: row}}, codes: map[string]int{}, digests: map[int64][]int{}, apart: tx.joint != nil}
	b.check()
	if len(b.faults) > 0 {
		for i := range b.faults {
			b.faults[i].Line = 0
		}
		return lots.Errorf(lots.Invalid, "the corrected %s cannot be recorded: %w", target.Sheet.Noun, b.faults)
	}
	if err := tx.enter(target.Seq, target.Sheet, row, b.Site()); err != nil {
		return err
	}
	tx.reading.reset() // while it was checked its code named nothing
	return nil
}
