package sheet

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"heeltap/lots"
)

// page turns the rows of cells of one file or page into rows of its sheet.
type page struct {
	into   *reading
	sheet  *lots.Sheet
	file   string
	ragged bool // rows may have fewer or more cells than the heading, as in a workbook

	head   []string // column name at each place, once the heading was read
	line   int      // line of the heading
	first  int      // rows that were read before this page
	faults int
	closed bool            // nothing more is to be read
	sure   map[string]bool // columns of this row that hold a number of the workbook's own

	sums   sums
	doubts map[string]*doubtful // by column
	warned int                  // warnings that were given before this page
}

func (p *page) fault(line int, column, format string, args ...any) {
	p.into.fault(p.file, line, column, format, args...)
	if p.faults++; p.faults == maxFaults {
		p.into.fault(p.file, line, "", "has %d faults so far; the rest of it was not read", maxFaults)
		p.closed = true
	}
}

// column is the sheet's column at a place; false for the heading itself and
// where there is none.
func (p *page) column(place int) (lots.Column, bool) {
	if place >= len(p.head) {
		return lots.Column{}, false
	}
	return p.sheet.Column(p.head[place])
}

// add takes one row of cells.
func (p *page) add(line int, cells []string) {
	if p.closed || blank(cells) {
		return
	}
	if p.head == nil {
		p.heading(line, cells)
		return
	}
	if !p.rightWidth(line, cells) {
		return
	}
	row, sound, marked := make(lots.Row, len(cells)), true, false
	for i, cell := range cells[:min(len(cells), len(p.head))] {
		name, v := p.head[i], strings.TrimSpace(oneNewline(cell))
		if v == "" {
			continue
		}
		if reason := unreadable(v); reason != "" {
			p.fault(line, name, "%s", reason)
			sound = false
		}
		switch name {
		case faultColumn:
			marked = true
		case "":
			p.fault(line, "", "%q is in a column without a heading", shorten(v))
			sound = false
		default:
			row[name] = v
		}
	}
	switch {
	case !sound:
	case len(row) == 0 && marked:
		p.fault(line, faultColumn, "only the fault is left of this row: write the row or delete it")
	case len(row) > 0:
		p.take(line, row)
	}
}

// take puts a row into the words that records are kept in, unless something in it cannot be so.
func (p *page) take(line int, row lots.Row) {
	written := maps.Clone(row)
	doubts, faults := lots.Plain(p.sheet, row, lots.Manner{File: true, Decimal: p.into.how.Decimal, Sure: p.sure})
	if p.sums.totals(p.sheet, row) {
		p.fault(line, "", "%s", TotalsRow)
		p.refuse(line, written)
		return
	}
	broken := p.broken(line, written)
	for _, f := range faults {
		p.fault(line, f.Column, "%s", f.Reason)
	}
	if broken || len(faults) > 0 {
		p.refuse(line, written)
		return
	}
	p.suspect(line, written, doubts)
	p.sums.add(p.sheet, row)
	if maps.Equal(written, row) {
		written = nil
	}
	p.keep(line, row, written)
}

// refuse keeps a row that cannot be read, so that it can be corrected and need not be typed again.
func (p *page) refuse(line int, written lots.Row) {
	p.into.refused = append(p.into.refused, Row{Sheet: p.sheet, Row: written, File: p.file, Line: line})
}

func (p *page) keep(line int, row, written lots.Row) {
	if p.into.left == 0 {
		p.fault(line, "", "there are more than %d rows in all: import them in parts", maxRows)
		p.closed = true
		return
	}
	p.into.left--
	p.into.rows = append(p.into.rows, Row{Sheet: p.sheet, Row: row, File: p.file, Line: line, Written: written})
}

// rightWidth refuses a row that has not the heading's number of cells: a comma
// too many shifts all that follows it.
func (p *page) rightWidth(line int, cells []string) bool {
	n, want := len(cells), len(p.head)
	switch {
	case p.ragged && (n <= want || blank(cells[want:])):
		return true
	case p.ragged:
		p.fault(line, "", "%q is in a column without a heading", shorten(firstText(cells[want:])))
	case n > want:
		p.fault(line, "", "has %d cells where the heading has %d: a text with a comma needs quotes, and numbers a decimal point", n, want)
	case n < want:
		p.fault(line, "", "has %d cells where the heading has %d: a comma or a quote is missing", n, want)
	default:
		return true
	}
	return false
}

// heading reads the column names. A fault in it closes the page.
func (p *page) heading(line int, cells []string) {
	p.line = line
	before := p.faults
	if reason := p.noHeading(cells); reason != "" {
		p.fault(line, "", "%s", reason)
		p.closed = true
		return
	}
	head := make([]string, len(cells))
	for i, cell := range cells {
		name := strings.TrimSpace(cell)
		switch {
		case name == "":
		case unreadable(name) != "":
			p.fault(line, "", "the heading %s", unreadable(name))
		case slices.Contains(head[:i], name):
			p.fault(line, name, "appears twice in the heading")
		case name != faultColumn && !p.sheet.Has(name):
			p.fault(line, shorten(name), "%s", p.unknownColumn(name))
		}
		head[i] = name
	}
	if p.faults == before {
		p.required(line, head)
	}
	p.head = head
	p.closed = p.closed || p.faults > before
}

// noHeading says what is wrong with a heading that is not even cells.
func (p *page) noHeading(cells []string) string {
	if other := separator(cells); other != "" && p.separated(cells[0]) {
		return "is separated by " + other + ": save it comma-separated"
	}
	if slices.ContainsFunc(cells, func(c string) bool { return strings.ContainsRune(strings.TrimSpace(c), '\r') }) {
		return "the lines end in a carriage return alone: save the file as CSV UTF-8"
	}
	return ""
}

func (p *page) required(line int, head []string) {
	for _, c := range p.sheet.Columns {
		if c.Need && !slices.Contains(head, c.Name) {
			p.fault(line, c.Name, "this column is needed and missing from the heading")
		}
	}
}

func (p *page) unknownColumn(name string) string {
	near := lots.NearestOf(name, columnNames(p.sheet))
	if len(near) > 0 {
		return fmt.Sprintf("%s has no such column; did you mean %s?", p.sheet.Name, strings.Join(near, ", "))
	}
	return fmt.Sprintf("%s has no such column: it has %s", p.sheet.Name, strings.Join(columnNames(p.sheet), ", "))
}

// finish says what can only be said of a whole page: what may be meant otherwise, and that it had no heading.
func (p *page) finish() {
	p.warn()
	if p.head == nil && !p.closed {
		p.fault(1, "", "has no heading: write the column names %s", strings.Join(columnNames(p.sheet), ","))
	}
}

// separator tells what a heading that came as one cell may be separated by.
func separator(cells []string) string {
	if len(cells) != 1 {
		return ""
	}
	switch {
	case strings.Contains(cells[0], ";"):
		return "semicolons"
	case strings.Contains(cells[0], "\t"):
		return "tabs"
	case strings.Contains(cells[0], "|"):
		return "bars"
	}
	return ""
}

// separated reports whether a heading's only cell holds column names.
func (p *page) separated(cell string) bool {
	return slices.ContainsFunc(strings.FieldsFunc(cell, func(r rune) bool { return strings.ContainsRune(";\t|", r) }),
		func(name string) bool { return p.sheet.Has(strings.Trim(strings.TrimSpace(name), `"`)) })
}

// unreadable says why a cell cannot be kept; empty where it can.
func unreadable(v string) string {
	switch {
	case longerThan(v, maxCell):
		return fmt.Sprintf("is longer than %d characters", maxCell)
	case !utf8.ValidString(v):
		return "is not UTF-8: save the file as UTF-8"
	case strings.ContainsRune(v, 0):
		return "contains a zero byte"
	}
	return ""
}

// longerThan counts as workbooks do, in UTF-16 units.
func longerThan(v string, limit int) bool {
	if len(v) <= limit {
		return false
	}
	n := 0
	for _, r := range v {
		if n++; r > 0xFFFF {
			n++
		}
		if n > limit {
			return true
		}
	}
	return false
}

func blank(cells []string) bool { return firstText(cells) == "" }

func firstText(cells []string) string {
	for _, c := range cells {
		if c = strings.TrimSpace(c); c != "" {
			return c
		}
	}
	return ""
}

// shorten keeps a cell quoted in a fault readable.
func shorten(s string) string {
	const most = 40
	if r := []rune(strings.ToValidUTF8(s, "\uFFFD")); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
