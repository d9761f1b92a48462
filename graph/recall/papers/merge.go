package papers

import (
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/lots"
)

// MergeHead names the columns of [Maker.MergeRows]. The first says of every row whether it belongs to
// an exercise: a table that is merged into the wrong template then tells nobody of a real recall.
// What is one of several units is in no other column: it may have gone there.
var MergeHead = []string{"exercise", "party", "name", "contact", "phone", "email", "address", "distributes_further", "products", "date_codes", "units",
	"cases_shipped", "cases_returned", "cases_net", "cases_one_of_several", "kegs_shipped", "kegs_returned", "kegs_net", "kegs_one_of_several",
	"accounts_listed", "first_shipped", "last_shipped", "documents", "form_code", "in_bulk"}

// MergeRows is all letters to consignees as one table, for a mail merge: a row for each.
func (m *Maker) MergeRows() ([][]string, error) {
	if err := m.whole(); err != nil {
		return nil, err
	}
	consignees, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
	if err != nil {
		return nil, err
	}
	out := [][]string{}
	for _, c := range consignees {
		var products, codes, units, documents []string
		for _, l := range c.Lines {
			products, units = append(products, strings.Split(l.Product, ", ")...), append(units, l.Unit)
			codes, documents = append(codes, l.DateCodes...), append(documents, l.Documents...)
		}
		for _, l := range c.Bulk {
			if l.Document != "" {
				documents = append(documents, l.Document)
			}
		}
		first, last := shipped(c)
		out = append(out, []string{yesNo(m.r.Mock), c.Party, c.Name, c.Contact, c.Phone, c.Email, c.Address, yesNo(c.Further), set(products), set(codes), set(units),
			num(c.Cases.Shipped), num(c.Cases.Returned), num(c.Cases.Net), num(c.Cases.MayBe), num(c.Kegs.Shipped), num(c.Kegs.Returned), num(c.Kegs.Net), num(c.Kegs.MayBe),
			whole(len(m.accounts(c.Party))), first, last, set(documents), FormCode(m.r, c.Party), inBulk(c)})
	}
	return out, nil
}

// inBulk says what a consignee received in bulk, each with its own measure.
func inBulk(c deliveries.Consignee) string {
	var parts []string
	for _, l := range c.Bulk {
		parts = append(parts, l.Amount()+" of "+l.Goods+" from "+l.From)
	}
	return strings.Join(parts, "; ")
}

// UnitHead names the columns of [Maker.UnitRows].
var UnitHead = []string{"exercise", "party", "name", "unit", "band", "product", "date_codes", "counted_in", "shipped", "returned", "one_of_several", "at_most_affected", "first_shipped", "last_shipped", "documents"}

// UnitRows is what each consignee received, a row for each unit: the list with lots and dates
// that an authority sorts.
func (m *Maker) UnitRows() ([][]string, error) {
	consignees, err := deliveries.Delivered(m.tx, m.s, m.r.Versions)
	if err != nil {
		return nil, err
	}
	out := [][]string{}
	for _, c := range consignees {
		for _, l := range c.Lines {
			out = append(out, []string{yesNo(m.r.Mock), c.Party, c.Name, l.Unit, l.Band, l.Product, set(l.DateCodes), caseOrKeg(l.Kegs), num(l.Shipped), num(l.Returned), num(l.MayBe), num(l.Affected), day(l.First), day(l.Last), set(l.Documents)})
		}
		for _, l := range c.Bulk {
			sure, maybe := lots.FigureOf(l.Quantity, l.Unit), num(0)
			if l.MayBe {
				sure, maybe = maybe, sure
			}
			out = append(out, []string{yesNo(m.r.Mock), c.Party, c.Name, l.From, l.Band, l.Goods, "", l.Unit, sure, num(0), maybe, lots.FigureOf(l.Quantity, l.Unit), day(l.ShippedAt), day(l.ShippedAt), l.Document})
		}
	}
	return out, nil
}

// AccountHead names the columns of [Maker.AccountRows].
var AccountHead = []string{"exercise", "supplied_by", "supplied_by_name", "name", "contact", "phone", "email", "address", "product", "date_code", "quantity", "unit", "said_by"}

// AccountRows is whom the consignees said they supplied, a row for each line of their lists.
// They are told by whoever supplied them (21 CFR 7.49(d)), so they stand in a table of their own.
func (m *Maker) AccountRows() ([][]string, error) {
	if err := m.whole(); err != nil {
		return nil, err
	}
	consignees, err := deliveries.Consignees(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	out := [][]string{}
	for _, c := range consignees {
		onward, err := recall.Onward(m.tx, &c)
		if err != nil {
			return nil, err
		}
		for _, a := range append(slices.Clone(m.accounts(c.Party)), onward...) {
			out = append(out, []string{yesNo(m.r.Mock), c.Party, c.Name, a.Name, a.Contact, a.Phone, a.Email, a.Address, a.Product, a.DateCode, numOr(a.Quantity), accountUnit(a), saidBy(a)})
		}
	}
	return out, nil
}

// accounts is the list that a consignee gave of whom it supplied.
func (m *Maker) accounts(party string) []deliveries.SubAccount {
	if contact := m.r.Contacts[party]; contact != nil {
		return contact.Accounts
	}
	return nil
}

// saidBy is how a consignee said that it supplied somebody: on its list, or in an event of its EPCIS document.
func saidBy(a deliveries.SubAccount) string {
	if a.Told == "" {
		return "its list"
	}
	return "its EPCIS document, " + a.Told
}

// accountUnit is what an account's quantity counts: cases, where its list does not say.
func accountUnit(a deliveries.SubAccount) string { return or(a.Unit, "case") }

// supplied is how much an account had; a list may leave that out, which is not none.
func supplied(a deliveries.SubAccount) string {
	if a.Quantity == 0 {
		return "not said"
	}
	return quantity(a.Quantity, accountUnit(a))
}

// set joins texts, each once.
func set(texts []string) string {
	texts = slices.Clone(texts)
	slices.Sort(texts)
	return strings.Join(slices.Compact(texts), "; ")
}
