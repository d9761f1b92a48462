package papers

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/deliveries"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// Letter is one letter with whom it is for.
type Letter struct {
	Party string // its code
	Kind  string // consignee or supplier
	Paper *paper.Document
}

// the depths of a recall, 21 CFR 7.42(b)(1).
var depths = map[string]string{
	"consumer":  "This recall extends to the consumer: everyone who bought it from you must be told.",
	"retail":    "This recall extends to the retail level: every place that sells or serves it must be told.",
	"wholesale": "This recall extends to the wholesale level.",
}

// Letters drafts one letter for every consignee in scope, and one for each supplier of a suspect.
func (m *Maker) Letters() ([]Letter, error) {
	if err := m.whole(); err != nil {
		return nil, err
	}
	consignees, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
	if err != nil {
		return nil, err
	}
	suppliers, err := deliveries.Suppliers(m.tx, m.r.Traced(m.tx))
	if err != nil {
		return nil, err
	}
	if _, _, err := m.Version(); err != nil {
		return nil, err
	}
	var out []Letter
	for _, c := range consignees {
		out = append(out, Letter{c.Party, ToConsignee, m.letterTo(c)})
	}
	for _, s := range suppliers {
		out = append(out, Letter{s.Party, ToSupplier, m.noticeTo(s)})
	}
	return out, nil
}

// urgent marks a letter as 21 CFR 7.49(b) asks: always for classes I and II; for III the
// lead decides, and until a class is proposed the safer one is taken.
func (m *Maker) urgent() string {
	text := "URGENT: FOOD RECALL"
	if m.r.Proposed == "III" && m.r.Assigned != "I" && m.r.Assigned != "II" {
		text = "FOOD RECALL"
	}
	return m.heading(text)
}

// heading is a paper's title, which becomes the subject line of an e-mail: an exercise says so first.
func (m *Maker) heading(text string) string {
	if m.r.Mock {
		return "EXERCISE, no real recall. " + text
	}
	return text
}

// exercise begins the text of what is written in a mock recall.
func (m *Maker) exercise() []paper.Part {
	if !m.r.Mock {
		return nil
	}
	return []paper.Part{paper.Text{Text: "This is an exercise. Nothing is recalled or on hold, and nothing is to be done with the goods. Below is what we would write in a real recall.", Strong: true}}
}

// The kinds of letter.
const (
	ToConsignee = "consignee"
	ToSupplier  = "supplier"
)

// Letter drafts the one letter of a kind to a party; nil where there is none.
func (m *Maker) Letter(kind, party string) (*paper.Document, error) {
	if err := m.whole(); err != nil {
		return nil, err
	}
	if _, _, err := m.Version(); err != nil {
		return nil, err
	}
	switch kind {
	case ToConsignee:
		all, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
		for _, c := range all {
			if c.Party == party {
				return m.letterTo(c), err
			}
		}
		return nil, err
	case ToSupplier:
		all, err := deliveries.Suppliers(m.tx, m.r.Traced(m.tx))
		for _, s := range all {
			if s.Party == party {
				return m.noticeTo(s), err
			}
		}
		return nil, err
	}
	return nil, nil
}

// letterTo drafts the letter to a consignee with what 21 CFR 7.49(c) asks for, and its answer form.
func (m *Maker) letterTo(c deliveries.Consignee) *paper.Document {
	d := m.document(m.urgent(), "", true)
	d.Red = true // 7.49(b): conspicuously marked, preferably in bold red type
	rules, danger := m.rulesFor(c), m.danger()
	first, last := shipped(c)
	what, names := "beer", namesOf(rules)
	if onlyBulk(c) {
		what, names = "goods", bulkNames(c)
	}
	d.Parts = append(m.exercise(), m.envelope(addressee{c.Party, c.Name, c.Contact, c.Address}, m.urgent()+of(names)))
	d.Parts = append(d.Parts,
		paper.Text{Text: fmt.Sprintf("We are recalling the %s described below. %s supplied %s to you%s.", what, m.tx.Site().Name, map[bool]string{true: "them", false: "it"}[onlyBulk(c)], when(first, last))},
		paper.Text{Text: "Stop selling, serving and shipping it now, and set it apart.", Strong: true},
		paper.Heading{Level: 1, Text: "What is recalled"})
	if !onlyBulk(c) {
		d.Parts = append(d.Parts,
			paper.Text{Text: "Look for this on " + bearers(rules) + ". Set apart whatever bears it, even if it is not in the list below."},
			paper.List{Items: m.lookFor(rules)})
		d.Parts = append(d.Parts, m.received(c)...)
	}
	d.Parts = append(d.Parts, receivedBulk(c)...)
	d.Parts = append(d.Parts,
		paper.Heading{Level: 1, Text: "Why"}, paper.Text{Text: sentence(m.r.Reason) + " " + danger.risk},
		paper.Heading{Level: 1, Text: "What to do"}, paper.List{Items: m.todo(c, danger.care)})
	d.Parts = append(d.Parts, m.toTell(c)...)
	d.Parts = append(d.Parts,
		paper.Heading{Level: 1, Text: "How to answer"},
		paper.Text{Text: "Answer today, even if you have none left: return the form at the end of this letter, or call us."},
		paper.Text{Text: "Contact: " + m.contact()},
		paper.Signatures{Roles: []string{"For the brewery: the responsible person"}},
		paper.Break{},
	)
	d.Parts = append(d.Parts, m.form(c)...)
	d.Parts = append(d.Parts, m.note()...)
	if c.Kept {
		d.Parts = append(d.Parts, paper.Text{Text: "A correction took deliveries of this consignee away, and nobody has signed for that: what it received is as the last frozen version has it, with the days and documents as the rows read then."})
	}
	return d
}

// when says from when to when goods were shipped, behind a verb; nothing where nobody can say.
func when(first, last string) string {
	if first == "" {
		return ""
	}
	return " " + between(first, last)
}

// toTell lists whom a consignee said it supplied: 21 CFR 7.49(d) has it tell each of them.
func (m *Maker) toTell(c deliveries.Consignee) []paper.Part {
	accounts := m.accounts(c.Party)
	if len(accounts) == 0 {
		return nil
	}
	t := paper.Table{Head: []string{"name", "contact", "telephone", "product", "date code", "#you supplied"}, Note: "When you answer, add anyone who is missing, with quantities."}
	for _, a := range accounts {
		t.Rows = append(t.Rows, []string{a.Name, a.Contact, a.Phone, a.Product, a.DateCode, supplied(a)})
	}
	return []paper.Part{paper.Heading{Level: 2, Text: "The customers you told us you supplied: tell each of them"}, filled(t)}
}

func shipped(c deliveries.Consignee) (first, last string) {
	for _, l := range c.Lines {
		if l.First == "" {
			continue // nobody can say
		}
		if first == "" || day(l.First) < first {
			first = day(l.First)
		}
		last = max(last, day(l.Last))
	}
	for _, l := range c.Bulk {
		at := day(l.ShippedAt)
		if at != "" && (first == "" || at < first) {
			first = at
		}
		last = max(last, at)
	}
	return first, last
}

func sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" {
		return ""
	}
	r := []rune(text)
	text = strings.ToUpper(string(r[:1])) + string(r[1:])
	if !strings.ContainsAny(text[len(text)-1:], ".!?") {
		text += "."
	}
	return text
}

// unitText names what a line's goods came on, or several of which one is meant, unknown which: kegs by their numbers.
func unitText(l deliveries.Line) string {
	if l.Kegs {
		return "keg " + kegText(l.Unit)
	}
	return oneOfText(l.Unit)
}

// kegText is the number on a keg, or on one of several: whoever has it knows nothing of its fillings.
func kegText(unit string) string { return strings.Join(kegNumbers(unit), " or ") }

// kegNumbers lists the numbers on the kegs that a line names, each once: two fillings may be of one keg.
func kegNumbers(unit string) (numbers []string) {
	for _, u := range strings.Split(unit, "|") {
		keg, _, _ := lots.SplitFilling(u)
		if n := or(keg, u); !slices.Contains(numbers, n) {
			numbers = append(numbers, n)
		}
	}
	return numbers
}

// mayBeText is how many of several units a consignee received, unknown which; of one keg, whose number tells which, it
// is the beer in it that is not known.
func mayBeText(l deliveries.Line, unit string) string {
	if l.Kegs && len(kegNumbers(l.Unit)) == 1 {
		return quantity(l.MayBe, unit)
	}
	return "one of these, " + quantity(l.MayBe, unit)
}

// oneOfText names a unit by its code, or several of which one is meant.
func oneOfText(unit string) string { return strings.ReplaceAll(unit, "|", " or ") }

// days is when a line's goods were shipped.
func days(l deliveries.Line) string {
	if l.First == "" {
		return "day not on record"
	}
	if day(l.Last) != day(l.First) {
		return day(l.First) + " to " + day(l.Last)
	}
	return day(l.First)
}

// received lists what this consignee had: product, size, codes, units, quantity, dates, documents. What is still out
// comes first; of kegs that came back empty nothing is left to look for, and one line says so.
func (m *Maker) received(c deliveries.Consignee) []paper.Part {
	parts := []paper.Part{paper.Heading{Level: 2, Text: "What we supplied to you"}}
	var out, back [][]string
	var empty []string
	for _, l := range c.Lines {
		switch row := m.receivedRow(l); {
		case l.Emptied && l.Kegs:
			empty = append(empty, unitText(l))
		case l.Net <= 0 && l.MayBe <= 0:
			back = append(back, row)
		default:
			out = append(out, row)
		}
	}
	t := paper.Table{Head: []string{"product and size", "date code", "pallet, stack or keg", "#received", "#returned", "#at most affected", "shipped", "document"}, Rows: append(out, back...)}
	if len(c.Lines) == 0 { // kept from a version that does not say what it received
		t.Rows = [][]string{append([]string{"(product, date codes and quantity, to be filled in)"}, make([]string, len(t.Head)-1)...)}
	}
	if len(t.Rows) > 0 {
		parts = append(parts, filled(t))
	}
	if len(empty) > 0 {
		parts = append(parts, paper.Text{Text: "Came back empty, so nothing of it is left to look for: " + strings.Join(empty, ", ") + "."})
	}
	return parts
}

// receivedRow is one line of what a consignee had.
func (m *Maker) receivedRow(l deliveries.Line) []string {
	unit := caseOrKeg(l.Kegs)
	affected, received, returned := quantity(l.Affected, unit), quantity(l.Shipped, unit), ""
	if l.Returned > 0 {
		returned = quantity(l.Returned, unit)
	}
	if l.Product == "" { // nobody can say what it was, and so not that none of it is affected
		affected = "may be affected"
	}
	if l.OneOf != "" {
		received = mayBeText(l, unit)
		if affected = "may be affected"; l.Band == graph.In.String() {
			affected = "affected, whichever it was"
		}
	}
	return []string{m.productText(l.Product), l.CodesText(), unitText(l), received, returned, affected, days(l), strings.Join(l.Documents, ", ")}
}

// todo are the instructions of a letter: 21 CFR 7.49(c)(1)(iv), and the sub-recall of 7.49(d).
func (m *Maker) todo(c deliveries.Consignee, care string) []string {
	items := []string{"Look for it in every store, cellar and vehicle and on every shelf. Set it apart, and mark it so that nobody sells or serves it."}
	if care != "" && !onlyBulk(c) {
		items = append(items, care)
	}
	if len(c.Bulk) > 0 {
		items = append(items, bulkCare)
	}
	items = append(items, or(m.r.Strategy.Instructions, "Keep it until we collect it, or tell you in writing how to destroy it. Do not destroy it before then."))
	first, last := shipped(c)
	since := ""
	if first != "" {
		since = fmt.Sprintf(" since %s (we shipped it to you %s)", first, between(first, last))
	}
	tell := "If you passed any of it on, tell everyone who received it from you" + since + ", and send us a list of them with quantities."
	items = append(items, tell, or(depths[m.r.Strategy.Depth], "How far this recall extends: ____________________ (consumer, retail or wholesale level)"))
	var out []string
	for _, filling := range c.KegsOut {
		out = append(out, kegText(filling))
	}
	for _, l := range c.Lines {
		if l.Kegs && l.OneOf != "" && l.MayBe > 0 {
			if text := kegText(l.Unit); len(kegNumbers(l.Unit)) == 1 {
				out = append(out, text+" (if this beer is in it)")
			} else {
				out = append(out, num(l.MayBe)+" of "+text)
			}
		}
	}
	if len(out) > 0 {
		items = append(items, "Kegs of ours with this beer that have not come back to us: "+strings.Join(out, ", ")+".")
	}
	return items
}
