package paper

import (
	"cmp"
	"math"
	"slices"
)

// Flow is a picture of what went where: columns from left to right, boxes in them, and
// bands between boxes as wide as what went over them. What is only possible is drawn
// dashed and says so, so that it is told apart without colour.
type Flow struct {
	Columns []string
	Nodes   []FlowNode
	Edges   []FlowEdge
	Caption string
}

// FlowNode is a box.
type FlowNode struct {
	ID            string
	Column        int
	Title, Detail string
	Sure          bool
}

// FlowEdge is a band between two boxes.
type FlowEdge struct {
	From, To string
	Sure     bool
	Weight   float64 // how much went; NaN where unknown: a thin line with a ring on it
}

// The picture's measures, in units of a thousandth of its width.
const (
	flowWidth  = 1000.0
	boxHeight  = 22.0
	boxPitch   = 30.0
	headHeight = 30.0
	widest     = 14.0 // the widest band
	thinnest   = 1.0
)

// box is a node laid out.
type box struct {
	FlowNode
	x, y, w float64 // top left
}

// band is an edge laid out: a curve from the right side of a box to the left side of another.
type band struct {
	x1, y1, x2, y2 float64
	width          float64
	sure, known    bool
}

// drawn is a picture laid out.
type drawn struct {
	height float64
	heads  []box
	boxes  []box
	bands  []band
}

// layOut places the boxes: each column in an order in which few bands cross (by the mean
// place of the neighbours), and in the middle of the picture's height.
func (f *Flow) layOut() drawn {
	columns, names := f.filled()
	f.order(columns)
	most := 1
	for _, c := range columns {
		most = max(most, len(c))
	}
	d := drawn{height: headHeight + float64(most)*boxPitch + 6}
	step := flowWidth / float64(len(columns))
	width := step * 0.72
	at := map[string]box{}
	for i, column := range columns {
		d.heads = append(d.heads, box{FlowNode{Title: names[i]}, float64(i) * step, 0, width})
		top := headHeight + float64(most-len(column))*boxPitch/2
		for k, n := range column {
			b := box{n, float64(i) * step, top + float64(k)*boxPitch, width}
			at[n.ID] = b
			d.boxes = append(d.boxes, b)
		}
	}
	heaviest := 0.0
	for _, e := range f.Edges {
		if !math.IsNaN(e.Weight) {
			heaviest = max(heaviest, e.Weight)
		}
	}
	for _, e := range f.Edges {
		from, ok := at[e.From]
		to, ok2 := at[e.To]
		if !ok || !ok2 {
			continue
		}
		x := band{x1: from.x + from.w, y1: from.y + boxHeight/2, x2: to.x, y2: to.y + boxHeight/2, sure: e.Sure, known: !math.IsNaN(e.Weight), width: thinnest}
		if x.known && heaviest > 0 {
			x.width = max(thinnest, widest*e.Weight/heaviest)
		}
		d.bands = append(d.bands, x)
	}
	slices.SortStableFunc(d.bands, func(a, b band) int { return cmp.Compare(b.width, a.width) }) // thin ones on top
	return d
}

// filled gives the columns that have boxes, with their names; at least one.
func (f *Flow) filled() (columns [][]FlowNode, names []string) {
	all := make([][]FlowNode, max(1, len(f.Columns)))
	for _, n := range f.Nodes {
		c := min(max(n.Column, 0), len(all)-1)
		all[c] = append(all[c], n)
	}
	for i, c := range all {
		if len(c) == 0 {
			continue
		}
		name := ""
		if i < len(f.Columns) {
			name = f.Columns[i]
		}
		columns, names = append(columns, c), append(names, name)
	}
	if len(columns) == 0 {
		return [][]FlowNode{nil}, []string{""}
	}
	return columns, names
}

// order sorts each column by the mean place of its neighbours in the one before, then, backwards, after.
func (f *Flow) order(columns [][]FlowNode) {
	neighbours := map[string][]string{}
	for _, e := range f.Edges {
		neighbours[e.From] = append(neighbours[e.From], e.To)
		neighbours[e.To] = append(neighbours[e.To], e.From)
	}
	place := map[string]float64{}
	put := func(c []FlowNode) {
		for k, n := range c {
			place[n.ID] = (float64(k) + 0.5) / float64(len(c))
		}
	}
	for _, c := range columns {
		put(c)
	}
	sortBy := func(c, other []FlowNode) {
		in := map[string]bool{}
		for _, n := range other {
			in[n.ID] = true
		}
		mean := map[string]float64{}
		for _, n := range c {
			sum, count := 0.0, 0.0
			for _, m := range neighbours[n.ID] {
				if in[m] {
					sum, count = sum+place[m], count+1
				}
			}
			if mean[n.ID] = place[n.ID]; count > 0 {
				mean[n.ID] = sum / count
			}
		}
		slices.SortStableFunc(c, func(a, b FlowNode) int { return cmp.Compare(mean[a.ID], mean[b.ID]) })
		put(c)
	}
	for range 4 {
		for i := 1; i < len(columns); i++ {
			sortBy(columns[i], columns[i-1])
		}
		for i := len(columns) - 2; i >= 0; i-- {
			sortBy(columns[i], columns[i+1])
		}
	}
}
