package lineage

import (
	"cmp"
	"slices"
)

// fill is a vessel's content between two changes of it, in the books.
type fill struct {
	since, until int64
	total, drawn float64
	prev         int     // the vessel's fill before, -1 where there is none or a break lies between
	carry        linkage // how prev reaches it
	carried      float64 // mL of prev in it
	root         int64   // earliest fill whose content it carries by content only
	epoch        int     // number of breaks before it
	mayClean     bool    // a clean of uncertain time may end it
	entry        int64
}

type linkage uint8

const (
	apart linkage = iota
	carried
	heeled
	maybeCleaned
	joined // through a circulation: the links are the circulation's
)

func (f *fill) left() float64 { return max(0, f.total-f.drawn) }

// den is what shares of the fill are divided by.
func (f *fill) den() float64 {
	if d := max(f.total, f.drawn); d > 0 {
		return d
	}
	return 1
}

// draw is a piece of an outflow in the books.
type draw struct {
	out        int // index into moves.outs
	start, end int64
	qty        float64
	state      State
	fill       int
	epoch      int
	early      bool // drawn before the clean of its own instant
	short      bool
	unsure     bool // through a circulation: may have been cleaned away before it
	maybe      []int64
}

type arrival struct{ in, fill int }

type broken struct {
	at, entry int64
	before    int // fill before the break, -1 where there was none
	epoch     int // number of the stretch after it
	lost      float64
}

// removed is what a removal of all took.
type removed struct {
	qty   float64
	epoch int
}

// status is where the books stand between two instants.
type status struct {
	cur, last int // current fill, last fill; -1 where none
	broken    bool
	epoch     int
}

// book is the result for one part of a vessel's books.
type book struct {
	vessel   string
	moves    *moves
	limits   Limits
	fills    []fill
	draws    []draw
	arrivals []arrival
	breaks   []broken
	removals []removed
	at       status

	since, until int64 // of its part
	opens        int64
	opening      opening
	open         []wash // cleans before it that nothing came in after
	before       int    // fills that belong to the part before: 0 or 1
}

// Moves whose times cannot touch each other are worked separately: uncertainty never reaches beyond such a cluster.

// cluster is a set of moves whose possible times overlap: indexes into moves.
type cluster struct{ ins, outs, cleans []int }

func (m *moves) clusters() []cluster {
	type span struct {
		lo, hi int64
		kind   uint8
		i      int
	}
	spans := make([]span, 0, len(m.ins)+len(m.outs)+len(m.cleans))
	for i, x := range m.ins {
		spans = append(spans, span{x.lo, x.hi, 0, i})
	}
	for i, x := range m.outs {
		spans = append(spans, span{x.lo, max(x.hi, x.end), 1, i})
	}
	for i, x := range m.cleans {
		spans = append(spans, span{x.lo, x.hi, 2, i})
	}
	slices.SortStableFunc(spans, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	var out []cluster
	var hi int64
	for n, s := range spans {
		if n == 0 || s.lo > hi {
			out = append(out, cluster{})
			hi = s.hi
		}
		hi = max(hi, s.hi)
		c := &out[len(out)-1]
		switch s.kind {
		case 0:
			c.ins = append(c.ins, s.i)
		case 1:
			c.outs = append(c.outs, s.i)
		default:
			c.cleans = append(c.cleans, s.i)
		}
	}
	for i := range out {
		slices.Sort(out[i].ins) // journal order within, as moves are sorted
		slices.Sort(out[i].outs)
		slices.Sort(out[i].cleans)
	}
	return out
}

// work settles one cluster: uncertain inflows as late and uncertain outflows as
// early as they may be, repaired one at a time until the books allow them.
func (b *book) work(c cluster) {
	for {
		t := b.try(c)
		if !b.repair(c, t) {
			b.commit(c, t)
			return
		}
	}
}

// repair finds the first draw that the vessel could not have covered without an
// inflow of some volume placed after it, and puts that inflow (and, where it must, the draw)
// at the start of the piece that is short.
func (b *book) repair(c cluster, t *trial) bool {
	for _, d := range t.draws {
		if !d.short {
			continue
		}
		o := &b.moves.outs[d.out]
		best := -1
		for _, i := range c.ins {
			in := &b.moves.ins[i]
			if in.at <= d.start || in.lo > o.latestStart(d) || in.vol == 0 {
				continue
			}
			if best < 0 || earlier(in, &b.moves.ins[best]) {
				best = i
			}
		}
		if best < 0 {
			continue
		}
		in := &b.moves.ins[best]
		at := max(d.start, in.lo)
		in.at = at
		if at > d.start {
			o.at, o.end = at, at
		}
		return true
	}
	return false
}

// latestStart is the last moment at which a short piece may have begun: its
// own start where its time is known.
func (o *outflow) latestStart(d draw) int64 {
	if o.certain() {
		return d.start
	}
	return o.hi
}

// earlier orders inflows by their interval; ties keep journal order.
func earlier(a, b *inflow) bool {
	return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.hi, b.hi)) < 0
}

// commit takes a trial as the cluster's outcome.
func (b *book) commit(c cluster, t *trial) {
	if b.at.cur >= 0 {
		b.fills[b.at.cur] = t.old
	}
	b.fills, b.at = append(b.fills, t.fresh...), t.at
	for i := range t.draws {
		b.maybes(c, &t.draws[i])
	}
	b.draws = append(b.draws, t.draws...)
	b.arrivals = append(b.arrivals, t.arrivals...)
	b.breaks = append(b.breaks, t.breaks...)
	b.removals = append(b.removals, t.removals...)
}

// maybes lists the inflows placed after a draw that may have come before it.
func (b *book) maybes(c cluster, d *draw) {
	o := &b.moves.outs[d.out]
	latest := o.latest()
	if d.end > d.start {
		latest = d.end - 1
	}
	for _, i := range c.ins {
		in := &b.moves.ins[i]
		after := in.at > d.start || d.early && in.at == d.start
		open := after && in.lo <= latest && !(in.certain() && o.certain())
		along := o.circ && !in.circ && in.at == d.start // it came in as the vessels were joined
		if (open || along) && !slices.Contains(d.maybe, in.entry) {
			d.maybe = append(d.maybe, in.entry)
		}
	}
}

// doubts finds the breaks after which more flowed out than came in.
func (b *book) doubts() (in, out map[int]float64) {
	in, out = map[int]float64{}, map[int]float64{}
	for _, a := range b.arrivals {
		in[b.fills[a.fill].epoch] += b.moves.ins[a.in].vol
	}
	for _, d := range b.draws {
		if !b.moves.outs[d.out].circ {
			out[d.epoch] += d.qty
		}
	}
	for _, r := range b.removals {
		out[r.epoch] += r.qty
	}
	return in, out
}

// perhapsAfter lists the fills that the books place before a break although what started them may have come after
// it, and the next fill, which may then hold some of them; -1 where there is none.
func (b *book) perhapsAfter(k broken) (fills []int, next int) {
	for _, a := range b.arrivals {
		if f := &b.fills[a.fill]; f.since < k.at && b.moves.ins[a.in].hi > k.at && !slices.Contains(fills, a.fill) {
			fills = append(fills, a.fill)
		}
	}
	next = slices.IndexFunc(b.fills, func(f fill) bool { return f.since >= k.at })
	if next >= 0 && b.fills[next].epoch != k.epoch { // another break lies between, which has its own
		next = -1
	}
	return fills, next
}

// inDoubt reports whether a break is in doubt.
func (b *book) inDoubt(k broken, in, out map[int]float64) bool {
	return k.before >= 0 && out[k.epoch] > in[k.epoch]*(1+b.limits.DoubtShare)+eps
}
