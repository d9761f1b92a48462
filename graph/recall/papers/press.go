package papers

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/printed"
	"heeltap/labels/paper"
)

// NoPress says why there is nothing to tell the public; empty where there is. That there is nothing is said only where
// it is known what is affected.
func (m *Maker) NoPress() string {
	left := m.s.HasLeft(m.tx)
	if left && (len(m.printedRules()) > 0 || len(m.s.Served(m.tx)) > 0) {
		return ""
	}
	switch {
	case len(m.Unknown()) > 0:
		return "what is affected is not known yet"
	case !left:
		return "nothing in scope has left the brewery"
	}
	return "nothing in scope has been packed or served"
}

// Press drafts the notice for the public from the printed scope; nil where there is nothing to tell it.
func (m *Maker) Press() (*paper.Document, error) {
	if m.NoPress() != "" {
		return nil, nil
	}
	consignees, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
	if err != nil {
		return nil, err
	}
	if _, _, err := m.Version(); err != nil {
		return nil, err
	}
	danger := m.danger()
	d := m.document(m.heading("Recall: "+recall.SenderOf(m.tx).Name), "", true)
	d.Subtitle = sentence("Recall of beer" + colon(strings.Join(namesOf(m.printedRules()), ", ")))
	d.Parts = append(d.Parts, m.exercise()...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "Why"}, paper.Text{Text: sentence(m.r.Reason) + " " + danger.risk})
	d.Parts = append(d.Parts, m.packaged(consignees)...)
	d.Parts = append(d.Parts, m.draught(consignees)...)
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What to do"}, paper.Text{Text: publicCare(danger, len(m.rulesOf(false)) > 0), Strong: true})
	if danger.care != "" {
		care := danger.care
		if len(m.rulesOf(false)) == 0 {
			care = "Bars and pubs: " + lower(care)
		}
		d.Parts = append(d.Parts, paper.Text{Text: care})
	}
	d.Parts = append(d.Parts,
		paper.Text{Text: "Illness, injury and complaints reported so far, and symptoms to watch for: " + toFill + " (number and kind)."},
		paper.Text{Text: "Contact: " + m.contact()})
	d.Parts = append(d.Parts, m.note()...)
	return d, nil
}

func colon(text string) string {
	if text == "" {
		return ""
	}
	return ": " + text
}

// lower begins a text with a small letter, behind a colon.
func lower(text string) string { return strings.ToLower(text[:1]) + text[1:] }

// publicCare is what the public is to do with the beer. Where it was sold on draught alone, all that anyone can have of
// it was filled at the tap.
func publicCare(d danger, packaged bool) string {
	if !packaged {
		return "If you took any of it home from the tap, do not drink it. Call us, and we will tell you what to do. You will be refunded."
	}
	if d.stay {
		return "Do not drink, open or shake it, and do not carry it back to the shop. Call us, and we will tell you what to do. You will be refunded."
	}
	return "Do not drink it. Take it back to where you bought it, or call us. You will be refunded."
}

// packaged says how to know the packages, and where and when they were sold.
func (m *Maker) packaged(consignees []deliveries.Consignee) []paper.Part {
	items := m.lookFor(m.rulesOf(false))
	if len(items) == 0 {
		return nil
	}
	first, last := "", ""
	for _, c := range consignees {
		for _, l := range c.Lines {
			if l.Kegs || l.First == "" {
				continue
			}
			if first == "" || day(l.First) < first {
				first = day(l.First)
			}
			last = max(last, day(l.Last))
		}
	}
	sold := "It was sold from " + toFill + " to " + toFill + " in " + toFill + " (areas)."
	if first != "" {
		sold = fmt.Sprintf("We delivered it to shops, bars and wholesalers %s, in %s (areas).", between(first, last), toFill)
	}
	return []paper.Part{paper.Heading{Level: 1, Text: "Look for this on the package"}, paper.List{Items: items}, paper.Text{Text: sold}}
}

// rulesOf are the rules for kegs, or for all else.
func (m *Maker) rulesOf(kegs bool) (out []printed.Rule) {
	for _, r := range m.printedRules() {
		if isKeg(r) == kegs {
			out = append(out, r)
		}
	}
	return out
}

// isKeg reports whether a rule's packages are kegs: nobody who drinks from one sees it.
func isKeg(r printed.Rule) bool {
	return len(r.Kegs) > 0 || r.KegsMore > 0
}

// draught says where and when beer from kegs and from our own taps was sold: whoever drank it never saw a code.
func (m *Maker) draught(consignees []deliveries.Consignee) []paper.Part {
	t := paper.Table{Head: []string{"place", "address", "beer", "on sale from"}}
	for _, c := range consignees {
		t.Rows = append(t.Rows, m.onTap(c)...)
	}
	t.Rows = append(t.Rows, m.ownTaps()...)
	if len(t.Rows) == 0 {
		return nil
	}
	parts := []paper.Part{paper.Heading{Level: 1, Text: "Where it was sold on draught"}, t}
	if items := m.lookFor(m.rulesOf(true)); len(items) > 0 {
		parts = append(parts, paper.Text{Text: "Bars and pubs: look for this on the keg."}, paper.List{Items: items})
	}
	return parts
}

// onTap lists where one consignee's kegs were sold: at its own place, or with the customers on its list.
func (m *Maker) onTap(c deliveries.Consignee) (rows [][]string) {
	beers, from := map[string]bool{}, ""
	for _, l := range c.Lines {
		if !l.Kegs || l.Net <= 0 && l.MayBe <= 0 {
			continue // all of it came back full
		}
		for _, p := range strings.Split(l.Product, ", ") {
			beers[m.beerOf(p)] = true
		}
		if l.First != "" && (from == "" || day(l.First) < from) {
			from = day(l.First)
		}
	}
	if len(beers) == 0 {
		return nil
	}
	beer := joined(beers)
	from = or(from, toFill)
	if !c.Further {
		return [][]string{{c.Name, m.personal(or(c.Address, toFill)), beer, from}}
	}
	for _, a := range m.accounts(c.Party) {
		if accountUnit(a) == "keg" {
			rows = append(rows, []string{m.personal(a.Name), m.personal(or(a.Address, toFill)), beer, toFill})
		}
	}
	if len(rows) == 0 {
		rows = [][]string{{toFill + " (customers of " + c.Name + ", from its list)", toFill, beer, toFill}}
	}
	return rows
}

// beerOf is what a product's beer is called, which is what people order; the product's name where nobody recorded that.
func (m *Maker) beerOf(product string) string {
	p := printed.Product(m.tx, product)
	return or(p.Beer, p.Name)
}

// ownTaps is what was served or sold in the brewery's own taproom.
func (m *Maker) ownTaps() [][]string {
	served := m.s.Served(m.tx)
	if len(served) == 0 {
		return nil
	}
	beers := map[string]bool{}
	for _, b := range m.s.Answer.Brews {
		beers[b.Beer] = true
	}
	first, last := day(served[0].At), day(served[len(served)-1].At)
	on := first
	if last != first {
		on = first + ", until " + last
	}
	return [][]string{{"our taproom", or(recall.SenderOf(m.tx).Address, toFill), joined(beers), on}}
}

// joined lists names in their order, each once.
func joined(names map[string]bool) string {
	return strings.Join(slices.Sorted(maps.Keys(names)), ", ")
}
