// Package mapping reads tables that people keep in their own way as rows of the record sheets, by a map that says
// what each heading, name and text means and that is kept for the next file.
//
// It knows headings, units in them, ways of writing days, and what one cell may hold. It must not know what is recorded:
// whether a name means a supplier is asked by whoever has the records (package desk), and what a row means is the
// affair of package lots.
package mapping

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/files"
)

// What a rule of a map is about.
const (
	Sheet   = "sheet"   // a page: which record sheet its lines are rows of
	Column  = "column"  // a heading: the sheet's column, and the unit of its numbers where they have one
	Always  = "always"  // a column that the page has not: what it says in every row
	Days    = "days"    // a page: whether 03/04 is 3 April or 4 March
	Decimal = "decimal" // a page: the sign between whole numbers and their parts
	Split   = "split"   // a heading: what stands between several codes in one cell
	Name    = "name"    // a name as written: the code that it means
	Value   = "value"   // a text that a spreadsheet has probably changed: what was written
)

var whats = []string{Sheet, Column, Always, Days, Decimal, Split, Name, Value}

// Further words of a map.
const (
	LeftOut  = "-"    // means nothing to the records
	Numbered = "next" // the next free code, given when the row is recorded
	DayFirst = "day first"
	MonthFst = "month first"
	asks     = "?" // ends what has to be answered yet
)

// Rule is one line of a map: what something written means.
type Rule struct {
	Page    string `json:"page"` // whose; empty for all
	What    string `json:"what"`
	Written string `json:"written"` // in the file; for Always the column
	Means   string `json:"means"`
	Note    string `json:"note"` // for the reader; of a name and a value the column that they stand in
}

// Open reports whether somebody has to answer yet.
func (r Rule) Open() bool { return r.Means == asks || strings.HasSuffix(r.Means, " "+asks) }

// Map is what the pages of somebody's files mean.
type Map struct{ Rules []Rule }

// find is a rule by its place.
func (m *Map) find(page, what, written string) (*Rule, bool) {
	for i := range m.Rules {
		r := &m.Rules[i]
		if r.Page == page && r.What == what && folded(r.Written) == folded(written) {
			return r, true
		}
	}
	return nil, false
}

// add keeps a rule that is not there yet.
func (m *Map) add(r Rule) *Rule {
	if old, ok := m.find(r.Page, r.What, r.Written); ok {
		return old
	}
	return m.insert(r)
}

// insert keeps a rule behind those of its page.
func (m *Map) insert(r Rule) *Rule {
	at := len(m.Rules)
	for i := range m.Rules {
		if m.Rules[i].Page == r.Page {
			at = i + 1
		}
	}
	m.Rules = slices.Insert(m.Rules, at, r)
	return &m.Rules[at]
}

// Open lists what has to be answered yet, in the map's order.
func (m *Map) Open() []Rule {
	return slices.DeleteFunc(slices.Clone(m.Rules), func(r Rule) bool { return !r.Open() })
}

// Called is what the map says that a name means in a column; false where it says nothing of it.
func (m *Map) Called(text, column string) (*Rule, bool) {
	for i := range m.Rules {
		if r := &m.Rules[i]; r.What == Name && folded(r.Written) == folded(text) && (r.Note == column || r.Note == "") {
			return r, true
		}
	}
	return nil, false
}

// Forget takes a rule out.
func (m *Map) Forget(gone Rule) {
	m.Rules = slices.DeleteFunc(m.Rules, func(r Rule) bool { return r == gone })
}

// Ask adds a name in a column that nobody has said the meaning of; guess is the likeliest code, or empty.
func (m *Map) Ask(text, column, guess string) {
	if _, known := m.Called(text, column); !known {
		m.insert(Rule{What: Name, Written: text, Means: strings.TrimSpace(guess + " " + asks), Note: column})
	}
}

// heading is the first line of a map's file.
var heading = []string{"page", "what", "written", "means", "note"}

// Load reads a map's file. A file that is not there is an empty map.
func Load(path string) (*Map, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &Map{}, nil
	}
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "the map %s cannot be read: %w", path, err)
	}
	defer f.Close()
	m, err := Read(f)
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "the map %s %w", path, err)
	}
	return m, nil
}

// Read reads a map. What is wrong with it is told as the rest of a sentence.
func Read(src io.Reader) (*Map, error) {
	in := csv.NewReader(src)
	in.FieldsPerRecord = -1
	m, begun := &Map{}, false
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("is not valid CSV: %w", err)
		}
		line, _ := in.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(strings.TrimPrefix(cells[i], "\uFEFF"))
		}
		if !begun {
			if !slices.Equal(cells, heading) {
				return nil, fmt.Errorf("begins with %q: it must begin with the headings %s", strings.Join(cells, ","), strings.Join(heading, ","))
			}
			begun = true
			continue
		}
		cells = append(cells, make([]string, len(heading))...)[:max(len(heading), len(cells))]
		r := Rule{cells[0], strings.ToLower(cells[1]), cells[2], cells[3], cells[4]}
		if err := r.check(); err != nil {
			return nil, fmt.Errorf("has a fault in line %d: %w", line, err)
		}
		if _, twice := m.find(r.Page, r.What, r.Written); twice && r.What != Name && r.What != Value {
			return nil, fmt.Errorf("says twice (the second time in line %d) what %s %q means: keep one", line, r.What, r.Written)
		}
		m.Rules = append(m.Rules, r)
	}
	if !begun {
		return nil, errors.New("is empty: delete it, and a new one is proposed")
	}
	return m, nil
}

// check refuses a rule that could not be followed. One that is still asked may say anything.
func (r Rule) check() error {
	if !slices.Contains(whats, r.What) {
		return fmt.Errorf("there is no rule %q; the rules are %s", r.What, strings.Join(whats, ", "))
	}
	if r.Open() {
		return nil
	}
	switch r.What {
	case Sheet:
		if _, ok := lots.SheetNamed(r.Means); !ok && r.Means != LeftOut {
			return fmt.Errorf("there is no record sheet %q; leave the page out with %s", r.Means, LeftOut)
		}
	case Days:
		if r.Means != DayFirst && r.Means != MonthFst {
			return fmt.Errorf("days are %q or %q, not %q", DayFirst, MonthFst, r.Means)
		}
	case Decimal:
		if r.Means != string(lots.Comma) && r.Means != string(lots.Point) {
			return fmt.Errorf("the decimal sign is . or , and not %q", r.Means)
		}
	}
	if r.Written == "" && r.What != Sheet && r.What != Days && r.What != Decimal {
		return fmt.Errorf("the %s rule does not say what is written", r.What)
	}
	if r.Means == "" {
		return fmt.Errorf("%s %q says nothing: write what it means, or %s to leave it out", r.What, r.Written, LeftOut)
	}
	return nil
}

// Write writes a map that Read reads back.
func (m *Map) Write(w io.Writer) error {
	out := csv.NewWriter(w)
	lines := [][]string{heading}
	for _, r := range m.Rules {
		lines = append(lines, []string{r.Page, r.What, r.Written, r.Means, r.Note})
	}
	return out.WriteAll(lines)
}

// Save puts a map into its file, whole or not at all.
func (m *Map) Save(path string) error {
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		return err
	}
	return files.WriteWhole(path, b.Bytes())
}

// folded is how texts are compared: in any case, with any spaces.
func folded(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
