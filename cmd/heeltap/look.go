package main

import (
	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) showCommand() *cobra.Command {
	return e.asks(&cobra.Command{
		Use:   "show CODE",
		Short: "Show the rows that mention a code, as they read now",
		Example: `  heeltap show L26-0142
  heeltap show FV2 --json`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				code := labels.ParsePayload(args[0])
				rows, err := desk.RowsAbout(tx, code)
				if err != nil {
					return err
				}
				return e.showRows(tx, code, rows)
			})
		},
	})
}

func (e *env) showRows(tx *store.Tx, code string, rows []lots.Entered) error {
	list, err := desk.Show(tx, rows)
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(list)
	}
	t := &table{head: []string{"#entry", "sheet", "row"}}
	for _, r := range list {
		text := r.Text()
		if r.Corrections > 0 {
			text += "  (" + counted(r.Corrections, "correction") + ")"
		}
		t.add(whole(r.Entry), r.Sheet, text)
	}
	e.printf("%s: %s\n", code, counted(len(rows), "row"))
	e.print(t)
	return e.listPapers(tx, code)
}

func (e *env) journalCommand() *cobra.Command {
	var from int64
	var most int
	var about string
	cmd := &cobra.Command{
		Use:   "journal",
		Short: "List the journal: every entry in order, with who made it and when",
		Example: `  heeltap journal --from 800
  heeltap journal --about L26-0142`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error { return e.listJournal(tx, from, most, about) })
		},
	}
	cmd.Flags().Int64Var(&from, "from", 1, "first entry")
	cmd.Flags().IntVar(&most, "most", 200, "show at most this many entries")
	cmd.Flags().StringVar(&about, "about", "", "only entries that mention this code, and their corrections")
	return e.asks(cmd)
}

func (e *env) listJournal(tx *store.Tx, from int64, most int, about string) error {
	lines, more, err := desk.Journal(tx, from, most, about)
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(lines)
	}
	t := &table{head: []string{"#entry", "recorded", "by", "kind", "content"}}
	for _, l := range lines {
		kind := l.Kind
		if l.Corrects != nil {
			kind += " of " + whole(*l.Corrects)
		}
		t.add(whole(l.Entry), stampOf(l.Moment, tx.Site().Zone), l.By, kind, l.Text)
	}
	e.print(t)
	if more {
		e.note("there are more entries: see --from and --most")
	}
	return nil
}

func entries(n int64) string {
	if n == 1 {
		return "1 journal entry"
	}
	return whole(n) + " journal entries"
}
