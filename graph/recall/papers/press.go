package papers

import (
	"fmt"
	"strings"

	"heeltap/labels/paper"
)

// NoPress says why there is nothing to tell the public; empty where there is.
func (m *Maker) NoPress() string {
	switch {
	case !m.s.HasLeft(m.tx):
		return "nothing in scope has left the brewery"
	case len(m.printedRules()) == 0 && len(m.s.Served(m.tx)) == 0:
		return "nothing in scope has been packed or served"
	}
	return ""
}

// Press drafts the notice for the public from the printed scope; nil where there is nothing to tell it.
func (m *Maker) Press() *paper.Document {
	if m.NoPress() != "" {
		return nil
	}
	danger := m.danger()
	rules := m.printedRules()
	title := m.heading("Recall: " + m.tx.Site().Name)
	d := m.document(title, strings.Join(namesOf(rules), ", ")+": "+sentence(m.r.Reason), true)
	first, last := "", ""
	for _, sh := range m.s.Shipments() {
		if first == "" || day(sh.ShippedAt) < first {
			first = day(sh.ShippedAt)
		}
		last = max(last, day(sh.ShippedAt))
	}
	sold := "It was sold from (first date) to (last date) in (areas, to be filled in)."
	if first != "" {
		sold = fmt.Sprintf("It was delivered %s in (areas, to be filled in).", between(first, last))
	}
	do := "Do not drink it. Bring it back to where you bought it, or call us: you get your money back."
	if danger.stay {
		do = "Do not drink, open or shake it, and do not carry it back to the shop: call us and we tell you what to do. You get your money back."
	}
	d.Parts = append(d.Parts, m.exercise()...)
	d.Parts = append(d.Parts,
		paper.Heading{Level: 1, Text: "Look for this on the package"}, paper.List{Items: m.lookFor(rules)},
		paper.Heading{Level: 1, Text: "Why"}, paper.Text{Text: sentence(m.r.Reason) + " " + danger.risk},
		paper.Text{Text: sold},
		paper.Heading{Level: 1, Text: "What to do"}, paper.Text{Text: do, Strong: true},
	)
	if danger.care != "" {
		d.Parts = append(d.Parts, paper.Text{Text: danger.care})
	}
	d.Parts = append(d.Parts,
		paper.Text{Text: "Illness, injury and complaints known so far, with symptoms to look out for: (number and kind, to be filled in)."},
		paper.Text{Text: "Contact: " + m.contact()})
	d.Parts = append(d.Parts, m.note()...)
	return d
}
