package trace

import (
	"cmp"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// Place is where a node stands in a picture of an answer.
type Place struct {
	Kind graph.Kind
	Code string // of a segment or stretch that of its run
	Home string // vessel of a fill, beer of a brew
}

// Link is one link that an answer went over.
type Link struct {
	From, To Place
	Sure     bool    // content, between what is in
	Amount   float64 // of the starting lot, in its own unit; NaN where unknown
	Litres   float64 // what is recorded to have gone, 1 kg as 1 L; backwards, of that what is in what was asked about; NaN where unknown, or in pieces
	Entry    int64
	Cause    graph.Cause
}

// Measure is the unit of the amounts that an answer's links carry; empty where they carry none.
func (a *Answer) Measure() lots.Unit {
	if a.asked.dir == graph.Back {
		return ""
	}
	return a.asked.unit
}

// Links lists the links between the nodes of an answer, in order of their codes.
func (a *Answer) Links() []Link {
	q := a.asked
	var out []Link
	for l := range q.reach.Links() {
		before := q.reach.Band(l.Src)
		if q.dir == graph.Back {
			before = q.reach.Band(l.Dst)
		}
		link := Link{From: q.placeOf(l.Src), To: q.placeOf(l.Dst), Sure: l.Grade == graph.Content && before == graph.In, Amount: math.NaN(), Litres: q.litresOf(l.Link), Entry: l.Entry, Cause: l.Cause}
		if q.unit != "" && q.dir == graph.Forward {
			link.Amount = lots.Nine(q.unit.Of(l.Amount))
		}
		out = append(out, link)
	}
	slices.SortFunc(out, func(a, b Link) int {
		return cmp.Or(cmp.Compare(a.From.Code, b.From.Code), cmp.Compare(a.To.Code, b.To.Code), cmp.Compare(a.Entry, b.Entry))
	})
	return out
}

// litresOf is what is recorded to have gone over a link.
func (q *asked) litresOf(l graph.Link) float64 {
	from, to := q.reached.Nodes[l.Src], q.reached.Nodes[l.Dst]
	litres := math.NaN()
	switch from.Kind {
	case graph.Lot:
		switch unit := unitOfLot(q.tx, from.Code); unit.Dim() {
		case lots.Mass:
			litres = l.Qty / 1e6 // mg
		case lots.Volume:
			litres = l.Qty / 1e3
		}
	case graph.Brew, graph.Fill:
		litres = l.Qty / 1e3
	case graph.Segment, graph.Stretch:
		if _, product, ok := runOf(q.tx, from.Home); ok {
			litres = l.Qty * float64(product.ContainerML) / 1e3
		}
	}
	if q.dir == graph.Back && to.Total > 0 {
		litres *= q.reach.Amount(l.Dst) / to.Total
	}
	return litres
}

func (q *asked) placeOf(id int64) Place {
	n := q.reached.Nodes[id]
	p := Place{Kind: n.Kind, Code: n.Code, Home: n.Home}
	if n.Kind == graph.Segment || n.Kind == graph.Stretch {
		p.Code = n.Home
	}
	return p
}

// End is a node of an answer and how much of the starting lot ends there: what none of
// its links passes on.
type End struct {
	Place
	Band    graph.Band
	Current bool    // a fill that a vessel holds now
	Left    float64 // of the starting lot, in its base unit; NaN where unknown
	Beyond  float64 // of that, what was fed beyond what can be in the containers
}

// Ends lists where the starting lot ends. What is left adds up to the lot, where all of it is known.
func (a *Answer) Ends() []End {
	q := a.asked
	var out []End
	for n, band := range q.reach.All() {
		node := q.reached.Nodes[n.ID]
		out = append(out, End{q.placeOf(n.ID), band, n.Kind == graph.Fill && node.Until == 0, q.reach.Left(n.ID), q.reach.Beyond(n.ID)})
	}
	return out
}
