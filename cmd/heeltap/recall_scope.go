package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

func scopeCommand(e *env) *cobra.Command {
	var ifs []string
	var all bool
	cmd := e.ask(&cobra.Command{
		Use: "scope", Short: "Show what is affected: first what is in the house, then what has left", Args: cobra.NoArgs,
		Long: `Show what is affected, by the records as they are now and the lead's decisions. --if shows what a wider or narrower
decision would change, without making it, each on its own and all together: +CODE includes, -CODE excludes, ?CODE adds a suspect,
hazard=KIND changes the hazard.`,
		Example: `  heeltap recall scope
  heeltap recall scope --if -R26-0031 --if hazard=spoiler
  heeltap recall scope --known-at "2026-07-01 09:00"`,
	}, func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
		s, err := now.Scope(tx)
		if err != nil {
			return err
		}
		what, err := now.WhatIf(tx, s, ifs)
		if err != nil {
			return err
		}
		return r.showScope(tx, now, s, what, all)
	})
	cmd.Flags().StringArrayVar(&ifs, "if", nil, "what if: +CODE, -CODE, ?CODE or hazard=KIND (repeatable)")
	cmd.Flags().BoolVar(&all, "all", false, "list every row, with the chain behind it")
	return cmd
}

func (r *inRecall) showScope(tx *store.Tx, now *recall.Recall, s *scope.Scope, what *scope.WhatIf, all bool) error {
	answer, err := now.Answer(tx, s, what)
	if err != nil {
		return err
	}
	stock, head := answer.InHouse, answer.Head
	if r.json {
		return r.writeJSON(answer)
	}
	if len(what.Effects) > 0 {
		r.showWhatIf(tx, now, what, all)
		return nil
	}
	r.printf("%s (%s), hazard %s: %s\nAs known at entry %d.\n\n%s\n", now.Code, now.Kind(), now.Hazard, now.Reason, head, cautionText())
	for _, l := range s.Lost {
		r.printf("\n%s\n", r.strong(fmt.Sprintf("NOT TRACED: %s %s: %s", l.What, l.Code, l.Why)))
	}
	r.showYeast(s)
	r.showStock(now, toStop(now, len(stock)), stock)
	r.printf("\n%s\n", r.strong("What is affected"))
	r.showTotals(tx.Site(), s.Answer)
	if n := s.Answer.NotCounted; n != nil {
		r.printf("  %s\n", n.Text())
	}
	for _, x := range s.Answer.MayRetain {
		r.printf("  %s\n", x.Text())
	}
	r.showWays(s)
	r.showEither(s.Answer)
	r.showInBulk(s.Answer)
	shown := *s.Answer
	shown.Shipments = s.Shipments()
	r.showConsignees(&shown)
	r.showLeft(tx, s)
	r.showUnits(s.Answer, all)
	r.showLots(s.Answer, all)
	r.showInside(tx.Site(), s.Answer, all)
	r.showDecisions(now, s)
	r.showWhetherLeft(tx, s)
	for _, f := range s.Answer.Faults() {
		r.printf("  finding: %s: %s\n", f.Code, f.Text)
	}
	return nil
}

// showWhatIf says what other decisions would change: in totals, each alone and all together, then thing by thing.
func (r *inRecall) showWhatIf(tx *store.Tx, now *recall.Recall, what *scope.WhatIf, all bool) {
	t := &table{head: []string{"what if", "#pallets and kegs", "#cases", "#kegs", "#on no unit", "#consignees"}}
	for _, x := range what.Effects {
		b, a := x.Before, x.After
		loose := someOf(b.Unassigned) + " → " + someOf(a.Unassigned)
		t.add(strings.Join(x.If, " "), arrow(b.Units, a.Units), arrow(b.Cases, a.Cases), arrow(b.Kegs, a.Kegs), loose, arrow(b.Consignees, a.Consignees))
	}
	r.printf("%s\n", r.strong("What it would change in the scope (before → after)"))
	r.print(t)
	for _, x := range what.Effects {
		r.showMoves(strings.Join(x.If, " "), "would come in", x.Enter, all)
		r.showMoves(strings.Join(x.If, " "), "would go out", x.Leave, all)
	}
	r.printf("\n%s\n", r.strong("Item by item"))
	r.printChanges(tx, now, what.Changes)
	r.remind(what.Would)
}

// showMoves names the units that a decision would bring in or let go.
func (r *inRecall) showMoves(what, where string, units []string, all bool) {
	if len(units) == 0 {
		return
	}
	more := ""
	if left := len(units) - mostLines; left > 0 && !all {
		units, more = units[:mostLines], fmt.Sprintf(" … and %d more: --all lists them", left)
	}
	r.printf("  %s: %s %s%s\n", what, strings.Join(units, ", "), where, more)
}

// arrow writes a number before and after.
func arrow[T int | int64](before, after T) string { return whole(before) + " → " + whole(after) }

// showWays says how many units come in which way: where a cut is to be decided.
func (r *inRecall) showWays(s *scope.Scope) {
	if len(s.Ways) == 0 {
		return
	}
	t := &table{head: []string{"how it got in", "#pallets and kegs", "#cases", "#kegs"}}
	for _, w := range s.Ways {
		t.add(w.Text, whole(w.Units), whole(w.Cases), whole(w.Kegs))
	}
	r.print(t)
	r.printf("  heeltap why SUSPECT UNIT shows the chain; heeltap recall scope --if -CODE shows what a cut would change\n")
}

// toStop heads the list of what is in the house.
func toStop(now *recall.Recall, n int) string {
	if now.Mock {
		return "In the house: " + counted(n, "thing") + " that a real recall would stop"
	}
	return "In the house: " + counted(n, "thing") + " to stop"
}

func (r *inRecall) showStock(now *recall.Recall, title string, stock []house.Stock) {
	t := &table{head: []string{"in the house", "code", "band", "what", "#by the books", "#counted", "place", "held"}}
	for _, x := range stock {
		quantity := lots.Figure(x.Quantity) + " " + x.Unit
		if x.Unit == "case" || x.Unit == "keg" {
			quantity = lots.Figure(x.Quantity) + " " + x.Unit + map[bool]string{true: "s"}[x.Quantity != 1]
		}
		if !x.Sure {
			quantity = "at most " + quantity
		}
		held := ""
		switch {
		case x.HeldHere:
			held = "held"
		case x.Held:
			held = "held, not by this recall"
		case now.Mock && slices.Contains(now.Holds, x.Code):
			held = "would be held"
		}
		counted := "-"
		if x.Counted != nil {
			counted = lots.Figure(*x.Counted)
		}
		t.add(x.Kind, x.Code, x.Band, x.What, quantity, counted, orDash(x.Place), held)
	}
	r.printf("\n%s\n", r.strong(title))
	r.printMost(t, false)
}

// showLeft lists what was served here, and shipments that carried nothing affected.
func (r *inRecall) showLeft(tx *store.Tx, s *scope.Scope) {
	t := &table{head: []string{"served here", "code", "#quantity", "when", ""}}
	for _, x := range s.Served(tx) {
		t.add(x.Kind, x.Code, howMuch(x), minute(x.At), map[bool]string{true: "may be"}[x.MayBe])
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Drawn or sold in the taproom: it reached the public"))
		r.printMost(t, false)
	}
	r.showLeftOut(s)
}

// howMuch writes what was drawn, served or sampled.
func howMuch(x scope.Served) string {
	if x.Kind == "unit" && x.Quantity != 1 {
		return lots.Figure(x.Quantity) + " " + x.Unit + "s"
	}
	return lots.Figure(x.Quantity) + " " + x.Unit
}

// showLeftOut says why shipments of affected units are not called back.
func (r *inRecall) showLeftOut(s *scope.Scope) {
	for i, x := range s.LeftOut {
		if i == 0 {
			r.printf("\n%s\n", r.strong("Left out: shipped before anything affected was on the unit, which was topped up later"))
		}
		r.printf("  %s: %d of %s to %s, %s; the first affected case at %s\n", x.Shipment, x.Quantity, x.Unit, x.Consignee, minute(x.ShippedAt), minute(x.ToppedUp))
	}
}

func (r *inRecall) showDecisions(now *recall.Recall, s *scope.Scope) {
	t := &table{head: []string{"decision", "on", "because", "by"}}
	for _, d := range now.Decisions {
		t.add(d.Choice, d.Code, d.Reason, d.By)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Decisions"))
		r.print(t)
	}
	if len(s.Kept) > 0 {
		r.printf("\nTaken out by a correction, but kept in scope until the lead signs it off (heeltap recall sign-off CODE… --reason TEXT, or --all):\n")
		for _, i := range s.Kept {
			r.printf("  %s %s\n", i.Kind, i.Code)
		}
	}
	if len(s.Declared) > 0 {
		r.printf("\nThe label of %s declares %s, which the suspect carries by its item's record. Only if that is what is wrong, exclude them:\n  heeltap recall exclude %s --reason \"declared on the label\"\n", counted(len(s.Declared), "unit"), strings.Join(s.Carried, " and "), strings.Join(s.Declared, " "))
	}
}

func printedCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "printed", Short: "Show the rules by which the public can tell affected packages, and the innocent ones each also catches", Args: cobra.NoArgs,
		Long:    "Show the shortest rules by which anyone holding a package can tell whether it is affected: product, size, date codes, and the time of day where it is printed. Exit status 3 if a rule cannot tell affected packages from others.",
		Example: "  heeltap recall printed"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			rules := printed.Rules(tx, s.Answer)
			bad := 0
			for _, x := range rules {
				if !x.Separates {
					bad++
				}
			}
			if r.json {
				if err := r.writeJSON(rules); err != nil {
					return err
				}
			} else {
				r.showRules(rules)
			}
			r.remind(s)
			if bad > 0 {
				r.note("%s cannot tell affected packages from others: call all of them back, or find another mark that tells them apart", counted(bad, "rule"))
				return errFindings
			}
			return nil
		})
}

func (r *inRecall) showRules(rules []printed.Rule) {
	for _, x := range rules {
		r.printf("%s (%s)\n  affected %d of the %d containers it covers; innocent %d", r.strong(x.Text()), x.Band, x.Affected, x.Covered, x.Innocent)
		switch {
		case !x.Separates:
			r.printf("\n  CANNOT SEPARATE: packages that are not affected have the same product and code; what would have helped: %s", x.Spared)
		case x.Spared != "":
			r.printf("; what would have spared them: %s", x.Spared)
		}
		if x.Inside != "" {
			r.printf("\n  %s", x.Inside)
		}
		r.printf("\n")
	}
	if len(rules) == 0 {
		r.printf("Nothing packed is affected.\n")
	}
	r.printf("\nThe trade gets whole units called back: heeltap recall consignees --all\n")
}
