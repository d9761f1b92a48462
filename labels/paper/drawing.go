package paper

import (
	"fmt"
	"strings"
)

// Drawing is a flow picture laid out, as the shapes that a page draws: the same as in its SVG. Lengths are in the
// picture's units, written as a page writes them.
type Drawing struct {
	Left, Width, Height string
	Caption             string
	Heads               []DrawnText
	Bands               []DrawnBand // wide ones first, so that thin ones lie on top
	Boxes               []DrawnBox
	Maybe, Unknown      bool // it has signs that need a word: question marks, rings
}

// DrawnText is a line of text; X and Y are where its baseline begins.
type DrawnText struct {
	X, Y, Size, Length string
	Text               string
	Bold               bool
}

// DrawnBand is a band between two boxes.
type DrawnBand struct {
	FlowEdge
	Path, Width, Halo string
	Arrow             string // path of the arrow of a band that does not run from left to right; empty elsewhere
	MarkX, MarkY      string
	SignY             string // where a question mark's baseline is
	Title             string
	Known             bool
}

// DrawnBox is a box.
type DrawnBox struct {
	FlowNode
	X, Y, Wide, High string
	Says             []DrawnText
	Full             string // all that it says, where its texts are cut short
}

// Draw lays the picture out.
func (f *Flow) Draw() *Drawing {
	c := f.cleaned()
	p := c.layOut(newRuler())
	d := &Drawing{Left: "-1", Width: number(p.wide() + 2), Height: number(p.height), Caption: c.Caption}
	d.Maybe, d.Unknown = p.key()
	for _, h := range p.heads() {
		d.Heads = append(d.Heads, p.drawn(h))
	}
	for i, r := range p.drawingOrder() {
		d.Bands = append(d.Bands, p.drawnBand(i, r))
	}
	for _, column := range p.columns {
		for _, s := range column {
			if s.node == nil {
				continue
			}
			b := DrawnBox{FlowNode: *s.node, X: number(p.left(s.column)), Y: number(s.y), Wide: number(p.boxWide), High: number(s.h), Full: s.node.Title}
			if s.node.Detail != "" {
				b.Full += ", " + s.node.Detail
			}
			for _, w := range p.says(s) {
				b.Says = append(b.Says, p.drawn(w))
			}
			d.Boxes = append(d.Boxes, b)
		}
	}
	return d
}

func (p *plan) drawn(w writing) DrawnText {
	return DrawnText{number(w.x), number(w.y), number(w.size), number(p.ruler.Width(w.text, w.bold) * w.size), w.text, w.bold}
}

func (p *plan) drawnBand(i int, r *route) DrawnBand {
	at := p.mark(i, r)
	b := DrawnBand{FlowEdge: r.edge, Path: p.pathOf(r), Width: number(r.width), Halo: number(r.width + 1.6), MarkX: number(at.x), MarkY: number(at.y), SignY: number(at.y + 3), Known: r.edge.known(),
		Title: r.a.node.Title + " → " + r.b.node.Title}
	if !r.edge.Sure {
		b.Title += ", " + onlyMaybe
	}
	if !b.Known {
		b.Title += ", " + notMeasured
	}
	if arrow, ok := p.arrow(r); ok {
		b.Arrow = fmt.Sprintf("M%s %sL%s %sL%s %sz", number(arrow[0].x), number(arrow[0].y), number(arrow[1].x), number(arrow[1].y), number(arrow[2].x), number(arrow[2].y))
	}
	return b
}

// pathOf writes the way of a band as SVG does.
func (p *plan) pathOf(r *route) string {
	var d strings.Builder
	for k, s := range p.strokes(r) {
		if k == 0 {
			fmt.Fprintf(&d, "M%s %s", number(s.from.x), number(s.from.y))
		}
		if s.curved {
			fmt.Fprintf(&d, "C%s %s %s %s ", number(s.c1.x), number(s.c1.y), number(s.c2.x), number(s.c2.y))
		} else {
			d.WriteString("L")
		}
		fmt.Fprintf(&d, "%s %s", number(s.to.x), number(s.to.y))
	}
	return d.String()
}
