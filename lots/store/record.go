package store

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/lots"
)

// Statement is one row somebody wants to record.
type Statement struct {
	Sheet *lots.Sheet
	Row   lots.Row
	By    string // who says so, where the row itself does not name anyone
}

// RecordRows records rows together, in the order given: journal entries, records and
// lineage. Rows may name things that other rows of the batch introduce. Faults
// carry in Line the index of the row counted from 1; then nothing is recorded.
func (tx *Tx) RecordRows(rows []Statement) (seqs []int64, warnings, faults lots.Faults, err error) {
	b := &batch{tx: tx, rows: rows, codes: map[string]int{}, digests: map[int64][]int{}}
	b.check()
	if len(b.faults) > 0 || tx.err != nil {
		return nil, b.warnings, b.faults, tx.err
	}
	site := b.Site()
	head, _, _, err := tx.head()
	if err != nil {
		return nil, nil, nil, err
	}
	much, err := tx.isBulk(len(rows))
	if err != nil {
		return nil, nil, nil, err
	}
	write := func() error {
		for i := range rows {
			seq, err := b.write(i, site)
			if err != nil {
				return err
			}
			seqs = append(seqs, seq)
		}
		return nil
	}
	if much {
		b.records, b.codes, b.digests = nil, nil, nil // all is read anew when it is derived: memory must not hold it twice
		err = tx.inBulk(write)
	} else {
		err = write()
	}
	if err != nil {
		return nil, nil, nil, err
	}
	tx.reading.reset()
	if head != 0 && slices.ContainsFunc(rows, func(s Statement) bool { return s.Sheet.Name == "site" }) { // rows before these were read by another site
		if err := tx.rederiveRows(); err != nil {
			return nil, nil, nil, err
		}
	}
	switch {
	case !much:
		err = tx.derive(b.records)
	case !tx.later:
		err = cmp.Or(tx.err, tx.named(tx.rebuildLineage()))
	}
	return seqs, b.warnings, nil, err
}

// batch is a set of rows being checked against what is recorded and each other.
type batch struct {
	tx       *Tx
	rows     []Statement
	records  []lots.Record
	codes    map[string]int // code to the first row of the batch that introduces it
	digests  map[int64][]int
	apart    bool // rows of one code may contradict each other for now
	warnings lots.Faults
	faults   lots.Faults
}

func (b *batch) fault(i int, column, format string, args ...any) {
	b.faults = append(b.faults, lots.Fault{Line: i + 1, Column: column, Reason: fmt.Sprintf(format, args...)})
}

// Site, Thing and Nearest read codes as they will stand with the batch.
func (b *batch) Site() lots.Site {
	for _, s := range b.rows {
		if s.Sheet.Name == "site" {
			if rec, _, faults := lots.Decode(s.Sheet, s.Row, noCodes{}); len(faults) == 0 {
				return *rec.(*lots.Site)
			}
		}
	}
	return b.tx.Site()
}

// noCodes reads a site row, which names nothing.
type noCodes struct{}

func (noCodes) Site() lots.Site                       { return lots.DefaultSite() }
func (noCodes) Thing(string) (lots.Thing, bool)       { return lots.Thing{}, false }
func (noCodes) Nearest(string, ...lots.Kind) []string { return nil }

func (b *batch) Thing(code string) (lots.Thing, bool) { return lots.Describe(code, b.introduced) }

func (b *batch) introduced(code string) (*lots.Sheet, lots.Row, bool) {
	if i := b.tx.introduced(code); i.ok {
		return i.Sheet, i.Row, true
	}
	if i, ok := b.codes[code]; ok {
		return b.rows[i].Sheet, b.rows[i].Row, true
	}
	return nil, nil, false
}

func (b *batch) Nearest(code string, kinds ...lots.Kind) []string {
	known := b.tx.Nearest(code, kinds...)
	for c, i := range b.codes {
		if k := lots.CodeKind(b.rows[i].Sheet); len(kinds) == 0 || slices.Contains(kinds, k) {
			known = append(known, c)
		}
	}
	return lots.NearestOf(code, known)
}

// check finds everything wrong with the batch in one pass.
func (b *batch) check() {
	refused := make([]bool, len(b.rows))
	for i, s := range b.rows {
		before := len(b.faults)
		b.claim(i, s)
		refused[i] = len(b.faults) > before
	}
	site := b.Site()
	look := fixedSite{b, site}
	b.records = make([]lots.Record, len(b.rows))
	for i, s := range b.rows {
		rec, warnings, faults := lots.Decode(s.Sheet, s.Row, look)
		for _, w := range warnings {
			w.Line = i + 1
			b.warnings = append(b.warnings, w)
		}
		for _, f := range faults {
			f.Line = i + 1
			b.faults = append(b.faults, f)
		}
		b.records[i] = rec
		if !refused[i] { // a taken code says already what a twin would
			b.already(i, s, look)
		}
	}
	for i, rec := range b.records {
		if rec != nil && !b.apart {
			b.agree(i, look)
		}
	}
}

// fixedSite answers for the site once instead of for every time that is read.
type fixedSite struct {
	*batch
	site lots.Site
}

func (f fixedSite) Site() lots.Site { return f.site }

// claim registers the code a row introduces and refuses one that is taken.
func (b *batch) claim(i int, s Statement) {
	code := s.Row[s.Sheet.Code]
	if s.Sheet.Name == "site" {
		b.oneSite(i)
	}
	if s.Sheet.Code == "" || code == "" {
		return
	}
	kind := lots.CodeKind(s.Sheet)
	if entry, k, ok := b.tx.Introduces(code); ok {
		b.taken(i, s, code, kind, k, fmt.Sprintf("entry %d", entry))
		return
	}
	if j, ok := b.codes[code]; ok {
		b.taken(i, s, code, kind, lots.CodeKind(b.rows[j].Sheet), "another row")
		return
	}
	b.codes[code] = i
}

func (b *batch) taken(i int, s Statement, code string, want, have lots.Kind, where string) {
	switch {
	case want != have:
		b.fault(i, s.Sheet.Code, "%s already names a %s (%s): choose another code", code, have, where)
	case s.Sheet.OneRow || !b.sameSheet(s, code):
		b.fault(i, s.Sheet.Code, "%s %s is already recorded (%s); correct it with amend", have, code, where)
	}
}

// sameSheet reports whether a code was introduced by a row of the same sheet: a
// lot can be received or cropped, but not both.
func (b *batch) sameSheet(s Statement, code string) bool {
	sheet, _, ok := b.introduced(code)
	return !ok || sheet == s.Sheet
}

func (b *batch) oneSite(i int) {
	rows, err := b.tx.All("site")
	b.tx.fail(err)
	if len(rows) > 0 {
		b.fault(i, "", "the site is already recorded (entry %d); correct it with amend", rows[0].Seq)
	}
	for j := range b.rows[:i] {
		if b.rows[j].Sheet.Name == "site" {
			b.fault(i, "", "there can be only one site row")
		}
	}
}

// already refuses a row that is recorded already, and a twin within the batch, however it is
// spelled. A row that was recorded once stays recorded: it may have been before values counted.
func (b *batch) already(i int, s Statement, look lots.Lookup) {
	if b.tx.again {
		return
	}
	hint := ""
	if s.Sheet.Has("ref") {
		hint = "; if it really happened twice, tell the rows apart with ref"
	}
	entry, err := b.tx.recordedAs(s.Sheet, s.Row, look)
	b.tx.fail(err)
	if entry != 0 {
		b.fault(i, "", "is already recorded (entry %d)%s", entry, hint)
		return
	}
	digest := digestOf(s.Sheet, s.Row, look.Site())
	for _, j := range b.digests[digest] {
		if b.rows[j].Sheet == s.Sheet && lots.SameRow(s.Sheet, b.rows[j].Row, s.Row, look) {
			b.fault(i, "", "appears twice in this input%s", hint)
			return
		}
	}
	b.digests[digest] = append(b.digests[digest], i)
}

// agree refuses rows of one code that contradict each other.
func (b *batch) agree(i int, look lots.Lookup) {
	s := b.rows[i]
	if len(s.Sheet.Shared) == 0 {
		return
	}
	sheet, first, ok := b.introduced(s.Row[s.Sheet.Code])
	if !ok || sheet != s.Sheet {
		return
	}
	for _, c := range sheet.Shared {
		if !lots.SameValue(sheet, c, first, s.Row, look) {
			b.fault(i, c, "is %q here but %q in another row of %s: it must be the same in all of them", s.Row[c], first[c], s.Row[sheet.Code])
		}
	}
}

// write journals one row of the batch and enters it into the records.
func (b *batch) write(i int, site lots.Site) (int64, error) {
	s := b.rows[i]
	body, err := canonical(s.Row)
	if err != nil {
		return 0, err
	}
	e := &Entry{Kind: s.Sheet.Name, Body: body, By: cmp.Or(s.Row["by"], s.By), At: happened(s.Sheet, s.Row, site)}
	if err := b.tx.append(e); err != nil {
		return 0, err
	}
	if b.records != nil {
		b.records[i].(interface{ SetEntry(int64) }).SetEntry(e.Seq)
	}
	return e.Seq, b.tx.enter(e.Seq, s.Sheet, s.Row, site)
}

// happened reads when a row's matter happened; nil for reference data and rows without a time of their own.
func happened(s *lots.Sheet, row lots.Row, site lots.Site) *lots.When {
	if s.When == "" || row[s.When] == "" {
		return nil
	}
	w, _, err := lots.ParseWhen(row[s.When], site.Zone)
	if err != nil {
		return nil
	}
	return &w
}

// enter puts a row into the records under its entry.
func (tx *Tx) enter(seq int64, s *lots.Sheet, row lots.Row, site lots.Site) error {
	body, err := canonical(row)
	if err != nil {
		return err
	}
	if err := tx.exec("INSERT INTO record(seq, sheet, body, digest) VALUES (?,?,?,?)", seq, s.Name, body, digestOf(s, row, site)); err != nil {
		return err
	}
	return cmp.Or(tx.names(seq, s, row), tx.enterSpan(seq, s, row, site), tx.enterMoment(seq, s, row, site), tx.enterStop(seq, s, row, site))
}

// leave takes a row out of the records.
func (tx *Tx) leave(seq int64, s *lots.Sheet, row lots.Row) error {
	for _, q := range []string{"DELETE FROM record WHERE seq = ?", "DELETE FROM mention WHERE seq = ?", "DELETE FROM printed WHERE seq = ?", "DELETE FROM code WHERE seq = ?", "DELETE FROM line_span WHERE seq = ?", "DELETE FROM moment WHERE seq = ?"} {
		if err := tx.exec(q, seq); err != nil {
			return err
		}
	}
	if err := tx.leaveStop(seq, s, row); err != nil {
		return err
	}
	if code := row[s.Code]; s.Code != "" && code != "" { // another row of the same code may introduce it now
		return tx.exec(`INSERT INTO code(code, kind, seq) SELECT ?1, ?2, r.seq FROM mention m JOIN record r ON r.seq = m.seq
			WHERE m.code = ?1 AND r.sheet = ?3 AND json_extract(r.body, '$.' || ?4) = ?1 ORDER BY r.seq LIMIT 1 ON CONFLICT DO NOTHING`,
			code, lots.CodeKind(s), s.Name, s.Code)
	}
	return nil
}
