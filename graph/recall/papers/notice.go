package papers

import (
	"fmt"

	"heeltap/graph/recall/deliveries"
	"heeltap/labels/paper"
)

// noticeTo drafts the notice to the supplier of a suspect lot.
func (m *Maker) noticeTo(s deliveries.Supplier) *paper.Document {
	title := m.heading("Notice about " + countedLots(len(s.Lots)) + " you supplied")
	d := m.document(title, "", true)
	table := func(lots []deliveries.Received) paper.Table {
		t := paper.Table{Head: []string{"material", "your lot, as printed", "our lot", "#quantity", "received", "document", "carrier", "best by"}}
		for _, l := range lots {
			t.Rows = append(t.Rows, []string{m.itemText(l.Item), l.SupplierLot, l.Lot, quantity(l.Quantity, l.Unit), day(l.ReceivedAt), l.Document, l.Carrier, l.BestBy})
		}
		return t
	}
	d.Parts = append(m.exercise(), m.envelope(addressee{s.Party, s.Name, s.Contact, s.Address}, title),
		paper.Text{Text: fmt.Sprintf("In %s %s we suspect %s that you supplied to us. %s", m.r.Kind(), m.r.Code, countedLots(len(s.Lots)), sentence(m.r.Reason))},
		paper.Heading{Level: 1, Text: "The lots"}, table(s.Lots))
	if len(s.SameLoad) > 0 {
		d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What else came in the same delivery"}, table(s.SameLoad))
	}
	d.Parts = append(d.Parts, paper.Heading{Level: 1, Text: "What we ask of you"}, paper.List{Items: []string{
		"Stop what you still have of these lots, and tell us who else received them.",
		"Send us your records of them: analyses, deviations, complaints and retained samples.",
		"Tell us today whether any other lot that you supplied to us is affected.",
	}}, paper.Text{Text: "Contact: " + m.contact()}, paper.Signatures{Roles: []string{"For the brewery: the responsible person"}})
	d.Parts = append(d.Parts, m.note()...)
	return d
}

func countedLots(n int) string {
	if n == 1 {
		return "a lot"
	}
	return whole(n) + " lots"
}

// itemText names a material, its code beside it.
func (m *Maker) itemText(code string) string {
	if item, ok := m.tx.Item(code); ok && item.Name != code {
		return item.Name + " (" + code + ")"
	}
	return code
}
