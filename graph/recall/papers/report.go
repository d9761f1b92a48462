package papers

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// Report is the final report: what happened, when, on which grounds, and what it came to.
func (m *Maker) Report() (*paper.Document, error) {
	d := m.document("Recall report", fmt.Sprintf("%s: %s", m.r.Code, sentence(m.r.Reason)), false)
	status, err := m.status()
	if err != nil {
		return nil, err
	}
	account, err := m.account()
	if err != nil {
		return nil, err
	}
	picture, err := m.Picture()
	if err != nil {
		return nil, err
	}
	notify, err := m.notification()
	if err != nil {
		return nil, err
	}
	open, err := m.r.OpenLines(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	glance, err := m.glance(open)
	if err != nil {
		return nil, err
	}
	annexes, err := m.annexes()
	if err != nil {
		return nil, err
	}
	d.Parts = append(d.Parts, m.facts(), cautions())
	d.Parts = append(d.Parts, glance...)
	d.Parts = append(d.Parts, m.team()...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What went where"}, paper.Picture{Flow: *picture})
	d.Parts = append(d.Parts, m.timeline()...)
	d.Parts = append(d.Parts, m.versions()...)
	d.Parts = append(d.Parts, m.printed()...)
	d.Parts = append(d.Parts, notify...)
	d.Parts = append(d.Parts, status...)
	d.Parts = append(d.Parts, account...)
	d.Parts = append(d.Parts, m.gaps()...)
	d.Parts = append(d.Parts, m.openLines(open)...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "Signatures"}, paper.Signatures{Roles: []string{"Quality lead", "Responsible person", "Witness"}})
	d.Parts = append(d.Parts, annexes...)
	return d, m.tx.Err()
}

// glance is the report in a few lines.
func (m *Maker) glance(open []recall.OpenLine) ([]paper.Part, error) {
	consignees, err := deliveries.Consignees(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	stock, err := m.r.InHouse(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	a, err := m.r.Reconcile(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	held := 0
	for _, x := range stock {
		if x.Held {
			held++
		}
	}
	stopped := fmt.Sprintf("%s, %d with a hold of its own", things(len(stock)), held)
	if m.r.Mock {
		stopped = fmt.Sprintf("%s, of which %d would be held: that was rehearsed, and nothing was stopped", things(len(stock)), len(m.r.Holds))
	}
	n, t := m.notices(consignees), m.s.Answer.Totals
	loose := ""
	if k := t.In.Unassigned.Plus(t.Possible.Unassigned); !k.None() {
		loose = fmt.Sprintf("; packed and on no unit: %s", k)
	}
	f := paper.Facts{Rows: [][2]string{
		{"In scope", m.inBand(t.In, "in") + "; " + m.inBand(t.Possible, "possible") + loose},
		{"In the house", stopped},
		{"Consignees", fmt.Sprintf("%d, of whom %d are notified and %d have answered", len(consignees), n.told, n.answered)},
		{"Still in the trade", strings.TrimSuffix(strings.TrimPrefix(inTrade(a), "Still in the trade: "), ".")},
		{"Accounted for", accounted(a)},
	}}
	complaints, err := m.complaints()
	if err != nil {
		return nil, err
	}
	f.Rows = append(f.Rows, [2]string{"Complaints about codes in scope", complaintsText(complaints)})
	if served := m.s.Served(m.tx); len(served) > 0 {
		f.Rows = append(f.Rows, [2]string{"Served here", fmt.Sprintf("%s, last on %s: it cannot be recovered (Annex 4)", countOf(len(served), "time", "times"), day(served[len(served)-1].At))})
	}
	for _, l := range m.s.Lost {
		f.Rows = append(f.Rows, [2]string{"NOT TRACED", l.What + " " + l.Code + ": " + l.Why})
	}
	for _, x := range m.r.Timeline(m.tx).Targets {
		name, _, _ := strings.Cut(x.Name, ":")
		f.Rows = append(f.Rows, [2]string{name, fmt.Sprintf("within %s, %s: %s", x.Within, reachedAfter(x), x.State)})
	}
	f.Rows = append(f.Rows, [2]string{"Still open", things(len(open))})
	return []paper.Part{paper.Heading{Level: 1, Text: "At a glance"}, f}, nil
}

// inBand says what the units of a band hold: cases and kegs, and what of it is affected, also as volume.
func (m *Maker) inBand(t trace.Total, band string) string {
	if t.Units == 0 {
		return "none " + band
	}
	all := lots.Packages{Cases: float64(t.Cases), Kegs: float64(t.Kegs)}
	text := fmt.Sprintf("%s %s, with %s", countOf(t.Units, "unit", "units"), band, all)
	if t.Affected != all {
		text += ", of them affected at most " + t.Affected.String()
	}
	if t.Litres > 0 {
		unit := m.tx.Site().VolumeUnit
		text += fmt.Sprintf(" (%s %s)", num(unit.Of(t.Litres*1000)), unit)
	}
	return text
}

func reachedAfter(x recall.Target) string {
	if x.Took == "" {
		return "not reached"
	}
	return "reached after " + x.Took
}

// accounted says how much of what was made is accounted for, cases and kegs apart.
func accounted(a *account.Account) string {
	var out []string
	for _, x := range []struct {
		sum  account.Sum
		unit string
	}{{a.Cases, "case"}, {a.Kegs, "keg"}} {
		rest := num(x.sum.Missing) + " not"
		switch {
		case x.sum.Over > 0 && x.sum.Missing > 0:
			rest += ", and elsewhere " + num(x.sum.Over) + " MORE than were made"
		case x.sum.Over > 0:
			rest = num(x.sum.Over) + " MORE than were made"
		}
		if x.sum.Produced > 0 {
			out = append(out, fmt.Sprintf("%s %% of %s, %s", lots.PercentFigure(x.sum.Percent), quantity(x.sum.Produced, x.unit), rest))
		}
	}
	return or(strings.Join(out, "; "), "nothing was packed")
}

func (m *Maker) timeline() []paper.Part {
	line := m.r.Timeline(m.tx)
	t := paper.Table{Head: []string{"clock", "when", "who", "what", "#entry"}}
	for _, s := range line.Steps {
		t.Rows = append(t.Rows, []string{s.Clock, m.plain(s.At), s.By, m.plain(s.Text), whole(s.Entry)})
	}
	g := paper.Table{Head: []string{"target", "within", "reached after", "", "source"}}
	for _, x := range line.Targets {
		g.Rows = append(g.Rows, []string{x.Name, x.Within, or(x.Took, "-"), x.StateText(), x.Source})
	}
	return []paper.Part{paper.Heading{Level: 1, Text: "Timeline"}, t, paper.Heading{Level: 2, Text: "Against the targets"}, g}
}

func (m *Maker) versions() []paper.Part {
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Scope, version by version"}}
	for _, v := range m.r.Versions {
		count := map[string]int{}
		for _, i := range v.Items {
			count[i.Kind+" "+i.Band]++
		}
		parts = append(parts, paper.Heading{Level: 2, Text: fmt.Sprintf("Version %d, %s, by %s, as known with entry %d", v.Version, m.time(v.At.Unix()), v.By, v.Head)},
			paper.Text{Text: fmt.Sprintf("%sIn: %s, %s, %s. Possible: %s, %s, %s.", sentenceIf(v.Reason),
				countOf(count["unit in"], "unit", "units"), countOf(count["run in"], "run", "runs"), countOf(count["consignee in"], "consignee", "consignees"),
				countOf(count["unit possible"], "unit", "units"), countOf(count["run possible"], "run", "runs"), countOf(count["consignee possible"], "consignee", "consignees"))})
		if len(v.Changes) == 0 {
			continue
		}
		t := paper.Table{Head: []string{"", "kind", "code", "now", "was", "because of"}}
		for _, c := range v.Changes {
			t.Rows = append(t.Rows, []string{c.What, c.Kind, c.Code, standing(c), or(c.Was, "-"), m.entries(c.Entries)})
		}
		parts = append(parts, t)
	}
	if len(m.r.Versions) == 0 {
		parts = append(parts, paper.Text{Text: "No version was frozen."})
	}
	if len(m.r.Decisions) > 0 {
		t := paper.Table{Head: []string{"decision", "on", "because", "by", "when", "#entry"}}
		for _, x := range m.r.Decisions {
			t.Rows = append(t.Rows, []string{x.Choice, x.Code, x.Reason, x.By, m.time(x.At.Unix()), whole(x.Entry)})
		}
		parts = append(parts, paper.Heading{Level: 2, Text: "Decisions that stand"}, t)
	}
	return parts
}

// standing is how an item of the scope stands after a change, and what of it moved.
func standing(c scope.Change) string {
	switch {
	case c.What == scope.Removed:
		return "-"
	case c.Detail != "":
		return c.State() + " (" + c.Detail + ")"
	}
	return c.State()
}

func sentenceIf(text string) string {
	if text == "" {
		return ""
	}
	return sentence(text) + " "
}

// entries tells of journal entries: what they are, by whom, when it happened and was recorded. A
// step of the recall is told by what it says.
func (m *Maker) entries(list []int64) string {
	var out []string
	for _, n := range list {
		e, ok, err := m.tx.Entry(n)
		if err != nil || !ok {
			continue
		}
		text := fmt.Sprintf("entry %d: %s by %s, recorded %s", n, word(e.Kind), e.By, m.time(e.Recorded.Unix()))
		if i := slices.IndexFunc(m.r.Log, func(l recall.Logged) bool { return l.Entry == n }); i >= 0 {
			text = fmt.Sprintf("entry %d, by %s: %s", n, e.By, m.r.Log[i].Text())
		}
		if e.At != nil {
			text += ", of " + m.plain(e.At.Text(m.tx.Site().Zone))
		}
		out = append(out, text)
		if len(out) == 3 && len(list) > 3 {
			out = append(out, fmt.Sprintf("and %d more", len(list)-3))
			break
		}
	}
	return strings.Join(out, "; ")
}

func (m *Maker) printed() []paper.Part {
	t := paper.Table{Head: []string{"what a reader looks for", "#affected", "#covered", "#innocent", "remark"}, Note: "Containers. Affected stretches are widened by the line's margin."}
	for _, r := range printed.Rules(m.tx, m.s.Answer) {
		remark := r.Spared
		if !r.Separates {
			remark = "CAN NOT BE TOLD APART from what is not affected; would have helped: " + r.Spared
		} else if r.Innocent > 0 {
			remark = "would have spared them: " + r.Spared
		}
		if r.Inside != "" {
			remark = strings.TrimPrefix(remark+"; "+r.Inside, "; ")
		}
		t.Rows = append(t.Rows, []string{m.ruleText(r), whole(r.Affected), whole(r.Covered), whole(r.Innocent), remark})
	}
	return []paper.Part{paper.Heading{Level: 1, Text: "What the public can act on"}, t}
}

func (m *Maker) notification() ([]paper.Part, error) {
	n, err := m.r.Notify(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Authorities"}}
	if n.Recovery {
		parts = append(parts, paper.Text{Text: "Nothing has left the brewery's control: where no part of the lot was released, this is a stock recovery and no recall (21 CFR 7.3(k))."})
	}
	t := paper.Table{Head: []string{"market", "authority", "products", "because", "source", "told"}}
	for _, a := range n.Authorities {
		t.Rows = append(t.Rows, []string{a.Market, a.Name, strings.Join(a.Products, ", "), a.Because, a.Source, or(m.plain(a.Told), "no")})
	}
	if len(t.Rows) > 0 {
		parts = append(parts, t)
	}
	for _, o := range n.Open {
		parts = append(parts, paper.Text{Text: "Open: " + o})
	}
	f := paper.Facts{}
	for _, a := range n.First {
		f.Rows = append(f.Rows, [2]string{a.What, m.plain(a.Answer)})
	}
	return append(parts, paper.Text{Text: recall.Deferral()}, paper.Heading{Level: 2, Text: "What they ask for first (21 CFR 7.46(a))"}, f), nil
}

// account writes the reconciliation and the suspects' balance.
func (m *Maker) account() ([]paper.Part, error) {
	a, err := m.r.Reconcile(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	head := []string{"#counted", "#shipped", "#returned", "#repacked", "#removed", "#unaccounted", "#of one of several", "#too much", "#accounted %"}
	cells := func(s account.Sum) []string {
		return []string{num(s.Counted), num(s.Shipped), num(s.Returned), num(s.Repacked), num(s.Removed), num(s.Missing), num(s.OneOf), num(s.Over), lots.PercentFigure(s.Percent)}
	}
	groups := paper.Table{Head: append([]string{"product", "date codes", "#made"}, head...), Note: "Made = counted + shipped - returned + repacked + removed (destroyed among it) + unaccounted for - too much. What one unit has too much does not make up for what another lacks. What the books say is on hand proves nothing: it is unaccounted for until it is counted. Of one of several: what was shipped of one of several units, unknown which, less what came back of it: it is in no unit's books, and so among what is unaccounted for."}
	for _, g := range a.Groups {
		groups.Rows = append(groups.Rows, append([]string{g.Product, strings.Join(g.DateCodes, ", "), quantity(g.Produced, caseOrKeg(g.Kegs))}, cells(g.Sum)...))
	}
	groups.Rows = append(groups.Rows, append([]string{"all cases", "", quantity(a.Cases.Produced, "case")}, cells(a.Cases)...))
	if a.Kegs.Produced > 0 {
		groups.Rows = append(groups.Rows, append([]string{"all kegs", "", quantity(a.Kegs.Produced, "keg")}, cells(a.Kegs)...))
	}
	missing := paper.Table{Head: []string{"unit", "#unaccounted for", "#too much", "#on hand by the books", "last entry that touched it"}}
	for _, u := range a.Units {
		if u.Unaccounted != 0 {
			missing.Rows = append(missing.Rows, []string{u.Unit, num(u.Missing), num(u.Over), num(u.Booked), foundBy(u)})
		}
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Account of every case and keg"}, groups, paper.Heading{Level: 2, Text: "Not accounted for, unit by unit"}, missing}
	if served := m.served(a.Served); len(served.Rows) > 0 {
		parts = append(parts, paper.Heading{Level: 2, Text: "Served here"}, served)
	}
	parts = append(parts, m.bulkTable(a)...)
	balances, err := account.LotBalances(m.tx, m.r.Traced(m.tx))
	if err != nil || len(balances) == 0 {
		return parts, err
	}
	t := paper.Table{Head: []string{"lot", "#received", "#on hand", "#removed", "#shipped in bulk", "#in tanks", "#in units", "#served", "#lost", "#not measured", "unit"},
		Note: "Received = on hand + removed + shipped in bulk + in tanks + in units + served + lost + not measured. It rests on perfect mixing within each fill: an estimate, never a reason to call beer safe."}
	for _, b := range balances {
		t.Rows = append(t.Rows, []string{b.Lot, num(b.Received), num(b.OnHand), num(b.Removed), num(b.Shipped), num(b.InTanks), b.InUnitsText(), num(b.Served), num(b.Lost), num(b.Unknown), b.Unit})
	}
	return append(parts, paper.Heading{Level: 2, Text: "Mass balance of the suspects"}, t), nil
}

// foundBy says how what is missing of a unit is found: where it was last seen, or how it gets a tag.
func foundBy(u account.UnitAccount) string {
	text := fmt.Sprintf("%d (%s)", u.LastEntry, u.LastText)
	if find := u.Find(); find != "" {
		text += "; " + find
	}
	return text
}

func (m *Maker) gaps() []paper.Part {
	t := paper.Table{Head: []string{"at", "what the records lack or contradict"}}
	for _, f := range m.s.Answer.Findings {
		t.Rows = append(t.Rows, []string{f.Code, m.plain(f.Text)})
	}
	if len(t.Rows) == 0 {
		return []paper.Part{paper.Heading{Level: 1, Text: "Gaps in the records"}, paper.Text{Text: "None was met in tracing this scope. That does not prove the records complete: heeltap check looks for gaps in all of them, such as a coder's clock that nobody checked."}}
	}
	return []paper.Part{paper.Heading{Level: 1, Text: "Gaps in the records"}, t}
}

func (m *Maker) openLines(lines []recall.OpenLine) []paper.Part {
	t := paper.Table{Head: []string{"still open", "what"}}
	for _, l := range lines {
		t.Rows = append(t.Rows, []string{l.Kind, l.Text})
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Close-out"}}
	if len(lines) == 0 {
		parts = append(parts, paper.Text{Text: "No line is open."})
	} else {
		parts = append(parts, t)
	}
	for _, x := range m.r.Destroyed {
		if x.Entry == 0 {
			parts = append(parts, paper.Text{Text: fmt.Sprintf("Destruction rehearsed: %s of %s, %s; witness %s. Nothing was destroyed.", num(x.Quantity), x.Unit, x.Method, x.Witness)})
			continue
		}
		parts = append(parts, paper.Text{Text: fmt.Sprintf("Destroyed: %s of %s, %s; witness %s (entry %d).", num(x.Quantity), x.Unit, x.Method, x.Witness, x.Entry)})
	}
	if m.r.Ended != "" {
		parts = append(parts, paper.Text{Text: "Terminated by " + m.r.Ended + "."})
	}
	if m.r.Review != "" {
		parts = append(parts, paper.Heading{Level: 2, Text: "Review"}, paper.Text{Text: m.r.Review})
	}
	return parts
}
