package lineage

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// perhaps is what vessels that may have been joined have in their books: an outflow of nothing, whose
// pieces tell what each of them held when.
func perhaps(r *lots.Circulation) outflow {
	at := r.Started.From
	return outflow{entry: r.Seq, lo: at, hi: at, at: at, end: r.Ended.End(), oneOf: true}
}

// joinPerhaps links what vessels held that may have been joined, each with every other, for as long as that
// may have been: a contact both ways, and no new fill. Beer may have come to a vessel with nothing in it too: then it
// is in what comes next there, unless the vessel is cleaned before.
func (e *engine) joinPerhaps(c *Cell, r *lots.Circulation) {
	draws := e.drawsOf(r.Seq)
	done := map[[2]Ref]bool{}
	for _, from := range draws {
		for _, to := range draws {
			if from.Vessel == to.Vessel || !meet(from, to) {
				continue
			}
			for _, src := range e.mayGive(from) {
				for _, dst := range e.mayTake(to) {
					if pair := [2]Ref{src, dst}; src != dst && !done[pair] {
						done[pair] = true
						c.Links = append(c.Links, contact(src, dst, graph.MayBeJoined, r.Seq, max(from.Start, to.Start)))
					}
				}
			}
		}
	}
}

// meet reports whether two pieces have a moment in common.
func meet(a, b Draw) bool {
	if a.Start == a.End || b.Start == b.End {
		return a.Start == b.Start
	}
	return max(a.Start, b.Start) < min(a.End, b.End)
}

// mayGive lists what may have come out of a vessel during a piece: what it held, what was left in it of its last
// fill where it was not cleaned since, and what may have come in before.
func (e *engine) mayGive(d Draw) []Ref {
	var out []Ref
	if d.State == Drew || d.State == Nothing && !e.cleanedBetween(d.Vessel, d.Fill, d.Start) {
		out = append(out, FillRef(d.Vessel, d.Fill, e.zone))
	}
	return dedupe(append(out, e.earlier(d)...))
}

// mayTake lists what may have come to hold what came into a vessel during a piece.
func (e *engine) mayTake(d Draw) []Ref {
	if d.State == Drew {
		return []Ref{FillRef(d.Vessel, d.Fill, e.zone)}
	}
	_, arrivals := e.known(d.Vessel)
	next := int64(0)
	for _, a := range arrivals {
		if a.Fill > d.Start && (next == 0 || a.Fill < next) {
			next = a.Fill
		}
	}
	if next == 0 || e.cleanedBetween(d.Vessel, d.Start, next) {
		return nil
	}
	return []Ref{FillRef(d.Vessel, next, e.zone)}
}

// cleanedBetween reports whether a vessel was certainly cleaned after a moment and by another one.
func (e *engine) cleanedBetween(v string, after, by int64) bool {
	return len(e.cleanedAt(v, after+1, by+1)) > 0
}

// markPerhaps marks what may have been joined with a vessel: its contacts follow its fills and cleans.
func (e *engine) markPerhaps(v string) {
	for _, rec := range e.src.Touching(v) {
		if r, ok := rec.(*lots.Circulation); ok && r.Perhaps && slices.Contains(r.Vessels, v) {
			e.mark(r.Seq)
		}
	}
}
