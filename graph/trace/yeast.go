package trace

import (
	"cmp"
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// YeastSource is a fill that yeast was cropped from, upstream of yeast that is asked about.
type YeastSource struct {
	Reached
	Vessel      string
	Crops       []string // cropped from it, and upstream of what is asked about or just that
	Generations int      // how many croppings lie between the two, by the chain in Why
}

// YeastSources lists the fills that the yeast among what a question starts at was cropped from, and the
// yeast pitched into those, through all generations, nearest first. Yeast is a crop, a lot of kind yeast and
// what a brink holds; other starts are passed over. Cuts and the hazard hold upstream, too.
func YeastSources(tx *store.Tx, question Question) ([]YeastSource, error) {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site(), literal: question.Literal}
	from, err := r.resolveAll(question.From)
	if err != nil {
		return nil, err
	}
	from.starts = slices.DeleteFunc(from.starts, func(s start) bool { return !isYeast(tx, s.Node) })
	if len(from.starts) == 0 {
		return nil, tx.Err()
	}
	cut, err := r.cut(question.Without)
	if err != nil {
		return nil, err
	}
	q, err := walkPast(tx, graph.Back, question.Hazard, from, cut)
	if err != nil {
		return nil, err
	}
	return q.yeastSources(), tx.Err()
}

// isYeast reports whether a node is a crop, a lot of yeast, or what a brink holds.
func isYeast(tx *store.Tx, n store.Node) bool {
	thing, _ := tx.Thing(n.Home)
	switch n.Kind {
	case graph.Fill:
		return thing.VesselKind == "brink"
	case graph.Lot:
		thing, _ = tx.Thing(n.Code)
		return thing.ItemKind == "yeast" || slices.ContainsFunc(tx.Touching(n.Code), func(rec lots.Record) bool {
			c, ok := rec.(*lots.Crop)
			return ok && c.Lot == n.Code
		})
	}
	return false
}

// crops reports whether a link is a cropping: nothing else comes into a lot.
func crops(src, dst graph.Node) bool { return src.Kind == graph.Fill && dst.Kind == graph.Lot }

func (q *asked) yeastSources() []YeastSource {
	cropped := map[int64][]string{} // fill to its crops
	for l := range q.reach.Links() {
		if src, dst := q.reached.Graph.Node(l.Src), q.reached.Graph.Node(l.Dst); crops(src, dst) {
			cropped[l.Src] = append(cropped[l.Src], dst.Code)
		}
	}
	var out []YeastSource
	for _, id := range slices.Sorted(maps.Keys(cropped)) {
		n, steps := q.reached.Nodes[id], q.reach.Why(id)
		s := YeastSource{Reached: Reached{n.Code, q.reach.Band(id).String(), q.why(id)}, Vessel: n.Home, Crops: sortedSet(cropped[id])}
		for i := range steps[1:] {
			if crops(steps[i+1].Node, steps[i].Node) {
				s.Generations++
			}
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b YeastSource) int {
		return cmp.Or(cmp.Compare(a.Generations, b.Generations), cmp.Compare(a.Code, b.Code))
	})
	return out
}
