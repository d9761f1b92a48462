package sheet

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/files"
)

// WriteFolder writes every sheet's file, each with its full heading and below
// it the rows in the order given, so that Read gives the same rows back. The
// folder is made, or takes the place of one that holds sheets and nothing
// else; any other folder is refused. It appears whole or not at all: it is
// written beside its place and moved there. Between the moving out of an old
// folder and the moving in of the new one a crash leaves both, whole, in the
// folder .NAME-* beside it.
//
// What else is given goes beside them: files that end in .json, which reading passes over.
func WriteFolder(dir string, rows []Row, beside ...Beside) error {
	groups, err := grouped(rows)
	if err != nil {
		return err
	}
	files := make([]csvFile, 0, len(lots.Sheets))
	for _, s := range lots.Sheets {
		files = append(files, csvOf(s, groups[s]))
	}
	return putFolder(dir, files, beside...)
}

// Besides are the names of files that an export puts beside the sheets, and that a later one replaces.
var Besides = []string{"settings.json", "recalls.json", "inquiries.json", "steps.json"}

// Beside is a file that goes beside the sheets.
type Beside struct {
	Name string
	Data []byte
}

// WriteFaulty writes the rows that faults speak of (by file and line) as CSV
// files of the same kind, with a last column fault that says why, so that they
// can be mended there and read again. A fault whose row could not be read at
// all gives a row with nothing but the fault and its place; Read refuses such a
// row until it is filled in or deleted. Sheets without bad rows get no file. As
// in WriteFolder, a folder with anything but sheets in it is refused.
func WriteFaulty(dir string, rows []Row, faults lots.Faults) error {
	if _, err := grouped(rows); err != nil {
		return err
	}
	reasons := reasonsByPlace(faults)
	bad := map[*lots.Sheet][][]string{}
	for _, r := range rows {
		at := place{r.File, r.Line}
		if reason, ok := reasons[at]; ok {
			bad[r.Sheet] = append(bad[r.Sheet], append(r.written(), strings.Join(reason, "; ")))
			delete(reasons, at)
		}
	}
	for _, f := range faults { // in their order, each place once
		at := place{f.File, f.Line}
		s, known := sheetOf(f)
		if reason, left := reasons[at]; known && left { // what is no sheet has no rows
			cells := make([]string, len(s.Columns)+1)
			cells[len(s.Columns)] = fmt.Sprintf("%s line %d: %s", s.File(), f.Line, strings.Join(reason, "; "))
			bad[s] = append(bad[s], cells)
			delete(reasons, at)
		}
	}
	var files []csvFile
	for _, s := range lots.Sheets {
		if lines := bad[s]; len(lines) > 0 {
			head := append(columnNames(s), faultColumn)
			files = append(files, csvFile{s.File(), slices.Values(append([][]string{head}, lines...))})
		}
	}
	if len(files) == 0 {
		return lots.Errorf(lots.Invalid, "there are no bad rows to write")
	}
	return putFolder(dir, files)
}

// sheetOf is the sheet whose file or page a fault names, in whatever folder.
func sheetOf(f lots.Fault) (*lots.Sheet, bool) {
	return lots.SheetNamed(strings.TrimSuffix(filepath.Base(f.File), ".csv"))
}

// Placed reports whether any fault concerns a row, so that WriteFaulty has something to write.
func Placed(faults lots.Faults) bool {
	return slices.ContainsFunc(faults, func(f lots.Fault) bool { _, ok := sheetOf(f); return ok })
}

type place struct {
	file string
	line int
}

func reasonsByPlace(faults lots.Faults) map[place][]string {
	reasons := map[place][]string{}
	for _, f := range faults {
		at := place{f.File, f.Line}
		f.File = ""
		reasons[at] = append(reasons[at], cleanText(f.String()))
	}
	return reasons
}

// cleanText keeps a fault that quotes a bad cell readable itself.
func cleanText(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
	if longerThan(s, maxCell/8) {
		return string([]rune(s)[:maxCell/8])
	}
	return s
}

type csvFile struct {
	name  string
	lines iter.Seq[[]string]
}

// csvOf is a sheet's whole file.
func csvOf(s *lots.Sheet, rows []Row) csvFile {
	return csvFile{s.File(), func(yield func([]string) bool) {
		if !yield(columnNames(s)) {
			return
		}
		for _, r := range rows {
			if !yield(r.cells()) {
				return
			}
		}
	}}
}

// putFolder writes files into a new folder and moves it to its place.
func putFolder(dir string, files []csvFile, others ...Beside) (err error) {
	dir, err = filepath.Abs(dir)
	if err != nil {
		return lots.Errorf(lots.Invalid, "the folder cannot be written: %w", err)
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	old, err := replaceable(dir)
	if err != nil {
		return err
	}
	beside, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+"-*")
	if err != nil {
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", dir, err)
	}
	fresh, gone := filepath.Join(beside, "new"), filepath.Join(beside, "old")
	err = writeFiles(fresh, files, others)
	if err == nil {
		err = swap(dir, fresh, gone, old)
	}
	if _, none := os.Stat(gone); err == nil || none != nil { // never remove the only copy
		err = errors.Join(err, os.RemoveAll(beside))
	}
	if err != nil {
		return lots.Errorf(lots.Invalid, "%s cannot be written: %w", dir, err)
	}
	return nil
}

func writeFiles(dir string, sheets []csvFile, others []Beside) error {
	if err := os.Mkdir(dir, 0o700); err != nil { // what is in it is the house's
		return err
	}
	for _, f := range sheets {
		if err := files.WriteWith(filepath.Join(dir, f.name), f.write); err != nil {
			return err
		}
	}
	for _, o := range others {
		if err := files.WriteWhole(filepath.Join(dir, o.Name), o.Data); err != nil {
			return err
		}
	}
	return nil
}

// swap moves fresh to dir and what is there, if old says so, to gone.
func swap(dir, fresh, gone string, old bool) error {
	if old {
		if err := os.Rename(dir, gone); err != nil {
			return err
		}
	}
	err := os.Rename(fresh, dir)
	if err != nil && old {
		return errors.Join(err, os.Rename(gone, dir))
	}
	return cmp.Or(err, files.SyncFolder(filepath.Dir(dir)))
}

// replaceable reports whether a folder stands at dir, refusing one (or a file)
// that holds anything but sheets.
func replaceable(dir string) (bool, error) {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, lots.Errorf(lots.Invalid, "%s cannot be written: %w", dir, err)
	}
	for _, e := range entries {
		_, ok := lots.SheetNamed(strings.TrimSuffix(e.Name(), ".csv"))
		if ok = ok && filepath.Ext(e.Name()) == ".csv" || slices.Contains(Besides, e.Name()); !ok || !e.Type().IsRegular() {
			return false, lots.Errorf(lots.Conflict, "%s holds %s, which is not a record sheet and would be lost: name another folder", dir, e.Name())
		}
	}
	return true, nil
}

func (c csvFile) write(f *os.File) error {
	w := csv.NewWriter(f)
	for line := range c.lines {
		if err := w.Write(line); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}
