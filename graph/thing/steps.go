package thing

import (
	"cmp"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Step is what a thing came from, or went into, by one link of the lineage.
type Step struct {
	Kind     lots.Kind // of what has a page: a segment is its run, a fill its vessel, a pass its line or path item
	Code     string
	Text     string // what it is called
	Quantity string // how much of it; empty where it is not known
	Why      string // how the two are linked
	Possible bool   // not recorded, but not ruled out
}

// steps tells what is linked to a thing one step back and one step on.
func (w *writer) steps() error {
	ids := w.nodes()
	if len(ids) == 0 {
		return nil
	}
	w.t.From = w.beside(graph.Back, ids)
	w.t.To = w.beside(graph.Forward, ids)
	return w.tx.Err()
}

// nodes are the nodes that a thing is in the lineage: of a vessel what it holds now, or held last; of a run
// all its stretches.
func (w *writer) nodes() []int64 {
	var found []store.Node
	switch w.t.Kind {
	case lots.KindLot, lots.KindBrew, lots.KindUnit:
		found = w.tx.NodesNamed(w.t.Code)
	case lots.KindRun:
		found = w.tx.NodesOf(w.t.Code)
	case lots.KindVessel, lots.KindLine:
		if found = w.tx.NodesOf(w.t.Code); len(found) > 1 {
			found = found[len(found)-1:]
		}
	}
	ids := make([]int64, len(found))
	for i, n := range found {
		ids[i] = n.ID
	}
	return ids
}

// beside lists the things at the other ends of links, each once, those that are sure first.
func (w *writer) beside(dir graph.Direction, ids []int64) []Step {
	links, nodes := w.tx.Beside(dir, ids)
	var out []Step
	sums := map[Step]float64{}
	units := map[Step]func(float64) string{}
	for _, l := range links {
		end, source := l.Dst, l.Src
		if dir == graph.Back {
			end = l.Src
		}
		if slices.Contains(ids, end) {
			continue // within the run itself
		}
		s := w.step(nodes[end], l)
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
		sums[s] += l.Qty // unknown once a part of it is
		if n, ok := nodes[source]; ok {
			units[s] = w.figureOf(n)
		} else {
			units[s] = w.figureOfOwn()
		}
	}
	slices.SortStableFunc(out, func(a, b Step) int { return cmp.Compare(rank(a), rank(b)) })
	for i, s := range out {
		if q := sums[s]; !math.IsNaN(q) && q > 0 && !s.Possible {
			out[i].Quantity = units[s](q)
		}
	}
	return out
}

func rank(s Step) int {
	if s.Possible {
		return 1
	}
	return 0
}

// step names what stands at the other end of a link.
func (w *writer) step(n lineage.Node, l graph.Link) Step {
	s := Step{Code: n.Code, Possible: l.Grade == graph.Contact, Why: l.Cause.Text()}
	switch n.Kind {
	case graph.Lot:
		s.Kind, s.Text = lots.KindLot, w.lotName(n.Code)
	case graph.Brew:
		s.Kind, s.Text = lots.KindBrew, n.Home
	case graph.Fill:
		s.Kind, s.Code = lots.KindVessel, n.Home
		s.Text = "since " + w.moment(n.Since)
		if _, kind, _ := w.tx.Introduces(n.Home); kind == lots.KindLine {
			s.Kind, s.Text = lots.KindLine, "what passed at "+w.moment(n.Since)
		}
	case graph.Segment, graph.Stretch:
		s.Kind, s.Code = lots.KindRun, n.Home
		if run, ok := w.tx.Run(n.Home); ok {
			s.Text = w.name(run.Product)
		}
	case graph.Unit:
		s.Kind, s.Text = lots.KindUnit, w.unitName(n.Code)
	}
	return s
}

// figureOf gives how quantities of a node are written: a link carries the base unit of its source.
func (w *writer) figureOf(n lineage.Node) func(float64) string {
	switch n.Kind {
	case graph.Lot:
		return func(q float64) string { return w.ofLot(n.Code, q) }
	case graph.Segment, graph.Stretch:
		return func(q float64) string { return counted(int64(math.Round(q)), "container") }
	case graph.Unit:
		one := "case"
		if w.isKeg(n.Code) {
			one = "keg"
		}
		return func(q float64) string { return lots.Figure(lots.Nine(q)) + " " + one + plural(q) }
	}
	return w.volume
}

// figureOfOwn is figureOf for the thing itself as the source.
func (w *writer) figureOfOwn() func(float64) string {
	kind := graph.Fill
	switch w.t.Kind {
	case lots.KindLot:
		kind = graph.Lot
	case lots.KindRun:
		kind = graph.Segment
	case lots.KindUnit:
		kind = graph.Unit
	}
	return w.figureOf(lineage.Node{Ref: lineage.Ref{Kind: kind, Code: w.t.Code}})
}
