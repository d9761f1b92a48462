package trace

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// parts tells how many counted packaging parts the stretches of runs can have taken. A feed says what was
// opened, and the lineage spreads it over the stretch where it is certain; what is spoiled, or lies where either of
// two lots may have been used, is in no container that surely has it.
type parts struct {
	tx    *store.Tx
	rooms map[room]float64
}

// room is one kind of part on one stretch of a run.
type room struct {
	segment int64
	kind    string
}

// most is the most of a packaging part that a link to a stretch can have carried: one can and one end to a
// container, and of other parts as many to a case as the feed gave, a part of one left aside.
func (p *parts) most(src, dst graph.Node, l graph.Link) float64 {
	if l.Cause != graph.Part || dst.Kind != graph.Segment {
		return math.Inf(1)
	}
	thing, ok := p.tx.Thing(src.Code)
	switch {
	case !ok || thing.Unit.Dim() != lots.Pieces:
		return math.Inf(1)
	case thing.ItemKind == "container" || thing.ItemKind == "closure":
		return l.Qty * dst.Total / max(dst.Total, p.fed(dst, thing.ItemKind))
	}
	return p.toCases(dst, l)
}

// fed is how many parts of a kind are recorded to have gone to a stretch, of all lots.
func (p *parts) fed(segment graph.Node, kind string) float64 {
	key := room{segment.ID, kind}
	sum, ok := p.rooms[key]
	if ok {
		return sum
	}
	for _, part := range p.tx.PartsInto(segment.ID) {
		if thing, ok := p.tx.Thing(part.Lot); ok && thing.ItemKind == kind {
			sum += part.Qty
		}
	}
	p.rooms[key] = sum
	return sum
}

// toCases is how many of a part that is not one to a container went to a stretch, by what its feed gave
// to each case while it ran.
func (p *parts) toCases(segment graph.Node, l graph.Link) float64 {
	rec, _ := p.tx.Record(l.Entry)
	f, ok := rec.(*lots.Feed)
	if !ok {
		return math.Inf(1)
	}
	run, product, ok := runOf(p.tx, f.Run)
	if !ok {
		return math.Inf(1)
	}
	filled := p.filled(f, run)
	if filled <= 0 {
		return math.Inf(1)
	}
	toCase := float64(f.Qty.N) * float64(max(1, product.PerCase)) / filled
	if toCase > 1 {
		toCase = math.Floor(toCase + 1e-9)
	}
	return segment.Total * toCase / float64(max(1, product.PerCase))
}

// filled is how many containers its run filled while a feed ran.
func (p *parts) filled(f *lots.Feed, run *lots.Run) (sum float64) {
	since, until := lineage.FeedSpan(f, run)
	segments := slices.DeleteFunc(p.tx.NodesOf(f.Run), func(n store.Node) bool { return n.Kind != graph.Segment })
	for _, n := range segments {
		if length := n.Until - n.Since; length > 0 {
			sum += n.Total * float64(max(0, min(until, n.Until)-max(since, n.Since))) / float64(length)
		}
	}
	return sum
}
