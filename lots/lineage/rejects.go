package lineage

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// Rejects of a run that are emptied into a vessel or fed to another run were filled at some moment of it, nobody
// knows which: they come from any of its segments, as a unit without a window does.

// rejectsOf finds the node that a run's rejects hang on: its only segment, or the stretch of all of them.
func (e *engine) rejectsOf(code string) (Ref, bool) {
	run, _, ok := e.runOf(code)
	if !ok {
		return Ref{}, false
	}
	feeds := e.feedings(&Cell{}, run)
	segs := e.segments(run, feeds, e.leftovers(run, feeds))
	switch len(segs) {
	case 0:
		return Ref{}, false
	case 1:
		return segs[0].ref, true
	}
	return e.stretchRef(run, segs[0].since, segs[len(segs)-1].until), true
}

// linkRejects links what runs rejected to what it was emptied into. What share of a stretch it is, nobody knows.
func (e *engine) linkRejects(c *Cell, entry int64, from lots.Ref, qty float64, dst Ref, at int64) {
	for _, ref := range stockRefs(e, from) {
		switch {
		case from.OneOf():
			c.Links = append(c.Links, contact(ref, dst, graph.OneOf, entry, at))
		case ref.Kind == graph.Stretch:
			c.Links = append(c.Links, content(ref, dst, graph.Unpacked, unknown, entry, at))
		default:
			c.Links = append(c.Links, content(ref, dst, graph.Unpacked, qty, entry, at))
		}
	}
}

// packRejects writes the stretch that a run's rejects hang on where any were emptied or fed, and tells where
// more were than it rejected.
func (e *engine) packRejects(c *Cell, run *lots.Run, segs []segment, made map[string]bool) {
	used, named := 0.0, false
	for _, rec := range e.src.Touching(run.Run) {
		from, count := rejectsUsed(rec)
		if from.Kind != lots.KindRun || !slices.Contains(from.Codes, run.Run) {
			continue
		}
		named = true
		if !from.OneOf() {
			used += count
		}
	}
	if used > float64(run.Rejects)+eps {
		c.Findings = append(c.Findings, Finding{"rejects-above-run", run.Run,
			fmt.Sprintf("%s rejects of run %s were emptied or fed, but only %d were recorded", lots.Figure(used), run.Run, run.Rejects), run.Seq})
	}
	switch {
	case !named || len(segs) == 0:
	case len(segs) == 1:
		segs[0].claimed += used
	default:
		var all []int
		for i := range segs {
			all = append(all, i)
		}
		e.anyOf(c, run, segs, all, made)
	}
}

// rejectsUsed is what a record takes from, and how many containers of rejects where that is runs.
func rejectsUsed(rec lots.Record) (lots.Ref, float64) {
	switch r := rec.(type) {
	case *lots.Addition:
		return r.From, r.Count
	case *lots.Feed:
		return r.From, r.Count
	}
	return lots.Ref{}, 0
}

// followRejects marks what the rejects of the marked runs went into: it hangs on their segments.
func (e *engine) followRejects() {
	for run := range e.runs {
		for _, rec := range e.src.Touching(run) {
			from, _ := rejectsUsed(rec)
			if from.Kind != lots.KindRun || !slices.Contains(from.Codes, run) {
				continue
			}
			if f, ok := rec.(*lots.Feed); ok {
				e.runs[f.Run] = true
			} else {
				e.entries[rec.Entry()] = true
			}
		}
	}
}
