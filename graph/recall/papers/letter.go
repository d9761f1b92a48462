package papers

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/labels"
	"heeltap/labels/paper"
)

// Letter is one letter with whom it is for.
type Letter struct {
	Party string // its code
	Kind  string // consignee or supplier
	Paper *paper.Document
}

// the depths of a recall, 21 CFR 7.42(b)(1).
var depths = map[string]string{
	"consumer":  "This recall reaches to the consumer: whoever bought it from you is to be told.",
	"retail":    "This recall reaches to the retail level: every place that sells or serves it is to be told.",
	"wholesale": "This recall reaches to the wholesale level.",
}

// Letters drafts one letter for every consignee in scope, and one for each supplier of a suspect.
func (m *Maker) Letters() ([]Letter, error) {
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
		out = append(out, Letter{c.Party, "consignee", m.letterTo(c)})
	}
	for _, s := range suppliers {
		out = append(out, Letter{s.Party, "supplier", m.noticeTo(s)})
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
	return []paper.Part{paper.Text{Text: "This is an exercise. Nothing is recalled, and nothing is to be done with the goods. What follows is what a real paper would say.", Strong: true}}
}

// letterTo drafts the letter to a consignee with what 21 CFR 7.49(c) asks for, and its answer form.
func (m *Maker) letterTo(c deliveries.Consignee) *paper.Document {
	d := m.document(m.urgent(), "To "+address(c.Name, c.Contact, c.Address), true)
	danger := m.danger()
	first, last := shipped(c)
	d.Parts = append(d.Parts, m.exercise()...)
	d.Parts = append(d.Parts,
		paper.Text{Text: "Date: " + day(m.time(m.r.Now.Unix())) + ". Reference: " + m.r.Code + "."},
		paper.Text{Text: fmt.Sprintf("We are recalling the beer listed below. %s supplied it to you%s.", m.tx.Site().Name, when(first, last))},
		paper.Text{Text: "Stop selling, serving and shipping it now, and set it apart.", Strong: true},
		paper.Heading{Level: 1, Text: "What is recalled"},
		paper.Text{Text: "Look for this on the package, the case and the keg. Set apart whatever bears it, also what is not in the list below."},
		paper.List{Items: m.lookFor(m.rulesFor(c))}, m.received(c),
		paper.Heading{Level: 1, Text: "Why"},
		paper.Text{Text: sentence(m.r.Reason) + " " + danger.risk},
		paper.Heading{Level: 1, Text: "What to do"}, paper.List{Items: m.todo(c, danger.care)})
	d.Parts = append(d.Parts, m.toTell(c)...)
	d.Parts = append(d.Parts,
		paper.Heading{Level: 1, Text: "How to answer"},
		paper.Text{Text: "Answer today, also if you have none left: send back the form at the end of this letter, or call. " + or(m.r.Strategy.Contact, "(contact: name, telephone, e-mail, to be filled in)") + "."},
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
	t := paper.Table{Head: []string{"name", "contact", "telephone", "product", "date code", "#you supplied"}, Note: "Add whoever is missing, with quantities, when you answer."}
	for _, a := range accounts {
		t.Rows = append(t.Rows, []string{a.Name, a.Contact, a.Phone, a.Product, a.DateCode, supplied(a)})
	}
	return []paper.Part{paper.Heading{Level: 2, Text: "Whom you told us that you supplied: tell each of them"}, filled(t)}
}

// note goes with every draft to the responsible person, and not to whom the letter is for.
func (m *Maker) note() []paper.Part {
	return []paper.Part{paper.Break{}, paper.Heading{Level: 1, Text: "To the responsible person: take this page off before sending"}, cautions(),
		paper.Text{Text: "The wording is a draft. Mark the envelope and the subject line as the heading is marked (21 CFR 7.49(b)), confirm telephone calls in writing, and follow up on whoever does not answer."},
		paper.Text{Text: "It follows " + m.basis() + "."}}
}

func address(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), ", ")
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

// unitText names a unit, or several of which one is meant, unknown which.
func unitText(unit string) string { return strings.ReplaceAll(unit, "|", " or ") }

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

// received lists what this consignee had: product, size, codes, units, quantity, dates, documents.
func (m *Maker) received(c deliveries.Consignee) paper.Table {
	t := paper.Table{Head: []string{"product and size", "date code", "unit", "#received", "#returned", "#at most affected", "shipped", "document"}}
	for _, l := range c.Lines {
		unit := caseOrKeg(l.Kegs)
		affected, received, returned := quantity(l.Affected, unit), quantity(l.Shipped, unit), ""
		if l.Returned > 0 {
			returned = quantity(l.Returned, unit)
		}
		switch {
		case l.OneOf != "":
			received = "one of these, " + quantity(l.MayBe, unit)
			if affected = "may be affected"; l.Band == graph.In.String() {
				affected = "affected, whichever it was"
			}
		case l.Emptied && l.Kegs:
			affected = "keg came back empty"
		}
		t.Rows = append(t.Rows, []string{m.productText(l.Product), strings.Join(l.DateCodes, ", "), unitText(l.Unit), received, returned, affected, days(l), strings.Join(l.Documents, ", ")})
	}
	if len(c.Lines) == 0 { // kept from a version that does not say what it received
		t.Rows = append(t.Rows, []string{"(product, date codes and quantity, to be filled in)", "", "", "", "", "", "", ""})
	}
	return t
}

// todo are the instructions of a letter: 21 CFR 7.49(c)(1)(iv), and the sub-recall of 7.49(d).
func (m *Maker) todo(c deliveries.Consignee, care string) []string {
	items := []string{"Look for it in every store, cellar, vehicle and shelf, and set it apart, marked so that nobody sells or serves it."}
	if care != "" {
		items = append(items, care)
	}
	items = append(items, or(m.r.Strategy.Instructions, "Keep it until we collect it or tell you in writing how to destroy it. Do not destroy it before that."))
	first, last := shipped(c)
	since := ""
	if first != "" {
		since = fmt.Sprintf(" since %s (we shipped it to you %s)", first, between(first, last))
	}
	tell := "If you passed any of it on, tell everyone who received it from you" + since + ", and send us their list with quantities."
	items = append(items, tell, or(depths[m.r.Strategy.Depth], "How far this recall reaches (consumer, retail or wholesale level) is to be filled in by the responsible person."))
	out := slices.Clone(c.KegsOut)
	for _, l := range c.Lines {
		if l.Kegs && l.OneOf != "" && l.MayBe > 0 {
			out = append(out, num(l.MayBe)+" of "+unitText(l.Unit))
		}
	}
	if len(out) > 0 {
		items = append(items, "Kegs of ours that are not back since this filling: "+strings.Join(out, ", ")+".")
	}
	return items
}

// form is the answer form, with a code that says whose it is.
func (m *Maker) form(c deliveries.Consignee) []paper.Part {
	return []paper.Part{
		paper.Heading{Level: 1, Text: "Answer form"},
		paper.Code{Payload: FormCode(m.r, c.Party), Text: fmt.Sprintf("%s, %s (%s)", m.r.Code, c.Name, c.Party)},
		paper.Text{Text: "Send to: " + or(m.r.Strategy.Contact, "(contact, to be filled in)")},
		paper.Blank{Labels: []string{
			"Notice received on", "On hand when it came: cases", "On hand when it came: kegs", "Sold or served: cases", "Sold or served: kegs",
			"Passed on to others: cases", "Passed on to others: kegs", "Of what was on hand, sent back", "Of what was on hand, destroyed here (how, who saw it)",
			"Those we supplied were told on", "Their list is enclosed (yes, no)", "Illness or injury known of",
		}},
		paper.Signatures{Roles: []string{c.Name}},
	}
}

// FormCode identifies a consignee's answer form; heeltap recall answer understands it.
func FormCode(r *recall.Recall, party string) string { return r.Code + "/" + party }

// PartyRead finds the consignee that a text means: its code, what its answer form's code reads, or the QR code of either.
func PartyRead(r *recall.Recall, text string) string {
	return strings.TrimPrefix(labels.ParsePayload(text), r.Code+"/")
}

// noticeTo drafts the notice to the supplier of a suspect lot.
func (m *Maker) noticeTo(s deliveries.Supplier) *paper.Document {
	d := m.document(m.heading("Notice about a lot you supplied"), "To "+address(s.Name, s.Contact, s.Address), true)
	table := func(lots []deliveries.Received) paper.Table {
		t := paper.Table{Head: []string{"material", "your lot, as printed", "our lot", "#quantity", "received", "document", "carrier", "best by"}}
		for _, l := range lots {
			t.Rows = append(t.Rows, []string{l.Item, l.SupplierLot, l.Lot, quantity(l.Quantity, l.Unit), day(l.ReceivedAt), l.Document, l.Carrier, l.BestBy})
		}
		return t
	}
	d.Parts = append(d.Parts, m.exercise()...)
	d.Parts = append(d.Parts,
		paper.Text{Text: fmt.Sprintf("A lot that you supplied is suspected in %s %s of %s: %s", m.r.Kind(), m.r.Code, m.tx.Site().Name, sentence(m.r.Reason))},
		paper.Heading{Level: 1, Text: "The lots"}, table(s.Lots))
	if len(s.SameLoad) > 0 {
		d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What else came in the same delivery"}, table(s.SameLoad))
	}
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What we ask of you"}, paper.List{Items: []string{
		"Stop what is left of these lots, and tell us who else received them.",
		"Send us your records of these lots: analyses, deviations, complaints, retained samples.",
		"Tell us within the day whether other lots that you supplied to us are concerned.",
	}}, paper.Text{Text: "Contact: " + or(m.r.Strategy.Contact, m.r.Lead)}, paper.Signatures{Roles: []string{"For the brewery: the responsible person"}})
	d.Parts = append(d.Parts, m.note()...)
	return d
}
