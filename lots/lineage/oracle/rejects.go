package oracle

import (
	"math"

	"heeltap/graph"
	"heeltap/lots/lineage"
)

// cutRuns cuts all runs, and notes what is certainly claimed of each segment by units and by emptied rejects.
func (w *world) cutRuns() {
	for _, r := range w.runs {
		w.findLeft(r)
		w.cutRun(r)
		for _, row := range r.rows {
			for k, part := range w.hang(r, row).parts {
				r.segs[k].claim += part * float64(row.Quantity*r.perCase)
			}
		}
		if len(r.segs) == 1 {
			r.segs[0].claim += r.emptied
		}
		if r.emptied > float64(r.rec.Rejects)+slack {
			w.fault("rejects-above-run", r.rec.Run)
		}
	}
}

// rejectsRef is what a run's rejects hang on: any of its segments.
func (r *run) rejectsRef(w *world) (lineage.Ref, bool) {
	switch n := len(r.segs); n {
	case 0:
		return lineage.Ref{}, false
	case 1:
		return r.segRef(0), true
	default:
		return w.stretchRef(r, r.segs[0].s, r.segs[n-1].e), true
	}
}

// writeRejects links containers that a run rejected to what they went into.
func (w *world) writeRejects(code string, dst lineage.Ref, oneOf bool, containers float64) {
	r := w.runOf[code]
	ref, ok := r.rejectsRef(w)
	switch {
	case !ok:
	case oneOf:
		w.contact(ref, dst, graph.OneOf)
	case len(r.segs) > 1:
		w.content(ref, dst, graph.Unpacked, math.NaN())
	default:
		w.content(ref, dst, graph.Unpacked, containers/max(r.segs[0].total, r.segs[0].claim, 1))
	}
}
