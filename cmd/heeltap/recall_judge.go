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
			if err := r.take(tx, now, &recall.Suspected{Suspects: labels.ParsePayloads(args), Reason: reason}); err != nil {
				return err
			}
			after, err := recall.Load(tx, now.Code)
			if err != nil {
				return err
			}
			return r.remindOf(tx, after)
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func unsuspectCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "unsuspect CODE…", Short: "Remove suspects, or decline a proposed one", Args: cobra.MinimumNArgs(1),
		Long:    "Remove suspects on the lead's word: one whose row was voided, or one that was cleared. Use it too to decline a fill that scope proposes as a suspect because suspect yeast was cropped from it. What the last version had in scope because of a voided row stays in scope until it is signed off.",
		Example: `  heeltap recall unsuspect L26-0150 --reason "its analysis is in: sheet 7"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Unsuspected{Suspects: labels.ParsePayloads(args), Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func hazardCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "hazard KIND", Short: "Change the hazard, and with it which links count", Args: cobra.ExactArgs(1),
		Long:    "Change the hazard, and with it which links count. KIND is one of:\n\n" + hazardTable(),
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
			scope.Include: {"include CODE…", "Include things by decision, with everything they went into", `  heeltap recall include P26-0817 --reason "stood open beside the bale"`},
			scope.Exclude: {"exclude CODE…", "Exclude things by decision: the trace stops at them", `  heeltap recall exclude R26-0031 --reason "filtered at 0.45 µm after the addition, sheet 12"`},
			scope.Records: {"undecide CODE…", "Undo a decision: the records decide again", `  heeltap recall undecide R26-0031 --reason "the filter sheet is from another day"`},
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
	cmd := e.step(&cobra.Command{Use: "sign-off [CODE…]", Short: "Sign off what a correction took out of scope",
		Long: "Sign off what a correction took out of scope: until then it stays in. A vessel's code means what it held. A signature lapses if the thing is later frozen in scope again.",
		Example: `  heeltap recall sign-off P26-0817 --reason "weigh sheet and photo show the other lot"
  heeltap recall sign-off --all --reason "weigh sheet and photo show the other lot"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.SignedOff{Codes: args, All: all, Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	cmd.Flags().BoolVar(&all, "all", false, "everything still to be signed off")
	return cmd
}
