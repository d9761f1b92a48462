package oracle

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/lots/lineage"
)

// vessel is what holds material, and all that happens to it.
type vessel struct {
	w          *world
	code, kind string
	alien      bool // of another site, or hired
	ins        []*inflow
	outs       []*outflow
	cleans     []*clean
	fills      []*fill
	breaks     []*brk
}

// inflow is one arrival: placed as late in [lo, hi] as the books allow.
type inflow struct {
	entry        int64
	v            *vessel
	lo, hi       int64
	s, e         int64 // the piece of the flow that it is
	place        int64
	vol, part    float64
	move         *move
	circle       *circle
	maybes       []*inflow // of a circulation: those that may have come before it
	before, fill *fill     // what the vessel held or last held before it, and the fill it started
	left         float64   // what was on the books before it
	doubt        bool      // what was before may have been cleaned away
	heel         bool      // nothing of before was on the books
}

// outflow is what one entry takes out of one vessel.
type outflow struct {
	move   *move
	v      *vessel
	place  int64 // of an instant
	pieces []*piece
}

// piece is a stretch of an outflow between two fills of its vessel.
type piece struct {
	out     *outflow
	s, e    int64
	q       float64
	fill    *fill // drawn on, or the vessel's last where nothing was there
	nothing bool
	short   bool
	early   bool // before the clean of its instant
	maybes  []*inflow
}

// clean is a break, or a removal of all.
type clean struct {
	entry  int64
	lo, hi int64
	all    bool
	placed bool
	at     int64
	after  bool // after the outflows of that instant
	real   bool
}

type fill struct {
	v            *vessel
	at           int64
	total, drawn float64
	before       *fill
	carry        float64 // of what was in before; -1 for a contact
	cause        graph.Cause
	circle       *inflow
	cleaned      bool // the vessel was, at some time before it
}

type brk struct {
	at      int64
	before  *fill
	loss    bool
	in, out float64
	drew    []*fill
}

func (f *fill) ref() lineage.Ref { return f.v.w.fillRef(f.v.code, f.at) }
func (f *fill) left() float64    { return max(0, f.total-f.drawn) }
func (f *fill) den() float64     { return max(f.total, f.drawn) }

func (f *fill) empty() bool {
	return f.drawn > 0 && f.total-f.drawn <= f.v.w.limits.EmptyShare*f.total+slack
}

func (o *outflow) pieceAt(t int64) *piece {
	for _, p := range o.pieces {
		if !o.move.long || (p.s <= t && t < p.e) {
			return p
		}
	}
	panic("no piece at that time")
}

func (v *vessel) settle() {
	for _, i := range v.ins {
		i.place = i.hi
	}
	for _, o := range v.outs {
		o.place = o.move.lo
	}
	for {
		v.placeCleans()
		v.play(nil)
		if !v.repair() {
			break
		}
	}
	v.findMaybes()
}

// placeCleans puts every uncertain clean where the books are lowest, one after the other.
func (v *vessel) placeCleans() {
	slices.SortStableFunc(v.cleans, func(a, b *clean) int {
		return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.hi, b.hi), cmp.Compare(a.entry, b.entry))
	})
	for _, c := range v.cleans {
		c.placed, c.real, c.at, c.after = c.lo == c.hi, true, c.lo, false
		for _, i := range v.ins {
			if c.lo < c.hi && !c.all && i.lo <= c.hi && i.hi >= c.lo {
				c.real = false
			}
		}
	}
	for _, c := range v.cleans {
		if c.placed {
			continue
		}
		lowest, at, after := -1.0, c.lo, false
		v.play(func(t int64, done bool, left float64) {
			switch {
			case t > c.hi || (t < c.lo && !done):
			case t < c.lo || (t == c.lo && !done): // the books as the interval begins
				lowest, at, after = left, c.lo, false
			case lowest < 0:
				lowest, at, after = left, t, done
			case done && left < lowest:
				lowest, at, after = left, t, true
			}
		})
		c.placed, c.at, c.after = true, at, after
	}
}

// times are all moments at which something happens, in order.
func (v *vessel) times() (out []int64) {
	for _, i := range v.ins {
		out = append(out, i.place)
	}
	for _, o := range v.outs {
		for _, p := range o.pieces {
			out = append(out, p.s)
		}
	}
	for _, c := range v.cleans {
		if c.placed {
			out = append(out, c.at)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// cutOuts cuts the outflows at the vessel's fills and its certain cleans.
func (v *vessel) cutOuts() {
	for _, o := range v.outs {
		m := o.move
		o.pieces = nil
		if !m.long {
			o.pieces = []*piece{{out: o, s: o.place, e: o.place, q: m.out}}
			continue
		}
		cuts := []int64{m.s, m.e}
		for _, i := range v.ins {
			cuts = append(cuts, i.place)
		}
		cleans := v.cleans
		if m.to != "" {
			cleans = slices.Concat(cleans, v.w.vessels[m.to].cleans)
		}
		for _, c := range cleans {
			if c.lo == c.hi && !c.all {
				cuts = append(cuts, c.lo)
			}
		}
		cuts = slices.DeleteFunc(cuts, func(t int64) bool { return t < m.s || t > m.e })
		slices.Sort(cuts)
		cuts = slices.Compact(cuts)
		for k := range len(cuts) - 1 {
			o.pieces = append(o.pieces, &piece{out: o, s: cuts[k], e: cuts[k+1], q: m.out * float64(cuts[k+1]-cuts[k]) / float64(m.e-m.s)})
		}
	}
}

// state is the vessel at one moment of the play.
type state struct {
	v             *vessel
	cur, last     *fill
	broken, doubt bool
	brk           *brk
}

func (s *state) left() float64 {
	if s.cur == nil {
		return 0
	}
	return s.cur.left()
}

// play runs the vessel's history once. watch is told the books before and after all of each instant.
func (v *vessel) play(watch func(t int64, done bool, left float64)) {
	v.cutOuts()
	v.fills, v.breaks = nil, nil
	s := &state{v: v}
	for _, t := range v.times() {
		if watch != nil {
			watch(t, false, s.left())
		}
		first := v.drawnBefore(s, t)
		for _, p := range first {
			p.early = true
			s.draw(p)
		}
		s.cleanAll(t, false)
		s.fillAt(t)
		for _, p := range v.startingAt(t) {
			if !slices.Contains(first, p) {
				s.draw(p)
			}
		}
		s.cleanAll(t, true)
		if watch != nil {
			watch(t, true, s.left())
		}
	}
}

func (v *vessel) startingAt(t int64) (out []*piece) {
	for _, o := range v.outs {
		for _, p := range o.pieces {
			if p.s == t {
				out = append(out, p)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *piece) int { return cmp.Compare(a.out.move.entry, b.out.move.entry) })
	return out
}

// drawnBefore are the outflows of an instant that only what was there before its clean can cover.
func (v *vessel) drawnBefore(s *state, t int64) (out []*piece) {
	cleaned := slices.ContainsFunc(v.cleans, func(c *clean) bool { return c.placed && c.real && c.at == t && !c.after })
	if !cleaned || s.cur == nil {
		return nil
	}
	left, after := s.cur.left(), 0.0
	for _, i := range v.ins {
		if i.place == t {
			after += i.vol
		}
	}
	for _, p := range v.startingAt(t) {
		switch {
		case p.out.move.oneOf:
		case p.q > after+slack && p.q <= left+slack:
			left -= p.q
			out = append(out, p)
		default:
			after = max(0, after-p.q)
		}
	}
	return out
}

func (s *state) cleanAll(t int64, after bool) {
	for _, c := range s.v.cleans {
		switch {
		case !c.placed || c.at != t || c.after != after:
		case !c.real:
			s.doubt = true
		case c.all:
			if s.brk != nil && s.cur != nil {
				s.brk.out += s.cur.left()
			}
			s.cur = nil
		default:
			lost := false
			if s.cur != nil && s.cur.left() > slack && !s.cur.empty() {
				lost = true
			}
			s.cur, s.broken, s.doubt = nil, true, false
			s.brk = &brk{at: t, before: s.last, loss: lost}
			s.v.breaks = append(s.v.breaks, s.brk)
		}
	}
}

// fillAt starts a new fill where something comes in.
func (s *state) fillAt(t int64) {
	var f *fill
	for _, i := range s.v.ins {
		if i.place != t {
			continue
		}
		if f == nil {
			f = &fill{v: s.v, at: t, cleaned: len(s.v.breaks) > 0}
		}
		i.fill, i.before, i.left, i.heel, i.doubt = f, s.last, s.left(), s.cur == nil || s.cur.empty(), s.doubt
		if s.broken {
			i.before = nil
		}
		f.total += i.vol
		if i.circle != nil {
			f.circle = i
		}
		if s.brk != nil {
			s.brk.in += i.vol
		}
	}
	if f == nil {
		return
	}
	switch {
	case s.last == nil || s.broken:
	case s.cur == nil || s.cur.empty():
		f.before, f.carry, f.cause = s.last, -1, graph.Heel
	case s.doubt:
		f.before, f.carry, f.cause = s.cur, -1, graph.UncertainClean
		f.total += s.cur.left()
	default:
		f.before, f.carry, f.cause = s.cur, 1, graph.Carried
		if s.cur.total > 0 {
			f.carry = s.cur.left() / s.cur.total
		}
		f.total += s.cur.left()
	}
	s.cur, s.last, s.broken, s.doubt = f, f, false, false
	s.v.fills = append(s.v.fills, f)
}

func (s *state) draw(p *piece) {
	p.fill, p.nothing, p.short = s.last, s.cur == nil, false
	if p.out.move.oneOf {
		return
	}
	if s.cur == nil {
		p.short = p.q > slack
	} else {
		p.short = p.q > s.cur.left()+slack
		s.cur.drawn += p.q
	}
	if s.brk != nil {
		s.brk.out += p.q
		if s.cur != nil {
			s.brk.drew = append(s.brk.drew, s.cur)
		}
	}
}

// repair moves one inflow before the earliest outflow that is short without it; false where none can be.
func (v *vessel) repair() bool {
	var short []*piece
	for _, o := range v.outs {
		for _, p := range o.pieces {
			if p.short {
				short = append(short, p)
			}
		}
	}
	slices.SortStableFunc(short, func(a, b *piece) int {
		return cmp.Or(cmp.Compare(a.s, b.s), cmp.Compare(a.out.move.entry, b.out.move.entry))
	})
	for _, p := range short {
		latest := p.s
		if !p.out.move.long {
			latest = p.out.move.hi
		}
		var best *inflow
		for _, i := range v.ins {
			if i.place <= p.s || i.lo > latest || i.vol == 0 {
				continue
			}
			if best == nil || cmp.Or(cmp.Compare(i.lo, best.lo), cmp.Compare(i.hi, best.hi), cmp.Compare(i.entry, best.entry)) < 0 {
				best = i
			}
		}
		if best == nil {
			continue
		}
		at := max(p.s, best.lo)
		best.place = min(best.place, at)
		if !p.out.move.long {
			p.out.place = at
		}
		return true
	}
	return false
}

// findMaybes notes for each piece, and for each circulation, the inflows that lie after it but may have come before.
func (v *vessel) findMaybes() {
	for _, o := range v.outs {
		for _, p := range o.pieces {
			p.maybes = nil
			for _, i := range v.ins {
				may := i.lo <= o.move.hi
				if o.move.long {
					may = i.lo < p.e
				}
				after := i.place > p.s || p.early && i.place == p.s
				if after && may && (i.lo < i.hi || o.move.lo < o.move.hi) {
					p.maybes = append(p.maybes, i)
				}
			}
		}
	}
	for _, c := range v.ins {
		c.maybes = nil
		for _, i := range v.ins {
			along := i.circle == nil && i.place == c.place
			if c.circle != nil && (along || i.place > c.place && i.lo <= c.place) {
				c.maybes = append(c.maybes, i)
			}
		}
	}
}
