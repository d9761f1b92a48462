package lineage

import (
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// wash is a clean of a vessel, by any method, as the start of what may hold something it left behind. No later
// clean cuts it: caustic, acid and steriliser are cleans of their own, one after the other.
type wash struct {
	entry  int64
	lo, hi int64
	breaks bool
}

// latest is the last second at which some of an inflow may have come.
func (i *inflow) latest() int64 {
	if i.end > i.start {
		return i.end - 1
	}
	return i.hi
}

// filledAfter lists the fills that what a clean left behind may be in: those that may be the first after it,
// and, where it is no break, what was in the vessel meanwhile.
func (b *book) filledAfter(w wash) (out []int) {
	next := int64(1) << 62 // an inflow that begins later is surely not the first
	for i := range b.moves.ins {
		if in := &b.moves.ins[i]; in.lo >= w.hi {
			next = min(next, in.hi)
		}
	}
	first := map[int]bool{}
	for _, a := range b.arrivals {
		in := &b.moves.ins[a.in]
		first[a.fill] = first[a.fill] || in.latest() >= w.lo && in.lo <= next
	}
	for i := b.before; i < len(b.fills); i++ {
		if first[i] || !w.breaks && b.heldDuring(i, w) {
			out = append(out, i)
		}
	}
	return out
}

// heldDuring reports whether a fill may have been in the vessel at a clean, and was not empty by the books.
func (b *book) heldDuring(i int, w wash) bool {
	f := &b.fills[i]
	if f.since > w.hi || f.until != 0 && f.until < w.lo {
		return false
	}
	drawn := 0.0
	for _, d := range b.draws {
		if o := &b.moves.outs[d.out]; d.fill == i && d.state == Drew && !o.circ {
			drawn += d.qty * o.partBefore(d, w.lo)
		}
	}
	return drawn <= 0 || f.total-drawn > b.limits.EmptyShare*f.total+eps
}

// partBefore is the part of a draw that was surely drawn before a moment.
func (o *outflow) partBefore(d draw, t int64) float64 {
	switch {
	case d.end > d.start && d.start < t:
		return float64(min(t, d.end)-d.start) / float64(d.end-d.start)
	case d.end <= d.start && o.hi < t:
		return 1
	}
	return 0
}

// joinClean links what a vessel was cleaned with to what was filled next.
func (e *engine) joinClean(c *Cell, r *lots.Clean) {
	with := e.cleanedWith(r)
	for _, a := range e.arrivalsOf(r.Seq) {
		c.linkCleaned(with, FillRef(a.Vessel, a.Fill, e.zone), r)
	}
}

func (c *Cell) linkCleaned(with []Ref, dst Ref, r *lots.Clean) {
	for _, src := range with {
		if src != dst {
			c.Links = append(c.Links, contact(src, dst, graph.CleanedWith, r.Seq, r.At.From))
		}
	}
}

// cleanedWith lists what a clean was, or may have been, done with: lots, and what tanks held.
func (e *engine) cleanedWith(r *lots.Clean) []Ref {
	return dedupe(e.cleanedWithBy(r, Ever, map[drawn]int64{}))
}

// cleanedWithBy is the same as far as it came by a moment. It remembers by when it has asked of each draw.
func (e *engine) cleanedWithBy(r *lots.Clean, by int64, asked map[drawn]int64) []Ref {
	out := append(stockRefs(e, r.From), e.tippedRefs(r.From, r.At.To)...)
	if r.Seq == e.dyed {
		out = append(out, dye)
	}
	for _, d := range e.drawsOf(r.Seq) {
		if d.State != Never {
			out = append(out, FillRef(d.Vessel, d.Fill, e.zone))
		}
		out = append(out, e.earlierThan(d, by, asked)...)
	}
	return out
}

// cleansWith lists the cleans of a line or path item within a span that say what they were done with.
func (e *engine) cleansWith(item string, from, to int64) (out []*lots.Clean) {
	for _, rec := range e.src.Moments(item, "cleans", from, to) {
		if r, ok := rec.(*lots.Clean); ok && r.Subject.Code() == item && len(r.From.Codes) > 0 {
			out = append(out, r)
		}
	}
	return out
}

// cleanedOther marks what passes a line or path item after a clean of it.
func (e *engine) cleanedOther(r *lots.Clean) {
	e.through(r.At.From, r.At.To, r.Subject.Codes...)
	if r.Subject.Kind == lots.KindLine {
		e.followLine(r.Subject.Code(), r.At.From, r.At.To)
	}
}

// supplyCleans adds what a run's line was cleaned with to the segments that may be the first after it.
func (e *engine) supplyCleans(run *lots.Run, segs []segment) {
	if run.Line == "" {
		return
	}
	from := int64(Beginning) // a clean before an earlier run was of that one
	for _, rec := range e.src.LineBefore(run.Line, run.Started.From, run.Ended.End()) {
		if x, ok := rec.(*lots.Run); ok && x.Run != run.Run && x.Ended.End() <= run.Started.From {
			from = max(from, x.Started.From)
		}
	}
	for _, r := range e.cleansWith(run.Line, from, run.Ended.End()) {
		with := e.cleanedWith(r)
		for _, i := range e.ranNext(run, segs, r) {
			for _, src := range with {
				if src != segs[i].ref { // its own rejects
					segs[i].in = append(segs[i].in, supply{src: src, grade: graph.Contact, cause: graph.CleanedWith, qty: unknown, entry: r.Seq})
				}
			}
		}
	}
}

// ranNext lists the segments of a run that may be the first on its line after a clean of it, whether or not
// the line keeps residue.
func (e *engine) ranNext(run *lots.Run, segs []segment, r *lots.Clean) (out []int) {
	if run.Ended.End() <= r.At.From {
		return nil
	}
	for _, rec := range e.src.LineBefore(run.Line, run.Started.From, run.Ended.End()) {
		if x, ok := rec.(*lots.Run); ok && x.Run != run.Run && x.Started.From >= r.At.To && x.Ended.End() <= run.Started.From {
			return nil
		}
	}
	for i := range segs {
		if segs[i].until > r.At.From {
			out = append(out, i)
		}
		if segs[i].since >= r.At.To {
			break
		}
	}
	return out
}

// passCleans links what a path item or line was cleaned with to the next passes and to what they fill. What a
// run fills stands in its own cell.
func (e *engine) passCleans(c *Cell, item string, passes []Pass, refs []Ref, stands []bool, cleans []*lots.Clean) {
	t, _ := e.src.Thing(item)
	for _, r := range cleans {
		with := e.cleanedWith(r)
		for _, i := range passedNext(passes, r) {
			if stands[i] {
				c.linkCleaned(with, refs[i], r)
			}
			if t.Kind != lots.KindLine || passes[i].Dst.Kind != graph.Segment {
				c.linkCleaned(with, passes[i].Dst, r)
			}
		}
	}
}

// passedNext lists the passes that may be the first after a clean.
func passedNext(passes []Pass, r *lots.Clean) (out []int) {
	next := int64(1) << 62
	for _, p := range passes {
		if p.Start >= r.At.To {
			next = min(next, p.over())
		}
	}
	for i, p := range passes {
		if p.over() > r.At.From && p.Start < next {
			out = append(out, i)
		}
	}
	return out
}

// AfterClean names what may have been the first after a clean, whether or not it says what it was done with: the
// fills of a vessel, and what a vessel not emptied for it held; what may have been drawn after it and before the books say so; of a line or
// path item the passes, what they filled, and the stretches of runs on the line.
func AfterClean(src Source, limits Limits, r *lots.Clean) []Ref {
	e := newEngine(src, limits)
	out := append(e.drawnAfter(r), e.passedAfter(r)...)
	if r.Subject.Kind != lots.KindLine {
		return dedupe(out)
	}
	for _, rec := range src.LineAfter(r.Subject.Code(), r.At.From, r.At.To) {
		if run, ok := rec.(*lots.Run); ok {
			feeds := e.feedings(&Cell{}, run)
			segs := e.segments(run, feeds, e.leftovers(run, feeds))
			for _, i := range e.ranNext(run, segs, r) {
				out = append(out, segs[i].ref)
			}
		}
	}
	return dedupe(out)
}

// dye stands in a derivation for whatever a clean left behind. No node has its name.
var dye = Ref{Kind: graph.Fill}

// drawnAfter names what a vessel's clean links to, or would if it said what it was done with: its fills, and what may have been drawn
// of them. Whatever may depend on it is derived as it stands, with the dye in the clean.
func (e *engine) drawnAfter(r *lots.Clean) (out []Ref) {
	e.dyed, e.entries[r.Seq] = r.Seq, true
	e.followAll()
	for entry := range e.entries {
		e.out.Cells[entryOwner(entry)] = e.entryCell(entry)
	}
	for run := range e.runs {
		e.out.Cells["r:"+run] = e.runCell(run)
	}
	for _, owner := range slices.Sorted(maps.Keys(e.out.Cells)) {
		c := e.out.Cells[owner]
		for _, l := range c.Links {
			if l.Src == dye {
				out = append(out, l.Dst)
			}
		}
		for _, p := range c.Passes {
			if slices.Contains(p.Srcs, dye) {
				out = append(out, e.refOfPass(p))
			}
		}
	}
	for _, entry := range slices.Sorted(maps.Keys(e.entries)) {
		rec, _ := e.src.Record(entry)
		if c, ok := rec.(*lots.Clean); ok && c.Seq != r.Seq && slices.Contains(e.cleanedWith(c), dye) {
			out = append(out, e.passedAfter(c)...)
		}
	}
	return out
}

// passedAfter names the passes of a line or path item that may be the first after a clean, and what they filled.
func (e *engine) passedAfter(r *lots.Clean) (out []Ref) {
	passes := e.passesIn(r.Subject.Code(), Beginning, Ever)
	refs := e.passRefs(r.Subject.Code(), passes)
	for _, i := range passedNext(passes, r) {
		out = append(out, refs[i])
		if r.Subject.Kind != lots.KindLine || passes[i].Dst.Kind != graph.Segment {
			out = append(out, passes[i].Dst)
		}
	}
	return out
}

// refOfPass names a pass as among those that started with it.
func (e *engine) refOfPass(p Pass) Ref {
	passes := e.passesIn(p.Item, p.Start, p.Start+1)
	i := slices.IndexFunc(passes, func(q Pass) bool { return q.Entry == p.Entry && q.Dst == p.Dst })
	return e.passRefs(p.Item, passes)[i]
}
