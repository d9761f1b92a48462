package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) traceCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "trace",
		Short: "Trace forward to everything something reached, or back to everything that went into it",
		Long: `Trace forward to everything something reached, or back to everything that went into it.

CODE can be a lot, a supplier's lot as printed, a brew, a vessel (on its own: what it holds now;
VESSEL@TIME: what it held then), a run, a date code (DATECODE@10:42 for one time of day as
printed), a pallet, an SSCC, a keg, a shipment, a document, a line (LINE@FROM..TO), or a scanned
tag. Where a code could be several things, write KIND:CODE. clean:VESSEL@TIME is what was filled
after that clean; clean:812 names it by its entry.

"In" means reached by recorded movements and uses alone. "Possible" means not recorded, but not
ruled out either, such as what was left in a vessel that was refilled without a clean. In a
recall that can hurt someone, both are in scope.`,
		Example: `  heeltap trace forward L26-0142
  heeltap trace back "BB 2027-03-10@09:42"
  heeltap trace forward CANS@2026-03-18T10:05..10:25 --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		e.traceOne(graph.Forward, "forward CODE…", "Show where it went and who has it"),
		e.traceOne(graph.Back, "back CODE…", "Show what went into it"))
	return cmd
}

func (e *env) traceOne(dir graph.Direction, use, short string) *cobra.Command {
	all, hazard := false, ""
	cmd := &cobra.Command{
		Use: use, Short: short, Args: cobra.MinimumNArgs(1), ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			codes := make([]string, len(args))
			for i, a := range args {
				codes[i] = labels.ParsePayload(a)
			}
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				h, err := graph.ParseHazard(hazard)
				if err != nil {
					return lots.Errorf(lots.Invalid, "--hazard: %w", err)
				}
				a, err := trace.Ask(tx, trace.Question{Dir: dir, Hazard: h, From: codes})
				if err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(a)
				}
				e.showAnswer(tx.Site(), a, all)
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "list every fill, and show why each thing is in the answer")
	e.hazardFlag(cmd, &hazard)
	return e.asks(cmd)
}

// showAnswer prints an answer for people: what it started from, who has it, what is here, and what it is made of.
func (e *env) showAnswer(site lots.Site, a *trace.Answer, all bool) {
	e.printf("%s from %s\n", map[string]string{"forward": "Forward", "back": "Back"}[a.Direction], fromText(a.From))
	e.showTotals(site, a)
	for _, f := range a.UsesUnknown() {
		e.printf("  %s\n", f.Text)
	}
	e.showUncounted(site, a)
	if a.NotCounted != nil {
		e.printf("  %s\n", a.NotCounted.Text())
	}
	for _, x := range a.MayRetain {
		e.printf("  %s\n", x.Text())
	}
	if a.Direction == "forward" {
		e.showConsignees(a)
		e.showUnits(a, all)
		e.showInside(site, a, all)
	} else {
		e.showLots(a, all)
		e.showInside(site, a, all)
		e.showUnits(a, all)
		e.showConsignees(a)
	}
	if faults := a.Faults(); len(faults) > 0 {
		e.printf("\n%s\n", e.strong("Faults in the records that affect this answer"))
		for _, f := range faults {
			e.printf("  %s\n", f.Text)
		}
	}
	e.printf("\nAmounts assume perfect mixing: they are estimates, never a reason to call beer safe.\n")
}

func fromText(from []trace.From) string {
	parts := make([]string, len(from))
	for i, f := range from {
		parts[i] = f.Kind + " " + f.Code
		if f.Text != "" {
			parts[i] = f.Text + " (" + f.Kind + ":" + f.Code + ")"
		}
		if f.Band != "in" {
			parts[i] += " (possible)"
		}
		if f.At != "" {
			parts[i] += " (true time " + f.At + ")"
		}
	}
	if len(parts) > 8 {
		parts = append(parts[:8], "and "+counted(len(parts)-8, "more"))
	}
	return strings.Join(parts, ", ")
}

func (e *env) showTotals(site lots.Site, a *trace.Answer) {
	t := &table{head: []string{"", "#pallets and kegs", "", "#in all", "#affected", "#here, whole units", "#shipped", "#returned", "#removed", "#repacked", "#affected " + string(site.VolumeUnit), "#consignees"}}
	for _, b := range []struct {
		name  string
		total trace.Total
	}{{"in", a.Totals.In}, {"possible", a.Totals.Possible}} {
		x := b.total
		if x.Units == 0 && x.Consignees == 0 {
			continue
		}
		name, units, volume, consignees := b.name, whole(x.Units), lots.Figure(site.VolumeUnit.Of(x.Litres*1000)), whole(x.Consignees)
		for _, kegs := range []bool{false, true} {
			made, word := x.Cases, "cases"
			if kegs {
				made, word = x.Kegs, "kegs"
			}
			if made == 0 && (kegs || x.Kegs > 0) {
				continue
			}
			t.add(name, units, word, whole(made), lots.Figure(x.Affected.Of(kegs)), lots.Figure(x.OnHand.Of(kegs)), lots.Figure(x.Shipped.Of(kegs)), lots.Figure(x.Returned.Of(kegs)), lots.Figure(x.Removed.Of(kegs)), lots.Figure(x.Repacked.Of(kegs)), volume, consignees)
			name, units, volume, consignees = "", "", "", "" // said once for both
		}
	}
	e.print(t)
	if len(t.rows) == 0 && len(a.UsesUnknown()) == 0 && a.Direction == "forward" {
		e.printf("  it reached no packaged beer\n")
	}
}

// showUncounted lists what left and is in no total: shipments of one of several units, and beer served from tanks.
func (e *env) showUncounted(site lots.Site, a *trace.Answer) {
	if a.Direction != "forward" {
		return
	}
	before := a.Before()
	for _, s := range a.Shipments {
		if at, over := before[s.Entry()]; over {
			e.printf("  not affected: %s of %s shipped to %s (%s); it left before anything affected was on the unit, at %s\n",
				whole(s.Quantity), s.Unit, s.Consignee, s.Code, at.Text(site.Zone)[:16])
		}
	}
	e.showEither(a)
	e.showInBulk(a)
	for _, s := range a.PouredByVessel() {
		e.printf("  served from %s, never packaged: %s %s, %s to %s (%s)\n", s.Vessel, lots.Figure(site.VolumeUnit.Of(s.ML)), site.VolumeUnit, s.First, s.Last, s.Band)
	}
}

// showInBulk lists what left without being packed; it is in no sum of cases and kegs.
func (e *env) showInBulk(a *trace.Answer) {
	for _, b := range a.Bulk {
		e.printf("  in bulk: %s of %s from %s went to %s, %s, %s (%s)\n", b.Amount(), b.Goods, b.Where(), b.Consignee, b.Code, b.ShippedAt[:10], b.Band)
	}
}

// showEither lists shipments of one of several units, which are in no total.
func (e *env) showEither(a *trace.Answer) {
	for _, s := range a.Carrying() {
		if !s.OneOf() {
			continue
		}
		sure := ""
		if s.Band == "in" {
			sure = "; either way it is in"
		}
		e.printf("  also: %s of %s (not known which) went to %s (%s); they still count as here%s\n",
			whole(s.Quantity), strings.ReplaceAll(s.Unit, "|", " or "), s.Consignee, s.Code, sure)
	}
}

// showConsignees lists who received how much.
func (e *env) showConsignees(a *trace.Answer) {
	t := &table{head: []string{"consignee", "band", "#rows", "#quantity", "first", "last"}}
	for _, x := range a.ByConsignee() {
		t.add(x.Consignee, x.Band, whole(x.Rows), x.Quantity.String(), x.First[:10], x.Last[:10])
	}
	if len(t.rows) > 0 {
		e.printf("\n%s\n", e.strong("Shipped to"))
		e.print(t)
	}
}

const mostLines = 40

func (e *env) showUnits(a *trace.Answer, all bool) {
	if len(a.Units) == 0 {
		return
	}
	t := &table{head: []string{"unit", "band", "runs", "product", "date codes", "#quantity", "#affected", "#here", "held"}}
	ways := slices.ContainsFunc(a.Units, func(u trace.Unit) bool { return u.Way != "" })
	if ways {
		t.head = append(t.head, "how it got in")
	}
	if all {
		t.head = append(t.head, "why")
	}
	for _, u := range a.Units {
		row := []string{u.Code, u.Band, strings.Join(u.Runs, " "), text(u.Product), u.CodesText(), whole(u.Quantity), whole(u.Affected), lots.Figure(u.OnHand), heldText(u)}
		if ways {
			row = append(row, u.Way)
		}
		if all {
			row = append(row, chainText(u.Why))
		}
		t.add(row...)
	}
	e.printf("\n%s\n", e.strong(unitsText(len(a.Units))))
	e.printMost(t, all)
}

// printMost prints a table, cut to a readable length unless all is asked for.
func (e *env) printMost(t *table, all bool) {
	left := 0
	if !all && len(t.rows) > mostLines {
		left = len(t.rows) - mostLines
		t.rows = t.rows[:mostLines]
	}
	e.print(t)
	if left > 0 {
		e.printf("  … and %d more: --all lists them\n", left)
	}
}

func heldText(u trace.Unit) string {
	switch {
	case u.Held:
		return "held"
	case u.HeldPossible:
		return "possibly"
	}
	return ""
}

func text(s *string) string {
	if s == nil {
		return "-"
	}
	return *s
}

func chainText(codes []string) string { return strings.Join(codes, " > ") }

func amountText(a trace.Amount) string {
	if a.Amount == nil {
		return "unknown"
	}
	return lots.FigureOf(*a.Amount, *a.Unit) + " " + *a.Unit
}

func (e *env) showLots(a *trace.Answer, all bool) {
	t := &table{head: []string{"lot", "band", "item", "supplier", "supplier's lot", "#amount in it"}}
	if all {
		t.head = append(t.head, "why")
	}
	for _, l := range a.Lots {
		row := []string{l.Code, l.Band, l.Item, text(l.Supplier), text(l.SupplierLot), amountText(l.Amount)}
		if all {
			row = append(row, chainText(l.Why))
		}
		t.add(row...)
	}
	if len(t.rows) > 0 {
		e.printf("\n%s\n", e.strong(counted(len(a.Lots), "lot")))
		e.printMost(t, all)
	}
}

// showInside lists what an answer reaches inside the brewery.
func (e *env) showInside(site lots.Site, a *trace.Answer, all bool) {
	runs := &table{head: []string{"run", "band", "product", "date codes", "line", "#cases", "#on no pallet yet"}}
	for _, r := range a.Runs {
		runs.add(r.Code, r.Band, r.Product, strings.Join(r.DateCodes, ", "), text(r.Line), whole(r.Cases), whole(r.Unassigned))
	}
	if len(runs.rows) > 0 {
		e.printf("\n%s\n", e.strong(counted(len(a.Runs), "packaging run")))
		e.printMost(runs, all)
	}
	brews := &table{head: []string{"brew", "band", "beer", "#of the lot"}}
	for _, b := range a.Brews {
		brews.add(b.Code, b.Band, b.Beer, amountText(b.Amount))
	}
	if a.Direction == "back" {
		brews.head = brews.head[:3]
		for i := range brews.rows {
			brews.rows[i] = brews.rows[i][:3]
		}
	}
	if len(brews.rows) > 0 {
		e.printf("\n%s\n", e.strong(counted(len(a.Brews), "brew")))
		e.printMost(brews, all)
	}
	e.showFills(site, a, all)
}

// showFills lists the fills; without all, only those that a vessel holds now.
func (e *env) showFills(site lots.Site, a *trace.Answer, all bool) {
	t := &table{head: []string{"fill", "band", "until", "#volume at its start", "#left now"}}
	now := 0
	for _, f := range a.Fills {
		current := f.Until == nil && f.Volume > 0
		if current {
			now++
		}
		if !all && !current {
			continue
		}
		until, left := "now", lots.Figure(site.VolumeUnit.Of(f.Left*1000))+" "+string(site.VolumeUnit)
		if f.Until != nil {
			until, left = (*f.Until)[:16], ""
		}
		t.add(f.Code, f.Band, until, lots.Figure(site.VolumeUnit.Of(f.Volume*1000))+" "+string(site.VolumeUnit), left)
	}
	if len(a.Fills) == 0 {
		return
	}
	e.printf("\n%s", e.strong(counted(len(a.Fills), "vessel fill")))
	if !all {
		e.printf("; %d of them still in the vessel (--all lists every one)", now)
	}
	e.printf("\n")
	e.printMost(t, all)
}

func (e *env) whyCommand() *cobra.Command {
	hazard := ""
	cmd := &cobra.Command{
		Use:   "why FROM TO",
		Short: "Show the chain by which one thing reached another, or what keeps the two apart",
		Example: `  heeltap why L26-0142 P26-0817
  heeltap why L26-0142 R26-0031 --json`,
		Args: cobra.ExactArgs(2), ValidArgsFunction: e.codesOf(nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				h, err := graph.ParseHazard(hazard)
				if err != nil {
					return lots.Errorf(lots.Invalid, "--hazard: %w", err)
				}
				b, err := trace.WhyFor(tx, h, labels.ParsePayload(args[0]), labels.ParsePayload(args[1]))
				if err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(b)
				}
				e.showBecause(b)
				return nil
			})
		},
	}
	e.hazardFlag(cmd, &hazard)
	return e.asks(cmd)
}

func (e *env) showBecause(b *trace.Because) {
	from, to := fromText(b.From), fromText(b.To)
	switch b.Band {
	case "out":
		e.printf("%s did not reach %s:\n", from, to)
		for _, p := range b.Apart {
			e.printf("  %s", p.Text)
			if p.Entry != 0 {
				e.printf(" (entry %d)", p.Entry)
			}
			e.printf("\n")
		}
		return
	case "in":
		e.printf("%s reached %s:\n", from, to)
	default:
		e.printf("%s may have reached %s:\n", from, to)
	}
	t := &table{head: []string{"", "", "", "because", "#entry"}}
	for _, s := range b.Chain {
		if s.By == nil {
			t.add(s.Kind, s.Code, "", "start", "")
			continue
		}
		t.add(s.Kind, s.Code, s.By.Grade, s.By.Text, whole(s.By.Entry))
	}
	e.print(t)
}

func unitsText(n int) string {
	if n == 1 {
		return "1 pallet, stack or keg filling"
	}
	return whole(n) + " pallets, stacks and keg fillings"
}

// hazardFlag adds --hazard, which decides which links count.
func (e *env) hazardFlag(cmd *cobra.Command, hazard *string) {
	var names []string
	for _, h := range graph.Hazards() {
		names = append(names, string(h))
	}
	cmd.Flags().StringVar(hazard, "hazard", string(graph.Anything), "what is wrong; it decides which links count (if not given: anything)\n"+hazardTable())
	cmd.Flags().Lookup("hazard").DefValue = "" // it would stand behind the last line of the table
	if err := cmd.RegisterFlagCompletionFunc("hazard", cobra.FixedCompletions(names, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // the flag was defined a line before
	}
}

// hazardTable says of every hazard what belongs in it, a line for each.
func hazardTable() string {
	var lines []string
	for _, h := range graph.Hazards() {
		lines = append(lines, fmt.Sprintf("  %-13s %s", h, h.Holds()))
	}
	return strings.Join(lines, "\n")
}
