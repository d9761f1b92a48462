package main

import (
	"slices"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/papers"
	"heeltap/lots/store"
)

func holdAllCommand(e *env) *cobra.Command {
	return e.step(&cobra.Command{Use: "hold", Short: "Put everything in scope that is still in the house on hold, in one step", Args: cobra.NoArgs,
		Example: "  heeltap recall hold"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			after, stock, err := now.HoldAll(tx, r.by)
			if err != nil {
				return err
			}
			r.saidStep(after)
			title := "Put on hold: " + counted(len(stock), "thing")
			if now.Mock {
				title = "Would be put on hold in a real recall: " + counted(len(stock), "thing")
			}
			r.showStock(after, title, stock)
			s, err := after.Scope(tx)
			if err != nil {
				return err
			}
			all, err := after.InHouse(tx, s)
			r.showLoose(all)
			r.remind(s)
			return err
		})
}

// showLoose names what no hold can stop because it is on no unit, and what to do about it.
func (r *inRecall) showLoose(stock []house.Stock) {
	loose := house.Loose(stock)
	if len(loose) == 0 {
		return
	}
	t := &table{head: []string{"on no unit", "band", "what", "once found and counted, enter it"}}
	for _, x := range loose {
		t.add(x.Amount(), x.Band, x.What, x.Enter())
	}
	r.printf("\n%s\n", r.strong("NOT HELD: a hold cannot name what is on no unit"))
	r.print(t)
	r.printf("  Find and count them, put them in one place, and enter them as above. Then print their tags (heeltap label CODE… --out tags.pdf),\n  stick them on, and hold them too: heeltap recall hold\n")
}

func holdListCommand(e *env) *cobra.Command {
	var out string
	cmd := e.ask(&cobra.Command{Use: "holds", Short: "List what is on hold or still to be held, and where it is, to walk the house with", Args: cobra.NoArgs,
		Example: "  heeltap recall holds --out holds.pdf"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			stock, err := now.InHouse(tx, s)
			if err != nil {
				return err
			}
			switch {
			case out != "":
				return r.writePaper(tx, now, out, false, (*papers.Maker).HoldList)
			case r.json:
				r.remind(s)
				return r.writeJSON(orEmpty(stock))
			}
			r.showStock(now, toStop(now, len(stock)), stock)
			r.remind(s)
			return nil
		})
	cmd.Flags().StringVar(&out, "out", "", "write it as .pdf, .html or .txt")
	return cmd
}

func letGoCommand(e *env) *cobra.Command {
	var reason string
	var all bool
	cmd := e.step(&cobra.Command{Use: "release [CODE…]", Short: "Release some or all of what the recall put on hold",
		Long:    "Release some or all of what is held for the recall. This ends only the recall's own holds; other holds stay, and are listed.",
		Example: `  heeltap recall release P26-0817 --reason "opened and inspected, sheet 4"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			released := args
			release := func() (*recall.Recall, error) { return now.LetGo(tx, args, reason, r.by) }
			if len(args) == 0 && all {
				released = slices.Clone(now.Holds)
				release = func() (*recall.Recall, error) { return now.LetGoAll(tx, reason, r.by) }
			}
			after, err := release()
			if err != nil {
				return err
			}
			r.saidStep(after)
			if now.Mock {
				return nil
			}
			still, err := now.StillStopped(tx, released)
			for _, text := range still {
				r.note("%s", text)
			}
			return err
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	cmd.Flags().BoolVar(&all, "all", false, "everything held for the recall")
	return cmd
}
