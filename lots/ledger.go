package lots

import (
	"cmp"
	"slices"
	"strings"
)

// Describe tells what a code means from the row that introduced it. get finds
// that row (the first, where a code has several).
func Describe(code string, get Named) (Thing, bool) {
	sheet, row, ok := get(code)
	if !ok {
		return Thing{}, false
	}
	t := Thing{Kind: CodeKind(sheet)}
	t.Unit, _ = ParseUnit(row["unit"])
	switch sheet.Name {
	case "receipts", "crops":
		t.Into, t.Status = row["into"], row["status"]
		if _, item, ok := get(row["item"]); ok {
			t.ItemKind = item["kind"]
		}
	case "items":
		t.ItemKind = row["kind"]
	case "vessels":
		t.VesselKind = row["kind"]
	case "units":
		t.UnitKind, t.Unit = row["kind"], ""
		if _, run, ok := get(row["run"]); ok {
			t.packages(run, get)
		}
	case "runs":
		t.packages(row, get)
	}
	return t, true
}

// packages tells what a run fills.
func (t *Thing) packages(run Row, get Named) {
	if _, product, ok := get(run["product"]); ok {
		t.ContainerML, _ = ParseCount(product["container_ml"])
		t.PerCase, _ = ParseCount(product["per_case"])
	}
}

// CodeKind is the kind of thing a sheet's own code names; empty where its rows have none.
func CodeKind(s *Sheet) Kind {
	if s.Code == "" {
		return ""
	}
	c, _ := s.Column(s.Code)
	return c.Kinds[0]
}

// Mentions lists every code a row names, its own first, each once.
func Mentions(s *Sheet, row Row) []string {
	var out []string
	add := func(code string) {
		if code = strings.TrimSpace(code); code != "" && !slices.Contains(out, code) {
			out = append(out, code)
		}
	}
	for _, c := range s.Columns {
		v, ok := row[c.Name]
		if !ok {
			continue
		}
		switch c.Type {
		case NewCode, RefTo:
			add(v)
		case AnyOf:
			for code := range strings.SplitSeq(v, "|") {
				add(code)
			}
		case ListOf:
			for code := range strings.SplitSeq(v, ";") {
				add(code)
			}
		}
	}
	return out
}

// Entered is a row with its journal sequence.
type Entered struct {
	Seq   int64
	Sheet *Sheet
	Row   Row
}

// Ledger is a set of rows read as records, held in memory.
type Ledger struct {
	site    Site
	named   map[string]Entered
	records []Record
	touch   map[string][]Record
}

// NewLedger reads rows (in any order) into a ledger. Rows that cannot be
// understood are returned as faults, with Line set to the row's sequence, and left out.
func NewLedger(rows []Entered) (*Ledger, Faults) {
	l, faults, _ := ReadLedger(func(sheets []string, yield func(Entered)) error {
		for _, e := range rows {
			if slices.Contains(sheets, e.Sheet.Name) {
				yield(e)
			}
		}
		return nil
	})
	return l, faults
}

// ReadLedger is NewLedger for rows that are asked for by sheets: each row that introduces no code is forgotten once it is read.
func ReadLedger(ask func(sheets []string, yield func(Entered)) error) (*Ledger, Faults, error) {
	l := &Ledger{site: DefaultSite(), named: map[string]Entered{}, touch: map[string][]Record{}}
	var faults Faults
	read := func(e Entered) {
		rec, _, bad := Decode(e.Sheet, e.Row, l)
		for _, f := range bad {
			f.File, f.Line = e.Sheet.Name, int(e.Seq)
			faults = append(faults, f)
		}
		if rec != nil {
			l.add(e, rec)
		}
	}
	var coding, others []string
	for _, s := range Sheets {
		switch {
		case s.Name == "site":
		case s.Code != "":
			coding = append(coding, s.Name)
		default:
			others = append(others, s.Name)
		}
	}
	if err := ask([]string{"site"}, read); err != nil { // its zone and units decide how all else reads
		return nil, nil, err
	}
	var coded []Entered
	err := ask(coding, func(e Entered) {
		if code := e.Row[e.Sheet.Code]; code != "" {
			if old, ok := l.named[code]; !ok || e.Seq < old.Seq {
				l.named[code] = e
			}
		}
		coded = append(coded, e)
	})
	for _, e := range coded { // now that all codes are known
		read(e)
	}
	if err := cmp.Or(err, ask(others, read)); err != nil {
		return nil, nil, err
	}
	byEntry := func(a, b Record) int { return cmp.Compare(a.Entry(), b.Entry()) }
	slices.SortStableFunc(l.records, byEntry)
	for _, recs := range l.touch {
		slices.SortStableFunc(recs, byEntry)
	}
	return l, faults, nil
}

func (l *Ledger) add(e Entered, rec Record) {
	rec.(interface{ SetEntry(int64) }).SetEntry(e.Seq)
	if s, ok := rec.(*Site); ok {
		l.site = *s
	}
	l.records = append(l.records, rec)
	for _, code := range Mentions(e.Sheet, e.Row) {
		l.touch[code] = append(l.touch[code], rec)
	}
}

// Site gives the site's settings.
func (l *Ledger) Site() Site { return l.site }

// Records lists all records in journal order.
func (l *Ledger) Records() []Record { return l.records }

// Touching lists the records that name a code, in journal order.
func (l *Ledger) Touching(code string) []Record { return l.touch[code] }

// Codes lists every code of a kind, sorted.
func (l *Ledger) Codes(kind Kind) []string {
	var out []string
	for code, e := range l.named {
		if CodeKind(e.Sheet) == kind {
			out = append(out, code)
		}
	}
	slices.Sort(out)
	return out
}

// Thing tells what a code means.
func (l *Ledger) Thing(code string) (Thing, bool) { return Describe(code, l.introduced) }

func (l *Ledger) introduced(code string) (*Sheet, Row, bool) {
	e, ok := l.named[code]
	return e.Sheet, e.Row, ok
}

// Introduces gives the entry that introduced a code.
func (l *Ledger) Introduces(code string) (entry int64, ok bool) {
	e, ok := l.named[code]
	return e.Seq, ok
}

// Nearest names known codes that look like code.
func (l *Ledger) Nearest(code string, kinds ...Kind) []string {
	var all []string
	for c, e := range l.named {
		if len(kinds) == 0 || slices.Contains(kinds, CodeKind(e.Sheet)) {
			all = append(all, c)
		}
	}
	return NearestOf(code, all)
}
