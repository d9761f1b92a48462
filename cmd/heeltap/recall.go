package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

// inRecall is what the recall verbs share.
type inRecall struct {
	*env
	code string // --recall
	by   string
	at   string

	gathering bool     // what is said waits until what was done is kept
	said      []func() // what waits
	unwritten error
}

// done runs f as one change of the database, and says what it says only when that is kept.
func (r *inRecall) done(ctx context.Context, f func(tx *store.Tx) error) error {
	r.gathering = true
	err := r.update(ctx, f)
	r.gathering = false
	if err != nil {
		return err
	}
	for _, say := range r.said {
		say()
	}
	return r.unwritten
}

// say says something now, or when what was done is kept.
func (r *inRecall) say(f func()) {
	if r.gathering {
		r.said = append(r.said, f)
		return
	}
	f()
}

func (r *inRecall) printf(format string, args ...any) {
	r.say(func() { r.env.printf(format, args...) })
}

func (r *inRecall) note(format string, args ...any) {
	r.say(func() { r.env.note(format, args...) })
}

func (r *inRecall) print(t *table) { r.say(func() { r.env.print(t) }) }

func (r *inRecall) printMost(t *table, all bool) { r.say(func() { r.env.printMost(t, all) }) }

// writeJSON writes a value; what can not be written is told of when it is written.
func (r *inRecall) writeJSON(v any) error {
	if !r.gathering {
		return r.env.writeJSON(v)
	}
	r.say(func() { r.unwritten = cmp.Or(r.unwritten, r.env.writeJSON(v)) })
	return nil
}

func (e *env) recallCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "recall",
		Short: "Run a recall or a mock recall: scope, hold, tell, account, prove",
		Long: `Run a recall or rehearse one, from the suspect to the signed report. Every step is a
journal entry with its time. Where one recall is open, --recall need not name it.

` + cautionText(),
		Example: `  heeltap recall open L26-0142 --hazard foreign-body --reason "glass in a hop bale" --known "supplier's letter" --lead Quint
  heeltap recall scope
  heeltap recall hold
  heeltap recall freeze --reason "first scope"
  heeltap recall consignees
  heeltap recall letters --out letters/
  heeltap recall told D-11 --how phone --who Otto
  heeltap recall answer D-11 --on-hand 40 --sold 12
  heeltap recall account
  heeltap recall report --out report.pdf`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	for _, g := range []struct {
		id, title string
		verbs     []func(*env) *cobra.Command
	}{
		{"begin", "Begin:", []func(*env) *cobra.Command{openCommand, listCommand, suspectCommand, unsuspectCommand, hazardCommand, noteCommand, logCommand}},
		{"scope", "Scope:", []func(*env) *cobra.Command{scopeCommand, decideCommand(recall.Include), decideCommand(recall.Exclude), decideCommand(recall.Records), freezeCommand, changesCommand, signOffCommand, printedCommand}},
		{"stop", "Stop:", []func(*env) *cobra.Command{holdAllCommand, holdListCommand, letGoCommand}},
		{"tell", "Tell:", []func(*env) *cobra.Command{authoritiesCommand, spokeCommand, classCommand, strategyCommand, consigneesCommand, suppliersCommand, lettersCommand, toldCommand, answerCommand, passedOnCommand, dueCommand, sampleCommand, checkedCommand}},
		{"prove", "Account and prove:", []func(*env) *cobra.Command{accountCommand, destroyCommand, statusCommand, reportCommand}},
		{"end", "End:", []func(*env) *cobra.Command{closeCommand, reopenCommand, terminateCommand}},
	} {
		cmd.AddGroup(&cobra.Group{ID: g.id, Title: g.title})
		for _, make := range g.verbs {
			verb := make(e)
			verb.GroupID = g.id
			cmd.AddCommand(verb)
		}
	}
	return cmd
}

func cautionText() string { return strings.Join(recall.Cautions(), "\n") }

// step makes a verb that takes one step of the recall that is meant.
func (e *env) step(cmd *cobra.Command, f func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error) *cobra.Command {
	r := &inRecall{env: e}
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.Flags().StringVar(&r.at, "at", "", "when it was done (else now)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		by, err := e.who(r.by)
		if err != nil {
			return err
		}
		r.by = by
		return r.done(cmd.Context(), func(tx *store.Tx) error {
			now, err := r.chosen(tx)
			if err != nil {
				return err
			}
			return f(r, tx, now, args)
		})
	}
	return cmd
}

// ask makes a verb that answers a question about the recall that is meant.
func (e *env) ask(cmd *cobra.Command, f func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error) *cobra.Command {
	r := &inRecall{env: e}
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return e.question(cmd.Context(), func(tx *store.Tx) error {
			now, err := r.read(tx)
			if err != nil {
				return err
			}
			return f(r, tx, now, args)
		})
	}
	return e.asks(cmd)
}

// chosen loads the recall named, or the only one that is open.
func (r *inRecall) chosen(tx *store.Tx) (*recall.Recall, error) {
	if r.code != "" {
		return recall.Load(tx, r.code)
	}
	all, err := recall.All(tx)
	if err != nil {
		return nil, err
	}
	open := slices.DeleteFunc(slices.Clone(all), func(x *recall.Recall) bool { return !x.Open })
	switch {
	case len(open) == 1:
		return open[0], nil
	case len(all) == 0:
		return nil, lots.Errorf(lots.NotFound, "there is no recall yet: heeltap recall open SUSPECT…")
	case len(open) == 0:
		return nil, lots.Errorf(lots.NotFound, "no recall is open: name one with --recall, such as %s", all[len(all)-1].Code)
	}
	var names []string
	for _, x := range open {
		names = append(names, x.Code)
	}
	return nil, lots.Errorf(lots.Conflict, "%s are open: name one with --recall", strings.Join(names, " and "))
}

// read loads the recall that a question is about: the one named or open, else the only one there is.
func (r *inRecall) read(tx *store.Tx) (*recall.Recall, error) {
	now, err := r.chosen(tx)
	if r.code != "" || lots.KindOf(err) != lots.NotFound {
		return now, err
	}
	all, other := recall.All(tx)
	if other != nil || len(all) != 1 {
		return nil, cmp.Or(other, err)
	}
	return all[0], nil
}

// moment reads --at in the site's time; zero where it was not given.
func (r *inRecall) moment(tx *store.Tx) (time.Time, error) {
	if r.at == "" {
		return time.Time{}, nil
	}
	w, _, err := lots.ParseWhen(r.at, tx.Site().Zone)
	if err != nil {
		return time.Time{}, lots.Errorf(lots.Invalid, "--at: %w", err)
	}
	return time.Unix(w.From, 0), nil
}

// take takes a step and says what was done.
func (r *inRecall) take(tx *store.Tx, now *recall.Recall, s recall.Step) error {
	at, err := r.moment(tx)
	if err != nil {
		return err
	}
	after, err := now.Take(tx, s, at, r.by)
	if err != nil {
		return err
	}
	r.saidStep(tx, after)
	return nil
}

// saidStep tells of the last step and its time on the clock.
func (r *inRecall) saidStep(tx *store.Tx, after *recall.Recall) {
	l := after.Log[len(after.Log)-1]
	clock := after.Clock(l.At)
	if !strings.HasPrefix(clock, "-") {
		clock = "+" + clock
	}
	r.printf("[%s %s] %s\n", after.Code, clock, l.Text())
	r.exercise(after)
}

// exercise says what an exercise does not do.
func (r *inRecall) exercise(x *recall.Recall) {
	if x.Mock {
		r.note("%s is an exercise: it holds nothing, sends nothing and tells nobody", x.Code)
	}
}

func openCommand(e *env) *cobra.Command {
	var o recall.Opened
	var surprise bool
	r := &inRecall{env: e}
	cmd := &cobra.Command{
		Use:   "open SUSPECT…",
		Short: "Open a recall or a mock recall: its clock starts",
		Long: `Open a recall on any codes: lots, supplier's lots, brews, runs, date codes, vessels or lines at a time.
--surprise opens a mock recall on a lot picked by lot, with a seed that is kept; lots of kinds that no exercise
ever looked at are picked more often: ingredients used in small amounts, bulk, packaging parts, night and weekend runs, rework.`,
		Example: `  heeltap recall open L26-0142 --hazard foreign-body --reason "glass in a hop bale" --known "supplier's letter of today" --lead Quint
  heeltap recall open --mock --surprise --seed 7 --lead Quint`,
		ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(r.by)
			if err != nil {
				return err
			}
			switch {
			case o.Seed != "" && !surprise:
				return lots.Errorf(lots.Invalid, "--seed picks a suspect by lot: it goes with --surprise")
			case surprise && !cmd.Flags().Changed("hazard"):
				o.Hazard = "" // that of what is picked
			}
			r.by, o.Suspects = by, labels.ParsePayloads(args)
			return r.done(cmd.Context(), func(tx *store.Tx) error { return r.open(tx, o, surprise) })
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.Mock, "mock", false, "an exercise: it holds nothing, sends nothing and tells nobody")
	f.StringVar(&o.Reason, "reason", "", "what is wrong, in plain words (needed)")
	f.StringVar(&o.Known, "known", "", "how it was found, and what is known")
	f.StringVar(&o.Lead, "lead", "", "who answers for it (else --by)")
	f.BoolVar(&surprise, "surprise", false, "a mock recall on a lot picked by lot")
	f.StringVar(&o.Seed, "seed", "", "seed of the pick (else the time)")
	f.StringVar(&r.by, "by", "", "who opens it (else HEELTAP_BY)")
	f.StringVar(&r.at, "at", "", "when the clock started (else now)")
	e.hazardFlag(cmd, &o.Hazard)
	return cmd
}

func (r *inRecall) open(tx *store.Tx, o recall.Opened, surprise bool) error {
	at, err := r.moment(tx)
	if err != nil {
		return err
	}
	if surprise {
		if len(o.Suspects) > 0 {
			return lots.Errorf(lots.Invalid, "--surprise picks the suspect itself: give none")
		}
		o.Seed = cmp.Or(o.Seed, fmt.Sprint(tx.Recorded().Unix()))
		pick, err := recall.Surprise(tx, o.Seed)
		if err != nil {
			return err
		}
		o.Mock, o.Suspects, o.Hazard = true, []string{pick.Code}, cmp.Or(o.Hazard, string(pick.Hazard))
		o.Reason = cmp.Or(o.Reason, "exercise: "+pick.Why)
	}
	opened, err := recall.Begin(tx, o, at, r.by)
	if err != nil {
		return err
	}
	r.saidStep(tx, opened)
	all, err := recall.All(tx)
	if err != nil {
		return err
	}
	for _, x := range all {
		if x.Open && x.Code != opened.Code {
			r.note("%s (%s) is open too: from now on each verb needs --recall CODE", x.Code, x.Kind())
		}
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
					out := []recallSummary{}
					for _, x := range all {
						out = append(out, summarize(tx, x))
					}
					return e.writeJSON(out)
				}
				if len(all) == 0 {
					e.printf("No recall and no mock recall yet.\n")
				}
				t := &table{head: []string{"code", "kind", "state", "opened", "suspects", "hazard", "#version", "reason"}}
				for _, x := range all {
					s := summarize(tx, x)
					t.add(s.Code, s.Kind, s.State, s.Opened[:16], strings.Join(s.Suspects, " "), s.Hazard, whole(s.Version), s.Reason)
				}
				e.print(t)
				return nil
			})
		},
	})
}

// recallSummary is a recall in one line.
type recallSummary struct {
	Code     string   `json:"code"`
	Kind     string   `json:"kind"`  // recall or mock recall
	State    string   `json:"state"` // open, closed, terminated
	Opened   string   `json:"opened"`
	Lead     string   `json:"lead"`
	Suspects []string `json:"suspects"`
	Hazard   string   `json:"hazard"`
	Reason   string   `json:"reason"`
	Version  int      `json:"version"` // frozen versions so far
}

func summarize(tx *store.Tx, x *recall.Recall) recallSummary {
	return recallSummary{x.Code, x.Kind(), x.State(), lots.RFC3339(x.OpenedAt.Unix(), tx.Site().Zone), x.Lead, x.Suspects, string(x.Hazard), x.Reason, len(x.Versions)}
}

func decideCommand(choice string) func(e *env) *cobra.Command {
	return func(e *env) *cobra.Command {
		use := map[string][3]string{
			recall.Include: {"include CODE…", "Take things into scope by decision, and what they went into", `  heeltap recall include P26-0817 --reason "stood open beside the bale"`},
			recall.Exclude: {"exclude CODE…", "Leave things out by decision: nothing comes to them or from them", `  heeltap recall exclude R26-0031 --reason "filtered at 0.45 µm after the addition, sheet 12"`},
			recall.Records: {"undecide CODE…", "Take a decision back: the records decide again", `  heeltap recall undecide R26-0031 --reason "filter sheet is of another day"`},
		}[choice]
		var reason string
		cmd := e.step(&cobra.Command{Use: use[0], Short: use[1], Example: use[2], Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil)},
			func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
				if err := needed(reason, "reason"); err != nil {
					return err
				}
				d, err := now.Decide(tx, choice, labels.ParsePayloads(args), reason)
				if err != nil {
					return err
				}
				return r.take(tx, now, d)
			})
		cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
		return cmd
	}
}

func needed(text, flag string) error {
	if strings.TrimSpace(text) == "" {
		return lots.Errorf(lots.Invalid, "--%s is needed", flag)
	}
	return nil
}

func suspectCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "suspect CODE…", Short: "Add suspects", Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil),
		Example: `  heeltap recall suspect L26-0150 --reason "same pallet, second letter of the supplier"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			s, err := now.Suspect(tx, labels.ParsePayloads(args), reason)
			if err != nil {
				return err
			}
			return r.take(tx, now, s)
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
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			s, err := now.Unsuspect(tx, labels.ParsePayloads(args), reason)
			if err != nil {
				return err
			}
			return r.take(tx, now, s)
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func hazardCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "hazard KIND", Short: "Change what is wrong, and so which links count", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall hazard dissolved --reason "laboratory: cleaning agent, no glass"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			h, err := graph.ParseHazard(args[0])
			if err != nil {
				return lots.Errorf(lots.Invalid, "%w", err)
			}
			return r.take(tx, now, &recall.Judged{Hazard: string(h), Reason: reason})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	return cmd
}

func noteCommand(e *env) *cobra.Command {
	return e.step(&cobra.Command{Use: "note TEXT", Short: "Write something on the recall's timeline", Args: cobra.ExactArgs(1),
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
		t.add(x.Name, x.Within, orDash(x.Took), x.State, x.Source)
	}
	e.printf("\n%s\n", e.strong("Targets"))
	e.print(t)
}
