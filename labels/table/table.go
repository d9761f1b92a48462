// Package table writes rows of text as CSV and as an XLSX workbook, so that no spreadsheet runs a cell of them as a formula.
package table

import (
	"bytes"
	"encoding/csv"
	"regexp"
	"strings"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

// Sheet is one table of a workbook: its rows, of which the first is the heading.
type Sheet struct {
	Name string
	Rows [][]string
	More string // what stands at the end of a list that no cell can hold, and says where the rest is
}

// between parts the items of a list within a cell.
const between = "; "

// mostCell is what a cell of a workbook holds, in UTF-16 units: the format's own limit.
const mostCell = excelize.TotalCellChars

// Workbook gives the sheets as one XLSX workbook. All cells are texts. A list that no cell can hold is cut
// after a whole item, and says so.
func Workbook(sheets []Sheet) ([]byte, error) {
	book := excelize.NewFile()
	defer book.Close()
	for i, s := range sheets {
		if i == 0 {
			if err := book.SetSheetName("Sheet1", s.Name); err != nil {
				return nil, err
			}
		}
		if _, err := book.NewSheet(s.Name); err != nil {
			return nil, err
		}
		if err := s.into(book); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	err := book.Write(&b)
	return b.Bytes(), err
}

// into fills a sheet of a workbook with texts.
func (s Sheet) into(book *excelize.File) error {
	for i, row := range s.Rows {
		for k, c := range row {
			cell, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				return err
			}
			if err := book.SetCellStr(s.Name, cell, fitting(c, s.More)); err != nil {
				return err
			}
		}
	}
	return nil
}

// fitting cuts a list that no cell can hold after a whole item, and puts a note behind it.
func fitting(cell, note string) string {
	length := func(text string) int { return len(utf16.Encode([]rune(text))) }
	if length(cell) <= mostCell {
		return cell
	}
	room := mostCell - length(note)
	end := 0 // of what stays
	for item := range strings.SplitAfterSeq(cell, between) {
		if room -= length(item); room < 0 {
			break
		}
		end += len(item)
	}
	return cell[:end] + note
}

// CSV gives rows as a CSV file.
func CSV(rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for _, row := range rows {
		safe := make([]string, len(row))
		for k, c := range row {
			safe[k] = unrun(c)
		}
		if err := w.Write(safe); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// telephone matches what begins with a plus and can be nothing but a number to call.
var telephone = regexp.MustCompile(`^\+[0-9][0-9 ()/.]*$`)

// unrun keeps a spreadsheet from running a cell as a formula. A telephone number is none, and a
// mail merge would print what is put before it.
func unrun(cell string) string {
	if strings.ContainsAny(cell[:min(1, len(cell))], "=+-@\t\r") && !telephone.MatchString(cell) {
		return "'" + cell
	}
	return cell
}
