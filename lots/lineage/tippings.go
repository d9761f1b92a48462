package lineage

import (
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// What is tipped back into a lot may be in what is used of that lot from then on, and so may what had been tipped
// into it before. How much of it went where nobody knows: the links are contacts, and only the books move.

// tippedInto finds what may have been in a lot at a moment or before: lots that were tipped into it, and when at the earliest.
func (e *engine) tippedInto(lot string, by int64) (from []string, since []int64) {
	bound := map[string]int64{lot: by}
	for todo := []string{lot}; len(todo) > 0; todo = todo[1:] {
		for _, rec := range e.src.Touching(todo[0]) {
			t, ok := rec.(*lots.Tipping)
			if !ok || t.Into != todo[0] || t.At.From > bound[todo[0]] {
				continue
			}
			since = append(since, t.At.From)
			last := min(bound[todo[0]], t.At.To)
			for _, code := range t.From.Codes {
				if had, ok := bound[code]; !ok || had < last && code != lot {
					bound[code] = last
					todo = append(todo, code)
				}
			}
		}
	}
	delete(bound, lot)
	return slices.Sorted(maps.Keys(bound)), since
}

// tippedRefs are the lots that may have been in what was named as a source, at a moment or before.
func (e *engine) tippedRefs(from lots.Ref, by int64) (out []Ref) {
	if from.Kind != lots.KindLot {
		return nil
	}
	for _, code := range from.Codes {
		tipped, _ := e.tippedInto(code, by)
		for _, x := range tipped {
			out = append(out, Ref{graph.Lot, x})
		}
	}
	return dedupe(out)
}

// withTipped lists the lots named as a source, and those that may have been in them.
func (e *engine) withTipped(from lots.Ref, by int64) []string {
	out := slices.Clone(from.Codes)
	for _, r := range e.tippedRefs(from, by) {
		if !slices.Contains(out, r.Code) {
			out = append(out, r.Code)
		}
	}
	return out
}

// tippedAt lists when more lots may have been in one from: a run is cut there.
func (e *engine) tippedAt(from lots.Ref, by int64) (out []int64) {
	if from.Kind != lots.KindLot {
		return nil
	}
	for _, code := range from.Codes {
		_, since := e.tippedInto(code, by)
		for _, t := range since {
			before, _ := e.tippedInto(code, t-1)
			if after, _ := e.tippedInto(code, t); len(after) > len(before) {
				out = append(out, t)
			}
		}
	}
	return out
}

// linkTipped links what may have been in the lots of a source at a time to what they went into.
func (e *engine) linkTipped(c *Cell, entry int64, from lots.Ref, at lots.When, dst Ref) {
	for _, src := range e.tippedRefs(from, at.To) {
		c.Links = append(c.Links, contact(src, dst, graph.Tipped, entry, at.From))
	}
}

// tippedOn marks what was used of a lot, and of the lots that it was tipped into.
func (e *engine) tippedOn(lot string, seen map[string]bool) {
	if seen[lot] {
		return
	}
	seen[lot] = true
	for _, rec := range e.src.Touching(lot) {
		switch r := rec.(type) {
		case *lots.BrewInput, *lots.Addition:
			e.mark(rec.Entry())
		case *lots.Clean:
			e.mark(r.Seq)
			e.cleanedOther(r)
		case *lots.Feed:
			e.runs[r.Run] = true
			if run, _, ok := e.runOf(r.Run); ok {
				e.followLine(run.Line, run.Started.From, run.Ended.End())
			}
		case *lots.Tipping:
			if r.Into != lot {
				e.tippedOn(r.Into, seen)
			}
		}
	}
}
