package main

import (
	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

func closeCommand(e *env) *cobra.Command {
	var review string
	cmd := e.step(&cobra.Command{Use: "close", Short: "Close the recall on the brewery's side with a review, and list what is still open", Args: cobra.NoArgs,
		Example: `  heeltap recall close --review "cause: damaged bale; receiving now opens one bale in ten"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			open, err := now.OpenLines(tx, s)
			if err != nil {
				return err
			}
			t := &table{head: []string{"still open", "what"}}
			for _, l := range open {
				t.add(l.Kind, l.Text)
			}
			r.print(t)
			err = r.take(tx, now, &recall.Closed{Review: review})
			if lots.KindOf(err) == lots.Invalid {
				r.env.print(t) // what the review has to answer
			}
			return err
		})
	cmd.Flags().StringVar(&review, "review", "", "what happened, why, and what will be different (needed)")
	return cmd
}

func reopenCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "reopen", Short: "Reopen a closed or terminated recall", Args: cobra.NoArgs,
		Example: `  heeltap recall reopen --recall RC26-01 --reason "a pallet turned up at D-12"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			return r.take(tx, now, &recall.Reopened{Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func terminateCommand(e *env) *cobra.Command {
	var text string
	cmd := e.step(&cobra.Command{Use: "terminate AUTHORITY", Short: "Log that an authority ended the recall (21 CFR 7.55)", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall terminate TTB --text "letter of 2026-09-01" --recall RC26-01`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Terminated{Authority: args[0], Text: text})
		})
	cmd.Flags().StringVar(&text, "text", "", "what it said")
	return cmd
}

func nextCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "next", Short: "Show what waits in the recall now, what is best done first before the rest", Args: cobra.NoArgs, Example: "  heeltap recall next"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			list, err := now.Next(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(orEmpty(list))
			}
			if len(list) == 0 {
				r.printf("Nothing waits.\n")
			}
			t := &table{head: []string{"what waits", ""}}
			for _, x := range list {
				late := ""
				if x.Late {
					late = "now"
				}
				t.add(x.Text, late)
			}
			r.print(t)
			return nil
		})
}

func signCommand(e *env) *cobra.Command {
	var s recall.Signed
	cmd := e.step(&cobra.Command{Use: "sign scope|report", Short: "Put your name to the last version of the scope, or to the report", Args: cobra.ExactArgs(1),
		Long:    "Put your name to the last frozen version of the scope, or to the report as known with the journal's last entry. The signature is a step on the timeline. The report at that entry can be written again at any time (heeltap recall report --as-of).",
		Example: `  heeltap recall sign report --as "quality lead" --by Quint`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.What = args[0]
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.As, "as", "", "in which role (needed)")
	return cmd
}
