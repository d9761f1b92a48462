package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"heeltap/lots"
)

// folder reads every sheet's file that is there.
func (r *reading) folder(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return openError(dir, err)
	}
	found, hasCSV := map[*lots.Sheet]string{}, false
	for _, e := range entries {
		name := e.Name()
		if strings.HasPrefix(name, ".") || !strings.EqualFold(filepath.Ext(name), ".csv") {
			continue // what file managers and spreadsheets leave about
		}
		hasCSV = true
		s, ok := lots.SheetNamed(pageName(name[:len(name)-len(".csv")]))
		switch {
		case !ok:
			r.unknownFile(name)
		case found[s] != "":
			r.fault(name, 1, "", "is the sheet %s again, as well as %s: put their rows into one file", s.Name, found[s])
		default:
			found[s] = name
		}
	}
	if !hasCSV {
		return lots.Errorf(lots.NotFound, "%s has none of the files that are read: %s", dir, strings.Join(sheetNames(".csv"), " "))
	}
	for _, s := range lots.Sheets {
		if found[s] == "" {
			continue
		}
		if err := r.csvFile(filepath.Join(dir, found[s]), s); err != nil {
			return err
		}
	}
	return nil
}

// unknownFile passes over a file that is not a sheet, or makes a fault of it.
func (r *reading) unknownFile(name string) {
	known := sheetNames(".csv")
	switch near := lots.NearestOf(name, known); {
	case r.how.SkipOthers:
		r.passed = append(r.passed, name)
	case len(near) > 0:
		r.fault(name, 1, "", "is not one of the sheets; did you mean %s?", strings.Join(near, ", "))
	default:
		r.fault(name, 1, "", "is not one of the sheets (%s); skip it with --skip-others", strings.Join(known, " "))
	}
}

func (r *reading) csvFile(path string, s *lots.Sheet) error {
	info, err := os.Stat(path)
	if err != nil {
		return openError(path, err)
	}
	if !info.Mode().IsRegular() {
		r.fault(filepath.Base(path), 1, "", "is not a file")
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return openError(path, err)
	}
	defer f.Close()
	return r.csv(f, s)
}

// csv reads one file. Only a failing disk is an error.
func (r *reading) csv(src io.Reader, s *lots.Sheet) error {
	p := &page{into: r, sheet: s, file: s.File(), warned: len(r.warnings)}
	buffered := bufio.NewReader(src)
	start, err := buffered.Peek(4)
	if err != nil && err != io.EOF {
		return lots.Errorf(lots.Invalid, "%s cannot be read: %w", s.File(), err)
	}
	switch {
	case bytes.HasPrefix(start, []byte("\xFF\xFE")), bytes.HasPrefix(start, []byte("\xFE\xFF")), bytes.IndexByte(start, 0) >= 0:
		p.fault(1, "", "is UTF-16, not UTF-8: save it as CSV UTF-8")
		return nil
	case bytes.HasPrefix(start, []byte("PK\x03\x04")):
		p.fault(1, "", "is a workbook named .csv: save it as CSV UTF-8, or give it the ending .xlsx")
		return nil
	case bytes.HasPrefix(start, []byte("\xEF\xBB\xBF")):
		_, _ = buffered.Discard(3) // just peeked at
	}
	guard := &guarded{src: buffered}
	lines := csv.NewReader(guard)
	lines.FieldsPerRecord, lines.ReuseRecord = -1, true
	for !p.closed {
		guard.limit = lines.InputOffset() + maxRecord
		cells, err := lines.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			if err := p.badLine(err); err != nil {
				return err
			}
			continue
		}
		line, _ := lines.FieldPos(0)
		p.add(line, cells)
	}
	p.finish()
	return nil
}

// badLine makes a fault of a line that is no CSV; other errors come back.
func (p *page) badLine(err error) error {
	bad, ok := errors.AsType[*csv.ParseError](err)
	switch {
	case errors.Is(err, errLongRecord):
		p.fault(p.nextLine(), "", "a row after this line is longer than %d MiB: is a closing quote missing?", maxRecord>>20)
		p.closed = true
		return nil
	case !ok:
		return lots.Errorf(lots.Invalid, "%s cannot be read: %w", p.file, err)
	case errors.Is(bad.Err, csv.ErrBareQuote):
		p.fault(bad.StartLine, "", "a quote is inside a cell that is not quoted: put the cell in quotes and double the quotes in it")
	case errors.Is(bad.Err, csv.ErrQuote):
		p.fault(bad.StartLine, "", "a quoted cell is not closed, or text follows its closing quote: double the quotes inside a cell")
	default:
		p.fault(bad.StartLine, "", "is not a valid row of CSV: %v", bad.Err)
	}
	if p.head == nil {
		p.closed = true // the heading itself
	}
	return nil
}

// nextLine is a line at or before the one about to be read.
func (p *page) nextLine() int {
	if n := len(p.into.rows); n > 0 && p.into.rows[n-1].File == p.file {
		return p.into.rows[n-1].Line
	}
	return max(p.line, 1)
}

var errLongRecord = errors.New("row too long")

// guarded bounds how far a reader may read ahead, so that one missing quote
// does not pull a whole file into memory.
type guarded struct {
	src         io.Reader
	read, limit int64
}

func (g *guarded) Read(b []byte) (int, error) {
	if g.read >= g.limit {
		return 0, errLongRecord
	}
	n, err := g.src.Read(b[:min(int64(len(b)), g.limit-g.read)])
	g.read += int64(n)
	return n, err
}
