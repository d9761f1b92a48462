package papers

import (
	"slices"

	"heeltap/graph"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// onlyBulk reports whether all that a consignee received left in bulk: then no package bears anything to look for.
func onlyBulk(c deliveries.Consignee) bool { return len(c.Bulk) > 0 && len(c.Lines) == 0 }

// bulkNames names what a consignee received in bulk, each once.
func bulkNames(c deliveries.Consignee) (names []string) {
	for _, l := range c.Bulk {
		if !slices.Contains(names, l.Goods) {
			names = append(names, l.Goods)
		}
	}
	return names
}

// receivedBulk lists what a consignee received in bulk. It is told by what it is and by its papers: nothing is
// printed on it.
func receivedBulk(c deliveries.Consignee) []paper.Part {
	if len(c.Bulk) == 0 {
		return nil
	}
	t := paper.Table{Head: []string{"what", "from our", "#received", "", "shipped", "document"}}
	for _, l := range c.Bulk {
		affected, received := "affected", l.Amount()
		if l.Band != graph.In.String() {
			affected = "may be affected"
		}
		if l.MayBe {
			received = "perhaps " + received
		}
		t.Rows = append(t.Rows, []string{l.Goods, l.From, received, affected, or(day(l.ShippedAt), "day not on record"), or(l.Document, l.Shipment)})
	}
	return []paper.Part{paper.Heading{Level: 2, Text: "What we supplied to you in bulk"}, filled(t)}
}

// bulkCare says what is to be done with goods in bulk: they are mixed, packed, brewed with and fed.
const bulkCare = "What came in bulk: do not use it, sell it or feed it to animals. Set apart what is left of it, and whatever it was mixed into, packed as or made into, and tell us what that was."

// bulkForm has a line for each shipment in bulk, in its own unit of measure.
func bulkForm(c deliveries.Consignee) []paper.Part {
	if len(c.Bulk) == 0 {
		return nil
	}
	t := paper.Table{Head: []string{"what came in bulk", "shipped", "#delivered", "#found", "#sold, used or fed", "#passed on", "#sent back", "#destroyed"}, Hand: true,
		Note: "Measure each in the unit that stands behind the line, and write 0 where there is none. Found: what you had when this notice came. Sent back and destroyed are part of it."}
	for _, l := range c.Bulk {
		delivered := l.Amount()
		if l.MayBe {
			delivered = "perhaps " + delivered
		}
		row := []string{l.Goods + " from " + l.From, day(l.ShippedAt), delivered}
		for range 5 {
			row = append(row, "______ "+l.Unit)
		}
		t.Rows = append(t.Rows, row)
	}
	return []paper.Part{t}
}

// bulkTable sets what each consignee received in bulk against what is known of it; nothing where none left so.
func (m *Maker) bulkTable(a *account.Account) []paper.Part {
	if len(a.Bulk) == 0 {
		return nil
	}
	t := paper.Table{Head: []string{"consignee", "", "#received", "#may be", "#says sent back", "#destroyed there", "#on hand there", "#sold or used", "#passed on", "#elsewhere", "#not explained"},
		Note: "What left in bulk is in no sum of cases and kegs, and litres and kilograms are not added up. What comes back of it is a delivery of its own."}
	for _, x := range a.Bulk {
		figure := func(n float64) string { return lots.FigureOf(n, x.Unit) }
		t.Rows = append(t.Rows, []string{m.party(x.Party), x.Unit, figure(x.Distributed), figure(x.MayBe), figure(x.Says), figure(x.Destroyed), figure(x.OnHand), figure(x.Sold), figure(x.PassedOn), figure(x.Elsewhere), figure(x.Unexplained)})
	}
	return []paper.Part{paper.Heading{Level: 2, Text: "What left in bulk"}, t}
}
