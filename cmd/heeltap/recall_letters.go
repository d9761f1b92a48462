package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/mailing"
	"heeltap/lots"
	"heeltap/lots/store"
)

func lettersCommand(e *env) *cobra.Command {
	var out string
	var letter bool
	r := &inRecall{env: e}
	cmd := &cobra.Command{Use: "letters", Short: "Draft the letters, notices and press text, and a table for a mail merge", Args: cobra.NoArgs,
		Long: `Draft one letter for every consignee, with its own quantities and an answer form, a notice to each supplier, and,
where anything in scope has left the brewery, a press text, each as PDF and as text; and tables as XLSX and CSV: one row
per letter for a mail merge, one row per unit with dates and documents, and whom the consignees supplied by their own
lists. Who sends them is set once: heeltap set site sender.address, sender.phone and sender.email. These are drafts for
the responsible person; nothing is sent. Freeze the scope first: letters that do not match a frozen version are logged as such. Others
can go on recording while letters are written.`,
		Example: "  heeltap recall letters --out letters/",
		RunE: func(cmd *cobra.Command, _ []string) error {
			by, err := e.who(r.by)
			if err != nil {
				return err
			}
			if r.by = by; out == "" {
				return lots.Errorf(lots.Invalid, "--out is needed")
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

// letters drafts, writes and logs the letters, and prints what whoever sends them needs to know.
func (r *inRecall) letters(ctx context.Context, out string, letter bool) (err error) {
	db, err := r.env.open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	o := mailing.Order{Letter: letter, By: r.by}
	err = db.View(ctx, func(tx *store.Tx) error {
		now, err := recall.Choose(tx, r.code)
		if err != nil {
			return err
		}
		o.Recall = now.Code
		o.At, err = r.moment(tx)
		return err
	})
	if err != nil {
		return err
	}
	made, after, err := mailing.Make(ctx, db, o, func(d *mailing.Drafts) error { return r.write(d, out) })
	if _, ok := errors.AsType[mailing.NotLogged](err); ok {
		return fmt.Errorf("the letters are in %s, but the recall's log does not have them: draft them again: %w", out, err)
	}
	if err != nil {
		return err
	}
	for _, x := range after {
		r.saidStep(x)
	}
	r.printf("wrote %s: %s\n", out, wrote(made))
	r.warn(made, out)
	return nil
}

// wrote says what was drafted.
func wrote(made *mailing.Drafts) string {
	t := counted(made.Letters, "letter")
	if made.NoPress == "" {
		t += ", a press draft"
	}
	return t + " and " + made.Merge() + ".xlsx"
}

// warn prints what whoever sends the letters needs to know.
func (r *inRecall) warn(made *mailing.Drafts, out string) {
	for _, text := range made.Remarks() {
		r.note("%s", text)
	}
	if len(made.Stale) > 0 {
		r.note("%s still has %s from an earlier draft that no longer goes to anyone: %s; do not send them", out, counted(len(made.Stale), "file"), strings.Join(made.Stale, ", "))
	}
	if len(made.Wait) > 0 {
		r.note("%s still has %s from an earlier draft: %s; keep them until it is known what is affected", out, counted(len(made.Wait), "file"), strings.Join(made.Wait, ", "))
	}
}

// write writes drafts into a folder and shows its progress on a terminal.
func (e *env) write(d *mailing.Drafts, folder string) error {
	done := func() {}
	if e.terminal(e.errOut) {
		bar := progressbar.NewOptions(d.Papers(), progressbar.OptionSetWriter(e.errOut), progressbar.OptionClearOnFinish(), progressbar.OptionSetDescription("writing papers"))
		defer func() { _ = bar.Finish() }()
		done = func() { _ = bar.Add(1) }
	}
	return d.Write(folder, done)
}
