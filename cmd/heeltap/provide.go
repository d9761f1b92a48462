package main

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/provide"
	"heeltap/graph/recall"
	sheets "heeltap/labels/table"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

func (e *env) provideCommand() *cobra.Command {
	var recalled, from, to string
	cmd := &cobra.Command{
		Use:   "provide FILE.xlsx",
		Short: "Write who supplied what and who received what, as authorities ask for it",
		Long: `Write who supplied what and who received what, one step back and one step on, as a workbook whose columns sort: one
fact in a cell, dates as year-month-day. It has all that 21 CFR 1.337 and 1.345 and Regulation (EC) 178/2002,
Article 18, ask for: the other firm with address and telephone, what it was, its lot, how much and how packaged,
when, and who transported it; the lots in what left; and until when such records must be kept. The last column of
each row names what is missing. The scope is a recall's, or a time. A transporter's address and telephone are those
of the party of that code or name.`,
		Example: `  heeltap provide asked.xlsx --recall RC26-01
  heeltap provide asked.xlsx --from 2026-01-01 --to 2026-03-31`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !strings.EqualFold(filepath.Ext(args[0]), ".xlsx") {
				return lots.Errorf(lots.Invalid, "%s: the name must end in .xlsx", args[0])
			}
			var done *provide.Provided
			err := e.question(cmd.Context(), func(tx *store.Tx) error {
				scope, err := providedScope(tx, recalled, from, to)
				if err != nil {
					return err
				}
				done, err = provide.Of(tx, scope)
				return err
			})
			if err != nil {
				return err
			}
			data, err := sheets.Workbook(done.Sheets)
			if err != nil {
				return err
			}
			if err := files.WriteWhole(args[0], data); err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"path": args[0], "received": done.Received, "released": done.Released, "incomplete": done.Incomplete})
			}
			e.printf("wrote %s received and %s released to %s\n", counted(done.Received, "row"), counted(done.Released, "row"), args[0])
			if done.Incomplete > 0 {
				e.note("%s lack something that the rules ask for: see the column missing", counted(done.Incomplete, "row"))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&recalled, "recall", "", "what this recall's scope reaches")
	cmd.Flags().StringVar(&from, "from", "", "first day")
	cmd.Flags().StringVar(&to, "to", "", "last day (else today)")
	return e.asks(cmd)
}

// providedScope is a recall's scope, or the days from one to another.
func providedScope(tx *store.Tx, recalled, from, to string) (s provide.Scope, err error) {
	switch {
	case (recalled == "") == (from == ""):
		return s, lots.Errorf(lots.Invalid, "say either --recall or --from, and perhaps --to")
	case recalled != "":
		now, err := recall.Load(tx, recalled)
		if err != nil {
			return s, err
		}
		scope, err := now.Scope(tx)
		if err != nil {
			return s, err
		}
		s.Answer = scope.Answer
		return s, nil
	}
	return provide.Days(tx, from, to)
}
