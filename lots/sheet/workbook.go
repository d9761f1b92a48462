package sheet

import (
	"errors"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"heeltap/lots"
	"heeltap/lots/files"
)

// bookRows is what one page can hold below its heading (ECMA-376: 2^20 rows).
const bookRows = 1<<20 - 1

// Column widths in characters of the workbook's own type.
const (
	minWidth, maxWidth = 10, 48
	widthFrom          = 1_000 // rows that are looked at
)

// WriteWorkbook writes one .xlsx file with a page for every sheet, its heading
// bold and frozen. Every cell is a text in a column formatted as text, so that
// a spreadsheet neither calculates it nor makes a date of it. A file already
// there is replaced only where it is a workbook of such pages; it is replaced
// whole or not at all.
func WriteWorkbook(path string, rows []Row) (err error) {
	groups, err := grouped(rows)
	if err != nil {
		return err
	}
	for _, s := range lots.Sheets {
		if len(groups[s]) > bookRows {
			return lots.Errorf(lots.Invalid, "%s has more than %d rows, which a workbook cannot hold: export a folder instead", s.Name, bookRows)
		}
		for _, r := range groups[s] {
			if err := fitsBook(r); err != nil {
				return err
			}
		}
	}
	if err := replaceableBook(path); err != nil {
		return err
	}
	failed := func(err error) error {
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", path, err)
	}
	f := excelize.NewFile()
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := fillBook(f, groups); err != nil {
		return failed(err)
	}
	if err := saveBook(f, path); err != nil {
		return failed(err)
	}
	return nil
}

func saveBook(f *excelize.File, path string) error {
	return files.WriteWith(path, func(out *os.File) error { return f.Write(out) })
}

// replaceableBook refuses to overwrite what is no workbook of sheets.
func replaceableBook(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	refused := lots.Errorf(lots.Conflict, "%s already exists and is not a workbook of record sheets: name another file", path)
	if err != nil || !info.Mode().IsRegular() {
		return refused
	}
	f, err := os.Open(path)
	if err != nil {
		return refused
	}
	defer f.Close()
	b, err := openBook(f, info.Size(), maxBook)
	if err != nil {
		return refused
	}
	for _, p := range b.pages {
		if _, ok := lots.SheetNamed(pageName(p.name)); !ok {
			return refused
		}
	}
	return nil
}

// misread is a text that the workbook's escapes do not bring back, because two
// of them would share an underscore.
var misread = regexp.MustCompile(`_x[0-9A-Za-z]{4}_x[0-9A-Fa-f]{4}_`)

// fitsBook refuses texts that an XML file cannot hold; silently they would change.
func fitsBook(r Row) error {
	for column, v := range r.Row {
		bad := strings.ContainsFunc(v, func(c rune) bool {
			return c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0xFFFE || c == 0xFFFF
		})
		if bad || misread.MatchString(v) {
			return lots.Errorf(lots.Invalid, "%s of a row of %s holds %q, which a workbook cannot hold: export a folder instead", column, r.Sheet.Name, shorten(v))
		}
	}
	return nil
}

func fillBook(f *excelize.File, groups map[*lots.Sheet][]Row) error {
	const asText = 49 // the number format @, ECMA-376-1 18.8.30
	text, err := f.NewStyle(&excelize.Style{NumFmt: asText})
	if err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{NumFmt: asText, Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	for i, s := range lots.Sheets {
		if i == 0 {
			err = f.SetSheetName(f.GetSheetName(0), s.Name)
		} else {
			_, err = f.NewSheet(s.Name)
		}
		if err != nil {
			return err
		}
		if err := fillPage(f, s, groups[s], text, bold); err != nil {
			return err
		}
	}
	return nil
}

func fillPage(f *excelize.File, s *lots.Sheet, rows []Row, text, bold int) error {
	w, err := f.NewStreamWriter(s.Name)
	if err != nil {
		return err
	}
	if err := w.SetColStyle(1, len(s.Columns), text); err != nil {
		return err
	}
	for i, width := range widths(s, rows) {
		if err := w.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	if err := w.SetRow("A1", cellsOf(columnNames(s), bold)); err != nil {
		return err
	}
	for i, r := range rows {
		at, err := excelize.CoordinatesToCellName(1, i+2)
		if err != nil {
			return err
		}
		if err := w.SetRow(at, cellsOf(r.cells(), text)); err != nil {
			return err
		}
	}
	return w.Flush()
}

// cellsOf makes text cells; empty ones are left out.
func cellsOf(texts []string, style int) []any {
	out := make([]any, len(texts))
	for i, t := range texts {
		if t != "" {
			out[i] = excelize.Cell{StyleID: style, Value: t}
		}
	}
	return out
}

// widths fits each column to its heading and to the longest text of the first rows.
func widths(s *lots.Sheet, rows []Row) []float64 {
	out := make([]float64, len(s.Columns))
	for i, c := range s.Columns {
		longest := len(c.Name)
		for _, r := range rows[:min(len(rows), widthFrom)] {
			longest = max(longest, utf8.RuneCountInString(r.Row[c.Name]))
		}
		out[i] = float64(min(max(longest+2, minWidth), maxWidth))
	}
	return out
}
