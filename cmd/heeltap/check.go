package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/check"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) checkCommand() *cobra.Command {
	var rules []string
	var since string
	var list, all bool
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Find gaps in the records that would break a recall, before you need one",
		Long: `Find gaps in the records that would break a recall. Each hit says what it breaks, how many units and
consignees depend on it, and how to fix it. Exit status 3 if any hit is left that nobody has muted. Its limits
are settings of the site (heeltap set site check.late-entry.days 5); --list shows them all with their defaults.`,
		Example: `  heeltap check
  heeltap check --rule no-clean-between --rule cases-on-no-unit
  heeltap check --list`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if list {
				return e.listRules()
			}
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				from, err := sinceDay(tx, since)
				if err != nil {
					return err
				}
				r, err := check.Run(tx, rules, from)
				if err != nil {
					return err
				}
				if e.json {
					err = e.writeJSON(r)
				} else {
					e.showReport(r, all || len(rules) > 0)
				}
				if err == nil && r.Open() > 0 {
					err = errFindings
				}
				return err
			})
		},
	}
	cmd.Flags().StringArrayVar(&rules, "rule", nil, "only this rule, with all its hits (repeatable)")
	cmd.Flags().StringVar(&since, "since", "", "only what happened on or after this day")
	cmd.Flags().BoolVar(&list, "list", false, "list the rules and limits")
	cmd.Flags().BoolVar(&all, "all", false, "list every hit")
	return e.asks(cmd)
}

func (e *env) listRules() error {
	if e.json {
		return e.writeJSON(check.Rules())
	}
	t := &table{head: []string{"rule", "", "what it breaks", "how to fix it"}}
	for _, r := range check.Rules() {
		t.add(r.Name, r.Severity, r.Breaks, check.MendText(r.Mend))
	}
	e.print(t)
	l := &table{head: []string{"heeltap set site …", "#if not set", "bounds"}}
	for _, x := range check.Limits() {
		l.add("check."+x.Name, lots.Figure(x.Default), x.Of)
	}
	e.printf("\n")
	e.print(l)
	return nil
}

const fewHits = 3

func (e *env) showReport(r *check.Report, all bool) {
	h := r.Headline
	e.printf("%s\n", e.strong("How ready the records are"))
	for _, x := range []struct {
		check.Shipped
		of lots.Packages
	}{{h.Cases, lots.Packages{Cases: h.Cases.Quantity}}, {h.Kegs, lots.Packages{Kegs: h.Kegs.Quantity}}} {
		if x.Quantity > 0 {
			e.printf("  %s %% of the %s shipped can be traced back to their tank, malt, hops and yeast (last 90 days: %s %%)\n", lots.PercentFigure(x.Backwards), x.of, lots.PercentFigure(x.Recent))
		}
	}
	if h.Cases.Quantity+h.Kegs.Quantity == 0 {
		e.printf("  nothing has been shipped yet\n")
	}
	switch {
	case h.Packed > 0:
		e.printf("  %s %% of the %.0f lots in packaged beer can be traced forward to beer that is all on pallets, stacks or in kegs (lots in use: %.0f)\n", lots.PercentFigure(h.Forwards), h.Packed, h.Used)
	case h.Used > 0:
		e.printf("  lots in use: %.0f; none is in packaged beer yet\n", h.Used)
	}
	e.printf("  half of all entries are made within %.4g hours\n", h.Delay)
	if h.Chain != "" {
		e.printf("  one missing clean could put %d units in scope: that is how many depend on the chain of fills from %s\n", h.ChainUnits, h.Chain)
	}
	count := map[string]int{}
	for _, x := range r.Hits {
		if x.Muted == "" {
			count[x.Rule]++
		}
	}
	shown := map[string]bool{}
	for _, x := range r.Hits {
		if shown[x.Rule] || count[x.Rule] == 0 {
			continue
		}
		shown[x.Rule] = true
		e.showRule(r, x.Rule, count[x.Rule], all)
	}
	if len(shown) == 0 {
		e.printf("\nNo rule found anything. That does not prove that the records are complete.\n")
	}
	if r.Muted > 0 {
		e.printf("\n%s muted, each with a reason and an end date.\n", counted(r.Muted, "hit"))
	}
}

func (e *env) showRule(r *check.Report, name string, n int, all bool) {
	for _, rule := range r.Rules {
		if rule.Name == name {
			e.printf("\n%s  %s, %s\n  %s\n", e.strong(rule.Name), rule.Severity, counted(n, "hit"), rule.Breaks)
		}
	}
	t := &table{head: []string{"", "#units", "#consignees", "#entry", "how to fix it"}}
	left := 0
	for _, x := range r.Hits {
		if x.Rule != name || x.Muted != "" {
			continue
		}
		if !all && len(t.rows) == fewHits {
			left++
			continue
		}
		entry := ""
		if x.Entry > 0 {
			entry = whole(x.Entry)
		}
		t.add(x.Text, whole(x.Units), whole(x.Consignees), entry, check.MendText(x.Mend))
	}
	e.print(t)
	if left > 0 {
		e.printf("  … and %d more: heeltap check --rule %s\n", left, name)
	}
}

func (e *env) muteCommand() *cobra.Command {
	var m check.Mute
	cmd := &cobra.Command{
		Use:   "mute RULE [CODE]",
		Short: "Mute hits of a check until a date, with a reason",
		Long: `Mute the hits of a rule, or those on one code, until a date. They are still counted, and come back after that
date; --end unmutes them earlier.`,
		Example: `  heeltap mute no-carrier --reason "own van only until the lease ends" --until 2026-12-31
  heeltap mute no-clean-between FV2@2026-03-04T10:00 --reason "same beer, on purpose" --until 2026-06-30
  heeltap mute no-carrier --end --reason "the lease ended early"`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(m.By)
			if err != nil {
				return err
			}
			m.By, m.Rule = by, args[0]
			if len(args) > 1 {
				m.Code = args[1]
			}
			return e.update(cmd.Context(), func(tx *store.Tx) error {
				if err := check.Silence(tx, m); err != nil {
					return err
				}
				what := strings.TrimSpace(m.Rule + " " + m.Code)
				if m.End {
					e.printf("Unmuted %s\n", what)
				} else {
					e.printf("Muted %s until %s\n", what, m.Until)
				}
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&m.Reason, "reason", "", "why (needed)")
	cmd.Flags().StringVar(&m.Until, "until", "", "last day of the mute (needed, except with --end)")
	cmd.Flags().BoolVar(&m.End, "end", false, "unmute now")
	cmd.Flags().StringVar(&m.By, "by", "", "who mutes it (else HEELTAP_BY)")
	return cmd
}
