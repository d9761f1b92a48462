package papers

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall/printed"
	"heeltap/labels/paper"
)

// Press drafts the notice for the public from the printed scope.
func (m *Maker) Press() *paper.Document {
	danger := m.danger()
	rules := printed.Rules(m.tx, m.s.Answer)
	title := m.heading("Recall: " + m.tx.Site().Name)
	var names []string
	for _, r := range rules {
		if !slices.Contains(names, r.Name) {
			names = append(names, r.Name)
		}
	}
	d := m.document(title, strings.Join(names, ", ")+": "+sentence(m.r.Reason), true)
	var items []string
	for _, r := range rules {
		items = append(items, sentence(m.ruleText(r)))
	}
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
		paper.Heading{Level: 1, Text: "Look for this on the package"}, paper.List{Items: items},
		paper.Heading{Level: 1, Text: "Why"}, paper.Text{Text: sentence(m.r.Reason) + " " + danger.risk},
		paper.Text{Text: sold},
		paper.Heading{Level: 1, Text: "What to do"}, paper.Text{Text: do, Strong: true},
	)
	if danger.care != "" {
		d.Parts = append(d.Parts, paper.Text{Text: danger.care})
	}
	d.Parts = append(d.Parts,
		paper.Text{Text: "Illness, injury and complaints known so far, with symptoms to look out for: (number and kind, to be filled in)."},
		paper.Text{Text: "Contact: " + or(m.r.Strategy.Contact, "(name, telephone, e-mail, hours, to be filled in)")})
	d.Parts = append(d.Parts, m.note()...)
	return d
}
