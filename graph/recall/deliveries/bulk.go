package deliveries

import (
	"cmp"
	"slices"

	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// BulkLine is a shipment in bulk that a consignee received: beer or yeast from a tank, some of a lot, a
// by-product. It is in the unit of measure that it was shipped in.
type BulkLine struct {
	Shipment string  `json:"shipment"`
	From     string  `json:"from"`
	Goods    string  `json:"goods"`
	Band     string  `json:"band"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit"`
	// MayBe is true where it left from one of several, unknown which, not all of which are affected.
	MayBe     bool   `json:"may_be"`
	ShippedAt string `json:"shipped_at"` // empty where a correction took the row away
	Document  string `json:"document"`
}

// Amount is how much it was, with its unit of measure.
func (l BulkLine) Amount() string { return lots.FigureOf(l.Quantity, l.Unit) + " " + l.Unit }

// Measure is what a line's quantity comes to in the unit in which answers are kept: L, kg or each.
func (l BulkLine) Measure() (float64, string) {
	unit, err := lots.ParseUnit(l.Unit)
	if err != nil {
		return l.Quantity, l.Unit
	}
	base := BaseUnit(unit)
	return lots.Nine(l.Quantity * base.Of(1) / unit.Of(1)), string(base)
}

// BaseUnit is the unit that quantities of a unit's sort are summed in.
func BaseUnit(unit lots.Unit) lots.Unit {
	switch unit.Dim() {
	case lots.Volume:
		return "L"
	case lots.Mass:
		return "kg"
	}
	return "each"
}

// bulk adds what a consignee received in bulk.
func (g *gathered) bulk(b trace.Bulk) {
	c := g.to(b.Consignee)
	if b.Band == "in" {
		c.Band = b.Band
	}
	l := BulkLine{Shipment: b.Code, From: b.Where(), Goods: b.Goods, Band: b.Band, Quantity: b.Quantity, Unit: b.Unit, MayBe: b.OneOf() && b.Band != "in", ShippedAt: b.ShippedAt}
	if b.Document != nil {
		l.Document = *b.Document
	}
	c.Bulk = append(c.Bulk, l)
}

// keepBulk adds what a last version knew of goods in bulk and the records do not say any more.
func (g *gathered) keepBulk(i scope.Item) {
	for _, k := range i.InBulk() {
		c := g.to(i.Code)
		if slices.ContainsFunc(c.Bulk, func(l BulkLine) bool { return l.Shipment == k.Shipment && l.Quantity == k.Quantity && l.Unit == k.Unit }) {
			continue
		}
		c.Bulk = append(c.Bulk, BulkLine{Shipment: k.Shipment, From: k.From, Goods: "goods in bulk", Band: i.Band, Quantity: k.Quantity, Unit: k.Unit})
	}
}

func sortBulk(list []BulkLine) {
	slices.SortFunc(list, func(a, b BulkLine) int {
		return cmp.Or(cmp.Compare(a.ShippedAt, b.ShippedAt), cmp.Compare(a.Shipment, b.Shipment), cmp.Compare(a.From, b.From))
	})
}

// Measured sums what a consignee received in bulk by what it is measured in: L, kg and each are never added up.
func (c Consignee) Measured() map[string]Moved {
	out := map[string]Moved{}
	for _, l := range c.Bulk {
		n, unit := l.Measure()
		sum := out[unit]
		if l.MayBe {
			sum.MayBe = lots.Nine(sum.MayBe + n)
		} else {
			sum.Shipped = lots.Nine(sum.Shipped + n)
		}
		sum.Net = sum.Shipped
		out[unit] = sum
	}
	return out
}

// ReadMeasured reads an amount of goods in bulk as a consignee says it, such as "5 hL", in the unit in which answers are kept.
func ReadMeasured(tx *store.Tx, text string) (float64, string, error) {
	row := lots.Row{"quantity": text}
	sheet, _ := lots.SheetNamed("shipments")
	if _, faults := lots.Plain(sheet, row, tx.Manner()); len(faults) > 0 {
		return 0, "", lots.Errorf(lots.Invalid, "%s: %s", text, faults[0].Reason)
	}
	unit, err := lots.ParseUnit(row["quantity_unit"])
	if err != nil {
		return 0, "", lots.Errorf(lots.Invalid, "%q needs a unit of measure, such as \"5 hL\" or \"120 kg\"", text)
	}
	q, err := lots.ParseQuantity(row["quantity"], unit)
	if err != nil {
		return 0, "", lots.Errorf(lots.Invalid, "%s: %w", text, err)
	}
	base := BaseUnit(unit)
	return lots.Nine(base.Of(float64(q.N))), string(base), nil
}
