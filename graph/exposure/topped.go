package exposure

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// row is what of one run stands on a unit of several rows.
type row struct {
	parts  []part // the segments of its run
	window lineage.Window
	end    int64 // of the run
	first  int64 // when its first case can have stood there
}

// part is one segment of a run.
type part struct {
	mark        int
	from, until int64
}

// move is a shipment of a unit, or a return, which counts below zero.
type move struct {
	at    int64
	n     float64
	party string // empty for a return
	early bool   // the books can explain it by what stood on the unit by then
}

// oneOf is a shipment of one of several units, unknown of which.
type oneOf struct {
	entry int64
	n     float64
}

// rows tells what stands on a unit; nothing where it is of one row, as most are.
func (m *model) rows(code string) []row {
	var out []row
	for _, rec := range m.tx.Touching(code) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != code {
			continue
		}
		run, ok := m.tx.Run(p.Run)
		if !ok {
			continue
		}
		margin := int64(0)
		if line, ok := m.tx.Line(run.Line); ok {
			margin = line.Margin
		}
		r := row{end: run.Ended.End(), first: run.Started.From}
		if r.window, _ = lineage.WindowOf(p, run, margin); !r.window.None {
			r.first = r.window.MayFrom
		}
		for _, n := range m.tx.NodesOf(p.Run) {
			if n.Kind == graph.Segment {
				r.parts = append(r.parts, part{len(m.units) + m.partNo[n.ID], n.Since, n.Until})
			}
		}
		out = append(out, r)
	}
	if len(out) < 2 {
		return nil
	}
	return out
}

// affected reports whether what is reached comes to a row.
func (r row) affected(reached set) bool {
	hit := slices.DeleteFunc(slices.Clone(r.parts), func(p part) bool { return !reached.has(p.mark) })
	switch {
	case len(hit) == 0:
		return false
	case r.window.None || len(hit) == len(r.parts):
		return true
	}
	w := r.window
	return slices.ContainsFunc(hit, func(p part) bool {
		if w.From == w.Until && w.From == r.end && p.until == r.end { // belongs to the last segment
			return true
		}
		return meets(p, w.From, w.Until) || meets(p, w.MayFrom, w.MayUntil)
	})
}

// meets reports whether a segment holds an instant, or any of a stretch.
func meets(p part, from, until int64) bool {
	if from == until {
		return p.from <= from && from < p.until
	}
	return p.from < until && from < p.until
}

// clear is the time before which nothing affected can have stood on a unit: of a pallet that was
// topped up, what left before carried nothing of the later run.
func (t thing) clear(reached set) int64 {
	first, others := int64(math.MaxInt64), false
	for _, r := range t.rows {
		if r.affected(reached) {
			first = min(first, r.first)
		} else {
			others = true
		}
	}
	if !others || first == math.MaxInt64 {
		return math.MinInt64
	}
	return first
}

// moved adds up what left of a unit and is not back, and who received any, where something affected may
// have been among it.
func (t thing) moved(reached set, who map[string]bool) (left float64) {
	clear := t.clear(reached)
	for _, x := range t.moves {
		if x.at < clear && x.early {
			continue
		}
		left += x.n
		if x.party != "" {
			who[x.party] = true
		}
	}
	for _, party := range t.perhaps {
		who[party] = true
	}
	return left
}

// move notes a shipment or return of a unit.
func (m *model) move(t *thing, code string, rec lots.Record) {
	var x move
	switch r := rec.(type) {
	case *lots.Shipment:
		if r.Unit.OneOf() {
			t.several = append(t.several, oneOf{r.Seq, float64(r.Quantity)})
			t.perhaps = append(t.perhaps, r.Consignee)
			return
		}
		x = move{at: r.At.To, n: float64(r.Quantity), party: r.Consignee}
	case *lots.Return:
		if r.Unit.OneOf() || !r.OfGoods() {
			return
		}
		x = move{at: r.At.To, n: -float64(r.Quantity)}
	default:
		return
	}
	x.early = len(t.rows) > 0 && trace.UnitBooksAt(m.tx, code, x.at).OnHand() >= 0
	t.moves = append(t.moves, x)
}
