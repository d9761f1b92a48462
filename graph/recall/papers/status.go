package papers

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// Status is the status report with the six items of 21 CFR 7.53(b).
func (m *Maker) Status() (*paper.Document, error) {
	d := m.document("Recall status report", fmt.Sprintf("%s: %s", m.r.Code, sentence(m.r.Reason)), true)
	parts, err := m.status()
	d.Parts = slices.Concat(d.Parts, []paper.Part{m.facts(), cautions()}, m.team(), parts)
	return d, err
}

// team lists the recall team with its telephone numbers: a setting of the site.
func (m *Maker) team() []paper.Part {
	t := paper.Table{Head: []string{"role", "name", "telephone"}}
	for _, x := range recall.Team(m.tx) {
		t.Rows = append(t.Rows, []string{x.Role, x.Name, m.personal(x.Phone)})
	}
	head := paper.Heading{Level: 1, Text: "Recall team"}
	if len(t.Rows) == 0 {
		return []paper.Part{head, paper.Text{Text: "Nobody is named yet. Name the team: heeltap set site team.lead \"NAME, TELEPHONE\", and team.deputy, team.warehouse and others alike."}}
	}
	return []paper.Part{head, t}
}

// facts says what recall this is.
func (m *Maker) facts() paper.Facts {
	f := paper.Facts{Rows: [][2]string{
		{"Recall", m.r.Code + " (" + m.r.Kind() + ", " + m.r.State() + ")"}, {"Opened", m.time(m.r.OpenedAt.Unix())}, {"Lead", m.r.Lead},
		{"Suspects", words.Said(trace.InWords(m.tx, m.r.Suspects)).Of(m.r.Suspects)}, {"Hazard", string(m.r.Hazard)}, {"Reason", sentence(m.r.Reason)}, {"Known", m.r.Known},
		{"Class proposed by the firm", or(m.r.Proposed, "none yet")}, {"Class assigned", or(strings.TrimSpace(m.r.Assigned+" "+m.r.Assigner), "none yet, by an authority")},
		{"Depth", or(m.r.Strategy.Depth, "not decided")},
	}}
	f.Rows = append(f.Rows, [2]string{"Scope", sentence(m.basis())})
	for _, x := range m.s.Answer.MayRetain { // named, and never a reason to cut by itself
		f.Rows = append(f.Rows, [2]string{"May have held it back", sentence(x.Text())})
	}
	return f
}

// status writes the six items of 21 CFR 7.53(b), (1) to (6).
func (m *Maker) status() ([]paper.Part, error) {
	consignees, err := deliveries.Consignees(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	a, err := m.r.Reconcile(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	n := m.notices(consignees)
	checks, made := m.checks(consignees)
	parts := []paper.Part{
		paper.Heading{Level: 1, Text: "1. Consignees notified"},
		paper.Text{Text: fmt.Sprintf("%d of %d consignees are notified.", n.told, len(consignees))}, n.table}
	parts = append(parts, m.toldAgain(consignees)...)
	parts = append(parts,
		paper.Heading{Level: 1, Text: "2. Consignees that responded"},
		paper.Text{Text: fmt.Sprintf("%d of %d responded; they had %s on hand when the notice came.", n.answered, len(consignees), casesAndKegs(n.cases, n.kegs))},
		paper.Heading{Level: 1, Text: "3. Consignees that did not respond"},
		paper.Text{Text: fmt.Sprintf("%d: %s", len(n.silent), or(strings.Join(n.silent, "; "), "none"))},
	)
	parts = append(parts, m.secondLevel(consignees, a)...)
	complaints, err := m.complaintParts()
	if err != nil {
		return nil, err
	}
	parts = append(parts,
		paper.Heading{Level: 1, Text: "4. Returned, corrected and accounted for"}, paper.Text{Text: inTrade(a), Strong: true}, m.recoveryTable(a),
		paper.Heading{Level: 1, Text: "5. Effectiveness checks"}, paper.Text{Text: strings.TrimSpace(m.sampleText(consignees) + " " + made)})
	if len(checks.Rows) > 0 {
		parts = append(parts, checks)
	}
	parts = append(parts,
		paper.Heading{Level: 1, Text: "6. Estimated time to completion"}, paper.Text{Text: or(m.r.Strategy.Completion, "Not estimated yet.")})
	return append(parts, complaints...), nil
}

// noticed is who was told, and who answered what.
type noticed struct {
	table          paper.Table
	told, answered int
	silent         []string
	cases, kegs    float64 // on hand when the notice came
}

// notices says when and how each consignee was told: whoever answered without being told has heard.
func (m *Maker) notices(consignees []deliveries.Consignee) noticed {
	n := noticed{table: paper.Table{Head: []string{"consignee", "notified", "how", "answered", "#on hand when the notice came"}}}
	for _, c := range consignees {
		row := []string{c.Party + " " + c.Name, "no", "", "no", ""}
		contact := m.r.Contacts[c.Party]
		if contact == nil {
			contact = &recall.Contact{}
		}
		if !contact.Notified.IsZero() {
			n.told++
			row[1], row[2] = m.time(contact.Notified.Unix()), "by its own answer"
			for _, t := range slices.Backward(contact.Tries) { // the first that reached it
				if t.Reached {
					row[2] = t.How
				}
			}
		} else if len(contact.Tries) > 0 {
			row[1] = fmt.Sprintf("no, %d tried", len(contact.Tries))
		}
		if contact.Answer == nil {
			n.silent = append(n.silent, c.Party+" "+c.Name)
		} else {
			n.answered++
			cases, kegs := 0.0, 0.0
			bulk := ""
			for _, l := range contact.Answer.Lines {
				switch {
				case l.Unit != "":
					bulk += ", " + quantity(l.OnHand, l.Unit) + " in bulk"
				case l.Kegs:
					kegs += l.OnHand
				default:
					cases += l.OnHand
				}
			}
			n.cases, n.kegs = n.cases+cases, n.kegs+kegs
			row[3], row[4] = m.time(contact.Answered.Unix()), casesAndKegs(cases, kegs)+bulk
		}
		n.table.Rows = append(n.table.Rows, row)
	}
	return n
}

// toldAgain lists whose letters are out of date: who has not what it was told of.
func (m *Maker) toldAgain(consignees []deliveries.Consignee) []paper.Part {
	var items []string
	for _, c := range consignees {
		if again, ok := m.r.TellAgain(m.s, c.Party); ok {
			items = append(items, c.Party+" "+c.Name+": "+again.Text()+".")
		}
	}
	uncalled := m.r.Uncalled(m.s)
	for _, party := range slices.Sorted(maps.Keys(uncalled)) {
		items = append(items, fmt.Sprintf("%s: told by version %d, and has nothing in scope any more: tell it so.", party, uncalled[party]))
	}
	if len(items) == 0 {
		return nil
	}
	return []paper.Part{paper.Text{Text: countOf(len(items), "is", "are") + " TO BE TOLD AGAIN: the scope has changed since.", Strong: true}, paper.List{Items: items}}
}

// secondLevel lists whom the consignees supplied, by their own lists, and what of it is to be asked.
func (m *Maker) secondLevel(consignees []deliveries.Consignee, a *account.Account) []paper.Part {
	t := paper.Table{Head: []string{"supplied by", "name", "contact", "telephone", "e-mail", "product", "date code", "#quantity"}}
	var remarks []string
	for _, c := range consignees {
		for _, x := range m.accounts(c.Party) {
			t.Rows = append(t.Rows, []string{c.Party + " " + c.Name, m.personal(x.Name), m.personal(x.Contact), m.personal(x.Phone), m.personal(x.Email), x.Product, x.DateCode, supplied(x)})
		}
		remarks = append(remarks, m.listRemarks(c, a)...)
	}
	if len(t.Rows) == 0 && len(remarks) == 0 {
		return nil
	}
	parts := []paper.Part{paper.Heading{Level: 2, Text: "Second level: whom the consignees supplied, by their lists"}}
	if len(t.Rows) > 0 {
		parts = append(parts, filled(t))
	}
	if len(remarks) > 0 {
		parts = append(parts, paper.List{Items: remarks})
	}
	return parts
}

// listRemarks sets a consignee's list against what it said it passed on.
func (m *Maker) listRemarks(c deliveries.Consignee, a *account.Account) []string {
	var out []string
	remark := func(format string, args ...any) {
		out = append(out, fmt.Sprintf(format, append([]any{c.Party + " " + c.Name}, args...)...))
	}
	accounts, silent, listed := m.accounts(c.Party), 0, map[bool]float64{}
	for _, x := range accounts {
		listed[accountUnit(x) == "keg"] += x.Quantity
		if x.Quantity == 0 {
			silent++
		}
	}
	for _, x := range a.Consignees {
		unit := caseOrKeg(x.Kegs)
		switch {
		case x.Party != c.Party:
		case len(accounts) == 0 && x.PassedOn > 0:
			remark("%s passed %s on and gave no list: ask for it.", quantity(x.PassedOn, unit))
		case len(accounts) > 0 && silent == 0 && lots.Nine(listed[x.Kegs]-x.PassedOn) != 0:
			remark("The list of %s comes to %s, its answer says that %s passed on: ask which is right.", quantity(listed[x.Kegs], unit), were(x.PassedOn, unit))
		}
	}
	if silent > 0 {
		remark("The list of %s leaves out %s of what it supplied: ask for them.", countOf(silent, "quantity", "quantities"))
	}
	if c.Further && len(accounts) == 0 {
		remark("%s distributes further, and its list is missing.")
	}
	return out
}

// sampleText says who is to be checked: a draw from fewer consignees than there are now is short.
func (m *Maker) sampleText(consignees []deliveries.Consignee) string {
	s := m.r.Sample
	if s == nil {
		return "No level was chosen yet (21 CFR 7.42(b)(3))."
	}
	text := drawText(s)
	if n := len(m.r.Samples); n > 1 {
		parts := []string{fmt.Sprintf("Consignees were drawn %s; a later draw takes nothing back of an earlier one.", times(n))}
		for i, d := range m.r.Samples {
			parts = append(parts, fmt.Sprintf("Draw %d, %s, by %s: %s", i+1, m.time(d.At.Unix()), d.By, drawText(d)))
		}
		text = strings.Join(parts, " ")
	}
	if s.Of != len(consignees) {
		text += fmt.Sprintf(" There are %d consignees now: DRAW AGAIN.", len(consignees))
	}
	return text
}

// drawText says how one draw was made, and whom it chose.
func drawText(s *recall.Sampled) string {
	return fmt.Sprintf("Level %s of 21 CFR 7.42(b)(3): %s %% of %d consignees, %d to check (%s), drawn with seed %s.", s.Level, lots.PercentFigure(s.Percent), s.Of, len(s.Parties), or(strings.Join(s.Parties, ", "), "none"), s.Seed)
}

func times(n int) string {
	if n == 2 {
		return "twice"
	}
	return whole(n) + " times"
}

// inDraws says which draws chose a party.
func (m *Maker) inDraws(party string) string {
	var in []string
	for i, s := range m.r.Samples {
		if slices.Contains(s.Parties, party) {
			in = append(in, whole(i+1))
		}
	}
	switch {
	case len(in) == 0:
		return "no"
	case len(m.r.Samples) == 1:
		return "yes"
	}
	return "yes, draw " + strings.Join(in, " and ")
}

// checks lists the checks that were made, and says how many of those drawn were checked: a check
// of somebody else does not stand for one of them.
func (m *Maker) checks(consignees []deliveries.Consignee) (paper.Table, string) {
	t := paper.Table{Head: []string{"consignee", "drawn", "checked", "how", "had the notice", "followed it", "#still on sale", "found"}}
	names := map[string]string{}
	for _, c := range consignees {
		names[c.Party] = c.Party + " " + c.Name
	}
	drawn := map[string]bool{}
	for _, p := range m.r.Drawn() {
		drawn[p] = true
	}
	made, good, others, open := 0, 0, 0, []string{}
	for _, party := range slices.Sorted(maps.Keys(m.r.Contacts)) {
		checks := m.r.Contacts[party].Checks
		for _, k := range checks {
			t.Rows = append(t.Rows, []string{or(names[party], party+": not in scope"), m.inDraws(party), m.time(k.At.Unix()), k.How, yesNo(k.Notified), yesNo(k.Followed), k.StillOnSale().String(), k.Text})
		}
		switch n := len(checks); {
		case n == 0:
		case !drawn[party]:
			others += n
		default:
			made++
			if last := checks[n-1]; last.Notified && last.Followed && last.StillOnSale().None() {
				good++
			}
		}
	}
	for _, p := range slices.Sorted(maps.Keys(drawn)) {
		if c := m.r.Contacts[p]; c == nil || len(c.Checks) == 0 {
			open = append(open, p)
		}
	}
	return t, checkText(len(drawn), made, good, others, open)
}

func checkText(drawn, made, good, others int, open []string) string {
	if drawn == 0 && others == 0 {
		return ""
	}
	text := fmt.Sprintf("Of %d drawn: %d made, %d found the notice received and followed.", drawn, made, good)
	if len(open) > 0 {
		text += " Not checked yet: " + strings.Join(open, ", ") + "."
	}
	if others > 0 {
		text += fmt.Sprintf(" Checks of consignees that were not drawn: %d.", others)
	}
	return text
}

// inTrade says how much is still in the trade, and where it is by the answers.
func inTrade(a *account.Account) string {
	t := a.InTrade()
	text := "Nothing is still in the trade, by the books and the answers."
	if still := t.Still(); !still.None() {
		var parts []string
		for _, x := range []struct {
			of   lots.Packages
			text string
		}{{t.OnHand, "with consignees by their answers"}, {t.OnTheWay, "on the way back"}, {t.PassedOn, "passed on to their customers"}, {t.Unexplained, "not answered for or not explained"}} {
			if !x.of.None() {
				parts = append(parts, x.of.String()+" "+x.text)
			}
		}
		text = fmt.Sprintf("Still in the trade: at most %s (%s).", still, strings.Join(parts, "; "))
	}
	for _, x := range a.Bulk {
		if x.Open() {
			text += fmt.Sprintf(" In bulk at %s: %s.", x.Party, x.BulkText())
		}
	}
	if !t.Sold.None() {
		text += fmt.Sprintf(" Sold or served there: %s, which cannot be recovered.", t.Sold)
	}
	return text
}

// recoveryTable sets what each consignee received against what is known of it. What it says it
// sent back stands beside what arrived: goods on the way are not goods that were never sent.
func (m *Maker) recoveryTable(a *account.Account) paper.Table {
	t := paper.Table{Head: []string{"consignee", "", "#received", "#may be", "#returned, arrived", "#of it since the notice", "#says sent back", "#destroyed there", "#on hand there", "#sold", "#passed on", "#elsewhere", "#not explained", "#recovered %"},
		Note: "Received + may be, less what came back before the notice = on hand when it came + sold + passed on + elsewhere + not explained. May be is what was shipped of one of several units: it counts as received until the consignee answers; then what it does not have of it went elsewhere. On hand when it came = on hand there + destroyed there + sent back or returned since the notice, whichever is more. What a consignee sells or destroys is its answer; it is no removal of ours. Recovered = returned and destroyed, of what was received and what it has besides."}
	for _, x := range a.Consignees {
		recovered := lots.PercentFigure(x.Percent)
		if x.Nothing {
			recovered = "-"
		}
		t.Rows = append(t.Rows, []string{m.party(x.Party), caseOrKeg(x.Kegs) + "s", num(x.Distributed), num(x.MayBe), num(x.Returned), num(x.Since), num(x.Says), num(x.Destroyed), num(x.OnHand), num(x.Sold), num(x.PassedOn), num(x.Elsewhere), num(x.Unexplained), recovered})
	}
	return withoutNaught(t, "returned, arrived", "not explained", "recovered %")
}
