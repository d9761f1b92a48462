package papers

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/labels"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// form is the answer form, with a code that says whose it is: a line for each date code, and sums of cases and kegs.
func (m *Maker) form(c deliveries.Consignee) []paper.Part {
	parts := []paper.Part{
		paper.Heading{Level: 1, Text: m.heading("Answer form")},
		paper.Code{Payload: FormCode(m.r, c.Party), Text: fmt.Sprintf("%s, %s (%s)", m.r.Code, c.Name, c.Party)},
		paper.Text{Text: "Return to: " + m.contact()},
	}
	if !onlyBulk(c) {
		parts = append(parts, m.formTable(c))
	}
	parts = append(parts, bulkForm(c)...)
	return append(parts,
		paper.Blank{Labels: []string{
			"Notice received on", "Searched on, and by whom", "Destroyed: how, and who saw it",
			"Our customers were told on", "Their list is enclosed (yes, no)", "Illness or injury that we know of",
		}},
		paper.Signatures{Roles: []string{c.Name}},
	)
}

// formKey is what one line of the form is about.
type formKey struct {
	kegs          bool
	product, code string
}

// formLine sums what was delivered of it.
type formLine struct {
	shipped, returned, mayBe, shared, sharedMayBe float64
	parts                                         []string // of units with several codes
}

// formTable has a line for each product and date code that was delivered, to be filled in.
func (m *Maker) formTable(c deliveries.Consignee) paper.Table {
	t := paper.Table{Head: []string{"product and size", "date code", "#delivered", "#found", "#sold or served", "#passed on", "#sent back", "#destroyed"}, Hand: true,
		Note: "Count cases or kegs of each date code, and write 0 where there are none. Found: what you had when this notice came. Sent back and destroyed are part of it."}
	lines := formLines(c)
	line := func(cells ...string) {
		t.Rows = append(t.Rows, append(cells, "______", "______", "______", "______", "______"))
	}
	keys := slices.SortedFunc(maps.Keys(lines), func(a, b formKey) int {
		return cmp.Or(strings.Compare(caseOrKeg(a.kegs), caseOrKeg(b.kegs)), cmp.Compare(a.product, b.product), cmp.Compare(a.code, b.code))
	})
	of := map[bool]int{}
	for _, k := range keys {
		of[k.kegs]++
		line(m.plainProducts(k.product), k.code, lines[k].delivered(caseOrKeg(k.kegs)))
	}
	for _, kegs := range []bool{false, true} {
		if of[kegs] > 1 {
			sum := c.Of(kegs)
			line("all "+caseOrKeg(kegs)+"s", "", formLine{shipped: sum.Shipped, returned: sum.Returned, mayBe: sum.MayBe}.delivered(caseOrKeg(kegs)))
		}
	}
	if len(keys) == 0 {
		line("____________", "________", "")
	}
	return t
}

// formLines sums what a consignee received by product and date code. What came on one pallet with several date codes
// is shared by them: nobody can say how much of it bears which.
func formLines(c deliveries.Consignee) map[formKey]formLine {
	lines := map[formKey]formLine{}
	for _, l := range c.Lines {
		products, codes := strings.Split(l.Product, ", "), l.DateCodes
		if len(codes) == 0 {
			codes = []string{notOnRecord}
		}
		if addParts(lines, l, products) {
			continue
		}
		for _, product := range products {
			for _, code := range codes {
				k := formKey{l.Kegs, product, code}
				sum := lines[k]
				if len(products)*len(codes) == 1 {
					sum.shipped, sum.returned, sum.mayBe = sum.shipped+l.Shipped, sum.returned+l.Returned, sum.mayBe+l.MayBe
				} else {
					sum.shared, sum.sharedMayBe = sum.shared+l.Shipped, sum.sharedMayBe+l.MayBe
				}
				lines[k] = sum
			}
		}
	}
	return lines
}

// addParts adds a line of one product by the parts that its date codes have of it; false where the records do not tell
// them, or where one code stands on all of it.
func addParts(lines map[formKey]formLine, l deliveries.Line, products []string) bool {
	parts := l.CodeParts()
	if len(products) != 1 || len(parts) == 0 || l.OneOf != "" || len(parts) == 1 && parts[0].Sure() && parts[0].AtMost == parts[0].Of {
		return false
	}
	for _, c := range parts {
		k := formKey{l.Kegs, products[0], c.Code}
		sum := lines[k]
		sum.parts = append(sum.parts, c.Text(caseOrKeg(l.Kegs)))
		lines[k] = sum
	}
	return true
}

// delivered says how much it was.
func (f formLine) delivered(unit string) string {
	var parts []string
	if f.shipped > 0 {
		parts = append(parts, quantity(f.shipped, unit))
	}
	if f.mayBe > 0 {
		parts = append(parts, "perhaps "+quantity(f.mayBe, unit))
	}
	if f.shared > 0 {
		parts = append(parts, "part of "+quantity(f.shared, unit))
	}
	if f.sharedMayBe > 0 {
		parts = append(parts, "perhaps part of "+quantity(f.sharedMayBe, unit))
	}
	parts = append(parts, f.parts...)
	if f.returned > 0 {
		parts = append(parts, num(f.returned)+" came back")
	}
	return strings.Join(parts, ", ")
}

// plainProducts names products with their sizes.
func (m *Maker) plainProducts(codes string) string {
	var out []string
	for _, code := range strings.Split(codes, ", ") {
		out = append(out, m.productName(code))
	}
	return strings.Join(out, "; ")
}

// FormCode identifies a consignee's answer form; heeltap recall answer understands it.
func FormCode(r *recall.Recall, party string) string { return r.Code + "/" + party }

// PartyRead finds the consignee that a text means: its code, what its answer form's code reads, or the QR code of either.
func PartyRead(r *recall.Recall, text string) string {
	return strings.TrimPrefix(labels.ParsePayload(text), r.Code+"/")
}

// FormRead finds the answer form that a text or its QR code means: the recall, and the consignee whose form it is.
func FormRead(tx *store.Tx, text string) (r *recall.Recall, party string, ok bool) {
	code, party, cut := strings.Cut(labels.ParsePayload(text), "/")
	if !cut {
		return nil, "", false
	}
	r, err := recall.Load(tx, strings.ToUpper(code))
	if err != nil {
		return nil, "", false
	}
	thing, known := tx.Thing(party)
	return r, party, known && thing.Kind == lots.KindParty
}
