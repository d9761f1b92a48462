package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/labels"
	"heeltap/lots/store"
)

func openCommand(e *env) *cobra.Command {
	var o recall.Opened
	var surprise bool
	r := &inRecall{env: e}
	cmd := &cobra.Command{
		Use:   "open SUSPECT…",
		Short: "Open a recall or a mock recall: its clock starts",
		Long: `Open a recall on any codes: lots, supplier's lots, brews, runs, date codes, or a vessel or line at a time.
--surprise opens a mock recall on a lot picked at random and keeps the seed. Kinds of lot that no exercise has looked
at yet are picked more often: minor ingredients, bulk, packaging parts, night and weekend runs, rework.`,
		Example: `  heeltap recall open L26-0142 --hazard foreign-body --reason "glass in a hop bale" --known "supplier's letter of today" --lead Quint
  heeltap recall open --mock --surprise --seed 7 --lead Quint`,
		ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(r.by)
			if err != nil {
				return err
			}
			begin := recall.Begin
			if surprise {
				begin = recall.BeginSurprise
				if !cmd.Flags().Changed("hazard") {
					o.Hazard = "" // that of what is picked
				}
			}
			r.by, o.Suspects = by, labels.ParsePayloads(args)
			return r.done(cmd.Context(), func(tx *store.Tx) error { return r.open(tx, o, begin) })
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.Mock, "mock", false, "an exercise: it holds nothing, sends nothing and tells nobody")
	f.StringVar(&o.Reason, "reason", "", "what is wrong, in plain words (needed)")
	f.StringVar(&o.Known, "known", "", "how it was found, and what is known")
	f.StringVar(&o.Lead, "lead", "", "who leads it (else --by)")
	f.BoolVar(&surprise, "surprise", false, "open a mock recall on a lot picked at random")
	f.StringVar(&o.Seed, "seed", "", "seed for the pick (else the time)")
	f.StringVar(&r.by, "by", "", "who opens it (else HEELTAP_BY)")
	f.StringVar(&r.at, "at", "", "when the clock started (else now)")
	e.hazardFlag(cmd, &o.Hazard)
	return cmd
}

func (r *inRecall) open(tx *store.Tx, o recall.Opened, begin func(*store.Tx, recall.Opened, recall.At, string) (*recall.Recall, error)) error {
	at, err := r.moment(tx)
	if err != nil {
		return err
	}
	opened, err := begin(tx, o, at, r.by)
	if err != nil {
		return err
	}
	r.saidStep(opened)
	others, err := opened.OthersOpen(tx)
	if err != nil {
		return err
	}
	for _, x := range others {
		r.note("%s (%s) is open too: from now on each verb needs --recall CODE", x.Code, x.Kind())
	}
	if err := r.remindOf(tx, opened); err != nil {
		return err
	}
	r.printf("\n%s\n", cautionText())
	r.printf("\nNext: heeltap recall scope, then recall hold, then recall freeze\n")
	return nil
}

func listCommand(e *env) *cobra.Command {
	return e.asks(&cobra.Command{
		Use: "list", Short: "List all recalls and mock recalls", Args: cobra.NoArgs, Example: "  heeltap recall list",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				all, err := recall.All(tx)
				if err != nil {
					return err
				}
				if e.json {
					out := []recall.Summary{}
					for _, x := range all {
						out = append(out, x.Summary(tx))
					}
					return e.writeJSON(out)
				}
				if len(all) == 0 {
					e.printf("There is no recall or mock recall yet.\n")
				}
				t := &table{head: []string{"code", "kind", "state", "opened", "suspects", "hazard", "#version", "reason"}}
				for _, x := range all {
					s := x.Summary(tx)
					t.add(s.Code, s.Kind, s.State, s.Opened[:16], strings.Join(s.Suspects, " "), s.Hazard, whole(s.Version), s.Reason)
				}
				e.print(t)
				return nil
			})
		},
	})
}

func noteCommand(e *env) *cobra.Command {
	return e.step(&cobra.Command{Use: "note TEXT", Short: "Add a note to the recall's timeline", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall note "team called together: Quint, Ines, Signe"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			return r.take(tx, now, &recall.Noted{Text: args[0]})
		})
}

func logCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "log", Short: "Show the timeline, with the time on the clock and the targets", Args: cobra.NoArgs, Example: "  heeltap recall log"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			line := now.Timeline(tx)
			if r.json {
				return r.writeJSON(line)
			}
			t := &table{head: []string{"clock", "when", "by", "what", "#entry"}}
			for _, x := range line.Steps {
				t.add(x.Clock, x.At[:16], x.By, x.Text, whole(x.Entry))
			}
			r.print(t)
			r.printTargets(line.Targets)
			return nil
		})
}

func (e *env) printTargets(targets []recall.Target) {
	t := &table{head: []string{"target", "within", "reached after", "", "source"}}
	for _, x := range targets {
		t.add(x.Name, x.Within, orDash(x.Took), x.StateText(), x.Source)
	}
	e.printf("\n%s\n", e.strong("Targets"))
	e.print(t)
}
