package desk

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// EntryOf finds the one row that a code, a ref or an entry number names.
func EntryOf(tx *store.Tx, name string) (int64, error) {
	rows, err := tx.RowsOf(name)
	if err != nil {
		return 0, err
	}
	switch len(rows) {
	case 1:
		return rows[0].Seq, nil
	case 0:
		if n, err := strconv.ParseInt(name, 10, 64); err == nil && n > 0 {
			return n, nil
		}
		return 0, noRow(tx, name)
	}
	list := make([]string, len(rows))
	for i, r := range rows {
		list[i] = fmt.Sprintf("%d (%s)", r.Seq, inWords(r, 6))
	}
	return 0, lots.Errorf(lots.Conflict, "%s is in %d rows: give the entry number of the one you mean, %s", name, len(rows), strings.Join(list, ", "))
}

// RowsAbout lists the rows that name a code, or on which a text is printed.
func RowsAbout(tx *store.Tx, code string) ([]lots.Entered, error) {
	rows, err := tx.Naming(code)
	if err != nil || len(rows) > 0 {
		return rows, err
	}
	for _, p := range tx.PrintedAs(code, true) {
		if r, ok := tx.Row(p.Entry); ok {
			rows = append(rows, r)
		}
	}
	if len(rows) > 0 {
		return rows, tx.Err()
	}
	text, err := trace.TextOf(tx, code)
	if lots.KindOf(err) == lots.Conflict {
		return nil, err
	}
	if err != nil || text == code {
		return nil, noRow(tx, code)
	}
	return RowsAbout(tx, text)
}

// noRow says that nothing has that name, or no longer has it, and what comes near.
func noRow(tx *store.Tx, code string) error {
	if gone, ok := tx.TakenBack(code); ok {
		return lots.Errorf(lots.NotFound, "%s was voided by entry %d (%s): %s", code, gone.Seq, gone.By, gone.Reason())
	}
	near := tx.Nearest(code)
	if len(near) == 0 {
		return lots.Errorf(lots.NotFound, "no row is called %q: give its code, its ref or its entry number", code)
	}
	return lots.Errorf(lots.NotFound, "no row is called %q; the nearest are: %s", code, strings.Join(near, ", "))
}

// Shown is one row with its entry and how often it was corrected.
type Shown struct {
	Entry       int64       `json:"entry"`
	Sheet       string      `json:"sheet"`
	Row         lots.Row    `json:"row"`
	Corrections int         `json:"corrections"`
	Columns     *lots.Sheet `json:"-"`
}

// Text is the row's cells in the order of its sheet.
func (s Shown) Text() string {
	var cells []string
	for _, c := range s.Columns.Columns {
		if v := s.Row[c.Name]; v != "" {
			cells = append(cells, c.Name+"="+v)
		}
	}
	return strings.Join(cells, "  ")
}

// Show adds to rows how often each was corrected.
func Show(tx *store.Tx, rows []lots.Entered) ([]Shown, error) {
	out := []Shown{}
	for _, r := range rows {
		fixes, err := tx.Corrections(r.Seq)
		if err != nil {
			return nil, err
		}
		out = append(out, Shown{r.Seq, r.Sheet.Name, r.Row, len(fixes), r.Sheet})
	}
	return out, nil
}

// Line is one entry of the journal, for people and as JSON.
type Line struct {
	Entry    int64  `json:"entry"`
	Kind     string `json:"kind"`
	Corrects *int64 `json:"corrects"`
	At       string `json:"at"`       // when it happened
	Recorded string `json:"recorded"` // RFC 3339 in the site's zone
	By       string `json:"by"`
	Body     any    `json:"body"`
	Hash     string `json:"hash"`

	Moment time.Time `json:"-"` // when it was recorded
	Text   string    `json:"-"` // its body as it stands in the journal
}

// Journal lists at most so many entries from one on, of those that name a code and their corrections
// where about is given; more reports whether others follow.
func Journal(tx *store.Tx, from int64, most int, about string) (lines []Line, more bool, err error) {
	if about = strings.TrimSpace(about); about != "" {
		if about, err = Subject(tx, about); err != nil {
			return nil, false, err
		}
	}
	zone := tx.Site().Zone
	lines = []Line{}
	line := func(x *store.Entry) bool {
		if x.Seq < from {
			return true
		}
		if len(lines) == most {
			more = true
			return false
		}
		l := Line{Entry: x.Seq, Kind: x.Kind, Recorded: x.Recorded.In(zone).Format(time.RFC3339), By: x.By, Body: x.Content(), Hash: fmt.Sprintf("%x", x.Hash), Moment: x.Recorded, Text: x.Body}
		if x.Target != 0 {
			l.Corrects = &x.Target
		}
		if x.At != nil {
			l.At = x.At.Text(zone)
		}
		lines = append(lines, l)
		return true
	}
	if about != "" {
		err = tx.EntriesAbout(about, line)
	} else {
		err = tx.Entries(from, line)
	}
	return slices.Clip(lines), more, err
}
