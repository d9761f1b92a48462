package oracle

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// wash is a clean that says what it was done with.
type wash struct {
	rec    *lots.Clean
	item   string
	lo, hi int64
	move   *move // what it was done with
}

func (w *world) readClean(r *lots.Clean) {
	if len(r.From.Codes) == 0 {
		return
	}
	m := instant(&move{entry: r.Entry(), from: w.sources(r.From), oneOf: r.From.OneOf(), cause: graph.CleanedWith}, r.At)
	w.add(m)
	w.washes = append(w.washes, &wash{rec: r, item: r.Subject.Code(), lo: r.At.From, hi: r.At.To, move: m})
}

// with are the nodes that a clean may have been done with.
func (w *world) with(x *wash) []lineage.Ref { return w.withBy(x, math.MaxInt64, map[any]int64{}) }

// withBy is the same of what may have been there by a moment.
func (w *world) withBy(x *wash, by int64, asked map[any]int64) (out []lineage.Ref) {
	for _, s := range x.move.from {
		if s.kind == lots.KindLot {
			out = append(out, lotRef(s.code))
			for _, code := range w.tipped(s.code, x.hi) {
				out = append(out, lotRef(code))
			}
			continue
		}
		p := x.move.outs[s.code].pieces[0]
		if p.fill != nil {
			out = append(out, p.fill.ref())
		}
		out = append(out, w.mayHaveLeft(p, by, asked)...)
	}
	return out
}

func (w *world) washInto(x *wash, dst lineage.Ref) {
	for _, src := range w.with(x) {
		if src != dst {
			w.contact(src, dst, graph.CleanedWith)
		}
	}
}

// writeVesselWashes links what a vessel was cleaned with to the fill that came next, as far as the order is known, and
// to what the vessel held where the clean was no break.
func (w *world) writeVesselWashes() {
	for _, x := range w.washes {
		v := w.vessels[x.item]
		if v == nil || v.kind == "path" {
			continue
		}
		for _, f := range v.fills {
			if v.washedInto(x, f) {
				w.washInto(x, f.ref())
			}
		}
	}
}

// washedInto reports whether what a vessel was cleaned with may be in a fill.
func (v *vessel) washedInto(x *wash, f *fill) bool {
	if x.item != v.code || v.kind == "path" {
		return false
	}
	for _, i := range v.ins {
		last := i.hi
		if i.circle == nil && i.move.long {
			last = i.e - 1
		}
		if i.fill == f && last >= x.lo && !v.cameBetween(x.hi, i) {
			return true
		}
	}
	return !x.rec.Breaks() && v.stoodAt(slices.Index(v.fills, f), x) && !v.emptyBefore(f, x.lo)
}

// cameBetween reports whether another inflow surely came after a moment and before one.
func (v *vessel) cameBetween(t int64, i *inflow) bool {
	for _, j := range v.ins {
		if j.lo >= t && j.hi < i.lo {
			return true
		}
	}
	return false
}

// stoodAt reports whether a vessel's k-th fill was there at some moment of a clean.
func (v *vessel) stoodAt(k int, x *wash) bool {
	f := v.fills[k]
	if f.at > x.hi {
		return false
	}
	if k+1 < len(v.fills) && v.fills[k+1].at < x.lo {
		return false
	}
	for _, c := range v.cleans {
		if !c.placed || !c.real || c.at >= x.lo || c.at < f.at {
			continue
		}
		if c.at > f.at || c.after { // at the instant of a fill the clean is first
			return false
		}
	}
	return true
}

// emptyBefore reports whether a fill was empty by what was surely drawn of it before a moment.
func (v *vessel) emptyBefore(f *fill, t int64) bool {
	drawn := 0.0
	for _, o := range v.outs {
		for _, p := range o.pieces {
			switch {
			case p.fill != f || p.nothing || o.move.oneOf:
			case o.move.long && p.e > p.s:
				if p.s < t {
					drawn += p.q * float64(min(t, p.e)-p.s) / float64(p.e-p.s)
				}
			case o.move.hi < t:
				drawn += p.q
			}
		}
	}
	return drawn > 0 && f.total-drawn <= v.w.limits.EmptyShare*f.total+slack
}

// writeLineWashes links what a run's line was cleaned with to where the run may have been the first after it.
func (w *world) writeLineWashes(r *run) {
	for _, x := range w.washes {
		if r.rec.Line == "" || x.item != r.rec.Line {
			continue
		}
		between := false
		for _, q := range w.runs {
			between = between || q != r && q.rec.Line == r.rec.Line && q.s >= x.hi && q.e <= r.s
		}
		for k, g := range r.segs {
			first := true
			for _, before := range r.segs[:k] {
				first = first && before.s < x.hi
			}
			if between || !first || g.e <= x.lo {
				continue
			}
			w.washInto(x, r.segRef(k))
			for _, src := range w.with(x) {
				g.fed = append(g.fed, fed{src: src, film: true})
			}
		}
	}
}

// writePassWashes links what a path item or line was cleaned with to the passes that may be the next, and to
// what they fill; of a run on its line the run itself says that.
func (w *world) writePassWashes() {
	for _, x := range w.washes {
		for _, p := range w.passes {
			if p.item != x.item || max(p.e, p.s+1) <= x.lo || w.passedBetween(x, p) {
				continue
			}
			if _, stands := w.res.Nodes[p.ref]; stands {
				w.washInto(x, p.ref)
			}
			if w.lines[x.item] == nil || p.dst.Kind != graph.Segment {
				w.washInto(x, p.dst)
			}
		}
	}
}

func (w *world) passedBetween(x *wash, p *pass) bool {
	for _, q := range w.passes {
		if q.item == p.item && q.s >= x.hi && q.s < p.s && q.e <= p.s {
			return true
		}
	}
	return false
}
