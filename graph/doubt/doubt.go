// Package doubt says, while a row is being entered, what about it can hardly be so. Whoever
// stands on the dock or in the cellar can still look; a week later nobody can. Nothing here
// stops an entry: what happened is recorded, and package check finds it again.
package doubt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

const mostPlato = 40 // no wort is stronger (common practice)

// Of says what is doubtful about an entry just recorded, in plain sentences.
func Of(tx *store.Tx, entry int64) ([]string, error) {
	texts, near, err := Apart(tx, entry)
	if near != nil {
		texts = append(texts, near.text())
	}
	return texts, err
}

// Apart is Of with the lots that a delivery's is nearly told apart from the rest; nil where there are none.
func Apart(tx *store.Tx, entry int64) (texts []string, near *Near, err error) {
	rec, ok := tx.Record(entry)
	if !ok {
		return nil, nil, tx.Err()
	}
	row, _ := tx.Row(entry)
	d := &doubts{tx: tx}
	d.future(row)
	d.about(rec)
	return d.texts, d.near, tx.Err()
}

type doubts struct {
	tx    *store.Tx
	texts []string
	near  *Near
}

func (d *doubts) add(format string, args ...any) {
	d.texts = append(d.texts, fmt.Sprintf(format, args...))
}

func (d *doubts) about(rec lots.Record) {
	switch x := rec.(type) {
	case *lots.Product:
		d.pattern(x)
		d.words(x.Declares)
	case *lots.Item:
		d.words(x.Allergens)
	case *lots.Receipt:
		d.delivery(x)
	case *lots.BrewInput:
		d.unweighed(x.From, x.Qty)
	case *lots.Brew:
		d.wort(x)
		d.cleanedOut(x.Seq, "heeltap amend "+x.Brew+" cast_out_at=…")
	case *lots.Transfer:
		if x.In > x.Out {
			d.add("more came in (%s) than went out (%s)", d.volume(x.In), d.volume(x.Out))
		}
		d.room(x.To, x.In)
		d.cleanedOut(x.Seq, "heeltap amend "+x.Transfer+" ended_at=…")
	case *lots.Crop:
		if i, ok := d.tx.Item(x.Item); ok && i.Kind != "yeast" {
			d.add("a crop of %s, which is a %s: is that the item?", x.Item, i.Kind)
		} else if ok {
			d.misplaced(x.Item, i.Kind, x.Into, "heeltap amend "+x.Lot+" into=…")
		}
	case *lots.Run:
		d.sideBySide(x)
		d.printed(x, nil)
	case *lots.CodeChange:
		if r, ok := d.tx.Run(x.Run); ok {
			d.printed(r, x)
		}
	case *lots.Packed:
		if x.UnitKind == "keg" && d.packed(x.Unit) > 1 {
			d.add("keg filling %s has %d kegs now: one number is one keg; was the run the right one?", x.Unit, d.packed(x.Unit))
		}
		for _, s := range trace.ShippedAsOlder(d.tx, x.Unit) {
			d.add("%s", trace.AsOlder(d.tx, s, x.Unit))
		}
	case *lots.Shipment:
		d.shipment(x)
	case *lots.Bulk:
		d.consignee(x.Consignee)
	case *lots.Return:
		d.comeBack(x)
	case *lots.Removal:
		if x.Subject.Kind == lots.KindUnit && !x.Subject.OneOf() {
			d.overdrawn(x.Subject.Code())
		}
	case *lots.Addition:
		d.unweighed(x.From, x.Qty)
		if x.From.Kind == lots.KindUnit && !x.From.OneOf() {
			d.overdrawn(x.From.Code())
		}
		if thing, ok := d.tx.Thing(x.From.Code()); ok && x.From.Kind == lots.KindLot {
			d.misplaced(x.From.Code(), thing.ItemKind, x.Vessel, fmt.Sprintf("heeltap amend %d vessel=…", x.Seq))
		}
	case *lots.Feed:
		if x.From.Kind == lots.KindUnit && !x.From.OneOf() {
			d.overdrawn(x.From.Code())
		}
	}
}

// future tells of times that have not come yet: mostly a wrong year or a day and month exchanged.
func (d *doubts) future(row lots.Entered) {
	zone := d.tx.Site().Zone
	limit := d.tx.Recorded().Add(lots.ClocksDiffer).Unix()
	for _, c := range row.Sheet.Columns {
		if c.Type != lots.Time || row.Row[c.Name] == "" {
			continue
		}
		if w, _, err := lots.ParseWhen(row.Row[c.Name], zone); err == nil && w.From > limit {
			d.add("%s %s has not come yet: is the year right, and are day and month?", c.Name, row.Row[c.Name])
		}
	}
}

func (d *doubts) pattern(p *lots.Product) {
	if p.DateCode == "" {
		return
	}
	if err := datecode.Check(p.DateCode); err != nil {
		d.add("the date-code pattern cannot be used: %v", err)
	}
}

// words tells of allergens that no law has: misspelt, nobody is warned of them.
func (d *doubts) words(list []string) {
	for _, w := range list {
		if err := allergens.Check(w); err != nil {
			d.add("%v", err)
		}
	}
}

func (d *doubts) wort(b *lots.Brew) {
	if b.Plato > mostPlato {
		d.add("%g °P is stronger than any wort: is it the gravity?", b.Plato)
	}
	d.room(b.Into, b.Volume)
}

// room tells where a vessel would hold more than it can.
func (d *doubts) room(vessel string, in int64) {
	rec, _ := d.tx.Stated(vessel)
	v, ok := rec.(*lots.Vessel)
	if !ok || v.Capacity == 0 {
		return
	}
	unit := cmp.Or(v.Unit, d.tx.Site().VolumeUnit)
	if unit.Dim() != lots.Volume {
		return
	}
	holds := int64(math.Round(v.Capacity / unit.Of(1)))
	if in > holds {
		d.add("%s went into %s, which holds %s", d.volume(in), vessel, d.volume(holds))
		return
	}
	if c, ok := trace.ContentOf(d.tx, vessel); ok && int64(c.Left) > holds+holds/20 {
		d.add("by the books %s now has %s in it and holds %s: was something taken out, or not put in?", vessel, d.volume(int64(c.Left)), d.volume(holds))
	}
}

// sideBySide tells where two runs were on one line at one time.
func (d *doubts) sideBySide(r *lots.Run) {
	if r.Line == "" {
		return
	}
	for _, rec := range d.tx.Touching(r.Line) {
		o, ok := rec.(*lots.Run)
		if ok && o.Line == r.Line && o.Run != r.Run && o.Started.To < r.Ended.From && r.Started.To < o.Ended.From {
			d.add("run %s was on %s at the same time", o.Run, r.Line)
		}
	}
}

// packed sums what stands on a unit by all its rows.
func (d *doubts) packed(unit string) int64 { return trace.BooksOf(d.tx, unit).Quantity }

func (d *doubts) consignee(party string) {
	if p, ok := d.tx.Party(party); ok && p.Role == "supplier" {
		d.add("%s is recorded as a supplier: is that the consignee?", party)
	}
}

func (d *doubts) shipment(s *lots.Shipment) {
	d.consignee(s.Consignee)
	if s.Unit.OneOf() {
		d.oneOfShipped(s)
		return
	}
	d.overdrawn(s.Unit.Code())
	d.asOlder(s)
	if first, ok := d.packedFrom(s.Unit.Code()); ok && s.At.To < first {
		d.add("%s was not packed before %s: it cannot have left at %s", s.Unit.Code(), d.stamp(first), s.At.Text(d.tx.Site().Zone))
	}
}

// unweighed tells of a use of nothing: where one weight stands for two brews, the second is often written as 0.
func (d *doubts) unweighed(from lots.Ref, qty lots.Quantity) {
	if qty.N == 0 && from.Kind == lots.KindLot {
		d.add("0 of %s: it counts as used, but every amount after it reads 0. If it was weighed together with another use, divide the weight between the two as best you know", strings.Join(from.Codes, " or "))
	}
}

// asOlder tells where a keg had been filled again before the filling named is said to have left.
func (d *doubts) asOlder(s *lots.Shipment) {
	number, _, _ := lots.SplitFilling(s.Unit.Code())
	for _, rec := range d.tx.Fillings(number) {
		p, ok := rec.(*lots.Packed)
		if ok && slices.ContainsFunc(trace.ShippedAsOlder(d.tx, p.Unit), func(x *lots.Shipment) bool { return x.Seq == s.Seq }) {
			d.add("%s", trace.AsOlder(d.tx, s, p.Unit))
		}
	}
}

// packedFrom is when a unit can first have had anything on it.
func (d *doubts) packedFrom(unit string) (int64, bool) {
	first, found := int64(0), false
	for _, rec := range d.tx.Touching(unit) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != unit {
			continue
		}
		at := p.First.From
		if r, ok := d.tx.Run(p.Run); ok && !p.HasFirst {
			at = r.Started.From
		}
		if !found || at < first {
			first, found = at, true
		}
	}
	return first, found
}

// overdrawn tells where more left a unit than was ever on it.
func (d *doubts) overdrawn(unit string) {
	if text := trace.BooksOf(d.tx, unit).Overdrawn(unit); text != "" {
		d.add("%s", text)
	}
}

// oneOfShipped tells where more was shipped of several units, unknown of which, than they had.
func (d *doubts) oneOfShipped(s *lots.Shipment) {
	left, gone := 0.0, int64(0)
	seen := map[int64]bool{}
	for _, unit := range s.Unit.Codes {
		left += trace.BooksOf(d.tx, unit).OnHand()
		for _, rec := range d.tx.Touching(unit) {
			o, ok := rec.(*lots.Shipment)
			if ok && o.Unit.OneOf() && !seen[o.Seq] && subset(o.Unit.Codes, s.Unit.Codes) {
				seen[o.Seq] = true
				gone += o.Quantity
			}
		}
	}
	if float64(gone) > left {
		d.add("%d were shipped of %s, which had %s between them", gone, strings.Join(s.Unit.Codes, " or "), lots.Figure(left))
	}
}

func subset(part, whole []string) bool {
	return !slices.ContainsFunc(part, func(s string) bool { return !slices.Contains(whole, s) })
}

// comeBack warns about a return from somebody who had no such goods, and where more came back than went out.
func (d *doubts) comeBack(r *lots.Return) {
	if thing, ok := d.tx.Thing(r.Unit.Code()); ok && r.State == "empty" && thing.UnitKind != "keg" {
		d.add("%s is a %s: only kegs come back empty; goods that came back are full or part", r.Unit.Code(), thing.UnitKind)
	}
	unit := strings.Join(r.Unit.Codes, " or ")
	all, own := d.moved(r.Unit.Codes, ""), d.moved(r.Unit.Codes, r.Consignee)
	switch {
	case own.out == 0:
		d.add("%s was never shipped to %s: who sent it back?", unit, r.Consignee)
	case own.back > own.out:
		d.add("MORE CAME BACK THAN WENT OUT: %s got %d of %s and has sent back %d; is it this unit, this consignee, this quantity?", r.Consignee, own.out, unit, own.back)
	}
	if all.back > all.out && (own.back <= own.out || all != own) {
		d.add("MORE CAME BACK THAN WENT OUT: %d of %s were shipped in all, and %d have come back: count what is here (heeltap count)", all.out, unit, all.back)
	}
}

// moved is how much of some units was shipped, which counts what may have been of one of them, and how much came
// back, which counts what was surely of one of them: cases, or kegs, full or empty.
type moved struct{ out, back int64 }

// moved sums what went to a consignee and came back from it; to and from all where none is named.
func (d *doubts) moved(units []string, consignee string) (sum moved) {
	seen := map[int64]bool{}
	for _, unit := range units {
		for _, rec := range d.tx.Touching(unit) {
			if seen[rec.Entry()] {
				continue
			}
			seen[rec.Entry()] = true
			switch x := rec.(type) {
			case *lots.Shipment:
				if consignee == "" || x.Consignee == consignee {
					sum.out += x.Quantity
				}
			case *lots.Return:
				if (consignee == "" || x.Consignee == consignee) && subset(x.Unit.Codes, units) {
					sum.back += x.Quantity
				}
			}
		}
	}
	return sum
}

func (d *doubts) volume(ml int64) string {
	unit := d.tx.Site().VolumeUnit
	return lots.Figure(unit.Of(float64(ml))) + " " + string(unit)
}

func (d *doubts) day(w lots.When) string {
	return time.Unix(w.From, 0).In(d.tx.Site().Zone).Format(time.DateOnly)
}

func (d *doubts) stamp(at int64) string {
	return time.Unix(at, 0).In(d.tx.Site().Zone).Format("2006-01-02 15:04")
}
