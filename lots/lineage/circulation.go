package lineage

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// joinCirculation links the contents of all vessels with each other: each keeps
// its volume of the joint fill. What a vessel may have held before (a heel, a fill
// that may have been cleaned away) is a contact, as is everything to a vessel with
// nothing on the books, and what may have come in before. Circulations that share a vessel at one instant are one,
// which the first of them writes.
func (e *engine) joinCirculation(c *Cell, r *lots.Circulation) {
	joint := e.jointCirculations(r)
	if r.Seq != joint[0].Seq {
		return
	}
	had, filled := map[string]Draw{}, map[string]int64{}
	var vessels []string
	for _, x := range joint {
		for _, d := range e.drawsOf(x.Seq) {
			had[d.Vessel] = d
		}
		for _, a := range e.arrivalsOf(x.Seq) {
			filled[a.Vessel] = a.Fill
			if !slices.Contains(vessels, a.Vessel) {
				vessels = append(vessels, a.Vessel)
			}
		}
	}
	sum := 0.0
	for _, v := range vessels {
		sum += had[v].Qty
	}
	for _, v := range vessels {
		for _, u := range vessels {
			dst := FillRef(v, filled[v], e.zone)
			if l, ok := e.joint(had[u], had[v], sum, dst); ok {
				l.Entry, l.At = r.Seq, filled[v]
				c.Links = append(c.Links, l)
			}
			if u == v {
				continue
			}
			for _, src := range e.earlier(had[u]) {
				if src != dst {
					c.Links = append(c.Links, contact(src, dst, graph.UncertainTime, r.Seq, filled[v]))
				}
			}
		}
	}
}

// joint is the link from what one vessel held to the new fill of another, or of
// itself, of a circulation of sum mL; false where there is none.
func (e *engine) joint(from, to Draw, sum float64, dst Ref) (Link, bool) {
	src := FillRef(from.Vessel, from.Fill, e.zone)
	same := from.Vessel == to.Vessel
	switch {
	case from.State == Never || (same && (from.State == Nothing || from.OneOf)):
		return Link{}, false // a vessel's own heel stands with its fills
	case from.State == Nothing:
		return contact(src, dst, graph.Heel, 0, 0), true
	case from.OneOf:
		return contact(src, dst, graph.UncertainClean, 0, 0), true
	case !same && (to.State != Drew || to.Qty <= 0):
		return contact(src, dst, graph.NothingThere, 0, 0), true
	}
	return content(src, dst, graph.Moved, jointPart(from.Qty, to.Qty, sum), 0, 0), true
}

// jointPart is how much of what one vessel held is in another after a
// circulation. Solids that waited in a vessel without volume go where nobody
// knows, and stay where nothing else was joined.
func jointPart(held, own, sum float64) float64 {
	switch {
	case held > 0:
		return held * own / sum
	case sum > 0:
		return unknown
	}
	return 1
}

// jointCirculations are the circulations that join with one, itself among them, in
// journal order: those of one instant that share a vessel, and what those share.
func (e *engine) jointCirculations(r *lots.Circulation) []*lots.Circulation {
	var out []*lots.Circulation
	seen := map[int64]bool{}
	todo := slices.Clone(r.Vessels)
	for len(todo) > 0 {
		v := todo[0]
		todo = todo[1:]
		for _, rec := range e.src.Moments(v, "circulations", r.Started.From, r.Started.To) {
			if x, ok := rec.(*lots.Circulation); ok && !x.Perhaps && !seen[x.Seq] && x.Started.To == r.Started.To {
				seen[x.Seq] = true
				out = append(out, x)
				todo = append(todo, x.Vessels...)
			}
		}
	}
	slices.SortFunc(out, func(a, b *lots.Circulation) int { return cmp.Compare(a.Seq, b.Seq) })
	return out
}

// markCirculation marks all circulations that join with one: the first of them writes for all.
func (e *engine) markCirculation(r *lots.Circulation) {
	if r.Perhaps {
		e.markJoined(r)
		return
	}
	for _, x := range e.jointCirculations(r) {
		e.mark(x.Seq)
	}
}
