package trace

import (
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/lots/store"
)

// unpacked puts what is affected of a repack without a date code of its own where its codes were printed: on the
// windows of the units that were fed to it. What was affected there already stays as it is; else only the part that
// was repacked is affected, and nothing printed tells it from the rest.
func (a *Answer) unpacked(spans map[string][]bandedSpan) map[string][]bandedSpan {
	tx := a.asked.tx
	for _, code := range slices.Sorted(maps.Keys(spans)) {
		run, ok := tx.Run(code)
		if !ok || !Bare(tx, run) {
			continue
		}
		for _, n := range bareSegments(tx, run) {
			for _, s := range spans[code] {
				if s.meets(n.Since, n.Until) {
					a.unpack(spans, n, s.band, 1, map[int64]bool{})
					break
				}
			}
		}
	}
	return spans
}

// unpack marks the windows of what was fed to a stretch, through any number of repacks.
func (a *Answer) unpack(spans map[string][]bandedSpan, n store.Node, band graph.Band, part float64, busy map[int64]bool) {
	if busy[n.ID] {
		return
	}
	busy[n.ID] = true
	defer delete(busy, n.ID)
	sources := a.asked.tx.SourcesInto(n.ID)
	through := !(coder{a.asked.tx, a.asked.hits(), nil}).allOf(n, sources)
	for _, s := range sources {
		switch {
		case s.Kind != graph.Unit:
		case through && a.asked.reach.Band(s.ID) == graph.Out: // only other units that were fed brought it in
		default:
			of, grade := 1.0, band
			if s.Known && s.Grade == graph.Content && s.Total > 0 {
				of = min(1, s.Qty/s.Total)
			}
			if s.Grade != graph.Content {
				grade = graph.Possible
			}
			a.unpackUnit(spans, s.Node, grade, part*of, busy)
		}
	}
}

// unpackUnit marks the windows of a fed unit that are not affected already.
func (a *Answer) unpackUnit(spans map[string][]bandedSpan, unit store.Node, band graph.Band, part float64, busy map[int64]bool) {
	tx := a.asked.tx
	reached := a.asked.reach.Band(unit.ID) != graph.Out
	for _, p := range rowsOf(tx, unit.Code) {
		run, ok := tx.Run(p.Run)
		if !ok {
			continue
		}
		if slices.Contains(CodesOfRow(tx, p), "") || Bare(tx, run) {
			for _, n := range bareSegments(tx, run) {
				a.unpack(spans, n, band, part, busy)
			}
			continue
		}
		if s, ok := packedSpan(tx, unit.Code, Part{Run: p.Run, Entry: p.Seq}); ok && !(reached && len(spans[p.Run]) > 0) {
			spans[p.Run] = append(spans[p.Run], bandedSpan{s, band, part})
		}
	}
}
