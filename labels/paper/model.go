// Package paper makes documents that people print, sign and send: headings, text, tables,
// forms and a picture of flows, as PDF, as HTML and as plain text. The same document gives
// the same bytes each time: it reads no clock. It knows nothing of what its papers are about.
package paper

import (
	"strings"
	"time"
)

// Document is one paper.
type Document struct {
	Title, Subtitle string
	Marks           []string  // what it is and is not, at the head of each page: DRAFT, EXERCISE
	Footer          string    // at the foot of each page, beside its number
	Dated           time.Time // noted in the file
	Letter          bool      // US Letter; else A4
	Parts           []Part
}

// Part is one piece of a document.
type Part interface{ part() }

// Heading begins a section; level 1 or 2.
type Heading struct {
	Level int
	Text  string
}

// Text is a paragraph.
type Text struct {
	Text   string
	Strong bool
}

// Caution is a framed warning.
type Caution struct{ Lines []string }

// Facts are names with values.
type Facts struct{ Rows [][2]string }

// Table is rows under headings; a heading that begins with # stands over numbers.
type Table struct {
	Head []string
	Rows [][]string
	Note string // under the table
}

// List is a list of points.
type List struct{ Items []string }

// Signatures are lines to sign on.
type Signatures struct{ Roles []string }

// Blank is labelled lines to fill in by hand.
type Blank struct{ Labels []string }

// Code is a QR symbol with its text beside it.
type Code struct{ Payload, Text string }

// Break begins a new page.
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

// heading takes the mark of a number column off a heading.
func heading(h string) (text string, number bool) {
	text, number = strings.CutPrefix(h, "#")
	return text, number
}

// cell is a row's cell; empty where the row is short.
func cell(row []string, i int) string {
	if i < len(row) {
		return row[i]
	}
	return ""
}
