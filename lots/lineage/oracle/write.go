package oracle

import (
	"math"
	"slices"

	"heeltap/graph"
)

// circle is a circulation of several vessels.
type circle struct {
	entry  int64
	lo, hi int64
	ins    []*inflow
}

func (w *world) writeBooks() {
	for _, v := range w.vessels {
		for _, f := range v.fills {
			w.res.Nodes[f.ref()] = f.total
			if v.alien && !f.cleaned {
				w.fault("first-fill-unproven", f.ref().Code)
			}
			switch {
			case f.circle != nil:
				w.writeCircle(f)
			case f.before == nil:
			case f.carry < 0:
				w.contact(f.before.ref(), f.ref(), f.cause)
			default:
				w.content(f.before.ref(), f.ref(), f.cause, f.carry)
			}
		}
		for _, b := range v.breaks {
			if b.before == nil {
				continue
			}
			w.writePerhapsAfter(v, b)
			if b.loss {
				w.fault("unrecorded-loss", b.before.ref().Code)
			}
			if b.out <= b.in*(1+w.limits.DoubtShare)+slack {
				continue
			}
			w.fault("break-in-doubt", b.before.ref().Code)
			for _, f := range b.drew {
				w.contact(b.before.ref(), f.ref(), graph.BreakInDoubt)
			}
		}
		for _, o := range v.outs {
			for _, p := range o.pieces {
				w.pieceFaults(v, o.move, p)
			}
		}
	}
}

// pieceFaults notes an outflow that found nothing or too little, by what it
// went into where that has a code of its own, else by the fill.
func (w *world) pieceFaults(v *vessel, m *move, p *piece) {
	code := v.code
	if p.fill != nil {
		code = p.fill.ref().Code
	}
	if m.hasDst {
		code = m.dst.Code
	}
	if m.feed != nil {
		code = m.feed.rec.Run
	}
	switch {
	case m.oneOf:
	case p.nothing:
		w.fault("nothing-there", code)
	case p.short:
		w.fault("drawn-above-content", code)
	}
}

// jointVessels are the vessels that circulate with one at one instant, each once.
func (w *world) jointVessels(own *inflow) []*inflow {
	in := map[*vessel]*inflow{own.v: own}
	for grew := true; grew; {
		grew = false
		for _, c := range w.circles {
			if c.hi != own.hi || !slices.ContainsFunc(c.ins, func(i *inflow) bool { return in[i.v] != nil }) {
				continue
			}
			for _, i := range c.ins {
				if in[i.v] == nil {
					in[i.v], grew = i, true
				}
			}
		}
	}
	var out []*inflow
	for _, code := range w.order {
		if i := in[w.vessels[code]]; i != nil {
			out = append(out, i)
		}
	}
	return out
}

// writeCircle links the contents of circulated vessels to one vessel's new fill.
func (w *world) writeCircle(f *fill) {
	own, sum := f.circle, 0.0
	joint := w.jointVessels(own)
	for _, i := range joint {
		if !i.heel {
			sum += i.left
		}
	}
	for _, i := range joint {
		same := i.v == own.v
		switch {
		case i.before == nil:
		case i.heel:
			w.contact(i.before.ref(), f.ref(), graph.Heel)
		case i.doubt:
			w.contact(i.before.ref(), f.ref(), graph.UncertainClean)
		case !same && (own.heel || own.left == 0):
			w.contact(i.before.ref(), f.ref(), graph.NothingThere)
		case i.left > 0: // by left(u) · left(v) / the sum of all
			w.content(i.before.ref(), f.ref(), graph.Moved, i.left*own.left/sum/i.before.den())
		case sum > 0: // solids waiting: where they went is not known
			w.content(i.before.ref(), f.ref(), graph.Moved, math.NaN())
		default:
			w.content(i.before.ref(), f.ref(), graph.Moved, 1)
		}
		if same {
			continue
		}
		for _, src := range w.mayHaveCirculated(i, i.place, map[any]int64{}) {
			if src != f.ref() {
				w.contact(src, f.ref(), graph.UncertainTime)
			}
		}
	}
}
