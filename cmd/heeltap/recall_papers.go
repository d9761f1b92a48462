package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"

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
	cmd := e.step(&cobra.Command{Use: "letters", Short: "Draft the letters, notices and the press text, and one table for a mail merge", Args: cobra.NoArgs,
		Long: `Draft one letter for every consignee, with its own quantities and an answer form, a notice to each supplier, and a
press text, each as PDF and as text, and one table of all as XLSX and CSV. All are drafts for the responsible
person; nothing is sent.`,
		Example: "  heeltap recall letters --out letters/"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if err := needed(out, "out"); err != nil {
				return err
			}
			n, err := writeLetters(tx, now, out, letter)
			if err != nil {
				return err
			}
			version := len(now.Versions)
			if err := r.take(tx, now, &recall.Drafted{Version: version, Letters: n}); err != nil {
				return err
			}
			r.printf("wrote %s: letters, notices, press text, and merge.xlsx\n", out)
			if version == 0 {
				r.note("no version of the scope is frozen: heeltap recall freeze, so that what the letters said can be shown later")
			}
			return nil
		})
	cmd.Flags().StringVar(&out, "out", "", "folder to write to (needed)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	return cmd
}

// writeLetters writes all letters into a folder and gives their number.
func writeLetters(tx *store.Tx, now *recall.Recall, folder string, letter bool) (int, error) {
	m, err := papers.New(tx, now, letter)
	if err != nil {
		return 0, err
	}
	letters, err := m.Letters()
	if err != nil {
		return 0, err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return 0, lots.Errorf(lots.Invalid, "%s can not be made: %w", folder, err)
	}
	write := func(name string, d *paper.Document) error {
		for _, ending := range []string{".pdf", ".txt"} {
			if err := writeDocument(d, filepath.Join(folder, fileName(name)+ending)); err != nil {
				return err
			}
		}
		return nil
	}
	for _, l := range letters {
		if err := write(l.Kind+" "+l.Party, l.Paper); err != nil {
			return 0, err
		}
	}
	if err := write("press", m.Press()); err != nil {
		return 0, err
	}
	return len(letters), writeMerge(m, folder)
}

// fileName leaves out what a file's name can not hold.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, name)
}

// writeMerge writes the table for a mail merge.
func writeMerge(m *papers.Maker, folder string) error {
	rows, err := m.MergeRows()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	book := excelize.NewFile()
	defer book.Close()
	for i, row := range append([][]string{papers.MergeHead}, rows...) {
		safe := make([]string, len(row))
		for k, c := range row {
			cell, err := excelize.CoordinatesToCellName(k+1, i+1)
			if err != nil {
				return err
			}
			if err := book.SetCellStr("Sheet1", cell, c); err != nil {
				return err
			}
			if safe[k] = c; strings.ContainsAny(c[:min(1, len(c))], "=+-@") {
				safe[k] = "'" + c // a spreadsheet would run it as a formula
			}
		}
		if err := w.Write(safe); err != nil {
			return err
		}
	}
	w.Flush()
	if err := writeWhole(filepath.Join(folder, "merge.csv"), b.Bytes()); err != nil {
		return err
	}
	var x bytes.Buffer
	if err := book.Write(&x); err != nil {
		return err
	}
	return writeWhole(filepath.Join(folder, "merge.xlsx"), x.Bytes())
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
			now, err := r.chosen(tx)
			if err != nil {
				return err
			}
			return r.writePaper(tx, now, out, letter, make)
		})
	}
	return cmd
}
