package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode/utf16"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"github.com/xuri/excelize/v2"

	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// writePaper makes a paper and writes it in the form its name's ending asks for.
func (r *inRecall) writePaper(tx *store.Tx, now *recall.Recall, path string, letter bool, make func(*papers.Maker) (*paper.Document, error)) error {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return err
	}
	d, err := make(m)
	if err != nil {
		return err
	}
	return r.show(d, path)
}

func writeDocument(d *paper.Document, path string) error {
	var b bytes.Buffer
	var err error
	switch strings.ToLower(filepath.Ext(path)) {
	case ".pdf":
		err = d.PDF(&b)
	case ".html", ".htm":
		err = d.HTML(&b)
	case ".txt":
		err = d.Plain(&b)
	default:
		return lots.Errorf(lots.Invalid, "%s: papers are written as .pdf, .html or .txt", path)
	}
	if err != nil {
		return err
	}
	return writeWhole(path, b.Bytes())
}

func lettersCommand(e *env) *cobra.Command {
	var out string
	var letter bool
	r := &inRecall{env: e}
	cmd := &cobra.Command{Use: "letters", Short: "Draft the letters, notices and the press text, and one table for a mail merge", Args: cobra.NoArgs,
		Long: `Draft one letter for every consignee, with its own quantities and an answer form, a notice to each supplier, and a
press text, each as PDF and as text; and tables as XLSX and CSV: one row a letter for a mail merge, one row a unit with
dates and documents, and whom the consignees supplied by their own lists. All are drafts for the responsible person; nothing is sent. Freeze the scope first:
letters that follow no frozen version are logged as such. Others go on recording while letters are written.`,
		Example: "  heeltap recall letters --out letters/",
		RunE: func(cmd *cobra.Command, _ []string) error {
			by, err := e.who(r.by)
			if err != nil {
				return err
			}
			if r.by = by; out == "" {
				return needed(out, "out")
			}
			return r.letters(cmd.Context(), out, letter)
		}}
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.Flags().StringVar(&r.at, "at", "", "when it was done (else now)")
	cmd.Flags().StringVar(&out, "out", "", "folder to write to (needed)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	return cmd
}

// letters drafts on a snapshot, so that nobody waits for it, and then logs the step. What a recall
// does not allow any more is refused before a file is written.
func (r *inRecall) letters(ctx context.Context, out string, letter bool) error {
	if err := r.allowed(ctx); err != nil {
		return err
	}
	var made *drafts
	err := r.question(ctx, func(tx *store.Tx) error {
		now, err := r.chosen(tx)
		if err != nil {
			return err
		}
		r.code = now.Code
		made, err = draft(tx, now, letter)
		return err
	})
	if err != nil {
		return err
	}
	if err := r.write(made, out); err != nil {
		return err
	}
	err = r.done(ctx, func(tx *store.Tx) error {
		now, err := r.chosen(tx)
		if err != nil {
			return err
		}
		if made.differs == 0 {
			return r.take(tx, now, &recall.Drafted{Version: made.version, Letters: made.letters})
		}
		// No frozen version says what these letters say: the log must not claim one.
		if err := r.take(tx, now, &recall.Drafted{Letters: made.letters}); err != nil {
			return err
		}
		if now, err = r.chosen(tx); err != nil {
			return err
		}
		return r.take(tx, now, &recall.Noted{Text: fmt.Sprintf("The letters follow the scope as it stood, which differs from version %d in %s; no frozen version says what they say.", made.version, counted(made.differs, "thing"))})
	})
	if err != nil {
		return fmt.Errorf("the letters are in %s, but the recall's log does not have them: draft them again: %w", out, err)
	}
	r.printf("wrote %s: letters, notices, press text, and %s.xlsx\n", out, made.merge())
	r.warn(made, out)
	return nil
}

// allowed tries the step without keeping it, so that what would be refused is refused at once.
func (r *inRecall) allowed(ctx context.Context) error {
	err := r.update(ctx, func(tx *store.Tx) error {
		now, err := r.chosen(tx)
		if err != nil {
			return err
		}
		at, err := r.moment(tx)
		if err != nil {
			return err
		}
		if _, err := now.Take(tx, &recall.Drafted{}, at, r.by); err != nil {
			return err
		}
		return errNotKept
	})
	if errors.Is(err, errNotKept) {
		return nil
	}
	return err
}

// warn says what whoever sends the letters has to know.
func (r *inRecall) warn(made *drafts, out string) {
	switch {
	case made.version == 0:
		r.note("no version of the scope is frozen: heeltap recall freeze, so that what the letters said can be shown later")
	case made.differs > 0:
		r.note("THE SCOPE HAS CHANGED since version %d, in %s: these letters follow no frozen version. See heeltap recall changes, then heeltap recall freeze, and draft them again", made.version, counted(made.differs, "thing"))
	}
	if len(made.unset) > 0 {
		r.note("the PDFs of %s can not show %s: send the .txt, or write it by hand", strings.Join(made.unset, ", "), strings.Join(made.words, ", "))
	}
	if len(made.stale) > 0 {
		r.note("%s holds %s of an earlier draft that nobody in scope gets now: %s; do not send what is out of date", out, counted(len(made.stale), "file"), strings.Join(made.stale, ", "))
	}
}

// drafts are the papers of one drafting, not yet written.
type drafts struct {
	names    []string // of files, without their endings
	papers   []*paper.Document
	letters  int
	mock     bool
	version  int // the last frozen one
	differs  int // how much of the scope differs from it
	rows     [][]string
	units    [][]string
	accounts [][]string
	stale    []string // letters in the folder that were not written now
	unset    []string // papers whose PDF can not show all of their texts
	words    []string // which those are
}

// merge names the table of all letters: that of an exercise says so.
func (d *drafts) merge() string {
	if d.mock {
		return "merge-EXERCISE"
	}
	return "merge"
}

// draft makes the letters, the press text and the tables.
func draft(tx *store.Tx, now *recall.Recall, letter bool) (*drafts, error) {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return nil, err
	}
	letters, err := m.Letters()
	if err != nil {
		return nil, err
	}
	d := &drafts{letters: len(letters), mock: now.Mock}
	for _, l := range letters {
		d.names, d.papers = append(d.names, l.Kind+" "+l.Party), append(d.papers, l.Paper)
	}
	d.names, d.papers = append(fileNames(d.names), "press"), append(d.papers, m.Press())
	if d.rows, err = m.MergeRows(); err != nil {
		return nil, err
	}
	if d.units, err = m.UnitRows(); err != nil {
		return nil, err
	}
	if d.accounts, err = m.AccountRows(); err != nil {
		return nil, err
	}
	d.version, d.differs, err = m.Version()
	return d, cmp.Or(err, tx.Err())
}

// writeLetters writes all letters into a folder and gives their number.
func writeLetters(tx *store.Tx, now *recall.Recall, folder string, letter bool) (int, error) {
	d, err := draft(tx, now, letter)
	if err != nil {
		return 0, err
	}
	return d.letters, d.write(folder, func() {})
}

// write writes drafts into a folder, and shows on a terminal how far it is.
func (e *env) write(d *drafts, folder string) error {
	done := func() {}
	if e.terminal(e.errOut) {
		bar := progressbar.NewOptions(len(d.papers), progressbar.OptionSetWriter(e.errOut), progressbar.OptionClearOnFinish(), progressbar.OptionSetDescription("writing papers"))
		defer func() { _ = bar.Finish() }()
		done = func() { _ = bar.Add(1) }
	}
	return d.write(folder, done)
}

// write writes the papers and tables into a folder; done is called after each paper.
func (d *drafts) write(folder string, done func()) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return lots.Errorf(lots.Invalid, "%s can not be made: %w", folder, err)
	}
	for i, p := range d.papers {
		lost, err := p.NotInPDF()
		if err != nil {
			return err
		}
		if len(lost) > 0 {
			d.unset, d.words = append(d.unset, d.names[i]), append(d.words, lost...)
		}
		for _, ending := range []string{".pdf", ".txt"} {
			if err := writeDocument(p, filepath.Join(folder, d.names[i]+ending)); err != nil {
				return err
			}
		}
		done()
	}
	slices.Sort(d.words)
	d.words = slices.Compact(d.words)
	if err := d.writeTables(folder); err != nil {
		return err
	}
	return d.findStale(folder)
}

// findStale lists letters in the folder that are not among these drafts.
func (d *drafts) findStale(folder string) error {
	files, err := os.ReadDir(folder)
	if err != nil {
		return lots.Errorf(lots.Invalid, "%s can not be read: %w", folder, err)
	}
	for _, f := range files {
		name := strings.TrimSuffix(strings.TrimSuffix(f.Name(), ".pdf"), ".txt")
		ours := strings.HasPrefix(name, "consignee ") || strings.HasPrefix(name, "supplier ")
		if ours && name != f.Name() && !slices.Contains(d.names, name) {
			d.stale = append(d.stale, f.Name())
		}
	}
	return nil
}

// fileNames makes names of files out of names with codes: no two alike, also where a file system
// makes no difference of upper and lower case. Letters, digits and what is safe everywhere stay;
// every other byte is written as % with its number. Names that differ by case alone get their
// capitals written so, too.
func fileNames(names []string) []string {
	out, alike := make([]string, len(names)), map[string]int{}
	for i, n := range names {
		out[i] = escaped(n, false)
		alike[strings.ToLower(out[i])]++
	}
	for i, n := range names {
		if alike[strings.ToLower(out[i])] > 1 {
			out[i] = escaped(n, true)
		}
	}
	return out
}

// escaped writes a name so that it can be read back from it, and no other name gives the same.
func escaped(name string, capitals bool) string {
	var b strings.Builder
	for i := range len(name) {
		c := name[i]
		capital := c >= 'A' && c <= 'Z'
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || capital && !capitals || strings.IndexByte(" -_.,()+=@#", c) >= 0 {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "%%%02x", c)
		}
	}
	return b.String()
}

// mergeTable is one table of a workbook, which stands in a file of its own, too.
type mergeTable struct {
	sheet, file string
	rows        [][]string
}

// writeTables writes the table for a mail merge, what each party received unit by unit, and whom
// the consignees supplied.
func (d *drafts) writeTables(folder string) error {
	tables := []mergeTable{{"merge", d.merge(), append([][]string{papers.MergeHead}, d.rows...)},
		{"units", strings.Replace(d.merge(), "merge", "merge-units", 1), append([][]string{papers.UnitHead}, d.units...)}}
	if len(d.accounts) > 0 {
		tables = append(tables, mergeTable{"accounts", strings.Replace(d.merge(), "merge", "merge-accounts", 1), append([][]string{papers.AccountHead}, d.accounts...)})
	}
	book := excelize.NewFile()
	defer book.Close()
	if err := book.SetSheetName("Sheet1", tables[0].sheet); err != nil {
		return err
	}
	for _, t := range tables {
		if _, err := book.NewSheet(t.sheet); err != nil {
			return err
		}
		if err := intoSheet(book, t.sheet, t.rows); err != nil {
			return err
		}
		if err := writeCSV(filepath.Join(folder, t.file+".csv"), t.rows); err != nil {
			return err
		}
	}
	var x bytes.Buffer
	if err := book.Write(&x); err != nil {
		return err
	}
	return writeWhole(filepath.Join(folder, d.merge()+".xlsx"), x.Bytes())
}

// mostCell is what a cell of a workbook holds, in UTF-16 units: the format's own limit.
const mostCell = excelize.TotalCellChars

// fitting cuts a list that no cell can hold after a whole item, and says where the rest is.
func fitting(cell string) string {
	length := func(text string) int { return len(utf16.Encode([]rune(text))) }
	if length(cell) <= mostCell {
		return cell
	}
	const between, note = "; ", "AND MORE: see the sheet units"
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

// intoSheet fills a sheet of a workbook with texts.
func intoSheet(book *excelize.File, sheet string, rows [][]string) error {
	for i, row := range rows {
		for k, c := range row {
			cell, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				return err
			}
			if err := book.SetCellStr(sheet, cell, fitting(c)); err != nil {
				return err
			}
		}
	}
	return nil
}

func writeCSV(path string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for _, row := range rows {
		safe := make([]string, len(row))
		for k, c := range row {
			safe[k] = unrun(c)
		}
		if err := w.Write(safe); err != nil {
			return err
		}
	}
	w.Flush()
	return writeWhole(path, b.Bytes())
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

func statusCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "status", Short: "Write the status report, with the six items of 21 CFR 7.53(b)",
		Example: "  heeltap recall status\n  heeltap recall status --out status.pdf --as-of \"2026-07-02 12:00\""}, (*papers.Maker).Status)
}

func reportCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "report", Short: "Write the report: picture, timeline, scope, account, checks, gaps, signatures",
		Example: "  heeltap recall report --out report.pdf\n  heeltap recall report --out report.html --as-of \"2026-07-02 12:00\""}, (*papers.Maker).Report)
}

// paperCommand makes a verb that writes a paper to a file, or as text to the screen. The same
// journal and --as-of give the same bytes.
func paperCommand(e *env, cmd *cobra.Command, make func(*papers.Maker) (*paper.Document, error)) *cobra.Command {
	r := &inRecall{env: e}
	var out string
	var letter bool
	cmd.Args = cobra.NoArgs
	cmd.Long = cmd.Short + ". The same journal and --as-of give the same bytes; without --as-of it is as of the journal's last entry."
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .txt (else text on the screen)")
	cmd.Flags().StringVar(&e.knownAt, "as-of", "", "from what had been entered by then (else all)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return e.question(cmd.Context(), func(tx *store.Tx) error {
			now, err := r.read(tx)
			if err != nil {
				return err
			}
			return r.writePaper(tx, now, out, letter, make)
		})
	}
	return cmd
}
