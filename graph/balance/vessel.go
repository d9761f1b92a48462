package balance

import (
	"fmt"
	"slices"

	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// ofVessel sets what came into a vessel against what left it, between two moments, fill by fill.
func ofVessel(tx *store.Tx, code string, p Period) Balance {
	unit, of := vesselUnit(tx, code)
	b := Balance{Kind: "vessel", Code: code, Title: "vessel " + code, Unit: string(unit),
		Formula: "opening + in = out + removed + closing + unrecorded loss",
		Source:  "what each flow says at this vessel; closing is by the books, and what a clean found still there is unrecorded loss"}
	fills := fillsOf(tx, code)
	opening, closing := 0.0, 0.0
	in, out := 0.0, 0.0
	arrivals := map[int64][]int64{} // fill to entries
	for _, a := range tx.VesselArrivals(code) {
		arrivals[a.Fill] = append(arrivals[a.Fill], a.Entry)
	}
	drawn := map[int64]float64{}
	draws := drawsOf(tx, code)
	for _, d := range draws {
		drawn[d.Fill] += d.Qty
	}
	carried := 0.0
	for i, f := range fills {
		came := f.Total - carried
		left := max(0, f.Total-drawn[f.Since])
		inside := p == (Period{}) || f.Since >= p.From && f.Since < p.Until
		if inside {
			in += came
		} else if f.Since < p.From {
			opening = left
		}
		if i+1 < len(fills) {
			carried = carriedInto(tx, f, fills[i+1], left)
			if lost := left - carried; lost > 1e-6 && inside {
				b.add("-", "lost", fmt.Sprintf("still in %s by the books when it was cleaned or filled anew", f.Code), of(lost))
			}
		} else {
			closing = left
		}
		if inside && came > 0 {
			b.add("+", "in", "into fill "+f.Code, of(came), arrivals[f.Since]...)
		}
	}
	for _, d := range draws {
		if p == (Period{}) || d.Start >= p.From && d.Start < p.Until {
			out += d.Qty
			b.add("-", "out", drawText(tx, d.Entry), of(d.Qty), d.Entry)
		}
	}
	if opening > 0 {
		b.Terms = append([]Term{{"opening", "there at the beginning", "+", lots.Nine(of(opening)), []int64{}}}, b.Terms...)
	}
	b.add("-", "closing", "there by the books at the end", of(closing))
	b.strike()
	return b
}

// drawsOf lists what was drawn from a vessel's books. Circulations of one instant join with each
// other, so that the content goes through them once.
func drawsOf(tx *store.Tx, vessel string) []lineage.Draw {
	joined := map[int64]bool{}
	return slices.DeleteFunc(slices.Clone(tx.VesselDraws(vessel)), func(d lineage.Draw) bool {
		rec, _ := tx.Record(d.Entry)
		_, circulation := rec.(*lots.Circulation)
		twice := circulation && joined[d.Start]
		joined[d.Start] = joined[d.Start] || circulation
		return d.State != lineage.Drew || d.OneOf || twice
	})
}

// vesselUnit is what a vessel is balanced in: the site's volume, or a mass where its own unit is
// one, 1 kg counting as 1 L.
func vesselUnit(tx *store.Tx, code string) (lots.Unit, func(mL float64) float64) {
	if thing, _ := tx.Thing(code); thing.Unit.Dim() == lots.Mass {
		return thing.Unit, func(mL float64) float64 { return thing.Unit.Of(mL * 1000) }
	}
	unit := tx.Site().VolumeUnit
	return unit, unit.Of
}

func fillsOf(tx *store.Tx, vessel string) []lineage.Node {
	var out []lineage.Node
	for _, n := range tx.NodesOf(vessel) {
		out = append(out, n.Node)
	}
	return out
}

// carriedInto is how much of a fill the next one carries: what the link between them says.
func carriedInto(tx *store.Tx, from, to lineage.Node, left float64) float64 {
	for _, n := range tx.NodesNamed(to.Code) {
		for _, src := range tx.NodesNamed(from.Code) {
			if q, ok := tx.Between(src.ID, n.ID); ok {
				return min(q, left)
			}
		}
	}
	return 0
}

func drawText(tx *store.Tx, entry int64) string {
	row, ok := tx.Row(entry)
	if !ok {
		return "drawn"
	}
	for _, column := range []string{"run", "brew", "transfer", "lot", "vessel", "reason"} {
		if v := row.Row[column]; v != "" && row.Sheet.Has(column) {
			return row.Sheet.Noun + " " + v
		}
	}
	return row.Sheet.Noun
}
