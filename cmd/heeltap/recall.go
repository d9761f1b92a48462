package main

import (
	"cmp"
	"context"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// inRecall is what the recall verbs share.
type inRecall struct {
	*env
	code string // --recall
	by   string
	at   string

	gathering bool     // output waits until what was done is kept
	said      []func() // what waits
	unwritten error
}

// done runs f as one change of the database, and prints its output only once that is kept.
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

// say prints something now, or once what was done is kept.
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

// writeJSON writes a value; a failure to write shows up when it is written.
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
		Long: `Run a recall, or rehearse one, from the first suspicion to the signed report. Every step is a
journal entry with its time. If only one recall is open, you need not name it with --recall.

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
		{"begin", "Begin:", []func(*env) *cobra.Command{openCommand, listCommand, suspectCommand, unsuspectCommand, hazardCommand, nextCommand, noteCommand, logCommand}},
		{"scope", "Scope:", []func(*env) *cobra.Command{scopeCommand, decideCommand(scope.Include), decideCommand(scope.Exclude), decideCommand(scope.Records), freezeCommand, changesCommand, signOffCommand, printedCommand}},
		{"stop", "Stop:", []func(*env) *cobra.Command{holdAllCommand, holdListCommand, letGoCommand}},
		{"tell", "Tell:", []func(*env) *cobra.Command{authoritiesCommand, spokeCommand, classCommand, strategyCommand, consigneesCommand, suppliersCommand, lettersCommand, toldCommand, answerCommand, passedOnCommand, dueCommand, sampleCommand, checkedCommand}},
		{"prove", "Account and prove:", []func(*env) *cobra.Command{accountCommand, destroyCommand, statusCommand, reportCommand, signCommand}},
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
			now, err := recall.Choose(tx, r.code)
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
			now, err := recall.ChooseToRead(tx, r.code)
			if err != nil {
				return err
			}
			return f(r, tx, now, args)
		})
	}
	return e.asks(cmd)
}

// onDatabase makes a verb that needs the whole database and not one transaction.
func (e *env) onDatabase(cmd *cobra.Command, f func(ctx context.Context, db *store.DB, r *inRecall, code string) error) *cobra.Command {
	r := &inRecall{env: e}
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.RunE = func(cmd *cobra.Command, _ []string) (err error) {
		ctx := cmd.Context()
		opened, err := e.open(ctx)
		if err != nil {
			return err
		}
		defer func() { err = cmp.Or(err, opened.Close()) }()
		db := opened
		if e.knownAt != "" {
			moment, err := e.moment(ctx, db)
			if err != nil {
				return err
			}
			then, err := db.AsKnown(ctx, moment)
			if err != nil {
				return err
			}
			defer then.Close()
			db = then
		}
		code := ""
		if err := db.View(ctx, func(tx *store.Tx) error {
			now, err := recall.Choose(tx, r.code)
			if err != nil {
				return err
			}
			code = now.Code
			return nil
		}); err != nil {
			return err
		}
		return f(ctx, db, r, code)
	}
	return cmd
}

// moment reads --at in the site's time; zero where it was not given.
func (r *inRecall) moment(tx *store.Tx) (recall.At, error) {
	at, err := recall.ParseAt(tx, r.at)
	if err != nil {
		return at, lots.Errorf(lots.Invalid, "--at: %w", err)
	}
	return at, nil
}

// take takes a step and prints what was done.
func (r *inRecall) take(tx *store.Tx, now *recall.Recall, s recall.Step) error {
	at, err := r.moment(tx)
	if err != nil {
		return err
	}
	after, err := now.Take(tx, s, at, r.by)
	if err != nil {
		return err
	}
	for _, text := range after.Remarks {
		r.note("%s", text)
	}
	r.saidStep(after)
	return nil
}

// saidStep prints the last step and its time on the clock.
func (r *inRecall) saidStep(after *recall.Recall) {
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
