package paper

import "slices"

// point is a place in a picture, in its units.
type point struct{ x, y float64 }

// stroke is a piece of a band: a straight line to its end, or a curve with two handles.
type stroke struct {
	curved   bool
	c1, c2   point
	to, from point
}

// strokes is the way of a band, from its left end to its right end.
func (p *plan) strokes(r *route) []stroke {
	if len(r.legs) == 0 {
		right := p.left(r.a.column) + p.boxWide
		from, to := point{right, r.a.middle()}, point{right, r.b.middle()}
		return []stroke{{true, point{right + bulge, from.y}, point{right + bulge, to.y}, to, from}}
	}
	var out []stroke
	for i, l := range r.legs {
		from := point{p.left(l.from.column) + p.boxWide, l.y1}
		to := point{p.left(l.to.column), l.y2}
		if i > 0 {
			out = append(out, stroke{from: out[len(out)-1].to, to: from})
		}
		middle := (from.x + to.x) / 2
		out = append(out, stroke{true, point{middle, from.y}, point{middle, to.y}, to, from})
	}
	return out
}

// bulge is how far the handles of a band within a column stand off.
const bulge = 44.0

// arrow is the tip and the ends of the arrow of a band that does not run from left to right.
func (p *plan) arrow(r *route) ([]point, bool) {
	all := p.strokes(r)
	tip := all[len(all)-1].to
	switch {
	case len(r.legs) == 0:
	case r.backward:
		tip = all[0].from
	default:
		return nil, false
	}
	half := max(4, r.width/2+2)
	return []point{tip, {tip.x + 9, tip.y - half}, {tip.x + 9, tip.y + half}}, true
}

// mark says where a band's ring or question mark goes: on its middle leg, a little apart from
// that of its neighbours.
func (p *plan) mark(i int, r *route) point {
	all := slices.DeleteFunc(p.strokes(r), func(s stroke) bool { return !s.curved })
	s := all[len(all)/2]
	t := []float64{0.5, 0.34, 0.66, 0.42, 0.58}[i%5]
	u := 1 - t
	on := func(a, b, c, d float64) float64 { return u*u*u*a + 3*u*u*t*b + 3*u*t*t*c + t*t*t*d }
	return point{on(s.from.x, s.c1.x, s.c2.x, s.to.x), on(s.from.y, s.c1.y, s.c2.y, s.to.y)}
}

// drawingOrder is wide bands first, so that thin ones lie on top.
func (p *plan) drawingOrder() []*route {
	out := slices.Clone(p.routes)
	slices.SortStableFunc(out, func(a, b *route) int { return order(b.width, a.width) })
	return out
}

// wide is the width of all of the picture.
func (p *plan) wide() float64 {
	for _, r := range p.routes {
		if len(r.legs) == 0 && r.a.column == len(p.columns)-1 {
			return p.width() + bulge
		}
	}
	return p.width()
}

// writing is a line of text in a picture; x and y are where its baseline starts.
type writing struct {
	point
	text string
	size float64
	bold bool
	cut  bool // the text does not stand here in full
}

// says is what a box says, with what does not fit shortened.
func (p *plan) says(s *spot) []writing {
	n := s.node
	x, room := p.left(s.column)+boxPad, p.boxWide-2*boxPad
	title, cut := p.ruler.shorten(n.text(), true, room/titleSize)
	middle := s.middle()
	if n.Detail == "" {
		return []writing{{point{x, middle + 4}, title, titleSize, true, cut}}
	}
	if dx, ok := p.inLine(n); ok {
		return []writing{{point{x, middle + 4}, title, titleSize, true, cut}, {point{x + dx, middle + 4}, p.ruler.settable(n.Detail), smallSize, false, false}}
	}
	detail, cut2 := p.ruler.shorten(n.Detail, false, room/smallSize)
	return []writing{{point{x, middle - 3}, title, titleSize, true, cut}, {point{x, middle + 10.5}, detail, smallSize, false, cut2}}
}

// heads are the names of the columns, on at most two lines.
func (p *plan) heads() []writing {
	var out []writing
	for i, name := range p.names {
		text, cut := p.ruler.shorten(name, true, (p.boxWide+between-8)/headSize)
		out = append(out, writing{point{p.left(i), 13}, text, headSize, true, cut})
	}
	return out
}

// cutTexts are the texts that do not stand in the picture in full.
func (p *plan) cutTexts() []string {
	var out []string
	add := func(w writing, whole string) {
		if w.cut && !slices.Contains(out, whole) {
			out = append(out, whole)
		}
	}
	for i, w := range p.heads() {
		add(w, p.names[i])
	}
	for _, column := range p.columns {
		for _, s := range column {
			if s.node == nil {
				continue
			}
			lines := p.says(s)
			add(lines[0], s.node.Title)
			if len(lines) > 1 {
				add(lines[1], s.node.Detail)
			}
		}
	}
	return out
}

// key tells which signs of the picture need a word: question marks, rings.
func (p *plan) key() (maybe, unknown bool) {
	for _, r := range p.routes {
		maybe = maybe || !r.edge.Sure
		unknown = unknown || !r.edge.known()
	}
	for _, column := range p.columns {
		for _, s := range column {
			maybe = maybe || s.node != nil && !s.node.Sure
		}
	}
	return maybe, unknown
}
