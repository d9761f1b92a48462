package trace

import (
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Before lists shipments and returns of reached units, by their entries, that were over before
// any affected case stood on the unit, with the time of the first such case: a pallet that was
// topped up later carried nothing of the later run then. What the books cannot explain so is
// not listed, and neither is what moved one of several units.
func (a *Answer) Before() map[int64]lots.When {
	out := map[int64]lots.When{}
	if a.asked == nil {
		return out
	}
	for _, u := range a.Units {
		first, ok := a.firstAffected(u)
		if !ok {
			continue
		}
		add := func(entry int64, unit lots.Ref, at lots.When) {
			if !unit.OneOf() && at.To < first && booksUntil(a.asked.tx, u.Code, at.To).OnHand() >= 0 {
				out[entry] = lots.At(first)
			}
		}
		for _, rec := range a.asked.tx.Touching(u.Code) {
			switch x := rec.(type) {
			case *lots.Shipment:
				add(x.Seq, x.Unit, x.At)
			case *lots.Return:
				add(x.Seq, x.Unit, x.At)
			}
		}
	}
	return out
}

// firstAffected is when the first affected case can have stood on a unit of several rows; false
// where all of its rows are affected, or none.
func (a *Answer) firstAffected(u Unit) (int64, bool) {
	first, others := int64(math.MaxInt64), false
	for _, part := range u.Parts {
		if part.Affected <= 0 {
			others = true
			continue
		}
		first = min(first, Begun(a.asked.tx, part))
	}
	return first, others && first != math.MaxInt64
}

// Begun is when the first case of a row can have stood on its unit.
func Begun(tx *store.Tx, part Part) int64 {
	run, _, ok := runOf(tx, part.Run)
	rec, found := tx.Record(part.Entry)
	p, isRow := rec.(*lots.Packed)
	if !ok || !found || !isRow {
		return math.MinInt64
	}
	if w, _ := lineage.WindowOf(p, run, lineOf(tx, run.Line).Margin); !w.None {
		return w.MayFrom
	}
	return run.Started.From
}

// Carrying lists the shipments that moved affected goods, or may have: without those that were
// over before anything affected stood on their unit. What moved one of several units is sure
// where every one of them is in the answer for sure: then it does not matter which it was.
func (a *Answer) Carrying() []Shipment {
	before, sure := a.Before(), map[string]bool{}
	for _, u := range a.Units {
		sure[u.Code] = u.Band == graph.In.String()
	}
	var out []Shipment
	for _, sh := range a.Shipments {
		if _, over := before[sh.Entry()]; over {
			continue
		}
		units := strings.Split(sh.Unit, "|")
		if sh.OneOf() && !slices.ContainsFunc(units, func(u string) bool { return !sure[u] }) {
			sh.Band = graph.In.String()
		}
		out = append(out, sh)
	}
	return out
}
