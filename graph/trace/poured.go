package trace

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// Poured is beer that was served straight from a vessel: it stands on no unit and in no shipment.
type Poured struct {
	Vessel string
	Band   graph.Band
	ML     float64
	At     lots.When
	Entry  int64
}

// Poured lists what the taproom drew from the fills that an answer reaches, in order of time.
func (a *Answer) Poured() []Poured {
	q := a.asked
	var out []Poured
	for n, band := range q.reach.All() {
		node := q.reached.Nodes[n.ID]
		if n.Kind != graph.Fill {
			continue
		}
		for _, rec := range q.tx.Touching(node.Home) {
			r, ok := rec.(*lots.Removal)
			if !ok || r.Reason != "taproom" || r.Subject.Kind != lots.KindVessel {
				continue
			}
			for _, d := range q.tx.DrawsOf(r.Seq) {
				if d.Vessel == node.Home && d.Fill == node.Since {
					p := Poured{Vessel: node.Home, Band: band, ML: d.Qty, At: r.At, Entry: r.Seq}
					if d.OneOf {
						p.Band, p.ML = graph.Possible, float64(r.Qty.Millilitres())
					}
					out = append(out, p)
				}
			}
		}
	}
	slices.SortFunc(out, func(x, y Poured) int {
		return cmp.Or(cmp.Compare(x.At.From, y.At.From), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Vessel, y.Vessel))
	})
	return out
}
