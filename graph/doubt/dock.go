package doubt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

// delivery warns about a delivery while the goods are still at hand.
func (d *doubts) delivery(r *lots.Receipt) {
	d.rejected(r)
	if p, ok := d.tx.Party(r.Supplier); ok && p.Role == "consignee" {
		d.add("%s is recorded as a consignee: is that the supplier?", r.Supplier)
	}
	if i, ok := d.tx.Item(r.Item); ok {
		d.bestBy(r, i.Kind)
		if r.Status != "rejected" { // of that is told already
			d.misplaced(r.Item, i.Kind, r.Into, "heeltap amend "+r.Lot+" into=…")
		}
	}
	d.overfilled(r)
	others := d.ofItem(r)
	if !d.enteredTwice(r, others) {
		d.twins(r, others)
	}
}

// ofItem lists the other lots of a delivery's item.
func (d *doubts) ofItem(r *lots.Receipt) (others []*lots.Receipt) {
	for _, rec := range d.tx.Touching(r.Item) {
		if o, ok := rec.(*lots.Receipt); ok && o.Seq != r.Seq && o.Item == r.Item {
			others = append(others, o)
		}
	}
	return others
}

// enteredTwice warns about a delivery that seems recorded already.
func (d *doubts) enteredTwice(r *lots.Receipt, others []*lots.Receipt) bool {
	for _, o := range others {
		if r.SupplierLot != "-" && o.Supplier == r.Supplier && o.SupplierLot == r.SupplierLot && o.Qty == r.Qty && d.day(o.At) == d.day(r.At) {
			d.add("%s is the same delivery to the letter (item, supplier's lot, quantity, day): if it came once, void one of the two", o.Lot)
			return true
		}
	}
	return false
}

// rejected warns about a rejected lot that was put into a vessel, or used: what it is in is not stopped by its status.
func (d *doubts) rejected(r *lots.Receipt) {
	switch {
	case r.Status != "rejected":
	case r.Into != "":
		d.add("%s is recorded as rejected and as put into %s: if it is in there, so is whatever is drawn from %s (heeltap hold %s); if not, correct where it went (heeltap amend %s into=)", r.Lot, r.Into, r.Into, r.Into, r.Lot)
	case trace.Used(d.tx, r.Lot):
		d.add("%s is recorded as rejected, and some of it was used: what it went into is not stopped by that (heeltap hold %s stops all of it)", r.Lot, r.Lot)
	}
}

// overfilled warns where a vessel holds more than it can, by the books, with what was just put into it.
func (d *doubts) overfilled(r *lots.Receipt) {
	rec, _ := d.tx.Stated(r.Into)
	v, ok := rec.(*lots.Vessel)
	if !ok || v.Capacity == 0 {
		return
	}
	most, now := d.takes(v), r.Qty.Millilitres()
	if v.Kind != "gas" { // what gas is drawn, nobody writes down
		now = max(now, d.filledBy(r.Seq, v.Code))
	}
	if now > most+0.5 {
		d.add("MORE THAN %s HOLDS: it takes %s, and with this delivery there would be %s in it by the books. Was it all put in there? If not, heeltap amend %s into=… or quantity=…; if so, record what had left %[1]s before (heeltap remove %[1]s)",
			v.Code, d.inUnit(v, most), d.inUnit(v, now), r.Lot)
	}
}

// filledBy is what a vessel held at most, in mL, with what an entry brought into it.
func (d *doubts) filledBy(entry int64, vessel string) (most float64) {
	for _, a := range d.tx.ArrivalsOf(entry) {
		for _, n := range d.tx.NodesOf(vessel) {
			if a.Vessel == vessel && n.Kind == graph.Fill && n.Since == a.Fill {
				most = max(most, n.Total)
			}
		}
	}
	return most
}

// takes is what a vessel can hold, in mL: a kilogram counts as a litre.
func (d *doubts) takes(v *lots.Vessel) float64 {
	unit := cmp.Or(v.Unit, d.tx.Site().VolumeUnit)
	return lots.Quantity{N: int64(math.Round(v.Capacity / unit.Of(1))), Dim: unit.Dim()}.Millilitres()
}

// inUnit writes mL in a vessel's own unit.
func (d *doubts) inUnit(v *lots.Vessel, ml float64) string {
	unit := cmp.Or(v.Unit, d.tx.Site().VolumeUnit)
	if unit.Dim() == lots.Mass {
		ml *= 1000
	}
	return lots.Figure(unit.Of(ml)) + " " + string(unit)
}

// keeps are the kinds of item that a kind of vessel is there for (common practice); a tank may hold anything
// but parts of the package, as anything may be other.
var keeps = map[string][]string{
	"silo":      strings.Fields("malt adjunct sugar salt"),
	"brink":     {"yeast"},
	"gas":       {"gas"},
	"fermenter": strings.Fields("hop yeast adjunct fruit sugar finings salt enzyme acid water"),
	"bright":    strings.Fields("hop yeast adjunct fruit sugar finings salt enzyme acid water"),
	"serving":   strings.Fields("hop yeast adjunct fruit sugar finings salt enzyme acid water"),
	"tank":      strings.Fields("malt hop yeast adjunct fruit sugar finings salt enzyme acid gas water chemical"),
}

// misplaced warns where something went into a vessel that is not for it: the vessel was mistyped, or the item.
func (d *doubts) misplaced(what, kind, vessel, mend string) {
	thing, ok := d.tx.Thing(vessel)
	kept, known := keeps[thing.VesselKind]
	if !ok || !known || kind == "" || kind == "other" || slices.Contains(kept, kind) {
		return
	}
	d.add("WRONG VESSEL? %s is %s, and %s is %s: look where it went, and if it is not in there, %s", what, aKind(kind), vessel, aVessel(thing.VesselKind), mend)
}

// aKind says what sort of thing an item is.
func aKind(kind string) string {
	switch {
	case slices.Contains(strings.Fields("malt yeast fruit sugar finings salt gas water"), kind):
		return kind
	case slices.Contains(strings.Fields("adjunct enzyme acid"), kind):
		return "an " + kind
	}
	return "a " + kind
}

// aVessel says what sort of vessel one is.
func aVessel(kind string) string {
	switch kind {
	case "bright", "serving":
		return fmt.Sprintf("a %s tank", kind)
	case "gas":
		return "a gas vessel"
	}
	return "a " + kind
}
