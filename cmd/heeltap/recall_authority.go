package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/lots/store"
)

func authoritiesCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "authorities", Short: "Show which authorities are concerned and what they ask for first", Args: cobra.NoArgs,
		Long: `Show which authorities are concerned, by the markets the goods went to, and what they ask for first.
Markets and the kind of beverage are settings: heeltap set site market US, heeltap set D-11 market EU,
heeltap set PALE-CAN malt-beverage yes, heeltap set site authority.DK "…".`,
		Example: "  heeltap recall authorities"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			n, err := now.Notify(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(n)
			}
			if n.Recovery {
				r.printf("Nothing has left the brewery's control: where no part of the lot was released, this is a stock recovery, not a recall (21 CFR 7.3(k)).\n\n")
			}
			t := &table{head: []string{"market", "authority", "products", "because", "source", "told"}}
			for _, a := range n.Authorities {
				t.add(a.Market, a.Name, strings.Join(a.Products, ", "), a.Because, a.Source, minute(a.Told))
			}
			r.print(t)
			for _, o := range n.Open {
				r.printf("  open: %s\n", o)
			}
			r.printf("\n%s\n", r.strong("What they ask for first (21 CFR 7.46(a))"))
			for _, a := range n.First {
				r.printf("  %s: %s\n", r.strong(a.What), a.Answer)
			}
			r.printf("\nClass proposed by the firm: %s; assigned by an authority: %s\n%s\n%s\n", orDash(n.Proposed), orDash(strings.TrimSpace(n.Assigned+" "+n.Assigner)), recall.Deferral(), cautionText())
			return nil
		})
}

func spokeCommand(e *env) *cobra.Command {
	s := recall.Spoke{}
	cmd := e.step(&cobra.Command{Use: "authority NAME", Short: "Log that an authority was told, or that it asked for records (its 24 hours start then)", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall authority TTB --text "told by phone, mail follows"
  heeltap recall authority FDA --asked --text "records of lot L26-0142"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Authority = args[0]
			return r.take(tx, now, &s)
		})
	cmd.Flags().BoolVar(&s.Asked, "asked", false, "it asked for records (21 CFR 1.361: within 24 hours)")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was said")
	return cmd
}

func classCommand(e *env) *cobra.Command {
	s := recall.Classed{}
	cmd := e.step(&cobra.Command{Use: "class I|II|III", Short: "Log the class the firm proposes, or the class an authority assigned", Args: cobra.ExactArgs(1),
		Long: "Log the class that the firm proposes or, with --assigned-by, the class that an authority assigned (21 CFR 7.3(m)): the two are kept apart.",
		Example: `  heeltap recall class II --reason "glass, but found before sale"
  heeltap recall class I --assigned-by FDA`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Class = args[0]
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Authority, "assigned-by", "", "the authority that assigned it")
	cmd.Flags().StringVar(&s.Reason, "reason", "", "on what grounds")
	return cmd
}

func strategyCommand(e *env) *cobra.Command {
	s := recall.Strategy{}
	cmd := e.step(&cobra.Command{Use: "strategy", Short: "Log how the recall is carried out: depth, instructions, contact", Args: cobra.NoArgs,
		Example: `  heeltap recall strategy --depth retail --contact "Quint, +00 555 0101, recall@tidewick.example" --instructions "We collect it."`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Depth, "depth", "", "consumer, retail or wholesale")
	cmd.Flags().StringVar(&s.Instructions, "instructions", "", "what consignees should do with the goods")
	cmd.Flags().StringVar(&s.Contact, "contact", "", "whom to call, with number and address")
	cmd.Flags().StringVar(&s.Completion, "completion", "", "when it should be finished")
	return cmd
}
