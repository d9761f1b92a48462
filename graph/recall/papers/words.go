package papers

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/graph/recall/printed"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// quantity writes an amount with its unit as people say it: 1 case, 6 kegs, 2.5 hL.
func quantity(n float64, unit string) string {
	text := lots.FigureOf(n, unit) + " " + unit
	if (unit == "case" || unit == "keg") && n != 1 {
		text += "s"
	}
	return strings.TrimSpace(text)
}

// casesAndKegs names both where there are any; none of either is "0 cases".
func casesAndKegs(cases, kegs float64) string {
	return lots.Packages{Cases: cases, Kegs: kegs}.String()
}

func caseOrKeg(kegs bool) string {
	if kegs {
		return "keg"
	}
	return "case"
}

// party names a party, with its code before it.
func (m *Maker) party(code string) string {
	if p, ok := m.tx.Party(code); ok && p.Name != "" {
		return code + " " + p.Name
	}
	return code
}

// were is a quantity as the subject of a sentence.
func were(n float64, unit string) string {
	if n == 1 {
		return quantity(n, unit) + " was"
	}
	return quantity(n, unit) + " were"
}

func countOf(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return whole(n) + " " + many
}

func num(n float64) string { return lots.Figure(n) }

// numOr is a number, or nothing for none: so that a table shows what there is.
func numOr(n float64) string {
	if n == 0 {
		return ""
	}
	return num(n)
}

func whole[T int | int64](n T) string { return strconv.FormatInt(int64(n), 10) }

func day(at string) string {
	if len(at) < 10 {
		return at
	}
	return at[:10]
}

// between says from when to when; one day is no span.
func between(first, last string) string {
	if first == last {
		return "on " + first
	}
	return "between " + first + " and " + last
}

func or(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// filled leaves out the columns of a table in which nothing stands.
func filled(t paper.Table) paper.Table {
	out := paper.Table{Note: t.Note, Rows: make([][]string, len(t.Rows))}
	for i, head := range t.Head {
		if !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[i] != "" }) {
			continue
		}
		out.Head = append(out.Head, head)
		for k, row := range t.Rows {
			out.Rows[k] = append(out.Rows[k], row[i])
		}
	}
	return out
}

// withoutNaught leaves out the columns of numbers in which every row is 0, and says so; those named stay.
func withoutNaught(t paper.Table, stay ...string) paper.Table {
	out := paper.Table{Note: t.Note, Rows: make([][]string, len(t.Rows))}
	for i, head := range t.Head {
		name, number := strings.CutPrefix(head, "#")
		naught := number && len(t.Rows) > 0 && !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[i] != "0" })
		if naught && !slices.Contains(stay, name) {
			continue
		}
		out.Head = append(out.Head, head)
		for k, row := range t.Rows {
			out.Rows[k] = append(out.Rows[k], row[i])
		}
	}
	if len(out.Head) < len(t.Head) {
		out.Note += " Columns that would hold nothing but 0 are left out."
	}
	return out
}

// stamp matches a moment as records and answers write it.
var stamp = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)`)

// plain writes the moments within a text as the paper's other times: site time, to the minute.
func (m *Maker) plain(text string) string {
	return stamp.ReplaceAllStringFunc(text, func(at string) string {
		for _, layout := range []string{time.RFC3339, "2006-01-02T15:04Z07:00"} {
			if t, err := time.Parse(layout, at); err == nil {
				return m.time(t.Unix())
			}
		}
		return at
	})
}

// nameAndSize joins a product's name with its size, and says no measure twice: names often end in it.
func nameAndSize(name, size string) string {
	first, rest, more := strings.Cut(size, ", ")
	if !says(name, first) {
		return name + ", " + size
	}
	if more {
		return name + ", " + rest
	}
	return name
}

// says reports whether a name has a measure in it, blanks and case aside.
func says(name, measure string) bool {
	tight := func(s string) string { return strings.ToLower(strings.ReplaceAll(s, " ", "")) }
	before, _, found := strings.Cut(tight(name), tight(measure))
	if !found || before == "" {
		return found
	}
	last := before[len(before)-1]
	return last < '0' || last > '9'
}

// productName names one product with its size; what a correction left no record of is said to have none.
func (m *Maker) productName(code string) string {
	if code == "" {
		return notOnRecord
	}
	return nameAndSize(printed.ProductText(m.tx, code))
}

const notOnRecord = "not on record"

// productText names products with their sizes, and the number of their bar code where it is known.
func (m *Maker) productText(codes string) string {
	var out []string
	for _, code := range strings.Split(codes, ", ") {
		text := m.productName(code)
		if p, ok := m.tx.Product(code); ok && p.GTIN != "" {
			text += ", bar code " + p.GTIN
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// ruleText reads a printed rule out. A list of keg numbers is a rule only where it is whole: kegs
// of that code that are on no number are affected like the others.
func (m *Maker) ruleText(r printed.Rule) string {
	kegs := r.Kegs
	r.Kegs = nil
	text := r.Text()
	if rest, ok := strings.CutPrefix(text, r.Name+", "+r.Size); ok {
		text = nameAndSize(r.Name, r.Size) + rest
	}
	if len(kegs) == 0 {
		return text
	}
	if loose := m.looseKegs(r); loose > 0 {
		return text + ": every keg that bears it, whatever its number. We know it of " + strings.Join(kegs, ", ") + "; " +
			moreKegs(loose) + " not on record"
	}
	return text + "; keg numbers " + strings.Join(kegs, ", ")
}

// moreKegs begins a clause on kegs of which only the code is known.
func moreKegs(n int64) string {
	if n == 1 {
		return "1 more keg may bear it, and its number is"
	}
	return whole(n) + " more kegs may bear it, and their numbers are"
}

// looseKegs counts what was filled of a rule's product and codes and is on no keg's number.
func (m *Maker) looseKegs(r printed.Rule) (loose int64) {
	for _, run := range m.s.Answer.Runs {
		bears := slices.ContainsFunc(run.DateCodes, func(c string) bool { return slices.Contains(r.Codes, c) })
		if run.Product == r.Product && bears {
			loose += run.Unassigned
		}
	}
	return loose
}

// word is what one row of a sheet is called: a shipment, of shipments.
func word(kind string) string {
	if sheet, ok := lots.SheetNamed(kind); ok {
		return sheet.Noun
	}
	return kind
}
