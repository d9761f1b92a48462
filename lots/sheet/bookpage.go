package sheet

import (
	"encoding/xml"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"heeltap/lots"
)

// cell is one cell as stored.
type cell struct {
	at      int    // column, from 0
	kind    string // n (or empty) number, s shared text, inlineStr and str text, b boolean, e error, d date
	style   int
	value   string // number, index of a text, or the text itself
	formula bool
}

var errStop = errors.New("enough was read")

// bookPage reads one page into rows of its sheet.
func (r *reading) bookPage(b *book, at bookPage, s *lots.Sheet) error {
	p := &page{into: r, sheet: s, file: s.Name, ragged: true, first: len(r.rows), warned: len(r.warnings)}
	var merges []string
	err := b.cells(at.part, func(line int, cells []cell) error {
		p.addCells(b, line, cells)
		if p.closed {
			return errStop
		}
		return nil
	}, func(area string) error {
		if merges = append(merges, area); len(merges) > maxMerges {
			return errStop
		}
		return nil
	})
	if err != nil && !errors.Is(err, errStop) {
		return err
	}
	if len(merges) > maxMerges {
		r.rows = r.rows[:p.first]
		p.fault(max(p.line, 1), "", "has more than %d merged areas, so that cells are empty where a value is shown: unmerge them and fill in each", maxMerges)
		return nil
	}
	for _, area := range merges {
		p.merged(area)
	}
	p.warn()
	return nil
}

// addCells reads a row's cells as texts.
func (p *page) addCells(b *book, line int, cells []cell) {
	var texts []string
	sound := true
	p.sure = map[string]bool{}
	for _, c := range cells {
		column, known := p.column(c.at)
		if p.head != nil && !known && c.at < len(p.head) {
			column = lots.Column{Name: p.head[c.at], Type: lots.Text}
		}
		text, reason := b.text(c, column)
		if reason != "" {
			p.fault(line, column.Name, "%s", reason)
			sound = false
			continue
		}
		if strings.TrimSpace(text) == "" {
			continue
		}
		if c.kind == "" || c.kind == "n" {
			p.sure[column.Name] = true
		}
		if c.at >= len(texts) {
			texts = append(texts, make([]string, c.at+1-len(texts))...)
		}
		texts[c.at] = text
	}
	switch {
	case sound:
		p.add(line, texts)
	case p.head == nil:
		p.closed = true // the heading itself
	}
}

// merged refuses the rows of merged cells: all but the first are empty, whatever is shown.
func (p *page) merged(area string) {
	from, to, _ := strings.Cut(area, ":")
	column, line, ok := cellPlace(from)
	toColumn, toLine, okTo := cellPlace(to)
	if !ok || !okTo || from == to || p.head == nil || toLine < p.line || column >= len(p.head) {
		return
	}
	name := ""
	if column == toColumn {
		name = p.head[column]
	}
	rows := p.into.rows[p.first:]
	kept := rows[:0]
	lines := []int{line}
	for _, r := range rows {
		switch {
		case r.Line < line || r.Line > toLine:
			kept = append(kept, r)
		case r.Line > line:
			lines = append(lines, r.Line)
		}
	}
	p.into.rows = p.into.rows[:p.first+len(kept)]
	for _, l := range lines {
		p.fault(l, name, "the cells %s are merged, so only the first holds anything: unmerge them and fill in each", shorten(area))
	}
}

// cells reads a page: its rows in order, then its merged areas.
func (b *book) cells(part string, row func(line int, cells []cell) error, merge func(area string) error) error {
	line := 0
	return b.each(part, func(d *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "row":
			line++
			if v := attr(e, "r"); v != "" {
				n, err := strconv.Atoi(v)
				if err != nil || n < 1 {
					return fmt.Errorf("it has a row %q", shorten(v))
				}
				line = n
			}
			cells, err := b.rowCells(d)
			if err != nil || len(cells) == 0 {
				return err
			}
			return row(line, cells)
		case "mergeCell":
			return merge(attr(e, "ref"))
		}
		return nil
	})
}

// rowCells reads the cells of the row just begun, up to its end.
func (b *book) rowCells(d *xml.Decoder) ([]cell, error) {
	var out []cell
	next := 0
	for {
		t, err := d.Token()
		if err != nil {
			return nil, unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			return out, nil
		case xml.StartElement:
			if t.Name.Local != "c" {
				if err := d.Skip(); err != nil {
					return nil, unexpectedEnd(err)
				}
				continue
			}
			c, err := readCell(d, t, next)
			if err != nil {
				return nil, err
			}
			next = c.at + 1
			if c.value == "" && !c.formula {
				continue
			}
			if len(out) == maxColumns {
				return nil, fmt.Errorf("it has more than %d cells in a row", maxColumns)
			}
			out = append(out, c)
		}
	}
}

// readCell reads the cell just begun; at is its place unless it names its own.
func readCell(d *xml.Decoder, e xml.StartElement, at int) (cell, error) {
	c := cell{at: at, kind: attr(e, "t")}
	c.style, _ = strconv.Atoi(attr(e, "s")) // no number, no style
	if ref := attr(e, "r"); ref != "" {
		column, _, ok := cellPlace(ref)
		if !ok {
			return c, fmt.Errorf("it has a cell %q", shorten(ref))
		}
		c.at = column
	}
	if c.at >= maxColumns {
		return c, fmt.Errorf("it has more than %d columns", maxColumns)
	}
	for {
		t, err := d.Token()
		if err != nil {
			return c, unexpectedEnd(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			return c, nil
		case xml.StartElement:
			if err := c.child(d, t); err != nil {
				return c, err
			}
		}
	}
}

func (c *cell) child(d *xml.Decoder, e xml.StartElement) (err error) {
	switch e.Name.Local {
	case "v":
		c.value, err = plainText(d)
		if c.kind == "str" {
			c.value = unescape(c.value)
		}
	case "is":
		c.value, err = richText(d)
	case "f":
		c.formula = true
		err = d.Skip()
	default:
		err = d.Skip()
	}
	return err
}

// cellPlace reads a cell's name, such as B7, as column (from 0) and row (from 1).
func cellPlace(ref string) (column, line int, ok bool) {
	ref = strings.ReplaceAll(ref, "$", "")
	letters := strings.TrimRight(ref, "0123456789")
	for _, r := range letters {
		if r |= 0x20; r < 'a' || r > 'z' || column > maxColumns {
			return 0, 0, false
		}
		column = column*26 + int(r-'a') + 1
	}
	line, err := strconv.Atoi(ref[len(letters):])
	return column - 1, line, err == nil && line > 0 && column > 0 && column <= maxColumns
}

// emptyPage reports whether no cell of a page holds anything.
func (b *book) emptyPage(at bookPage) (bool, error) {
	err := b.cells(at.part, func(int, []cell) error { return errStop }, func(string) error { return nil })
	if errors.Is(err, errStop) {
		return false, nil
	}
	return true, err
}
