package main

import (
	"github.com/spf13/cobra"

	"heeltap/graph/balance"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) balanceCommand() *cobra.Command {
	var from, to string
	cmd := &cobra.Command{
		Use:   "balance LOT|BREW|VESSEL|RUN|ITEM",
		Short: "Balance what came in against what went out, with the arithmetic",
		Long: `Balance what came in against what went out. For a lot: received against used, removed and counted. For a
brew: its wort, and the extract in it against what its malts and sugars can yield. For a vessel: fill by fill.
For a run: volume against containers, parts and units. For an item: all its lots over a period, in one unit.
If a quantity is not known, the balance is left open. Exit status 3 if the figures are impossible, such as more
accounted for than came in.`,
		Example: `  heeltap balance L26-0142
  heeltap balance B26-0031
  heeltap balance MALT-ORG --from 2026-01-01 --to 2026-03-31`,
		Args: cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindItem}),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				p, err := balance.Days(tx, from, to)
				if err != nil {
					return err
				}
				list, err := balance.Of(tx, labels.ParsePayload(args[0]), p)
				if err != nil {
					return err
				}
				return e.showBalances(list)
			})
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "first day of the period (vessel, item)")
	cmd.Flags().StringVar(&to, "to", "", "last day of the period")
	return e.asks(cmd)
}

func (e *env) showBalances(list []balance.Balance) error {
	over := false
	for _, b := range list {
		over = over || b.Wrong
	}
	if e.json {
		if err := e.writeJSON(list); err != nil {
			return err
		}
	} else {
		for i, b := range list {
			if i > 0 {
				e.printf("\n")
			}
			e.showBalance(b)
		}
	}
	if over {
		return errFindings
	}
	return nil
}

func (e *env) showBalance(b balance.Balance) {
	e.printf("%s\n  %s\n", e.strong(b.Title), b.Formula)
	t := &table{head: []string{"", "", "", "#" + b.Unit, "#entry"}}
	for _, x := range b.Terms {
		entry := ""
		if len(x.Entries) > 0 {
			entry = whole(x.Entries[0])
		}
		if len(x.Entries) > 1 {
			entry += " …"
		}
		t.add(x.Sign, x.Name, x.Text, lots.Figure(x.Amount), entry)
	}
	t.add("=", "in", "", lots.Figure(b.In), "")
	if b.Open {
		t.add("=", "accounted", "", lots.Figure(b.Accounted), "")
		t.add("=", "unaccounted", "unknown: see the notes", "-", "")
	} else {
		t.add("=", "accounted", lots.PercentFigure(b.Percent)+" %", lots.Figure(b.Accounted), "")
		t.add("=", "unaccounted", "", lots.Figure(b.Unaccounted), "")
	}
	e.print(t)
	for _, n := range b.Notes {
		e.printf("  note: %s\n", n)
	}
	e.printf("  source: %s\n", b.Source)
}
