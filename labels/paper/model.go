// Package paper makes documents that people print, sign and send: headings, text, tables,
// forms and a picture of flows. One [Document] is written as PDF, as one HTML page that needs
// nothing else, and as plain text for an e-mail.
//
// The same document gives the same bytes each time: it reads no clock, no file and no
// environment. No text is cut: what does not fit is wrapped, or stands in full elsewhere on
// the page. Everything is drawn in black and grey, but for a title that has to be conspicuous,
// and nothing is told apart by colour alone.
//
// The package knows nothing of what its papers are about. Of the rest of the program it
// imports only the tags, for their typeface and their QR code.
package paper

import (
	"slices"
	"strings"
	"time"
)

// Document is one paper.
type Document struct {
	Title, Subtitle string
	Marks           []string  // what it is and is not, large at the head of each page: DRAFT, EXERCISE
	Footer          string    // at the foot of each page, beside its number
	Dated           time.Time // noted in the PDF file; zero means the start of 1970
	Letter          bool      // US Letter; else A4
	Red             bool      // the title is red as well as bold: it has to be conspicuous
	Parts           []Part
}

// Part is one piece of a document.
type Part interface{ part() }

// Heading begins a section; level 1, or 2 and 3 for sections within it.
type Heading struct {
	Level int
	Text  string
}

// Text is a paragraph. A newline in it begins a new line.
type Text struct {
	Text   string
	Strong bool
}

// Caution is a framed warning, a paragraph for each line.
type Caution struct{ Lines []string }

// Facts are names with values.
type Facts struct{ Rows [][2]string }

// Table is rows under headings; a heading that begins with # stands over numbers. A row may
// be shorter than the head, or longer: then the head has empty cells.
type Table struct {
	Head []string
	Rows [][]string
	Note string // under the table
	Hand bool   // somebody writes in it by hand: its rows are as high as that needs
}

// List is a list of points.
type List struct{ Items []string }

// Signatures are lines to sign on: for each role a name, a signature and a date.
type Signatures struct{ Roles []string }

// Blank is labelled lines to fill in by hand.
type Blank struct{ Labels []string }

// Code is a QR symbol with its text beside it. A payload that is empty, or too long for a
// symbol that can be read from paper, is an error of the whole document.
type Code struct{ Payload, Text string }

// Break begins a new page, unless one has just begun.
type Break struct{}

// Picture shows a flow.
type Picture struct{ Flow }

func (Heading) part()    {}
func (Text) part()       {}
func (Caution) part()    {}
func (Facts) part()      {}
func (Table) part()      {}
func (List) part()       {}
func (Signatures) part() {}
func (Blank) part()      {}
func (Code) part()       {}
func (Break) part()      {}
func (Picture) part()    {}

// level is the heading's level within what there is.
func (h Heading) level() int { return min(max(h.Level, 1), 3) }

// column is one column of a table: its heading, and whether numbers stand in it.
type column struct {
	name   string
	number bool
}

// columns gives the table's columns: as many as its head or its longest row has.
func (t Table) columns() []column {
	n := len(t.Head)
	for _, row := range t.Rows {
		n = max(n, len(row))
	}
	out := make([]column, n)
	for i, h := range t.Head {
		out[i].name, out[i].number = strings.CutPrefix(h, "#")
	}
	return out
}

// at is a row's cell; empty where the row is short.
func at(row []string, i int) string {
	if i < len(row) {
		return row[i]
	}
	return ""
}

// unused gives the names of columns that have no value in any row, for where a table is written
// without its head.
func (t Table) unused() string {
	var names []string
	for i, c := range t.columns() {
		if c.name != "" && !slices.ContainsFunc(t.Rows, func(row []string) bool { return at(row, i) != "" }) {
			names = append(names, c.name)
		}
	}
	return strings.Join(names, ", ")
}

// The words that the package adds by itself.
const (
	noRows      = "none"
	signName    = "name"
	signature   = "signature"
	signDate    = "date, time"
	onlyMaybe   = "possible"
	notMeasured = "amount not known"
)
