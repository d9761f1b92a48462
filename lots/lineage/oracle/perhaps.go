package oracle

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// readPerhaps notes vessels that may have been joined, as a flow of nothing out of each.
func (w *world) readPerhaps(r *lots.Circulation) {
	m := &move{entry: r.Entry(), oneOf: true, lo: r.Started.From, hi: r.Started.From}
	if end := r.Ended.End(); end > m.lo {
		m.s, m.e, m.long = m.lo, end, true
		m.lo, m.hi = 0, 0
	}
	for _, v := range r.Vessels {
		m.from = append(m.from, source{lots.KindVessel, v})
	}
	w.add(m)
	w.perhaps = append(w.perhaps, m)
}

// writePerhaps links, of vessels that may have been joined, what one held at any moment of that time with what
// the other held then, or held next where it held nothing.
func (w *world) writePerhaps() {
	for _, m := range w.perhaps {
		for _, from := range m.outs {
			for _, to := range m.outs {
				if from == to {
					continue
				}
				for _, p := range from.pieces {
					for _, q := range to.pieces {
						if meets(p, q) {
							w.writeJoined(p, q)
						}
					}
				}
			}
		}
	}
}

func (w *world) writeJoined(p, q *piece) {
	into := q.fill
	if q.fill == nil || q.nothing {
		into = nil
		v := q.out.v
		for _, f := range slices.Backward(v.fills) {
			if f.at > q.s {
				into = f
			}
		}
		if into != nil && v.cleanedIn(q.s, into.at) {
			into = nil
		}
	}
	if into == nil {
		return
	}
	for _, src := range w.mayGive(p, q.latest(), map[any]int64{}) {
		if src != into.ref() {
			w.contact(src, into.ref(), graph.MayBeJoined)
		}
	}
}

// cleanedIn reports whether a vessel was certainly cleaned after a moment and not after another.
func (v *vessel) cleanedIn(after, until int64) bool {
	return slices.ContainsFunc(v.cleans, func(c *clean) bool { return !c.all && c.lo == c.hi && c.lo > after && c.lo <= until })
}

// lastBy is the last fill that began by a moment.
func (v *vessel) lastBy(t int64) (last *fill) {
	for _, f := range v.fills {
		if f.at <= t && (last == nil || f.at > last.at) {
			last = f
		}
	}
	return last
}

// mayHaveGot names what came by a moment, perhaps, into a vessel that held nothing, and was there still when it was drawn from.
func (w *world) mayHaveGot(v *vessel, drawn, by int64, asked map[any]int64) (out []lineage.Ref) {
	for _, m := range w.perhaps {
		if m.outs[v.code] == nil {
			continue
		}
		for _, q := range m.outs[v.code].pieces {
			empty := q.fill == nil || q.nothing
			last := v.lastBy(drawn)
			if !empty || q.s > by || v.cleanedIn(q.s, drawn) || last != nil && last.at > q.s {
				continue
			}
			for _, from := range m.outs {
				for _, p := range from.pieces {
					if from.v != v && p.s <= by && meets(p, q) {
						out = append(out, w.mayGive(p, by, asked)...)
					}
				}
			}
		}
	}
	return out
}

func meets(p, q *piece) bool {
	return p.s == p.e && p.s == q.s || max(p.s, q.s) < min(p.e, q.e)
}

// mayGive names what a vessel that was perhaps joined with another gave to it, by a moment.
func (w *world) mayGive(p *piece, by int64, asked map[any]int64) (srcs []lineage.Ref) {
	if p.fill != nil && !(p.nothing && p.out.v.cleanedIn(p.fill.at, p.s)) {
		srcs = append(srcs, p.fill.ref())
	}
	return append(srcs, w.mayHaveLeft(p, by, asked)...)
}
