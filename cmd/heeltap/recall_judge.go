package main

import (
	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/labels"
	"heeltap/lots/store"
)

func suspectCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "suspect CODE…", Short: "Add suspects", Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil),
		Example: `  heeltap recall suspect L26-0150 --reason "same pallet, second letter of the supplier"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Suspected{Suspects: labels.ParsePayloads(args), Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func unsuspectCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "unsuspect CODE…", Short: "Take suspects off", Args: cobra.MinimumNArgs(1),
		Long:    "Take suspects off by the lead's word: one that was taken back in the records, or was cleared. What stood in the last version because of a row that was taken back stays until it is signed off.",
		Example: `  heeltap recall unsuspect L26-0150 --reason "its analysis is in: sheet 7"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Unsuspected{Suspects: labels.ParsePayloads(args), Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func hazardCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "hazard KIND", Short: "Change what is wrong, and so which links count", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall hazard dissolved --reason "laboratory: cleaning agent, no glass"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Judged{Hazard: args[0], Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func decideCommand(choice string) func(e *env) *cobra.Command {
	return func(e *env) *cobra.Command {
		use := map[string][3]string{
			scope.Include: {"include CODE…", "Take things into scope by decision, and what they went into", `  heeltap recall include P26-0817 --reason "stood open beside the bale"`},
			scope.Exclude: {"exclude CODE…", "Leave things out by decision: nothing comes to them or from them", `  heeltap recall exclude R26-0031 --reason "filtered at 0.45 µm after the addition, sheet 12"`},
			scope.Records: {"undecide CODE…", "Take a decision back: the records decide again", `  heeltap recall undecide R26-0031 --reason "filter sheet is of another day"`},
		}[choice]
		var reason string
		cmd := e.step(&cobra.Command{Use: use[0], Short: use[1], Example: use[2], Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil)},
			func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
				return r.take(tx, now, &recall.Decided{Choice: choice, Codes: labels.ParsePayloads(args), Reason: reason})
			})
		cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
		return cmd
	}
}

func signOffCommand(e *env) *cobra.Command {
	var reason string
	var all bool
	cmd := e.step(&cobra.Command{Use: "sign-off [CODE…]", Short: "Let what a correction took out of scope go, by signature",
		Long: "Let what a correction took out of scope go, by signature. The code of a vessel means what it held. A signature lapses when the thing is frozen in scope again.",
		Example: `  heeltap recall sign-off P26-0817 --reason "weigh sheet and photo show the other lot"
  heeltap recall sign-off --all --reason "weigh sheet and photo show the other lot"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.SignedOff{Codes: args, All: all, Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	cmd.Flags().BoolVar(&all, "all", false, "everything that waits")
	return cmd
}
