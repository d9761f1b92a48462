package oracle

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots/lineage"
)

// mayHold are the nodes of which a piece may have taken something because their order with it is open.
func (w *world) mayHold(p *piece) []lineage.Ref { return w.mayHaveLeft(p, p.latest(), map[any]int64{}) }

// latest is the last moment at which some of a piece may have been drawn.
func (p *piece) latest() int64 {
	if p.out.move.long {
		return p.e - 1
	}
	return p.out.move.hi
}

func (w *world) mayHaveLeft(p *piece, by int64, asked map[any]int64) []lineage.Ref {
	by = min(by, p.latest())
	if had, ok := asked[p]; ok && had >= by {
		return nil
	}
	out := w.mayHaveBeen(p, p.out.v, p.maybes, func(f *fill) bool { return f.at >= p.s && f != p.fill },
		func(*inflow) bool { return false }, by, asked)
	return append(out, w.mayHaveGot(p.out.v, p.s, by, asked)...)
}

// mayHaveCirculated is the same of what a vessel gave to those it was circulated with.
func (w *world) mayHaveCirculated(c *inflow, by int64, asked map[any]int64) []lineage.Ref {
	by = min(by, c.place)
	if had, ok := asked[c]; ok && had >= by {
		return nil
	}
	out := w.mayHaveBeen(c, c.v, c.maybes, func(f *fill) bool { return f.at >= c.place },
		func(i *inflow) bool { return i.circle != nil && i.place == c.place }, by, asked)
	for _, k := range c.v.cleans { // those that may have come after the circulation
		if k.all || k.lo < k.hi || k.lo <= c.lo || k.lo > c.hi {
			continue
		}
		since := c.v.lastBy(c.lo)
		for _, f := range c.v.fills { // what it held at any moment from the first at which it may have been, until the clean
			swept := slices.ContainsFunc(c.v.cleans, func(o *clean) bool { return !o.all && o.lo > f.at && o.hi < k.lo })
			if f.at <= min(k.lo-1, by) && (since == nil || f.at >= since.at) && !swept {
				out = append(out, f.ref())
			}
		}
	}
	return append(out, w.mayHaveGot(c.v, c.place, by, asked)...)
}

// mayHaveBeen names what inflows that may have come by a moment came from and, of the fills after what left, those
// of which all that came in up to them is among these inflows, or is the circulation itself.
func (w *world) mayHaveBeen(left any, v *vessel, inflows []*inflow, after func(*fill) bool, own func(*inflow) bool, by int64, asked map[any]int64) (out []lineage.Ref) {
	if had, ok := asked[left]; ok && had >= by {
		return nil
	}
	asked[left] = by
	may := map[*inflow]bool{}
	for _, i := range inflows {
		if i.lo <= by {
			may[i] = true
			out = append(out, w.inflowSources(i, by, asked)...)
			for _, x := range w.washes {
				if x.lo <= by && v.washedInto(x, i.fill) {
					out = append(out, w.withBy(x, by, asked)...)
				}
			}
		}
	}
	for _, f := range v.fills {
		if !after(f) {
			continue
		}
		some := false
		for _, i := range v.ins {
			switch {
			case i.fill != f:
			case may[i] && !w.mayBringLater(i, by):
				some = true
			case !own(i):
				return out
			}
		}
		if some {
			out = append(out, f.ref())
		}
	}
	return out
}

// mayBringLater reports whether an inflow may bring something that came to where it left after a moment.
func (w *world) mayBringLater(i *inflow, by int64) bool {
	later := func(list []*inflow) bool {
		return slices.ContainsFunc(list, func(x *inflow) bool { return x.lo > by })
	}
	if i.circle != nil {
		return slices.ContainsFunc(w.jointVessels(i), func(o *inflow) bool { return o.v != i.v && later(o.maybes) })
	}
	for _, o := range i.move.outs {
		if o.v != i.v && later(o.pieceAt(i.s).maybes) {
			return true
		}
	}
	return false
}

// writePerhapsAfter links what lies before a break but may have come in after it to the vessel's next fill.
func (w *world) writePerhapsAfter(v *vessel, b *brk) {
	for _, next := range v.fills {
		if next.at < b.at {
			continue
		}
		if slices.ContainsFunc(v.breaks[slices.Index(v.breaks, b)+1:], func(o *brk) bool { return o.at <= next.at }) {
			return // cleaned once more before that
		}
		for _, i := range v.ins {
			if i.fill.at < b.at && i.hi > b.at {
				w.contact(i.fill.ref(), next.ref(), graph.UncertainTime)
			}
		}
		return
	}
}
