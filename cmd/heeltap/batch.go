package main

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/batch"
	"heeltap/labels"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

func (e *env) batchRecordCommand() *cobra.Command {
	var out string
	var letter bool
	cmd := &cobra.Command{
		Use:   "record BREW|RUN|UNIT",
		Short: "Write the batch record of a brew, run or unit as a printable document",
		Long: `Write the batch record of a brew, a packaging run or a unit: lots and amounts, vessels with times, cleans, yeast,
runs with their feeds and changes, units and where they went, open findings, and every journal entry behind it:
who made it, when, and how it was corrected.`,
		Example: `  heeltap record R26-0031 --out R26-0031.pdf
  heeltap record P26-0817`,
		Args: cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindBrew, lots.KindRun, lots.KindUnit}),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				d, err := batch.Record(tx, labels.ParsePayload(args[0]), letter)
				if err != nil {
					return err
				}
				return e.show(d, out)
			})
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .txt (else text on the screen)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	cmd.Flags().StringVar(&e.knownAt, "as-of", "", "use what had been entered by this time (else everything)")
	return cmd
}

// show writes a paper to a file, or as text to the screen.
func (e *env) show(d *paper.Document, out string) error {
	if out == "" {
		return d.Plain(e.out)
	}
	if err := writeDocument(d, out); err != nil {
		return err
	}
	if lost, err := d.NotInPDF(); err != nil {
		return err
	} else if len(lost) > 0 && strings.EqualFold(filepath.Ext(out), ".pdf") {
		e.note("%s cannot show %s: write an .html as well", out, strings.Join(lost, ", "))
	}
	e.printf("wrote %s\n", out)
	return nil
}

// writeDocument writes a paper in the format that the file's name asks for.
func writeDocument(d *paper.Document, path string) error {
	data, err := d.File(path)
	if err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	return files.WriteWhole(path, data)
}
