package lineage

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// Window is when a unit row's containers came off its run. All spans are half
// open, in Unix seconds, and cut to the run.
type Window struct {
	From, Until         int64 // as written; a missing end is the run's
	SureFrom, SureUntil int64 // without its doubt; a point where they are equal, nothing where they cross
	MayFrom, MayUntil   int64 // with its doubt
	None                bool  // no window, or wholly outside the run: from any part of it
	Edge                int64 // where HasEdge: a moment that may be all of the window; people write whole minutes, so it touches what ends and what begins then
	HasEdge             bool
}

// WindowOf reads a unit row's window; margin is the line's doubt in seconds. The
// doubt is put on the window as written, then it is cut to the run. outside reports
// a window that lies wholly outside the run.
func WindowOf(p *lots.Packed, run *lots.Run, margin int64) (w Window, outside bool) {
	start, end := run.Started.From, run.Ended.End()
	if !p.HasFirst && !p.HasLast {
		return Window{None: true}, false
	}
	lo, hi := start, end
	if p.HasFirst {
		lo = p.First.From
	}
	if p.HasLast {
		hi = p.Last.End()
	}
	if lo > hi || lo > end || hi < start || (lo < hi && (lo >= end || hi <= start)) {
		return Window{None: true}, true
	}
	cut := func(t int64) int64 { return min(max(t, start), end) }
	w = Window{From: cut(lo), Until: cut(hi), MayFrom: cut(lo - margin), MayUntil: cut(hi + margin), SureFrom: lo + margin, SureUntil: hi - margin}
	switch {
	case lo == hi || !p.HasLast && p.First.Certain():
		w.Edge, w.HasEdge = lo, true
	case !p.HasFirst && p.Last.Certain():
		w.Edge, w.HasEdge = hi, true
	}
	switch {
	case w.SureFrom > end || w.SureUntil < start || (w.SureFrom < w.SureUntil && (w.SureFrom == end || w.SureUntil == start)):
		w.SureFrom, w.SureUntil = end, start // what is certain of it lies outside the run
	case w.SureFrom < w.SureUntil:
		w.SureFrom, w.SureUntil = cut(w.SureFrom), cut(w.SureUntil)
	}
	return w, false
}

// touch sorts a run's segments into those a window certainly and possibly took from.
func (w Window) touch(segs []segment, runEnd int64) (certain, possible []int) {
	var touched []int
	for i := range segs {
		s := &segs[i]
		if w.None || s.meets(w.MayFrom, w.MayUntil, runEnd) || w.HasEdge && s.since <= w.Edge && w.Edge <= s.until {
			touched = append(touched, i)
		}
	}
	if len(touched) == 0 { // wholly in a stretch in which the line stood
		for i := range segs {
			touched = append(touched, i)
		}
		return nil, touched
	}
	if len(touched) == 1 {
		return touched, nil
	}
	for _, i := range touched {
		if !w.None && w.SureFrom <= w.SureUntil && segs[i].meets(w.SureFrom, w.SureUntil, runEnd) {
			certain = append(certain, i)
		} else {
			possible = append(possible, i)
		}
	}
	return certain, possible
}

// meets reports whether a stretch overlaps the segment; a point lies in the
// segment that holds it, the run's end in the last.
func (s *segment) meets(lo, hi, runEnd int64) bool {
	if lo == hi {
		return s.since <= lo && (lo < s.until || lo == runEnd && s.until == runEnd)
	}
	return min(hi, s.until) > max(lo, s.since)
}

func (s *segment) overlap(lo, hi int64) int64 { return max(0, min(hi, s.until)-max(lo, s.since)) }

// packUnits links a run's segments to the units packed from them.
func (e *engine) packUnits(c *Cell, run *lots.Run, product *lots.Product, segs []segment) {
	margin := e.lineOf(run.Line).Margin
	stretches := map[string]bool{}
	var claimed int64
	for _, rec := range e.src.Touching(run.Run) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Run != run.Run || len(segs) == 0 {
			continue
		}
		claimed += p.Quantity * product.PerCase
		w, outside := WindowOf(p, run, margin)
		if outside {
			c.Findings = append(c.Findings, Finding{"window-outside-run", p.Unit,
				fmt.Sprintf("the packing window of %s lies outside run %s: it is taken to be from any part of the run", p.Unit, run.Run), p.Seq})
		}
		certain, possible := w.touch(segs, run.Ended.End())
		if len(certain) == 0 {
			e.packAnyOf(c, run, p, segs, possible, stretches)
			continue
		}
		e.packCertain(c, p, float64(p.Quantity*product.PerCase), w, segs, certain)
		for _, i := range possible {
			c.Links = append(c.Links, contact(segs[i].ref, Ref{graph.Unit, p.Unit}, graph.Margin, p.Seq, segs[i].since))
		}
	}
	e.packRejects(c, run, segs, stretches)
	if claimed > run.Good+run.Rejects {
		c.Findings = append(c.Findings, Finding{"units-above-run", run.Run,
			fmt.Sprintf("the units of run %s hold %d containers, but only %d were filled", run.Run, claimed, run.Good+run.Rejects), run.Seq})
	}
}

// packCertain places a unit's containers on the segments it certainly came from, by its window as written.
func (e *engine) packCertain(c *Cell, p *lots.Packed, containers float64, w Window, segs []segment, certain []int) {
	var all int64
	for i := range segs {
		all += segs[i].overlap(w.From, w.Until)
	}
	for _, i := range certain {
		part := 1 / float64(len(certain))
		if all > 0 && !w.None {
			part = float64(segs[i].overlap(w.From, w.Until)) / float64(all)
		}
		segs[i].claimed += containers * part
		c.Links = append(c.Links, content(segs[i].ref, Ref{graph.Unit, p.Unit}, graph.Packed, containers*part, p.Seq, segs[i].since))
	}
}

// packAnyOf hangs a unit on the stretch of segments of which it came from one or
// more, unknown which: what feeds all of them is surely in it.
func (e *engine) packAnyOf(c *Cell, run *lots.Run, p *lots.Packed, segs []segment, touched []int, made map[string]bool) {
	ref := e.anyOf(c, run, segs, touched, made)
	c.Links = append(c.Links, content(ref, Ref{graph.Unit, p.Unit}, graph.Packed, unknown, p.Seq, segs[touched[0]].since))
}

// anyOf writes the stretch of several segments, once.
func (e *engine) anyOf(c *Cell, run *lots.Run, segs []segment, touched []int, made map[string]bool) Ref {
	first, last := &segs[touched[0]], &segs[touched[len(touched)-1]]
	ref := e.stretchRef(run, first.since, last.until)
	if !made[ref.Code] {
		made[ref.Code] = true
		node := Node{Ref: ref, Home: run.Run, Since: first.since, Until: last.until, Den: 1, Entry: run.Seq}
		for _, i := range touched {
			node.Total += segs[i].filled
			c.Links = append(c.Links, contact(segs[i].ref, ref, graph.Margin, run.Seq, segs[i].since))
		}
		node.Den = max(node.Total, 1)
		c.Nodes = append(c.Nodes, node)
		e.feedAnyOf(c, ref, segs, touched)
	}
	return ref
}

func (e *engine) stretchRef(run *lots.Run, since, until int64) Ref {
	return Ref{graph.Stretch, run.Run + "@" + lots.Stamp(since, e.zone) + ".." + lots.Stamp(until, e.zone)}
}

// feedAnyOf links a stretch with what feeds all of its segments by content (of a
// vessel: its first fill there) and, as contacts, with every other feed.
func (e *engine) feedAnyOf(c *Cell, ref Ref, segs []segment, touched []int) {
	done := map[Ref]bool{}
	for _, in := range segs[touched[0]].in {
		if in.grade == graph.Content && !done[in.src] && e.feedsAll(in, segs, touched) {
			done[in.src] = true
			c.Links = append(c.Links, content(in.src, ref, in.cause, unknown, in.entry, segs[touched[0]].since))
		}
	}
	for _, i := range touched {
		for _, in := range segs[i].in {
			if !done[in.src] {
				done[in.src] = true
				c.Links = append(c.Links, contact(in.src, ref, graph.Margin, in.entry, segs[i].since))
			}
		}
	}
}

// feedsAll reports whether a supply of the first segment feeds every other by
// content: the same lot or unit, or the same vessel with fills that carry this one.
func (e *engine) feedsAll(first supply, segs []segment, touched []int) bool {
	for _, i := range touched {
		if !slices.ContainsFunc(segs[i].in, func(in supply) bool {
			if in.grade != graph.Content {
				return false
			}
			if first.vessel == "" {
				return in.src == first.src
			}
			return in.vessel == first.vessel && in.since >= first.since && in.root <= first.since
		}) {
			return false
		}
	}
	return true
}
