package trace

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// Poured is beer that was served straight from a vessel: it stands on no unit and in no shipment.
type Poured struct {
	Vessel string
	Band   graph.Band // of the fills it was drawn from, the surest
	ML     float64
	Unsure bool // it was drawn from one of several vessels, or from what by the books was not there
	At     lots.When
	Entry  int64
}

// Poured lists what the taproom drew from the fills in an answer, in order of time.
func (a *Answer) Poured() []Poured {
	bands, vessels := map[string]graph.Band{}, map[string]bool{}
	for _, f := range a.Fills {
		bands[f.Code], vessels[f.Vessel] = sureness(f.Band != graph.In.String()), true
	}
	return a.asked.poured(bands, vessels)
}

// poured lists what the taproom drew from fills of some vessels.
func (q *asked) poured(bands map[string]graph.Band, vessels map[string]bool) []Poured {
	var out []Poured
	fills := map[string][]int64{} // of each vessel, by their times
	for code := range bands {
		for _, n := range q.tx.NodesNamed(code) {
			if n.Kind == graph.Fill && vessels[n.Home] {
				fills[n.Home] = append(fills[n.Home], n.Since)
			}
		}
	}
	for vessel, times := range fills {
		for _, entry := range q.tx.RemovalsOn(vessel, times) {
			rec, _ := q.tx.Record(entry)
			r, ok := rec.(*lots.Removal)
			if !ok || r.Reason != "taproom" || r.Subject.Kind != lots.KindVessel {
				continue
			}
			p := Poured{Vessel: vessel, At: r.At, Entry: r.Seq}
			for _, d := range q.tx.DrawsOf(r.Seq) {
				band, hit := bands[lineage.FillRef(vessel, d.Fill, q.site.Zone).Code]
				if d.Vessel != vessel || !hit {
					continue
				}
				p.Band = max(p.Band, sureness(band != graph.In || d.OneOf))
				p.Unsure = p.Unsure || d.State != lineage.Drew || d.OneOf
				if p.ML += d.Qty; d.OneOf { // nothing is drawn from the books
					p.ML = r.Qty.Millilitres()
				}
			}
			if p.Band != graph.Out {
				out = append(out, p)
			}
		}
	}
	slices.SortFunc(out, func(x, y Poured) int {
		return cmp.Or(cmp.Compare(x.At.From, y.At.From), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Vessel, y.Vessel))
	})
	return out
}
