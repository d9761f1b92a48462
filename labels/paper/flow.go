package paper

import (
	"math"
	"slices"
)

// Flow is a picture of what went where: columns from left to right, boxes in them, and bands
// between boxes as wide as what went over them. What is only possible is dashed and has a
// question mark, so that it is told apart without colour.
//
// Edges may skip columns (their bands pass between the boxes there), run within a column or
// run backwards (they end in an arrow). An edge that names no box, or leads from a box to
// itself, is not drawn.
type Flow struct {
	Columns []string
	Nodes   []FlowNode
	Edges   []FlowEdge
	Caption string
}

// FlowNode is a box. Its column counts from 0; one that there is not is taken as the nearest.
type FlowNode struct {
	ID            string
	Column        int
	Title, Detail string
	Sure          bool
	// Link and Codes are for pages that draw the box: where it leads, and what it stands for.
	Link  string
	Codes []string
	Many  bool // it stands for a group that can be opened
}

// FlowEdge is a band between two boxes.
type FlowEdge struct {
	From, To string
	Sure     bool
	Weight   float64 // how much went, in one unit for all edges; NaN where unknown: a thin line with a ring on it
}

// known reports whether the weight says how much went.
func (e FlowEdge) known() bool { return e.Weight >= 0 && !math.IsInf(e.Weight, 1) }

// text is a title as it is shown: what is only possible has a question mark before it.
func (n FlowNode) text() string {
	if n.Sure {
		return n.Title
	}
	return "? " + n.Title
}

// The measures of a picture. A unit is about a CSS pixel, and a fifth to a quarter of a
// millimetre on paper.
const (
	leastBox  = 122.0 // how wide boxes are
	mostBox   = 220.0
	between   = 60.0  // columns
	goodWidth = 740.0 // of a picture of few columns
	boxPad    = 5.0
	titleSize = 11.0
	smallSize = 9.5
	headSize  = 12.0
	headRoom  = 26.0
	oneLine   = 20.0 // how high boxes are
	twoLines  = 33.0
	gap       = 7.0  // between boxes
	passing   = 4.0  // between bands that pass
	widest    = 14.0 // of bands
	tallest   = 170.0
	thinnest  = 1.1
	keyRoom   = 24.0
)

// spot is what takes up room in a column: a box, or a place where a band passes.
type spot struct {
	node     *FlowNode // nil where a band passes
	column   int
	y, h     float64
	outs, in []*leg
}

func (s *spot) middle() float64 { return s.y + s.h/2 }

// leg is the piece of an edge between two neighbouring columns.
type leg struct {
	from, to *spot
	y1, y2   float64 // where it meets them
	width    float64
}

// route is how an edge runs: from left to right by legs; or, within one column, from a to b.
type route struct {
	edge     FlowEdge
	legs     []*leg
	backward bool // the edge runs from the last leg's end to the first leg's start
	a, b     *spot
	width    float64
}

// plan is a picture laid out.
type plan struct {
	columns [][]*spot
	names   []string
	routes  []*route
	boxWide float64
	height  float64
	ruler   ruler
}

func (p *plan) left(column int) float64 { return float64(column) * (p.boxWide + between) }

func (p *plan) width() float64 { return p.left(len(p.columns)-1) + p.boxWide }

// layOut places boxes and bands.
func (f *Flow) layOut(r ruler) *plan {
	p := &plan{ruler: r}
	at := p.place(f)
	n := float64(len(p.columns))
	p.boxWide = min(max(leastBox, (goodWidth-(n-1)*between)/n), mostBox)
	p.lead(f, at)
	p.size()
	p.untangle()
	p.settle()
	p.ports()
	return p
}

// place sorts the boxes into columns; empty columns are left out, but one stays.
func (p *plan) place(f *Flow) map[string]*spot {
	all := make([][]*spot, max(1, len(f.Columns)))
	at := make(map[string]*spot, len(f.Nodes))
	for i := range f.Nodes {
		n := &f.Nodes[i]
		c := min(max(n.Column, 0), len(all)-1)
		s := &spot{node: n}
		all[c] = append(all[c], s)
		at[n.ID] = s
	}
	for i, column := range all {
		if len(column) == 0 && (i < len(all)-1 || len(p.columns) > 0) {
			continue
		}
		for _, s := range column {
			s.column = len(p.columns)
		}
		name := ""
		if i < len(f.Columns) {
			name = f.Columns[i]
		}
		p.columns, p.names = append(p.columns, column), append(p.names, name)
	}
	return at
}

// lead finds each edge's way; where it skips columns it gets a place to pass in each.
func (p *plan) lead(f *Flow, at map[string]*spot) {
	for _, e := range f.Edges {
		from, to := at[e.From], at[e.To]
		if from == nil || to == nil || from == to {
			continue
		}
		r := &route{edge: e, a: from, b: to, width: thinnest}
		p.routes = append(p.routes, r)
		if from.column == to.column {
			continue
		}
		if r.backward = from.column > to.column; r.backward {
			from, to = to, from
		}
		for from.column < to.column {
			next := to
			if from.column+1 < to.column {
				next = &spot{column: from.column + 1}
				p.columns[next.column] = append(p.columns[next.column], next)
			}
			l := &leg{from: from, to: next}
			from.outs, next.in = append(from.outs, l), append(next.in, l)
			r.legs = append(r.legs, l)
			from = next
		}
	}
}

// size gives bands their width (relative to the largest weight, but so that no box gets very
// tall) and boxes their height.
func (p *plan) size() {
	scale := p.scale()
	for _, r := range p.routes {
		if r.edge.known() && scale.heaviest > 0 {
			r.width = max(thinnest, r.edge.Weight/scale.heaviest*scale.widest)
		}
		for _, l := range r.legs {
			l.width = r.width
		}
	}
	for _, column := range p.columns {
		for _, s := range column {
			s.h = max(p.boxHeight(s), stack(s.in), stack(s.outs))
		}
	}
}

// scale is the largest weight, and the width of its band.
type scale struct{ heaviest, widest float64 }

func (p *plan) scale() scale {
	s := scale{0, widest}
	for _, r := range p.routes {
		if r.edge.known() {
			s.heaviest = max(s.heaviest, r.edge.Weight)
		}
	}
	left, right := map[*spot]float64{}, map[*spot]float64{} // of each box, in largest weights
	for _, r := range p.routes {
		if len(r.legs) == 0 || !r.edge.known() || s.heaviest == 0 {
			continue
		}
		part := r.edge.Weight / s.heaviest
		first, last := r.legs[0].from, r.legs[len(r.legs)-1].to
		right[first] += part
		left[last] += part
		s.widest = min(s.widest, tallest/max(1, right[first], left[last]))
	}
	return s
}

// boxHeight is the room that a box's text needs; a band that passes needs none.
func (p *plan) boxHeight(s *spot) float64 {
	if s.node == nil {
		return 0
	}
	if _, inLine := p.inLine(s.node); s.node.Detail == "" || inLine {
		return oneLine
	}
	return twoLines
}

// inLine gives where the detail starts if it fits beside the title.
func (p *plan) inLine(n *FlowNode) (x float64, ok bool) {
	x = p.ruler.widest(n.text(), true)*titleSize + 6
	return x, x+p.ruler.widest(n.Detail, false)*smallSize <= p.boxWide-2*boxPad
}

// seam keeps bands that meet one side of a box apart.
const seam = 0.6

// stack is the height of legs that meet one side of a box.
func stack(legs []*leg) float64 {
	sum := 0.0
	for _, l := range legs {
		sum += l.width + seam
	}
	return sum
}

// ports spreads the legs over the sides of their boxes, in the order of where they go.
func (p *plan) ports() {
	for _, column := range p.columns {
		for _, s := range column {
			slices.SortStableFunc(s.in, func(a, b *leg) int { return order(a.from.middle(), b.from.middle()) })
			slices.SortStableFunc(s.outs, func(a, b *leg) int { return order(a.to.middle(), b.to.middle()) })
			y := s.middle() - stack(s.in)/2
			for _, l := range s.in {
				l.y2 = y + (l.width+seam)/2
				y += l.width + seam
			}
			y = s.middle() - stack(s.outs)/2
			for _, l := range s.outs {
				l.y1 = y + (l.width+seam)/2
				y += l.width + seam
			}
		}
	}
}

func order(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
