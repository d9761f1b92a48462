package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// accountAnswer is the account as JSON.
type accountAnswer struct {
	*recall.Account
	Lots []recall.LotBalance `json:"lots"`
}

func accountCommand(e *env) *cobra.Command {
	var all, strike bool
	r := &inRecall{env: e}
	cmd := e.asks(&cobra.Command{Use: "account", Short: "Account for every case and keg in scope, and for the suspect lots", Args: cobra.NoArgs,
		Long: `Account for every case and keg in scope, by what is printed on them and by unit, for what consignees received, and
for the suspect lots. What the books say is on hand is unaccounted for until it is counted (heeltap count). --strike
puts the result on the timeline.`,
		Example: "  heeltap recall account\n  heeltap recall account --strike --by Quint"})
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who strikes it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&all, "all", false, "list every unit")
	cmd.Flags().BoolVar(&strike, "strike", false, "put the result on the timeline")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if !strike {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				now, err := r.read(tx)
				if err != nil {
					return err
				}
				return r.account(tx, now, all, false)
			})
		}
		if e.knownAt != "" {
			return lots.Errorf(lots.Invalid, "--strike strikes the account as it is now: --known-at does not go with it")
		}
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
			return r.account(tx, now, all, true)
		})
	}
	return cmd
}

func (r *inRecall) account(tx *store.Tx, now *recall.Recall, all, strike bool) error {
	s, err := now.Scope(tx)
	if err != nil {
		return err
	}
	a, err := now.Reconcile(tx, s)
	if err != nil {
		return err
	}
	balances, err := now.LotBalances(tx)
	if err != nil {
		return err
	}
	if r.json {
		if err := r.writeJSON(accountAnswer{a, balances}); err != nil {
			return err
		}
	} else {
		r.showAccount(a, all)
		r.showLotBalances(balances)
	}
	switch {
	case !strike:
		return nil
	case r.json: // the step is on the timeline; the answer stays one value
		_, err := now.Take(tx, struckAccount(a), recall.At{}, r.by)
		return err
	}
	return r.take(tx, now, struckAccount(a))
}

// struckAccount is the step that says what an account came to: what one unit has too much does
// not make up for what another lacks.
func struckAccount(a *recall.Account) *recall.Reconciled {
	made := a.Cases.Produced + a.Kegs.Produced
	step := &recall.Reconciled{Unaccounted: lots.Nine(a.Cases.Missing + a.Kegs.Missing), Over: lots.Nine(a.Cases.Over + a.Kegs.Over)}
	if made > 0 {
		step.Accounted = lots.Nine((made - step.Unaccounted) / made * 100)
	}
	return step
}

func (r *inRecall) showAccount(a *recall.Account, all bool) {
	head := []string{"#made", "#counted", "#shipped", "#returned", "#repacked", "#removed", "#unaccounted", "#accounted %", ""}
	cells := func(s recall.Sum) []string {
		return []string{number(s.Produced), number(s.Counted), number(s.Shipped), number(s.Returned), number(s.Repacked), number(s.Removed), number(s.Missing), number(s.Percent), loud(s)}
	}
	t := &table{head: append([]string{"product", "date codes", ""}, head...)}
	for _, g := range a.Groups {
		unit := "cases"
		if g.Kegs {
			unit = "kegs"
		}
		t.add(append([]string{g.Product, strings.Join(g.DateCodes, ", "), unit}, cells(g.Sum)...)...)
	}
	t.add(append([]string{"all", "", "cases"}, cells(a.Cases)...)...)
	t.add(append([]string{"all", "", "kegs"}, cells(a.Kegs)...)...)
	r.printf("%s\n  made = counted + shipped - returned + repacked + removed + unaccounted for, less what is more than was made\n", r.strong("Account"))
	r.print(t)
	u := &table{head: []string{"unit", "#made", "#unaccounted", "#on hand by the books", "counted", "last entry", ""}}
	for _, x := range a.Units {
		if x.Unaccounted == 0 && !all {
			continue
		}
		counted := "not counted"
		if x.HasCount {
			counted = number(x.Counted)
		}
		u.add(x.Unit, number(x.Produced), number(x.Missing), number(x.Booked), counted, fmt.Sprintf("%d (%s)", x.LastEntry, x.LastText), joined("; ", loud(x.Sum), x.Find()))
	}
	if len(u.rows) > 0 {
		r.printf("\n%s\n", r.strong("Not accounted for: find it and count it (heeltap count)"))
		r.printMost(u, all)
	}
	r.showRecovery(a, all)
	r.showOthers(a.Others)
	r.showServed(a.Served)
}

// showServed tells of what was drawn or sold in the taproom: it is with nobody who can be asked.
func (r *inRecall) showServed(list []recall.Served) {
	t := &table{head: []string{"served", "", "#quantity", "when", ""}}
	for _, x := range list {
		sure := ""
		if x.MayBe {
			sure = "may be"
		}
		t.add(x.Kind, x.Code, number(x.Quantity)+" "+x.Unit, minute(x.At), sure)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Served here: it can not be had back"))
		r.print(t)
	}
}

func (r *inRecall) showRecovery(a *recall.Account, all bool) {
	c := &table{head: []string{"consignee", "", "#received", "#may be", "#returned", "#of it since the notice", "#on its way back", "#destroyed there", "#on hand there", "#sold", "#passed on", "#elsewhere", "#not explained", "#recovered %", "#since the notice %", ""}}
	for _, x := range a.Consignees {
		unit, remark := "cases", ""
		if x.Kegs {
			unit = "kegs"
		}
		if x.Unexplained < 0 {
			remark = "MORE THAN IT RECEIVED"
		}
		c.add(x.Party, unit, number(x.Distributed), number(x.MayBe), number(x.Returned), number(x.Since), number(x.OnTheWay), number(x.Destroyed), number(x.OnHand), number(x.Sold), number(x.PassedOn), number(x.Elsewhere), number(x.Unexplained), share(x, x.Percent), share(x, x.PercentSince), remark)
	}
	if len(c.rows) > 0 {
		r.printf("\n%s\n  recovered: returned and destroyed, of what was received; since the notice: of what had not come back before it\n  may be: of one of several; it counts as received until the consignee answers, then what it does not have went elsewhere\n", r.strong("Recovered against distributed"))
		r.printMost(c, all)
	}
}

// share is a percentage of what a consignee received; none of nothing.
func share(x recall.Recovery, percent float64) string {
	if x.Nothing {
		return "-"
	}
	return number(percent)
}

// joined puts the texts that are there behind one another.
func joined(between string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(t string) bool { return t == "" }), between)
}

// loud says what must not be overlooked in an account: more than was made is as wrong as less.
func loud(s recall.Sum) string {
	var parts []string
	if s.Over > 0 {
		parts = append(parts, "MORE THAN WAS MADE by "+number(s.Over))
	}
	if s.OneOf > 0 {
		parts = append(parts, "of one of several: "+number(s.OneOf))
	}
	return strings.Join(parts, "; ")
}

func (r *inRecall) showLotBalances(list []recall.LotBalance) {
	t := &table{head: []string{"lot", "#received", "#on hand", "#removed", "#in tanks", "#in units", "#served", "#lost", "#not measured", "unit"}}
	for _, b := range list {
		t.add(b.Lot, number(b.Received), number(b.OnHand), number(b.Removed), number(b.InTanks), number(b.InUnits), number(b.Served), number(b.Lost), number(b.Unknown), b.Unit)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n  received = on hand + removed + in tanks + in units + served + lost + not measured; by perfect mixing: an estimate\n", r.strong("Suspect lots"))
		r.print(t)
	}
}

func printedCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "printed", Short: "Show the rules the public can act on, and what innocent packages each drags in", Args: cobra.NoArgs,
		Long:    "Show the shortest rules by which a reader of a package finds what is affected: product, size, date codes, and the time of day where it is printed. Exit status 3 where a rule can not separate.",
		Example: "  heeltap recall printed"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			rules := s.PrintedScope(tx)
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
			if bad > 0 {
				r.note("%s can not tell what is affected from what is not: call all of it back, or tell it apart by another mark", counted(bad, "rule"))
				return errFindings
			}
			return nil
		})
}

func (r *inRecall) showRules(rules []recall.Rule) {
	for _, x := range rules {
		r.printf("%s (%s)\n  affected %d of the %d containers it covers; innocent %d", r.strong(x.Text()), x.Band, x.Affected, x.Covered, x.Innocent)
		switch {
		case !x.Separates:
			r.printf("\n  CAN NOT SEPARATE: product and code also stand on what is not affected; would have helped: %s", x.Spared)
		case x.Spared != "":
			r.printf("; would have spared them: %s", x.Spared)
		}
		if x.Inside != "" {
			r.printf("\n  %s", x.Inside)
		}
		r.printf("\n")
	}
	if len(rules) == 0 {
		r.printf("Nothing packed is affected.\n")
	}
	r.printf("\nFor the trade whole units count: heeltap recall consignees --all\n")
}

func authoritiesCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "authorities", Short: "Show which authorities are concerned, and what they ask for first", Args: cobra.NoArgs,
		Long: `Show which authorities are concerned by the markets that goods went to, and what they ask for first.
Markets and the kind of beverage are settings: heeltap set site market US, heeltap set D-11 market EU,
heeltap set PALE-CAN malt-beverage yes, heeltap set site authority.DK "…".`,
		Example: "  heeltap recall authorities"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			n, err := now.Notify(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(n)
			}
			if n.Recovery {
				r.printf("Nothing has left the brewery's control: where no part of the lot was released, this is a stock recovery and no recall (21 CFR 7.3(k)).\n\n")
			}
			t := &table{head: []string{"market", "authority", "products", "because", "source", "told"}}
			for _, a := range n.Authorities {
				t.add(a.Market, a.Name, strings.Join(a.Products, ", "), a.Because, a.Source, minute(a.Told))
			}
			r.print(t)
			for _, o := range n.Open {
				r.printf("  open: %s\n", o)
			}
			r.printf("\n%s\n", r.strong("What they ask for first (21 CFR 7.46(a))"))
			for _, a := range n.First {
				r.printf("  %s: %s\n", r.strong(a.What), a.Answer)
			}
			r.printf("\nClass proposed by the firm: %s; assigned by an authority: %s\n%s\n%s\n", orDash(n.Proposed), orDash(strings.TrimSpace(n.Assigned+" "+n.Assigner)), recall.Deferral(), cautionText())
			return nil
		})
}

func classCommand(e *env) *cobra.Command {
	s := recall.Classed{}
	cmd := e.step(&cobra.Command{Use: "class I|II|III", Short: "Log the class the firm proposes, or the one an authority assigned", Args: cobra.ExactArgs(1),
		Long: "Log the class that the firm proposes or, with --assigned-by, the class that an authority assigned (21 CFR 7.3(m)): the two are kept apart.",
		Example: `  heeltap recall class II --reason "glass, but found before sale"
  heeltap recall class I --assigned-by FDA`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Class = strings.ToUpper(args[0])
			if s.Class != "I" && s.Class != "II" && s.Class != "III" {
				return lots.Errorf(lots.Invalid, "%q is no class: I, II or III (21 CFR 7.3(m))", args[0])
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Authority, "assigned-by", "", "the authority that assigned it")
	cmd.Flags().StringVar(&s.Reason, "reason", "", "on which grounds")
	return cmd
}

func strategyCommand(e *env) *cobra.Command {
	s := recall.Strategy{}
	cmd := e.step(&cobra.Command{Use: "strategy", Short: "Log how the recall is to be carried out: depth, instructions, contact", Args: cobra.NoArgs,
		Example: `  heeltap recall strategy --depth retail --contact "Quint, +00 555 0101, recall@tidewick.example" --instructions "We collect it."`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if s.Depth != "" && s.Depth != "consumer" && s.Depth != "retail" && s.Depth != "wholesale" {
				return lots.Errorf(lots.Invalid, "%q is no depth: consumer, retail or wholesale (21 CFR 7.42(b)(1))", s.Depth)
			}
			if s == (recall.Strategy{}) {
				return lots.Errorf(lots.Invalid, "give --depth, --instructions, --contact or --completion")
			}
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.Depth, "depth", "", "consumer, retail or wholesale")
	cmd.Flags().StringVar(&s.Instructions, "instructions", "", "what consignees are to do with the goods")
	cmd.Flags().StringVar(&s.Contact, "contact", "", "whom to call, with number and address")
	cmd.Flags().StringVar(&s.Completion, "completion", "", "when it is expected to be done")
	return cmd
}

func spokeCommand(e *env) *cobra.Command {
	s := recall.Spoke{}
	cmd := e.step(&cobra.Command{Use: "authority NAME", Short: "Log that an authority was told, or asked for records: its 24 hours run", Args: cobra.ExactArgs(1),
		Example: `  heeltap recall authority TTB --text "told by phone, mail follows"
  heeltap recall authority FDA --asked --text "records of lot L26-0142"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Authority = args[0]
			return r.take(tx, now, &s)
		})
	cmd.Flags().BoolVar(&s.Asked, "asked", false, "it asked for records (21 CFR 1.361: within 24 hours)")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was said")
	return cmd
}

func destroyCommand(e *env) *cobra.Command {
	var d recall.Destroyed
	cmd := e.step(&cobra.Command{Use: "destroy UNIT", Short: "Record destruction, with witness and method", Args: cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindUnit}),
		Example: `  heeltap recall destroy P26-0817 --method "crushed and drained at the waste works" --witness Ines`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			d.Unit = args[0]
			at, err := r.moment(tx)
			if err != nil {
				return err
			}
			after, err := now.Destroy(tx, d, at, r.by)
			if err != nil {
				return err
			}
			r.saidStep(tx, after)
			return nil
		})
	cmd.Flags().Float64Var(&d.Quantity, "quantity", 0, "cases or kegs (else all that is here by the books)")
	cmd.Flags().BoolVar(&d.Surplus, "more-than-booked", false, "more was destroyed than is here by the books")
	cmd.Flags().StringVar(&d.Ref, "ref", "", "tells two otherwise equal destructions apart")
	cmd.Flags().StringVar(&d.Method, "method", "", "how (needed)")
	cmd.Flags().StringVar(&d.Witness, "witness", "", "who saw it (needed)")
	return cmd
}

func closeCommand(e *env) *cobra.Command {
	var review string
	cmd := e.step(&cobra.Command{Use: "close", Short: "Close the brewery's own work, with a review; open lines are listed", Args: cobra.NoArgs,
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
			step, err := now.Close(tx, review)
			if err != nil {
				r.env.print(t) // what the review has to answer
				return err
			}
			r.print(t)
			return r.take(tx, now, step)
		})
	cmd.Flags().StringVar(&review, "review", "", "what happened, why, and what will be different (needed)")
	return cmd
}

func reopenCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "reopen", Short: "Open a closed or terminated recall again", Args: cobra.NoArgs,
		Example: `  heeltap recall reopen --recall RC26-01 --reason "a pallet turned up at D-12"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			if now.Open {
				return lots.Errorf(lots.Conflict, "%s is open", now.Code)
			}
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
