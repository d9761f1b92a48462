package papers

import (
	"fmt"
	"strings"

	"heeltap/graph/recall"
	"heeltap/labels/paper"
)

// HoldList is what is to be found and stopped, with its place, to walk the house by.
func (m *Maker) HoldList() (*paper.Document, error) {
	stock, err := m.s.InHouse(m.tx)
	if err != nil {
		return nil, err
	}
	d := m.document("Hold list", fmt.Sprintf("%s: %s", m.r.Code, sentence(m.r.Reason)), false)
	t := paper.Table{Head: []string{"", "code", "what", "#by the books", "place", "band", "held", "#counted", "found by"}}
	for _, x := range stock {
		held := "no"
		if x.Held {
			held = "yes"
		}
		t.Rows = append(t.Rows, []string{x.Kind, x.Code, x.What, num(x.Quantity) + " " + x.Unit, or(x.Place, "?"), x.Band, held, "______", "____________"})
	}
	d.Parts = append(d.Parts, cautions(), paper.Text{Text: "Nothing on this list leaves, is moved, drawn, packed or served. Count it where it stands: what the books say is no evidence."}, t,
		paper.Signatures{Roles: []string{"Walked by", "Quality lead"}})
	return d, nil
}

// Status is the status report with the six items of 21 CFR 7.53(b).
func (m *Maker) Status() (*paper.Document, error) {
	d := m.document("Recall status report", fmt.Sprintf("%s: %s", m.r.Code, sentence(m.r.Reason)), true)
	parts, err := m.status()
	d.Parts = append([]paper.Part{m.facts(), cautions()}, parts...)
	return d, err
}

// facts says what recall this is.
func (m *Maker) facts() paper.Facts {
	f := paper.Facts{Rows: [][2]string{
		{"Recall", m.r.Code + " (" + m.r.Kind() + ", " + m.r.State() + ")"}, {"Opened", m.time(m.r.OpenedAt.Unix())}, {"Lead", m.r.Lead},
		{"Suspects", strings.Join(m.r.Suspects, ", ")}, {"Hazard", string(m.r.Hazard)}, {"Reason", sentence(m.r.Reason)}, {"Known", m.r.Known},
		{"Class proposed by the firm", or(m.r.Proposed, "none yet")}, {"Class assigned by an authority", or(strings.TrimSpace(m.r.Assigned+" "+m.r.Assigner), "none yet")},
		{"Depth", or(m.r.Strategy.Depth, "not decided")},
	}}
	if v := m.r.Latest(); v != nil {
		f.Rows = append(f.Rows, [2]string{"Scope", fmt.Sprintf("version %d, as known with entry %d", v.Version, v.Head)})
	} else {
		f.Rows = append(f.Rows, [2]string{"Scope", "not frozen yet"})
	}
	return f
}

// status writes the six items of 21 CFR 7.53(b), (1) to (6).
func (m *Maker) status() ([]paper.Part, error) {
	consignees, err := m.s.Consignees(m.tx)
	if err != nil {
		return nil, err
	}
	a, err := m.r.Reconcile(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	var told, answered, silent []string
	onHand := 0.0
	notices := paper.Table{Head: []string{"consignee", "notified", "how", "answered", "#on hand when the notice came"}}
	for _, c := range consignees {
		contact := m.r.Contacts[c.Party]
		row := []string{c.Party + " " + c.Name, "no", "", "no", ""}
		if contact != nil && !contact.Notified.IsZero() {
			told = append(told, c.Party)
			row[1] = m.time(contact.Notified.Unix())
			for _, t := range contact.Tries {
				if t.Reached {
					row[2] = t.How
				}
			}
		}
		if contact != nil && contact.Answer != nil {
			answered = append(answered, c.Party)
			row[3] = m.time(contact.Answered.Unix())
			hand := 0.0
			for _, l := range contact.Answer.Lines {
				hand += l.OnHand
			}
			onHand += hand
			row[4] = num(hand)
		} else {
			silent = append(silent, c.Party+" "+c.Name)
		}
		notices.Rows = append(notices.Rows, row)
	}
	checks, good := m.checks()
	return []paper.Part{
		paper.Heading{Level: 1, Text: "1. Consignees notified"},
		paper.Text{Text: fmt.Sprintf("%d of %d consignees are notified.", len(told), len(consignees))}, notices,
		paper.Heading{Level: 1, Text: "2. Consignees that responded"},
		paper.Text{Text: fmt.Sprintf("%d of %d responded; they had %s cases and kegs on hand when the notice came.", len(answered), len(consignees), num(onHand))},
		paper.Heading{Level: 1, Text: "3. Consignees that did not respond"},
		paper.Text{Text: fmt.Sprintf("%d: %s", len(silent), or(strings.Join(silent, "; "), "none"))},
		paper.Heading{Level: 1, Text: "4. Returned, corrected and accounted for"},
		m.recoveryTable(a),
		paper.Heading{Level: 1, Text: "5. Effectiveness checks"},
		paper.Text{Text: m.sampleText() + fmt.Sprintf(" %d made, %d found the notice received and followed.", len(checks.Rows), good)}, checks,
		paper.Heading{Level: 1, Text: "6. Estimated time to completion"},
		paper.Text{Text: or(m.r.Strategy.Completion, "Not estimated yet.")},
	}, nil
}

func (m *Maker) sampleText() string {
	if m.r.Sample == nil {
		return "No level was chosen yet (21 CFR 7.42(b)(3))."
	}
	s := m.r.Sample
	return fmt.Sprintf("Level %s of 21 CFR 7.42(b)(3): %s %% of %d consignees, %d to check (%s), drawn with seed %s.", s.Level, num(s.Percent), s.Of, len(s.Parties), strings.Join(s.Parties, ", "), s.Seed)
}

func (m *Maker) checks() (t paper.Table, good int) {
	t.Head = []string{"consignee", "checked", "how", "had the notice", "followed it", "#still on sale", "found"}
	yes := map[bool]string{true: "yes", false: "no"}
	consignees, err := m.s.Consignees(m.tx)
	if err != nil {
		return t, 0
	}
	for _, c := range consignees {
		contact := m.r.Contacts[c.Party]
		if contact == nil {
			continue
		}
		for _, k := range contact.Checks {
			t.Rows = append(t.Rows, []string{c.Party + " " + c.Name, m.time(k.At.Unix()), k.How, yes[k.Notified], yes[k.Followed], num(k.OnSale), k.Text})
			if k.Notified && k.Followed && k.OnSale == 0 {
				good++
			}
		}
	}
	return t, good
}

func (m *Maker) recoveryTable(a *recall.Account) paper.Table {
	t := paper.Table{Head: []string{"consignee", "", "#received", "#returned", "#destroyed there", "#on hand there", "#sold", "#passed on", "#not explained", "#recovered %"},
		Note: "Received less what came back before the notice = on hand when it came + sold + passed on + not explained. What a consignee sells or destroys is its answer; it is no removal of ours. Recovered = returned and destroyed, of what was received."}
	for _, x := range a.Consignees {
		unit := "cases"
		if x.Kegs {
			unit = "kegs"
		}
		t.Rows = append(t.Rows, []string{x.Party, unit, num(x.Distributed), num(x.Returned), num(x.Destroyed), num(x.OnHand), num(x.Sold), num(x.PassedOn), num(x.Unexplained), num(x.Percent)})
	}
	return t
}

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
	d.Parts = append(d.Parts, m.facts(), cautions(), paper.Heading{Level: 1, Text: "What went where"}, paper.Picture{Flow: *picture})
	d.Parts = append(d.Parts, m.timeline()...)
	d.Parts = append(d.Parts, m.versions()...)
	d.Parts = append(d.Parts, m.printed()...)
	d.Parts = append(d.Parts, notify...)
	d.Parts = append(d.Parts, status...)
	d.Parts = append(d.Parts, account...)
	d.Parts = append(d.Parts, m.gaps()...)
	d.Parts = append(d.Parts, m.openLines(open)...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "Signatures"}, paper.Signatures{Roles: []string{"Quality lead", "Responsible person", "Witness"}})
	return d, nil
}

func (m *Maker) timeline() []paper.Part {
	line := m.r.Timeline(m.tx)
	t := paper.Table{Head: []string{"clock", "when", "who", "what", "#entry"}}
	for _, s := range line.Steps {
		t.Rows = append(t.Rows, []string{s.Clock, strings.Replace(s.At[:16], "T", " ", 1), s.By, s.Text, whole(s.Entry)})
	}
	g := paper.Table{Head: []string{"target", "within", "reached after", "", "source"}}
	for _, x := range line.Targets {
		g.Rows = append(g.Rows, []string{x.Name, x.Within, or(x.Took, "-"), x.State, x.Source})
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
			paper.Text{Text: fmt.Sprintf("%s%d units in, %d possible; %d runs in, %d possible; %d consignees in, %d possible.", sentenceIf(v.Reason), count["unit in"], count["unit possible"],
				count["run in"], count["run possible"], count["consignee in"], count["consignee possible"])})
		if len(v.Changes) == 0 {
			continue
		}
		t := paper.Table{Head: []string{"", "kind", "code", "now", "was", "because of"}}
		for _, c := range v.Changes {
			t.Rows = append(t.Rows, []string{c.What, c.Kind, c.Code, c.Band, c.Was, m.entries(c.Entries)})
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

func sentenceIf(text string) string {
	if text == "" {
		return ""
	}
	return sentence(text) + " "
}

// entries tells of journal entries: kind, who, when it happened and was recorded.
func (m *Maker) entries(list []int64) string {
	var out []string
	for _, n := range list {
		e, ok, err := m.tx.Entry(n)
		if err != nil || !ok {
			continue
		}
		text := fmt.Sprintf("entry %d: %s by %s, recorded %s", n, e.Kind, e.By, m.time(e.Recorded.Unix()))
		if e.At != nil {
			text += ", of " + e.At.Text(m.tx.Site().Zone)
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
	for _, r := range m.s.PrintedScope(m.tx) {
		remark := r.Spared
		if !r.Separates {
			remark = "CAN NOT BE TOLD APART from what is not affected; would have helped: " + r.Spared
		} else if r.Innocent > 0 {
			remark = "would have spared them: " + r.Spared
		}
		if r.Inside != "" {
			remark = strings.TrimPrefix(remark+"; "+r.Inside, "; ")
		}
		t.Rows = append(t.Rows, []string{r.Text(), whole(r.Affected), whole(r.Covered), whole(r.Innocent), remark})
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
		t.Rows = append(t.Rows, []string{a.Market, a.Name, strings.Join(a.Products, ", "), a.Because, a.Source, or(strings.Replace(day(a.Told), "T", " ", 1), "no")})
	}
	if len(t.Rows) > 0 {
		parts = append(parts, t)
	}
	for _, o := range n.Open {
		parts = append(parts, paper.Text{Text: "Open: " + o})
	}
	f := paper.Facts{}
	for _, a := range n.First {
		f.Rows = append(f.Rows, [2]string{a.What, a.Answer})
	}
	return append(parts, paper.Text{Text: recall.Deferral()}, paper.Heading{Level: 2, Text: "What they ask for first (21 CFR 7.46(a))"}, f), nil
}

// account writes the reconciliation and the suspects' balance.
func (m *Maker) account() ([]paper.Part, error) {
	a, err := m.r.Reconcile(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	head := []string{"#made", "#counted", "#shipped", "#returned", "#repacked", "#removed", "#unaccounted", "#%"}
	cells := func(s recall.Sum) []string {
		return []string{num(s.Produced), num(s.Counted), num(s.Shipped), num(s.Returned), num(s.Repacked), num(s.Removed), num(s.Unaccounted), num(s.Percent)}
	}
	groups := paper.Table{Head: append([]string{"product", "date codes"}, head...), Note: "Made = counted + shipped - returned + repacked + removed (destroyed among it) + unaccounted for. What the books say is on hand proves nothing: it is unaccounted for until it is counted."}
	for _, g := range a.Groups {
		groups.Rows = append(groups.Rows, append([]string{g.Product, strings.Join(g.DateCodes, ", ")}, cells(g.Sum)...))
	}
	groups.Rows = append(groups.Rows, append([]string{"all cases", ""}, cells(a.Cases)...), append([]string{"all kegs", ""}, cells(a.Kegs)...))
	missing := paper.Table{Head: []string{"unit", "#unaccounted for", "#on hand by the books", "last entry that touched it"}}
	for _, u := range a.Units {
		if u.Unaccounted != 0 {
			missing.Rows = append(missing.Rows, []string{u.Unit, num(u.Unaccounted), num(u.Booked), fmt.Sprintf("%d (%s)", u.LastEntry, u.LastText)})
		}
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Account of every case and keg"}, groups, paper.Heading{Level: 2, Text: "Not accounted for, unit by unit"}, missing}
	balances, err := m.r.LotBalances(m.tx)
	if err != nil || len(balances) == 0 {
		return parts, err
	}
	t := paper.Table{Head: []string{"lot", "#received", "#on hand", "#removed", "#in tanks", "#in units", "#lost", "#not measured", "unit"},
		Note: "Received = on hand + removed + in tanks + in units + lost + not measured. It rests on perfect mixing within each fill: an estimate, never a reason to call beer safe."}
	for _, b := range balances {
		t.Rows = append(t.Rows, []string{b.Lot, num(b.Received), num(b.OnHand), num(b.Removed), num(b.InTanks), num(b.InUnits), num(b.Lost), num(b.Unknown), b.Unit})
	}
	return append(parts, paper.Heading{Level: 2, Text: "Mass balance of the suspects"}, t), nil
}

func (m *Maker) gaps() []paper.Part {
	t := paper.Table{Head: []string{"at", "what the records lack or contradict"}}
	for _, f := range m.s.Answer.Findings {
		t.Rows = append(t.Rows, []string{f.Code, f.Text})
	}
	if len(t.Rows) == 0 {
		return []paper.Part{paper.Heading{Level: 1, Text: "Gaps in the records"}, paper.Text{Text: "None that touches this scope was found. That does not prove the records complete."}}
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
