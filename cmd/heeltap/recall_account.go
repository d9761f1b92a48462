package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

func accountCommand(e *env) *cobra.Command {
	var all, strike bool
	r := &inRecall{env: e}
	cmd := e.asks(&cobra.Command{Use: "account", Short: "Account for every case and keg in scope, and for the suspect lots", Args: cobra.NoArgs,
		Long: `Account for every case and keg in scope, by what is printed on them and by unit, for what consignees received, and
for the suspect lots. What the books say is on hand stays unaccounted for until it is counted (heeltap count).
--strike puts the result on the timeline.`,
		Example: "  heeltap recall account\n  heeltap recall account --strike --by Quint"})
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who signs for it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&all, "all", false, "list every unit")
	cmd.Flags().BoolVar(&strike, "strike", false, "put the result on the timeline")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if !strike {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				now, err := recall.ChooseToRead(tx, r.code)
				if err != nil {
					return err
				}
				return r.account(tx, now, all, false)
			})
		}
		if e.knownAt != "" {
			return lots.Errorf(lots.Invalid, "--strike records the account as it is now: leave out --known-at")
		}
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
			return r.account(tx, now, all, true)
		})
	}
	return cmd
}

func (r *inRecall) account(tx *store.Tx, now *recall.Recall, all, strike bool) error {
	a, err := now.Account(tx)
	if err != nil {
		return err
	}
	if r.json {
		if err := r.writeJSON(a); err != nil {
			return err
		}
	} else {
		r.showAccount(a.Account, all)
		r.showLotBalances(a.Lots)
		r.showOnward(a.Onward)
	}
	switch {
	case !strike:
		return nil
	case r.json: // the step is on the timeline; the answer stays one value
		_, err := now.Take(tx, recall.Struck(a.Account), recall.At{}, r.by)
		return err
	}
	return r.take(tx, now, recall.Struck(a.Account))
}

func (r *inRecall) showAccount(a *account.Account, all bool) {
	head := []string{"#made", "#counted", "#shipped", "#returned", "#repacked", "#removed", "#unaccounted", "#accounted %", ""}
	cells := func(s account.Sum) []string {
		return []string{lots.Figure(s.Produced), lots.Figure(s.Counted), lots.Figure(s.Shipped), lots.Figure(s.Returned), lots.Figure(s.Repacked), lots.Figure(s.Removed), lots.Figure(s.Missing), lots.PercentFigure(s.Percent), loud(s)}
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
			counted = lots.Figure(x.Counted)
		}
		u.add(x.Unit, lots.Figure(x.Produced), lots.Figure(x.Missing), lots.Figure(x.Booked), counted, fmt.Sprintf("%d (%s)", x.LastEntry, x.LastText), joined("; ", loud(x.Sum), x.Find()))
	}
	if len(u.rows) > 0 {
		r.printf("\n%s\n", r.strong("Not accounted for: find it and count it (heeltap count)"))
		r.printMost(u, all)
	}
	r.showRecovery(a, all)
	r.showBulkRecovery(a)
	r.showOthers(a.Others)
	r.showServed(a.Served)
}

// showServed lists what was drawn or sold in the taproom: nobody can be asked for it.
func (r *inRecall) showServed(list []scope.Served) {
	t := &table{head: []string{"served", "", "#quantity", "when", ""}}
	for _, x := range list {
		sure := ""
		if x.MayBe {
			sure = "may be"
		}
		t.add(x.Kind, x.Code, lots.Figure(x.Quantity)+" "+x.Unit, minute(x.At), sure)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Served here: none of it can come back"))
		r.print(t)
	}
}

func (r *inRecall) showRecovery(a *account.Account, all bool) {
	c := &table{head: []string{"consignee", "", "#received", "#may be", "#returned", "#of it since the notice", "#on its way back", "#destroyed there", "#on hand there", "#sold", "#passed on", "#elsewhere", "#not explained", "#recovered %", "#since the notice %", ""}}
	for _, x := range a.Consignees {
		unit, remark := "cases", ""
		if x.Kegs {
			unit = "kegs"
		}
		if x.Unexplained < 0 {
			remark = "MORE THAN IT RECEIVED"
		}
		c.add(x.Party, unit, lots.Figure(x.Distributed), lots.Figure(x.MayBe), lots.Figure(x.Returned), lots.Figure(x.Since), lots.Figure(x.OnTheWay), lots.Figure(x.Destroyed), lots.Figure(x.OnHand), lots.Figure(x.Sold), lots.Figure(x.PassedOn), lots.Figure(x.Elsewhere), lots.Figure(x.Unexplained), share(x, x.Percent), share(x, x.PercentSince), remark)
	}
	if len(c.rows) > 0 {
		r.printf("\n%s\n  recovered: returned and destroyed, of what was received; since the notice: of what had not come back before it\n  may be: from one of several units, not known which; it counts as received until the consignee answers, and what it then does not have went elsewhere\n", r.strong("Recovered against distributed"))
		r.printMost(c, all)
	}
}

// share is a percentage of what a consignee received; a dash if it received nothing.
func share(x account.Recovery, percent float64) string {
	if x.Nothing {
		return "-"
	}
	return lots.PercentFigure(percent)
}

// loud says what must not be overlooked in an account: more than was made is as wrong as less.
func loud(s account.Sum) string {
	var parts []string
	if s.Over > 0 {
		parts = append(parts, "MORE THAN WAS MADE by "+lots.Figure(s.Over))
	}
	if s.OneOf > 0 {
		parts = append(parts, "of one of several: "+lots.Figure(s.OneOf))
	}
	return strings.Join(parts, "; ")
}

func (r *inRecall) showLotBalances(list []account.LotBalance) {
	t := &table{head: []string{"lot", "#received", "#on hand", "#removed", "#shipped in bulk", "#in tanks", "#in units", "#served", "#lost", "#not measured", "unit"}}
	for _, b := range list {
		t.add(b.Lot, lots.Figure(b.Received), lots.Figure(b.OnHand), lots.Figure(b.Removed), lots.Figure(b.Shipped), lots.Figure(b.InTanks), b.InUnitsText(), lots.Figure(b.Served), lots.Figure(b.Lost), lots.Figure(b.Unknown), b.Unit)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n  received = on hand + removed + in tanks + in units + served + lost + not measured; by perfect mixing: an estimate\n", r.strong("Suspect lots"))
		r.print(t)
	}
}

func destroyCommand(e *env) *cobra.Command {
	var d recall.Destroyed
	cmd := e.step(&cobra.Command{Use: "destroy UNIT", Short: "Record that goods were destroyed, with witness and method", Args: cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindUnit}),
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
			r.saidStep(after)
			return nil
		})
	cmd.Flags().Float64Var(&d.Quantity, "quantity", 0, "cases or kegs (else everything here by the books)")
	cmd.Flags().BoolVar(&d.Surplus, "more-than-booked", false, "confirm that more was destroyed than is here by the books")
	cmd.Flags().StringVar(&d.Ref, "ref", "", "tells two otherwise equal destructions apart")
	cmd.Flags().StringVar(&d.Method, "method", "", "how (needed)")
	cmd.Flags().StringVar(&d.Witness, "witness", "", "who saw it (needed)")
	return cmd
}

// showOnward lists what consignees' own documents say they passed on. The account counts none of it.
func (r *inRecall) showOnward(list []recall.OnwardBy) {
	t := &table{head: []string{"consignee", "says it supplied", "product", "date code", "#quantity", "shipped"}}
	for _, by := range list {
		for _, a := range by.Accounts {
			t.add(by.Party, a.Name, orDash(a.Product), orDash(a.DateCode), strings.TrimSpace(lots.Figure(a.Quantity)+" "+a.Unit), day(a.ToldAt))
		}
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Passed on, as consignees' own EPCIS documents say; the account counts what they answer, not this"))
		r.print(t)
	}
}
