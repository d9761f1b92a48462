package sheet

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"heeltap/lots"
)

// Row is one row of a sheet and where it stands.
type Row struct {
	Sheet *lots.Sheet
	Row   lots.Row // column to text; empty cells are absent, spaces at the ends dropped
	File  string   // file name in its folder, or page of the workbook
	Line  int      // 1-based line of the file (of a row that spans lines its first), or row of the page

	// Written is the row as it stands in the file, where lots.Plain wrote it in other words; else nil.
	Written lots.Row
}

// Limits on what is read, far above what a brewery writes down.
const (
	maxRows   = 5_000_000 // of all sheets together
	maxFaults = 100_000   // of one file or page, after which the rest of it is left unread
	maxCell   = 32_767    // UTF-16 units in a cell, which is what a workbook's cell can hold
	maxRecord = 4 << 20   // bytes in one row of a CSV file
	maxBook   = 256 << 20 // bytes of a workbook, as a file and unpacked
)

// faultColumn is read over in every sheet. Its name is not reason, because
// holds and removals have a reason of their own.
const faultColumn = "fault"

// Options is how a folder or workbook is read.
type Options struct {
	Decimal    lots.Decimal // the site's decimal sign; files have a point unless the site writes a comma
	SkipOthers bool         // pass over files and pages that are not record sheets
}

// Contents is what was read.
type Contents struct {
	Rows       []Row
	Faults     lots.Faults // what cannot be read; its rows are not among Rows
	Refused    []Row       // those of its rows that have cells at all, as written, for WriteFaulty
	Warnings   lots.Faults // what was read and may be meant otherwise: check the paper
	PassedOver []string    // files and pages that are not record sheets, where Options asked to skip them
}

// Within names every file in the folder or workbook it was read from.
func (c Contents) Within(path string) {
	for _, list := range [][]Row{c.Rows, c.Refused} {
		for i := range list {
			list[i].File = filepath.Join(path, list[i].File)
		}
	}
	for _, list := range []lots.Faults{c.Faults, c.Warnings} {
		for i := range list {
			list[i].File = filepath.Join(path, list[i].File)
		}
	}
	for i := range c.PassedOver {
		c.PassedOver[i] = filepath.Join(path, c.PassedOver[i])
	}
}

// Read is ReadWith for files that have a decimal point and nothing but sheets; warnings are dropped.
func Read(path string) (rows []Row, faults lots.Faults, err error) {
	c, err := ReadWith(path, Options{})
	return c.Rows, c.Faults, err
}

// ReadWith reads a folder of CSV files, or one .xlsx workbook, in the order of lots.Sheets and,
// within a sheet, from top to bottom. Cells are put into the words that lots.Decode knows
// (lots.Plain). Rows that cannot be read are faults and not among the rows; faults of a whole
// file or page name its heading. A file that ends in .csv and is not a sheet, and a page that
// is not one and not empty, are faults too unless they are skipped; other files are left alone. The
// error is for what cannot be opened or holds no sheet at all.
func ReadWith(path string, how Options) (Contents, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Contents{}, openError(path, err)
	}
	r := &reading{left: maxRows, room: maxBook, how: how}
	if info.IsDir() {
		err = r.folder(path)
	} else {
		err = r.file(path, info)
	}
	if err != nil {
		return Contents{}, err
	}
	return Contents{Rows: r.rows, Faults: r.faults, Refused: r.refused, Warnings: r.warnings, PassedOver: r.passed}, nil
}

func openError(path string, err error) error {
	if os.IsNotExist(err) {
		return lots.Errorf(lots.NotFound, "%s does not exist: name a folder of CSV files or an .xlsx workbook", path)
	}
	return lots.Errorf(lots.Invalid, "%s cannot be read: %w", path, err)
}

// reading collects what is read.
type reading struct {
	how      Options
	rows     []Row
	faults   lots.Faults
	refused  []Row
	warnings lots.Faults
	passed   []string
	left     int   // rows that may still come
	room     int64 // bytes that a workbook may unpack to
}

func (r *reading) fault(file string, line int, column, format string, args ...any) {
	r.faults = append(r.faults, lots.Fault{File: file, Line: line, Column: column, Reason: fmt.Sprintf(format, args...)})
}

// file reads a single file, which must be a workbook.
func (r *reading) file(path string, info os.FileInfo) error {
	if !info.Mode().IsRegular() {
		return lots.Errorf(lots.Invalid, "%s is neither a folder nor a file", path)
	}
	if info.Size() > maxBook {
		return lots.Errorf(lots.Invalid, "%s is larger than %d MiB: give a folder of CSV files instead", path, maxBook>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return openError(path, err)
	}
	defer f.Close()
	start := make([]byte, 8)
	n, err := io.ReadFull(f, start)
	if err != nil && n == 0 && info.Size() > 0 {
		return openError(path, err)
	}
	start = start[:n]
	switch {
	case bytes.HasPrefix(start, []byte("PK")):
		return r.workbook(path, f, info.Size())
	case bytes.HasPrefix(start, []byte("\xD0\xCF\x11\xE0")):
		return lots.Errorf(lots.Invalid, "%s is an old or a password-protected workbook: save it as .xlsx without a password", path)
	case strings.EqualFold(filepath.Ext(path), ".csv"):
		return lots.Errorf(lots.Invalid, "%s is one CSV file: name the folder that holds it", path)
	}
	return lots.Errorf(lots.Invalid, "%s is neither a folder of CSV files nor an .xlsx workbook", path)
}

// sheetNames lists the sheets in their order, with an ending.
func sheetNames(ending string) []string {
	names := make([]string, len(lots.Sheets))
	for i, s := range lots.Sheets {
		names[i] = s.Name + ending
	}
	return names
}

// grouped sorts rows by sheet, keeping their order within one, and refuses what
// no reader could take back.
func grouped(rows []Row) (map[*lots.Sheet][]Row, error) {
	groups := map[*lots.Sheet][]Row{}
	for _, r := range rows {
		if r.Sheet == nil || !slices.Contains(lots.Sheets, r.Sheet) {
			return nil, lots.Errorf(lots.Internal, "a row that belongs to no known sheet cannot be written")
		}
		for column, v := range r.Row {
			if !r.Sheet.Has(column) {
				return nil, lots.Errorf(lots.Internal, "%s has no column %q to write", r.Sheet.Name, column)
			}
			if reason := unreadable(v); reason != "" {
				return nil, lots.Errorf(lots.Invalid, "%s of a row of %s %s: amend it first", column, r.Sheet.Name, reason)
			}
		}
		groups[r.Sheet] = append(groups[r.Sheet], r)
	}
	return groups, nil
}

// cells lists a row's texts in the order of the columns, line breaks as one newline.
func (r Row) cells() []string {
	out := make([]string, len(r.Sheet.Columns))
	for i, c := range r.Sheet.Columns {
		out[i] = oneNewline(lots.Unmistakable(c, r.Row[c.Name]))
	}
	return out
}

// written lists a row's texts as they stood in its file.
func (r Row) written() []string {
	row := r.Row
	if r.Written != nil {
		row = r.Written
	}
	out := make([]string, len(r.Sheet.Columns))
	for i, c := range r.Sheet.Columns {
		out[i] = oneNewline(row[c.Name])
	}
	return out
}

func oneNewline(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") }

func columnNames(s *lots.Sheet) []string {
	names := make([]string, len(s.Columns))
	for i, c := range s.Columns {
		names[i] = c.Name
	}
	return names
}
