package lineage

import (
	"cmp"
	"slices"
)

// trial is one way a cluster may have gone: the moves at the moments the books
// place them now.
type trial struct {
	b        *book
	c        cluster
	at       status
	base     int    // fills the book had before
	old      fill   // the fill that was current before, changed by this try
	fresh    []fill // fills this try started
	draws    []draw
	arrivals []arrival
	breaks   []broken
	removals []removed
	cleans   []clean // the cluster's cleans, with where they lie and whether they break
	levels   []level
}

// level is what the books hold from an instant on, until the next.
type level struct {
	at   int64
	late bool // after all else of that instant; else before it
	left float64
}

// The order of things at one instant: clean, then inflow, then outflow.
const (
	phaseClean = iota
	phaseIn
	phaseOut
	phaseLate
)

type event struct {
	at    int64
	phase int
	i     int   // index into moves (inflows), trial.cleans or pieces
	seq   int64 // journal order within a phase
}

// try runs a cluster: once without its cleans of uncertain time to see where
// the books are lowest, then with them.
func (b *book) try(c cluster) *trial {
	var sure, unsure []clean
	for _, i := range c.cleans {
		k := b.moves.cleans[i]
		if k.certain() {
			k.effective = true
			sure = append(sure, k)
		} else {
			unsure = append(unsure, k)
		}
	}
	slices.SortStableFunc(unsure, func(x, y clean) int {
		return cmp.Or(cmp.Compare(x.lo, y.lo), cmp.Compare(x.hi, y.hi), cmp.Compare(x.entry, y.entry))
	})
	t := b.run(c, sure)
	for _, k := range unsure {
		k.at, k.late = t.lowest(k)
		k.effective = k.all || b.surelyBetween(c, k)
		sure = append(sure, k)
		t = b.run(c, sure)
	}
	return t
}

// lowest finds where within a clean's interval the books are lowest; the
// earliest of several such moments.
func (t *trial) lowest(k clean) (at int64, late bool) {
	best := level{at: k.lo}
	for _, l := range t.levels {
		if l.at < k.lo {
			best = level{at: k.lo, left: l.left}
		}
	}
	if len(t.levels) > 0 && t.levels[0].at >= k.lo {
		best.left = t.levels[0].left
	}
	for _, l := range t.levels {
		if l.late && l.at >= k.lo && l.at <= k.hi && l.left < best.left-eps {
			best = l
		}
	}
	return best.at, best.late
}

// surelyBetween reports whether a clean of uncertain time certainly lies
// between a fill and the next inflow: whether no inflow can lie within its interval.
func (b *book) surelyBetween(c cluster, k clean) bool {
	for _, i := range c.ins {
		in := &b.moves.ins[i]
		if in.hi >= k.lo && in.lo < k.hi {
			return false
		}
	}
	return true
}

// piece is a stretch of an outflow between two cuts.
type piece struct {
	out        int
	start, end int64
	qty        float64
}

// pieces cuts the cluster's outflows where the vessel gets a new fill, or it or their receiver is cleaned, while they run.
func (b *book) pieces(c cluster, cleans []clean) []piece {
	var cuts []int64
	for _, i := range c.ins {
		cuts = append(cuts, b.moves.ins[i].at)
	}
	for _, k := range cleans {
		if k.certain() && !k.all {
			cuts = append(cuts, k.at)
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out []piece
	for _, i := range c.outs {
		o := &b.moves.outs[i]
		start := o.at
		from, _ := slices.BinarySearch(cuts, start+1)
		own := cuts[from:]
		if len(o.cuts) > 0 {
			own = slices.Concat(own, o.cuts)
			slices.Sort(own)
			own = slices.Compact(own)
		}
		for _, cut := range own {
			if cut >= o.end {
				break
			}
			out = append(out, o.piece(i, start, cut))
			start = cut
		}
		out = append(out, o.piece(i, start, o.end))
	}
	return out
}

func (o *outflow) piece(i int, start, end int64) piece {
	p := piece{out: i, start: start, end: end, qty: o.qty}
	if o.end > o.at {
		p.qty = o.qty * float64(end-start) / float64(o.end-o.at)
	}
	return p
}

// run plays a cluster through, from where the books stand.
func (b *book) run(c cluster, cleans []clean) *trial {
	t := &trial{b: b, c: c, at: b.at, base: len(b.fills), cleans: cleans}
	if t.at.cur >= 0 { // the current fill changes: work on a copy, so that another try starts afresh
		t.old = b.fills[t.at.cur]
	}
	pieces := b.pieces(c, cleans)
	var events []event
	for _, i := range c.ins {
		events = append(events, event{b.moves.ins[i].at, phaseIn, i, b.moves.ins[i].entry})
	}
	for i, p := range pieces {
		events = append(events, event{p.start, phaseOut, i, b.moves.outs[p.out].entry})
	}
	for i, k := range cleans {
		phase := phaseClean
		if k.late {
			phase = phaseLate
		}
		events = append(events, event{k.at, phase, i, k.entry})
	}
	slices.SortStableFunc(events, func(x, y event) int {
		return cmp.Or(cmp.Compare(x.at, y.at), cmp.Compare(x.phase, y.phase), cmp.Compare(x.seq, y.seq))
	})
	for len(events) > 0 {
		n := 1
		for n < len(events) && events[n].at == events[0].at {
			n++
		}
		t.instant(events[:n], pieces)
		events = events[n:]
	}
	return t
}

// instant plays all that happens at one moment.
func (t *trial) instant(events []event, pieces []piece) {
	at := events[0].at
	t.levels = append(t.levels, level{at: at, left: t.left()})
	byPhase := [4][]event{}
	for _, e := range events {
		byPhase[e.phase] = append(byPhase[e.phase], e)
	}
	early := t.beforeClean(byPhase, pieces)
	for _, e := range byPhase[phaseClean] {
		t.clean(&t.cleans[e.i])
	}
	t.inflows(at, byPhase[phaseIn])
	for _, e := range byPhase[phaseOut] {
		if !slices.Contains(early, e.i) {
			t.draw(pieces[e.i], false)
		}
	}
	for _, e := range byPhase[phaseLate] {
		t.clean(&t.cleans[e.i])
	}
	t.levels = append(t.levels, level{at: at, late: true, left: t.left()})
}

// current is the fill that stands now; only while at.cur is not negative.
func (t *trial) current() *fill {
	if t.at.cur < t.base {
		return &t.old
	}
	return &t.fresh[t.at.cur-t.base]
}

func (t *trial) left() float64 {
	if t.at.cur < 0 {
		return 0
	}
	return t.current().left()
}

// beforeClean draws what only the content before a clean of the same instant
// can cover: people write whole minutes.
func (t *trial) beforeClean(byPhase [4][]event, pieces []piece) (early []int) {
	effective := slices.ContainsFunc(byPhase[phaseClean], func(e event) bool { return t.cleans[e.i].effective })
	if !effective || t.at.cur < 0 {
		return nil
	}
	there := 0.0
	for _, e := range byPhase[phaseIn] {
		there += t.b.moves.ins[e.i].vol
	}
	for _, e := range byPhase[phaseOut] {
		p := pieces[e.i]
		if p.qty > there+eps && t.left() >= p.qty-eps {
			t.draw(p, true)
			early = append(early, e.i)
		} else {
			there = max(0, there-p.qty)
		}
	}
	return early
}

// clean empties the vessel or, where a clean may or may not have come in time, marks its fill.
func (t *trial) clean(k *clean) {
	if !k.effective {
		if t.at.cur >= 0 {
			t.current().mayClean = true
		}
		return
	}
	lost := 0.0
	if t.at.cur >= 0 {
		f := t.current()
		f.until = k.at
		lost = f.left()
		if k.all {
			f.drawn = max(f.drawn, f.total)
		}
	}
	t.at.cur = -1
	if k.all {
		t.removals = append(t.removals, removed{lost, t.at.epoch})
		return
	}
	t.at.broken = true
	t.at.epoch++
	t.breaks = append(t.breaks, broken{at: k.at, entry: k.entry, before: t.at.last, epoch: t.at.epoch, lost: lost})
}

// inflows starts one new fill for all that comes in at one instant.
func (t *trial) inflows(at int64, ins []event) {
	if len(ins) == 0 {
		return
	}
	f := fill{since: at, prev: -1, root: at, epoch: t.at.epoch, entry: t.b.moves.ins[ins[0].i].entry}
	circ := false
	for _, e := range ins {
		in := &t.b.moves.ins[e.i]
		f.total += in.vol
		circ = circ || in.circ
	}
	t.inherit(&f, at, circ)
	t.fresh = append(t.fresh, f)
	t.at.cur = t.base + len(t.fresh) - 1
	t.at.last, t.at.broken = t.at.cur, false
	for _, e := range ins {
		t.arrivals = append(t.arrivals, arrival{e.i, t.at.cur})
		t.drawJoined(e.i, f.prev, at)
	}
}

// inherit carries into a new fill what the vessel still held.
func (t *trial) inherit(f *fill, at int64, circ bool) {
	switch {
	case t.at.last < 0 || t.at.broken:
		return
	case t.at.cur < 0: // emptied, but not cleaned
		f.prev, f.carry = t.at.last, heeled
		return
	}
	old := t.current()
	old.until = at
	f.prev = t.at.cur
	left := old.left()
	switch {
	case old.drawn > 0 && left <= t.b.limits.EmptyShare*old.total+eps:
		f.carry = heeled
	case old.mayClean:
		f.carry, f.carried = maybeCleaned, left
		f.total += left
	case circ:
		f.carry, f.carried, f.root = joined, left, old.root
		f.total += left
	default:
		f.carry, f.carried, f.root = carried, left, old.root
		f.total += left
		if old.drawn == 0 {
			f.carried = old.den()
		}
	}
}

// drawJoined books what a circulation takes out of the old fill, for its links.
func (t *trial) drawJoined(in, prev int, at int64) {
	m := t.b.moves
	if !m.ins[in].circ {
		return
	}
	o := slices.IndexFunc(m.outs, func(o outflow) bool { return o.circ && o.entry == m.ins[in].entry })
	if o < 0 {
		m.outs = append(m.outs, outflow{entry: m.ins[in].entry, lo: at, hi: at, at: at, end: at, circ: true})
		o = len(m.outs) - 1
	}
	d := draw{out: o, start: at, end: at, fill: prev, epoch: t.at.epoch, state: Never}
	if prev >= 0 {
		d.state = Nothing
		if f := t.current(); f.carry == joined || f.carry == maybeCleaned {
			d.state, d.qty, d.unsure = Drew, f.carried, f.carry == maybeCleaned
		}
	}
	t.draws = append(t.draws, d)
}

// draw takes one piece of an outflow from the fill of its time.
func (t *trial) draw(p piece, early bool) {
	o := &t.b.moves.outs[p.out]
	d := draw{out: p.out, start: p.start, end: p.end, qty: p.qty, fill: t.at.cur, epoch: t.at.epoch, early: early}
	switch {
	case t.at.cur >= 0:
		f := t.current()
		d.short = p.qty > f.left()+eps
		f.drawn += p.qty
	case t.at.last >= 0:
		d.fill, d.state = t.at.last, Nothing
		d.short = p.qty > eps
	default:
		d.state = Never
		d.short = p.qty > eps
	}
	if o.oneOf {
		d.short = false
	}
	t.draws = append(t.draws, d)
}
