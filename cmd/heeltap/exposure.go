package main

import (
	"bytes"
	"context"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph/exposure"
	"heeltap/lots"
	"heeltap/lots/files"
	"heeltap/lots/store"
)

func (e *env) exposureCommand() *cobra.Command {
	var since, svg string
	var top, worst int
	cmd := &cobra.Command{
		Use:   "exposure",
		Short: "Show, for every lot, yeast crop and vessel chain, what would be in scope if it failed today",
		Long: `Show, for every lot, yeast crop and vessel chain (fills with no clean between them), what would be in scope if it
failed today, and how much of that has already left. Also shown are the published measures of batch dispersion and
their trend by month of receipt. --shrink tries out what would shrink the worst ones, on copies of the records.`,
		Example: `  heeltap exposure
  heeltap exposure --since 2026-01-01 --shrink 3 --svg exposure.svg`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if top < 0 || worst < 0 {
				return lots.Errorf(lots.Invalid, "--top and --shrink need a number of 0 or more")
			}
			return e.onRecords(cmd.Context(), func(db *store.DB) error {
				var a *exposure.Answer
				var unit lots.Unit
				err := db.View(cmd.Context(), func(tx *store.Tx) error {
					from, err := sinceDay(tx, since)
					if err != nil {
						return err
					}
					unit = tx.Site().VolumeUnit
					a, err = exposure.Of(tx, from)
					return err
				})
				if err != nil {
					return err
				}
				if err := exposure.Shrink(cmd.Context(), db, a, worst); err != nil {
					return err
				}
				if svg != "" {
					var b bytes.Buffer
					if err := a.SVG(&b); err != nil {
						return err
					}
					if err := files.WriteWhole(svg, b.Bytes()); err != nil {
						return err
					}
				}
				if e.json {
					return e.writeJSON(a)
				}
				e.showExposure(a, unit, top)
				e.showAttempts(a, unit, worst)
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&since, "since", "", "only what came in, or started, on or after this day")
	cmd.Flags().IntVar(&top, "top", 10, "how many of the worst to list")
	cmd.Flags().IntVar(&worst, "shrink", 0, "try out what would shrink this many of the worst, on copies of the records")
	cmd.Flags().StringVar(&svg, "svg", "", "file to draw the distribution to")
	return e.asks(cmd)
}

// sinceDay reads --since; the zero time where it is not given.
func sinceDay(tx *store.Tx, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	w, _, err := lots.ParseWhen(text, tx.Site().Zone)
	if err != nil {
		return time.Time{}, lots.Errorf(lots.Invalid, "--since: %w", err)
	}
	return time.Unix(w.From, 0), nil
}

// onRecords runs f on the database, or on what was known at the moment asked for.
func (e *env) onRecords(ctx context.Context, f func(db *store.DB) error) (err error) {
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	closing := func(db *store.DB) {
		if failed := db.Close(); err == nil {
			err = failed
		}
	}
	defer closing(db)
	if e.knownAt == "" {
		return f(db)
	}
	moment, err := e.moment(ctx, db)
	if err != nil {
		return err
	}
	then, err := db.AsKnown(ctx, moment)
	if err != nil {
		return err
	}
	defer closing(then)
	return f(then)
}

func (e *env) showExposure(a *exposure.Answer, unit lots.Unit, top int) {
	t := &table{head: []string{"if it failed today", "", "#units in", "#possible", "#" + string(unit), "#cases", "#kegs", "#on no unit", "#have left", "#of one of several", "#consignees", "#runs"}}
	for _, r := range a.Risks[:min(top, len(a.Risks))] {
		t.add(r.Kind+" "+r.Code, r.Item, whole(r.In.Units), whole(r.May.Units), lots.Figure(unit.Of((r.In.VolumeL+r.May.VolumeL)*1000)), whole(r.In.Cases+r.May.Cases), whole(r.In.Kegs+r.May.Kegs),
			someOf(r.In.Unassigned.Plus(r.May.Unassigned)), someOf(r.In.Left.Plus(r.May.Left)), someOf(r.OneOfSeveral), whole(r.Consignees), whole(r.In.Runs+r.May.Runs))
	}
	e.print(t)
	m := a.Measures
	e.printf("\n%s, over %d lots and %d runs: downward %d, upward %d, total %d (Dupuy et al. 2005)\nOne lot would call back %s %s at worst, %s on average (Dabbene and Gay 2011)\n", e.strong("Batch dispersion"), m.Lots, m.Runs, m.Downward, m.Upward, m.Total, lots.Figure(unit.Of(m.WorstL*1000)), unit, lots.Figure(unit.Of(m.AverageL*1000)))
	trend := &table{head: []string{"lots that came in", "#lots", "#runs a lot", "#" + string(unit) + " a lot", "#cases a lot", "#kegs a lot"}}
	for _, x := range a.Trend {
		trend.add(x.Month, whole(x.Lots), lots.Figure(x.Downward), lots.Figure(unit.Of(x.RecallL*1000)), lots.Figure(x.Recall.Cases), lots.Figure(x.Recall.Kegs))
	}
	e.print(trend)
}

// someOf counts cases and kegs; nothing of either is a dash.
func someOf(p lots.Packages) string {
	if p.None() {
		return "-"
	}
	return p.String()
}

// showAttempts tells what was tried for the worst, and with what result: also where nothing helped.
func (e *env) showAttempts(a *exposure.Answer, unit lots.Unit, worst int) {
	if worst == 0 {
		e.printf("\nheeltap exposure --shrink 10 tries out what would shrink the worst ten, on copies of the records.\n")
		return
	}
	e.printf("\n%s: %d tried, each on a copy of the records\n", e.strong("What would have shrunk the worst"), a.Tried)
	if len(a.Shrink) == 0 {
		e.printf("Nothing tried would have put less in scope.\n")
	}
	s := &table{head: []string{"of", "what", "#" + string(unit) + " before", "#after", "result"}}
	for _, x := range a.Attempts {
		s.add(x.Risk, orDash(x.What), lots.Figure(unit.Of(x.Before*1000)), lots.Figure(unit.Of(x.After*1000)), x.Result)
	}
	e.print(s)
}
