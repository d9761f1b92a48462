package trace

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Holdings lists what has an open hold of its own, with the entries of the holds. A hold of
// a vessel stops what was in it at the time: it counts while the vessel still holds that,
// however much came to it since, and no longer.
func Holdings(tx *store.Tx) (map[string][]int64, error) {
	holds, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	out := map[string][]int64{}
	for _, h := range holds {
		for _, code := range h.subject.Codes {
			if h.subject.Kind == lots.KindVessel && !r.stillThere(code, h.at) {
				continue
			}
			out[code] = append(out[code], h.entry)
		}
	}
	return out, tx.Err()
}

// stillThere reports whether a vessel holds now what it held at a time.
func (r *resolver) stillThere(vessel string, at lots.When) bool {
	content, ok := ContentOf(r.tx, vessel)
	if !ok {
		return false
	}
	t := &target{}
	r.addHeld(t, lots.KindVessel, vessel, at)
	return slices.ContainsFunc(t.starts, func(s start) bool { return Carries(r.tx, vessel, content.Fill.Code, s.Code) })
}

// Carries reports whether a fill of a vessel is an earlier one, or holds what was left of it.
func Carries(tx *store.Tx, vessel, fill, earlier string) bool {
	fills := map[int64]store.Node{}
	var todo []int64
	for _, n := range tx.NodesOf(vessel) {
		if n.Kind != graph.Fill {
			continue
		}
		fills[n.ID] = n
		if n.Code == fill {
			todo = append(todo, n.ID)
		}
	}
	for seen := map[int64]bool{}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if fills[at].Code == earlier {
			return true
		}
		for _, src := range tx.SourcesOf(at, graph.Content) {
			if _, own := fills[src]; own && !seen[src] {
				seen[src] = true
				todo = append(todo, src)
			}
		}
	}
	return false
}
