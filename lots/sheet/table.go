package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"heeltap/lots"
)

// Table is a page of cells as somebody keeps it, whatever its headings are.
type Table struct {
	Name   string   // page of the workbook; of a CSV file its name without the ending
	Lines  []Line   // those with anything in them, from top to bottom
	Merged []string // areas whose one value was put into each of their cells
}

// Line is a row of cells with its 1-based place in the file.
type Line struct {
	At    int
	Cells []Cell
}

// Cell is what one cell holds.
type Cell struct {
	Text   string // as a person would have written it, a day as 2026-03-04; spaces at the ends dropped
	Lost   string // why what was written is lost, unless the cell is meant to hold a day; empty where it is not
	Number bool   // a number of the workbook's own, with a point beyond doubt
}

// Limits on a table, which a person is to look through.
const (
	maxLines = 200_000
	maxArea  = 10_000 // cells of one merged area
)

// ReadTables reads every page of an .xlsx workbook that holds anything, or the one of a CSV file, which may be
// separated by commas, semicolons or tabs. Nothing is understood yet but what a spreadsheet stored. The error says
// what cannot be read.
func ReadTables(path string) ([]Table, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, openError(path, err)
	case !info.Mode().IsRegular():
		return nil, lots.Errorf(lots.Invalid, "%s is not a file: name one .xlsx workbook or one .csv file", path)
	case info.Size() > maxBook:
		return nil, lots.Errorf(lots.Invalid, "%s is larger than %d MiB: import it in parts", path, maxBook>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, openError(path, err)
	}
	defer f.Close()
	start := make([]byte, 4)
	if n, err := io.ReadFull(f, start); err != nil && n == 0 && info.Size() > 0 {
		return nil, openError(path, err)
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, openError(path, err)
	}
	name := filepath.Base(path)
	switch {
	case bytes.HasPrefix(start, []byte("PK")):
		return bookTables(name, f, info.Size())
	case bytes.HasPrefix(start, []byte("\xD0\xCF\x11\xE0")):
		return nil, lots.Errorf(lots.Invalid, "%s is an old or a password-protected workbook: save it as .xlsx without a password", path)
	}
	t, err := csvTable(f)
	if err != nil {
		return nil, lots.Errorf(lots.Invalid, "%s %w", name, err)
	}
	t.Name = strings.TrimSuffix(name, filepath.Ext(name))
	return []Table{t}, nil
}

func bookTables(name string, src io.ReaderAt, size int64) ([]Table, error) {
	damaged := func(err error) error {
		return lots.Errorf(lots.Invalid, "%s cannot be read as a workbook: %w", name, err)
	}
	b, err := openBook(src, size, maxBook)
	if err != nil {
		return nil, damaged(err)
	}
	var out []Table
	for _, p := range b.pages {
		t, err := b.table(p)
		if err != nil {
			return nil, damaged(err)
		}
		if len(t.Lines) > 0 {
			out = append(out, t)
		}
	}
	if len(out) == 0 {
		return nil, lots.Errorf(lots.Invalid, "%s holds nothing", name)
	}
	return out, nil
}

// table reads a page, with the value of merged cells in each of them.
func (b *book) table(at bookPage) (Table, error) {
	t := Table{Name: strings.TrimSpace(at.name)}
	err := b.cells(at.part, func(line int, cells []cell) error {
		l := Line{At: line}
		for _, c := range cells {
			if c.at >= len(l.Cells) {
				l.Cells = append(l.Cells, make([]Cell, c.at+1-len(l.Cells))...)
			}
			l.Cells[c.at] = b.tableCell(c)
		}
		return t.add(l)
	}, func(area string) error { return t.merge(area) })
	return t, err
}

// tableCell reads a cell whose meaning is not known yet: as a day where it is one to the spreadsheet, with what that loses elsewhere.
func (b *book) tableCell(c cell) Cell {
	text, lost := b.text(c, lots.Column{Type: lots.Text})
	out := Cell{Text: strings.TrimSpace(oneNewline(text)), Lost: lost, Number: lost == "" && (c.kind == "" || c.kind == "n")}
	if day, reason := b.text(c, lots.Column{Type: lots.Time}); lost != "" && reason == "" {
		out.Text = day
	} else if clock, ok := b.clock(c); lost != "" && ok {
		out.Text = clock
	} else if lost != "" {
		out.Text = shorten(c.value)
	}
	return out
}

// clock reads a cell that is a time of day without a day.
func (b *book) clock(c cell) (string, bool) {
	x, err := strconv.ParseFloat(strings.TrimSpace(c.value), 64)
	if err != nil || x < 0 || x >= 1 || c.kind != "" && c.kind != "n" || c.style < 0 || c.style >= len(b.styles) || !b.styles[c.style].clock {
		return "", false
	}
	at := time.Unix(int64(math.Round(x*86400)), 0).UTC()
	if at.Second() != 0 {
		return at.Format(time.TimeOnly), true
	}
	return at.Format("15:04"), true
}

func (t *Table) add(l Line) error {
	if !slices.ContainsFunc(l.Cells, func(c Cell) bool { return c.Text != "" }) {
		return nil
	}
	if len(t.Lines) == maxLines {
		return fmt.Errorf("%s has more than %d lines: import it in parts", t.Name, maxLines)
	}
	t.Lines = append(t.Lines, l)
	return nil
}

// merge puts the value of an area's first cell into all its cells: that is what whoever merged them reads.
func (t *Table) merge(area string) error {
	from, to, _ := strings.Cut(area, ":")
	column, line, ok := cellPlace(from)
	toColumn, toLine, okTo := cellPlace(to)
	if !ok || !okTo || toColumn < column || toLine < line {
		return nil
	}
	var value Cell
	for _, l := range t.Lines {
		if l.At == line && column < len(l.Cells) {
			value = l.Cells[column]
		}
	}
	if value.Text == "" {
		return nil
	}
	if (toColumn-column+1)*(toLine-line+1) > maxArea {
		return fmt.Errorf("the cells %s of %s are merged: unmerge them", shorten(area), t.Name)
	}
	t.Merged = append(t.Merged, area)
	for i := range t.Lines {
		l := &t.Lines[i]
		if l.At < line || l.At > toLine {
			continue
		}
		if toColumn >= len(l.Cells) {
			l.Cells = append(l.Cells, make([]Cell, toColumn+1-len(l.Cells))...)
		}
		for c := column; c <= toColumn; c++ {
			l.Cells[c] = value
		}
	}
	return nil
}

// csvTable reads a CSV file by whatever separates its cells. What is wrong with it is told as the rest of a sentence.
func csvTable(src io.Reader) (Table, error) {
	buffered := bufio.NewReaderSize(src, 64<<10)
	start, err := buffered.Peek(32 << 10)
	switch {
	case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull):
		return Table{}, err
	case len(bytes.TrimSpace(start)) == 0:
		return Table{}, errors.New("holds nothing")
	case bytes.HasPrefix(start, []byte("\xFF\xFE")), bytes.HasPrefix(start, []byte("\xFE\xFF")), bytes.IndexByte(start, 0) >= 0:
		return Table{}, errors.New("is UTF-16, not UTF-8: save it as CSV UTF-8")
	case bytes.HasPrefix(start, []byte("\xEF\xBB\xBF")):
		_, _ = buffered.Discard(3) // just peeked at
		start = start[3:]
	}
	guard := &guarded{src: buffered}
	lines := csv.NewReader(guard)
	lines.FieldsPerRecord, lines.Comma = -1, separatedBy(start)
	var t Table
	for {
		guard.limit = lines.InputOffset() + maxRecord
		cells, err := lines.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return Table{}, fmt.Errorf("cannot be read as CSV: %w", err)
		}
		at, _ := lines.FieldPos(0)
		l := Line{At: at, Cells: make([]Cell, len(cells))}
		for i, text := range cells {
			if !utf8.ValidString(text) {
				return Table{}, fmt.Errorf("is not UTF-8 (line %d): save it as CSV UTF-8", at)
			}
			l.Cells[i].Text = strings.TrimSpace(oneNewline(text))
			if errorValue.MatchString(l.Cells[i].Text) {
				l.Cells[i].Lost = errorReason(l.Cells[i].Text)
			}
		}
		if err := t.add(l); err != nil {
			return Table{}, err
		}
	}
}

// separatedBy is what separates the cells of a file: of comma, semicolon and tab the one that stands in most of its first lines
// equally often, the commonest last where numbers may have a comma too.
func separatedBy(start []byte) rune {
	best, most := ',', 0
	for _, sep := range []rune{'\t', ';', ','} {
		in := csv.NewReader(bytes.NewReader(start))
		in.Comma, in.FieldsPerRecord, in.LazyQuotes = sep, -1, true
		widths := map[int]int{}
		for {
			cells, err := in.Read()
			if err != nil {
				break // the last line may be cut
			}
			if len(cells) > 1 {
				widths[len(cells)]++
			}
		}
		for _, lines := range widths {
			if lines > most {
				best, most = sep, lines
			}
		}
	}
	return best
}

// Raw is a row whose columns are known, before its words are.
type Raw struct {
	Line int
	Row  lots.Row
	Sure map[string]bool // columns whose number has a point beyond doubt
}

// Take reads rows of a sheet as ReadWith does: their words are put as records have them, and faults, warnings and refused rows are told
// by file and line. A row of totals is a fault.
func Take(s *lots.Sheet, file string, rows []Raw, how Options) Contents {
	r := &reading{left: maxRows, how: how}
	p := &page{into: r, sheet: s, file: file, head: columnNames(s)}
	for _, raw := range rows {
		if p.closed {
			break
		}
		p.sure = raw.Sure
		p.take(raw.Line, raw.Row)
	}
	p.warn()
	return Contents{Rows: r.rows, Faults: r.faults, Refused: r.refused, Warnings: r.warnings}
}

// Mangled says what a spreadsheet has probably made of a text in a column; empty where nothing.
func Mangled(c lots.Column, text string) string { return mangled(c, text) }

// IsTotal reports whether a text is a word that begins a row of totals.
func IsTotal(text string) bool { return isSumWord(text) }
