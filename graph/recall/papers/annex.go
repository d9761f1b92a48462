package papers

import (
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
)

// annexes list the scope whole: what is in the house, every unit with the chain that leads to it,
// and what each consignee received. What is signed above stands on them.
func (m *Maker) annexes() ([]paper.Part, error) {
	stock, err := m.r.InHouse(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	consignees, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
	if err != nil {
		return nil, err
	}
	house := paper.Table{Head: []string{"", "code", "what", "#by the books", "last counted", "place", "band", "held"}}
	for _, x := range stock {
		house.Rows = append(house.Rows, []string{x.Kind, x.Code, m.plain(x.What), m.booked(x), m.counted(x), or(x.Place, "?"), x.Band, m.held(x)})
	}
	received := paper.Table{Head: []string{"consignee", "unit", "band", "date code", "#received", "#returned", "#at most affected", "shipped on", "document"}}
	for _, c := range consignees {
		for _, l := range c.Lines {
			unit := caseOrKeg(l.Kegs)
			shipped, affected := quantity(l.Shipped, unit), num(l.Affected)
			if l.OneOf != "" {
				shipped, affected = mayBeText(l, unit), "may be"
			}
			received.Rows = append(received.Rows, []string{m.party(c.Party), oneOfText(l.Unit), l.Band, l.CodesText(), shipped, numOr(l.Returned), affected, days(l), strings.Join(l.Documents, ", ")})
		}
		for _, l := range c.Bulk {
			amount := l.Amount()
			if l.MayBe {
				amount = "perhaps " + amount
			}
			received.Rows = append(received.Rows, []string{m.party(c.Party), l.Goods + " from " + l.From + ", in bulk", l.Band, "", amount, "", "", day(l.ShippedAt), l.Document})
		}
	}
	return append([]paper.Part{
		paper.Heading{Level: 1, Text: "Annex 1: what is in the house"}, house,
		paper.Heading{Level: 1, Text: "Annex 2: every unit in scope, and why"}, m.unitsInScope(),
		paper.Heading{Level: 1, Text: "Annex 3: what each consignee received"}, received,
	}, m.besides()...), nil
}

// besides lists what stands in no consignee's account: what was served here, and what is left out of the scope.
func (m *Maker) besides() []paper.Part {
	var parts []paper.Part
	served := m.served(m.s.Served(m.tx))
	out := paper.Table{Head: []string{"shipment", "unit", "consignee", "#quantity", "shipped", "first affected case on it"},
		Note: "Shipments of units in scope that were over before anything affected stood on them: the unit was topped up later."}
	for _, x := range m.s.LeftOut {
		out.Rows = append(out.Rows, []string{x.Shipment, x.Unit, m.party(x.Consignee), whole(x.Quantity), m.plain(x.ShippedAt), m.plain(x.ToppedUp)})
	}
	for _, a := range []struct {
		title string
		table paper.Table
	}{{"served here", served}, {"shipments left out, and why", out}} {
		if len(a.table.Rows) > 0 {
			parts = append(parts, paper.Heading{Level: 1, Text: "Annex " + whole(4+len(parts)/2) + ": " + a.title}, a.table)
		}
	}
	return parts
}

// served lists what was drawn or sold in the taproom.
func (m *Maker) served(list []scope.Served) paper.Table {
	t := paper.Table{Head: []string{"when", "what", "#quantity", ""}, Note: "Served or sold in the taproom: it cannot be recovered, and whoever drank it is told by the public notice alone."}
	for _, x := range list {
		sure := "sure"
		if x.MayBe {
			sure = "may be"
		}
		t.Rows = append(t.Rows, []string{m.plain(x.At), x.Kind + " " + x.Code, num(x.Quantity) + " " + x.Unit, sure})
	}
	return t
}

// unitsInScope lists the units, and what is on none, with the chain from the suspect.
func (m *Maker) unitsInScope() paper.Table {
	t := paper.Table{Head: []string{"unit", "band", "product", "date codes", "#packed", "#at most affected", "from the suspect to it"},
		Note: "In: by recorded moves alone. Possible: not recorded, and not ruled out. The chain is the shortest of the surest ones."}
	kept := map[string]bool{}
	for _, i := range m.s.Kept {
		kept[i.Kind+" "+i.Code] = true
	}
	for _, u := range m.s.Answer.Units {
		product, chain := "mixed", strings.Join(u.Why, " > ")
		if u.Product != nil {
			product = *u.Product
		}
		if kept[graph.Unit.String()+" "+u.Code] {
			chain = "kept: a correction took it out, and nobody has signed for that"
		}
		t.Rows = append(t.Rows, []string{u.Code, u.Band, product, u.CodesText(), quantity(float64(u.Quantity), caseOrKeg(u.Kind == "keg")), whole(u.Affected), chain})
	}
	for _, run := range m.s.Answer.Runs {
		if run.Unassigned > 0 {
			t.Rows = append(t.Rows, []string{"on none", run.Band, run.Product, strings.Join(run.DateCodes, ", "), quantity(float64(run.Unassigned), caseOrKeg(trace.OfKegs(m.tx, run.Code))), whole(run.Unassigned), strings.Join(run.Why, " > ")})
		}
	}
	return t
}
