package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/check"
	"heeltap/lots/store"
)

func (e *env) checkCommand() *cobra.Command {
	var rules []string
	var since string
	var list, all bool
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Look for what in the records would break a recall, before the day of one",
		Long: `Look for what in the records would break a recall. Each hit says what it breaks, how many units and consignees stand
behind it, and how it is mended. Exit status 3 where any is left that nobody muted. Limits are settings of the site:
--list names them with what holds where none is set, such as heeltap set site check.late-entry.days 5.`,
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
	cmd.Flags().StringVar(&since, "since", "", "only what happened from this day on")
	cmd.Flags().BoolVar(&list, "list", false, "list the rules")
	cmd.Flags().BoolVar(&all, "all", false, "list every hit")
	return e.asks(cmd)
}

func (e *env) listRules() error {
	if e.json {
		return e.writeJSON(check.Rules())
	}
	t := &table{head: []string{"rule", "", "what it breaks", "how it is mended"}}
	for _, r := range check.Rules() {
		t.add(r.Name, r.Severity, r.Breaks, r.Mend)
	}
	e.print(t)
	l := &table{head: []string{"heeltap set site …", "#if not set", "bounds"}}
	for _, x := range check.Limits() {
		l.add("check."+x.Name, number(x.Default), x.Of)
	}
	e.printf("\n")
	e.print(l)
	return nil
}

const fewHits = 3

func (e *env) showReport(r *check.Report, all bool) {
	h := r.Headline
	e.printf("%s\n", e.strong("How ready the records are"))
	if h.Shipped > 0 {
		e.printf("  %.4g %% of what was shipped leads back to its tank, malt, hops and yeast (of the last 90 days: %.4g %%)\n", h.Backwards, h.Recent)
	} else {
		e.printf("  nothing is shipped yet\n")
	}
	switch {
	case h.Packed > 0:
		e.printf("  %.4g %% of the %.0f lots in packed beer lead forward to beer that all stands on units (%.0f lots are in use)\n", h.Forwards, h.Packed, h.Used)
	case h.Used > 0:
		e.printf("  %.0f lots are in use, and none is in packed beer yet\n", h.Used)
	}
	e.printf("  half of all acts are entered within %.4g hours\n", h.Delay)
	if h.Chain != "" {
		e.printf("  one missing clean can put %d units at stake: so many hang on the chain of fills that begins with %s\n", h.ChainUnits, h.Chain)
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
		e.printf("\nNo rule found anything. That does not prove the records complete.\n")
	}
	if r.Muted > 0 {
		e.printf("\n%s muted, with a reason and an end.\n", counted(r.Muted, "hit"))
	}
}

func (e *env) showRule(r *check.Report, name string, n int, all bool) {
	for _, rule := range r.Rules {
		if rule.Name == name {
			e.printf("\n%s  %s, %s\n  %s\n", e.strong(rule.Name), rule.Severity, counted(n, "hit"), rule.Breaks)
		}
	}
	t := &table{head: []string{"", "#units", "#consignees", "#entry", "mend"}}
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
		t.add(x.Text, whole(x.Units), whole(x.Consignees), entry, x.Mend)
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
		Short: "Let hits of a check stand until a day, with a reason",
		Long: `Let the hits of a rule, or those on one code, stand until a day. They are counted, and come back when it has passed;
--end takes a mute of just that rule and code back before.`,
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
					e.printf("%s is no longer muted\n", what)
				} else {
					e.printf("muted %s until %s\n", what, m.Until)
				}
				return nil
			})
		},
	}
	cmd.Flags().StringVar(&m.Reason, "reason", "", "why (needed)")
	cmd.Flags().StringVar(&m.Until, "until", "", "last day of it (needed, but to end one)")
	cmd.Flags().BoolVar(&m.End, "end", false, "take the mute back now")
	cmd.Flags().StringVar(&m.By, "by", "", "who says so (else HEELTAP_BY)")
	return cmd
}
