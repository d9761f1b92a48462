package main

import (
	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
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

func statusCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "status", Short: "Write the status report, with the six items of 21 CFR 7.53(b)",
		Example: "  heeltap recall status\n  heeltap recall status --out status.pdf --known-at \"2026-07-02 12:00\""}, (*papers.Maker).Status)
}

func reportCommand(e *env) *cobra.Command {
	return paperCommand(e, &cobra.Command{Use: "report", Short: "Write the report: picture, timeline, scope, account, checks, gaps, signatures",
		Example: "  heeltap recall report --out report.pdf\n  heeltap recall report --out report.html --known-at \"2026-07-02 12:00\""}, (*papers.Maker).Report)
}

// paperCommand makes a verb that writes a paper to a file, or as text to the screen. The same
// journal and --known-at give the same bytes.
func paperCommand(e *env, cmd *cobra.Command, make func(*papers.Maker) (*paper.Document, error)) *cobra.Command {
	r := &inRecall{env: e}
	var out string
	var letter bool
	cmd.Args = cobra.NoArgs
	cmd.Long = cmd.Short + ". The same journal and --known-at give the same bytes; without --known-at it covers everything entered so far."
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .txt (else text on the screen)")
	cmd.Flags().StringVar(&e.knownAt, "as-of", "", "use what had been entered by this time (else everything)")
	cmd.Flags().BoolVar(&letter, "letter-paper", false, "US Letter instead of A4")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		return e.question(cmd.Context(), func(tx *store.Tx) error {
			now, err := recall.ChooseToRead(tx, r.code)
			if err != nil {
				return err
			}
			return r.writePaper(tx, now, out, letter, make)
		})
	}
	return cmd
}
