package balance

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// content is one fill in a vessel's books: what came, what was drawn, and how it ended.
type content struct {
	trace.FillBooks
	came float64 // without what was carried from the fill before
	left float64 // when it ended, or now
	lost float64 // of that, what the next fill does not carry
	end  ending
}

// ending is what made a fill end with something left.
type ending struct {
	name, text string
	entries    []int64
}

// contentAt is what a vessel holds by the books just before a moment.
func contentAt(fills []content, t int64) float64 {
	books := make([]trace.FillBooks, len(fills))
	for i, f := range fills {
		books[i] = f.FillBooks
	}
	held, _ := trace.HeldAt(books, t)
	return held
}

// always is the period that is all of time.
var always = Period{math.MinInt64 / 4, math.MaxInt64 / 4}

// ofVessel sets what came into a vessel against what left it, between two moments, fill by fill.
func ofVessel(tx *store.Tx, code string, p Period) Balance {
	unit, of := vesselUnit(tx, code)
	b := Balance{Kind: "vessel", Code: code, Title: "vessel " + code, Unit: string(unit),
		Formula: "opening + in = out + removed + closing + unrecorded loss",
		Source:  "what each flow recorded at this vessel, in proportion where a flow runs past the period; opening and closing are by the books, and what was still there at a clean is unrecorded loss"}
	if p == (Period{}) {
		p = always
	}
	in := func(t int64) bool { return t >= p.From && t < p.Until }
	fills := contents(tx, code)
	arrivals := map[int64][]int64{} // fill to entries
	for _, a := range trace.InflowsOf(tx, code) {
		arrivals[a.Fill] = append(arrivals[a.Fill], a.Entry)
	}
	if opening := contentAt(fills, p.From); opening > 0 {
		b.add("+", "opening", "there at the start, by the books", of(opening))
	}
	for _, f := range fills {
		if in(f.Since) && f.came > 0 {
			b.add("+", "in", "into fill "+f.Code, of(f.came), arrivals[f.Since]...)
		}
		if f.Until != 0 && in(f.Until) && f.lost > 1e-6 {
			b.add("-", f.end.name, f.end.text, of(f.lost), f.end.entries...)
		}
	}
	for _, d := range trace.DrawsOf(tx, code) {
		part := trace.DrawnPart(d, p.Until) - trace.DrawnPart(d, p.From)
		switch {
		case d.OneOf && part > 0:
			if trace.Circulates(tx, d.Entry) { // what may have been cleaned away before it
				continue
			}
			b.note("%s (entry %d) drew on one of several vessels, not known which: it is in none of their books", drawText(tx, d.Entry), d.Entry)
		case part > 0 && d.State == lineage.Drew:
			b.add("-", "out", drawText(tx, d.Entry), of(d.Qty*part), d.Entry)
		case part > 0 && d.Qty > 0:
			b.add("-", "out", drawText(tx, d.Entry)+", when by the books nothing was there", of(d.Qty*part), d.Entry)
		}
	}
	b.add("-", "closing", "there by the books at the end", of(contentAt(fills, p.Until)))
	for _, rec := range tx.Touching(code) {
		if c, ok := rec.(*lots.StockCount); ok && !c.Subject.OneOf() && in(c.At.From) {
			there := contentAt(fills, c.At.To+1)
			b.note("counted %s %s on %s, where the books say %s", lots.Figure(of(c.Qty.Millilitres())), unit, c.At.Text(tx.Site().Zone), lots.Figure(of(there)))
		}
	}
	b.strike()
	return b
}

// contents works out a vessel's fills from its books.
func contents(tx *store.Tx, code string) []content {
	fills := trace.FillsOf(tx, code)
	out := make([]content, len(fills))
	carried := 0.0
	for i, n := range fills {
		f := content{FillBooks: n, came: max(0, n.Total-carried), left: n.Left(), end: endingOf(tx, code, n.Node)}
		carried = 0
		if i+1 < len(fills) && fills[i+1].Since == n.Until && f.end.name == "" {
			carried = carriedInto(tx, n.Node, fills[i+1].Node, f.left, len(f.Draws) > 0)
		}
		f.lost = f.left - carried
		if f.end.name == "" {
			f.end = ending{"lost", "left in " + n.Code + " by the books when it was refilled", nil}
		}
		out[i] = f
	}
	return out
}

// endingOf finds the removal or the clean that ended a fill; without a name where neither did.
func endingOf(tx *store.Tx, vessel string, n lineage.Node) (end ending) {
	if n.Until == 0 {
		return end
	}
	for _, rec := range tx.Touching(vessel) {
		switch x := rec.(type) {
		case *lots.Removal:
			if x.All && x.Subject.Code() == vessel && x.At.From <= n.Until && n.Until <= x.At.To {
				return ending{"removed", "all that was left in " + n.Code + ": " + x.Reason, []int64{x.Seq}}
			}
		case *lots.Clean:
			if x.Breaks() && x.Subject.Code() == vessel && x.At.From <= n.Until && n.Until <= x.At.To {
				end = ending{"lost", "still in " + n.Code + " by the books when it was cleaned", []int64{x.Seq}}
			}
		}
	}
	return end
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

// carriedInto is how much of a fill the next one carries: what the link between them says, or all
// that is left where a clean may or may not have lain between them.
func carriedInto(tx *store.Tx, from, to lineage.Node, left float64, drawn bool) float64 {
	for _, n := range tx.NodesNamed(to.Code) {
		for _, src := range tx.NodesNamed(from.Code) {
			if q, ok := tx.Between(src.ID, n.ID); ok {
				return min(q, left)
			}
			heel := drawn && left <= lineage.DefaultLimits().EmptyShare*from.Total
			if slices.Contains(tx.SourcesOf(n.ID, graph.Contact), src.ID) && !heel && left <= to.Total {
				return left
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
	for _, column := range []string{"run", "brew", "transfer", "lot", "vessel", "reason", "shipment"} {
		if v := row.Row[column]; v != "" && row.Sheet.Has(column) {
			return row.Sheet.Noun + " " + v
		}
	}
	return row.Sheet.Noun
}
