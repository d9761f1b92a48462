package paper

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// The greys of a picture.
const (
	sureGrey  = 0x99
	maybeGrey = 0x44
)

// SVG writes the picture as an image of its own. Its width and height are in CSS pixels; more
// boxes make it higher. Texts are shortened to their boxes and stand in full in titles.
func (f *Flow) SVG(w io.Writer) error {
	c := f.cleaned()
	_, err := w.Write(c.svg(newRuler()))
	return err
}

// svg draws a flow whose texts are clean.
func (f *Flow) svg(r ruler) []byte {
	p := f.layOut(r)
	height := p.height
	maybe, unknown := p.key()
	if maybe || unknown {
		height += keyRoom
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]s" height="%[2]s" viewBox="-1 0 %[1]s %[2]s" role="img" font-family="Arial,Helvetica,sans-serif" fill="#000">`+"\n",
		number(p.wide()+2), number(height))
	fmt.Fprintf(&b, "<title>%s</title>\n", escape(f.Caption))
	for i, route := range p.drawingOrder() {
		p.svgBand(&b, i, route)
	}
	for i, h := range p.heads() {
		fmt.Fprintf(&b, "<g><title>%s</title>", escape(p.names[i]))
		p.svgWriting(&b, h)
		b.WriteString("</g>\n")
	}
	for _, column := range p.columns {
		for _, s := range column {
			if s.node != nil {
				p.svgBox(&b, s)
			}
		}
	}
	p.svgKey(&b, p.height+15, maybe, unknown)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func (p *plan) svgBand(b *bytes.Buffer, i int, r *route) {
	d := p.pathOf(r)
	grey, dash, words := sureGrey, "", ""
	if !r.edge.Sure {
		grey, dash, words = maybeGrey, ` stroke-dasharray="7 4"`, ", "+onlyMaybe
	}
	if !r.edge.known() {
		grey, words = maybeGrey, words+", "+notMeasured
	}
	fmt.Fprintf(b, "<g><title>%s → %s%s</title>", escape(r.a.node.Title), escape(r.b.node.Title), words)
	if arrow, ok := p.arrow(r); ok {
		fmt.Fprintf(b, `<path d="M%s %sL%s %sL%s %sz" fill="#444"/>`, number(arrow[0].x), number(arrow[0].y), number(arrow[1].x), number(arrow[1].y), number(arrow[2].x), number(arrow[2].y))
	}
	fmt.Fprintf(b, `<path d="%s" fill="none" stroke="#fff" stroke-width="%s"/>`, d, number(r.width+1.6))
	fmt.Fprintf(b, `<path d="%s" fill="none" stroke="#%02[2]x%02[2]x%02[2]x" stroke-width="%[3]s"%[4]s/>`, d, grey, number(r.width), dash)
	svgMark(b, p.mark(i, r), !r.edge.Sure, !r.edge.known())
	b.WriteString("</g>\n")
}

// svgMark draws a band's sign: a question mark if it is only possible, a ring if it is not
// known how much went, one within the other if both.
func svgMark(b *bytes.Buffer, at point, maybe, unknown bool) {
	switch {
	case maybe:
		edge := ""
		if unknown {
			edge = ` stroke="#444" stroke-width=".9"`
		}
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="5" fill="#fff"%s/><text x="%s" y="%s" font-size="8.5" text-anchor="middle">?</text>`, number(at.x), number(at.y), edge, number(at.x), number(at.y+3))
	case unknown:
		fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="2.8" fill="#fff" stroke="#444" stroke-width=".9"/>`, number(at.x), number(at.y))
	}
}

func (p *plan) svgBox(b *bytes.Buffer, s *spot) {
	dash, words := "", ""
	if !s.node.Sure {
		dash, words = ` stroke-dasharray="5 3"`, ", "+onlyMaybe
	}
	full := s.node.Title
	if s.node.Detail != "" {
		full += ", " + s.node.Detail
	}
	fmt.Fprintf(b, `<g><title>%s%s</title><rect x="%s" y="%s" width="%s" height="%s" fill="#fff" stroke="#000" stroke-width="1.1"%s/>`,
		escape(full), words, number(p.left(s.column)), number(s.y), number(p.boxWide), number(s.h), dash)
	for _, w := range p.says(s) {
		p.svgWriting(b, w)
	}
	b.WriteString("</g>\n")
}

// svgWriting sets a line as wide as it was measured, whatever face the reader has, so that texts stand side by side
// and in their boxes.
func (p *plan) svgWriting(b *bytes.Buffer, w writing) {
	weight := ""
	if w.bold {
		weight = ` font-weight="bold"`
	}
	if w.text == "" {
		return
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s"%s textLength="%s" lengthAdjust="spacingAndGlyphs">%s</text>`, number(w.x), number(w.y), number(w.size), weight,
		number(p.ruler.Width(w.text, w.bold)*w.size), escape(w.text))
}

func (p *plan) svgKey(b *bytes.Buffer, y float64, maybe, unknown bool) {
	x := 1.0
	sign := func(words string, maybe, unknown bool) {
		dash := ""
		if maybe {
			dash = ` stroke-dasharray="7 4"`
		}
		fmt.Fprintf(b, `<path d="M%s %sh36" stroke="#444" stroke-width="1.1"%s/>`, number(x), number(y-3.5), dash)
		svgMark(b, point{x + 18, y - 3.5}, maybe, unknown)
		p.svgWriting(b, writing{point: point{x + 42, y}, text: words, size: smallSize})
		b.WriteString("\n")
		x += keyStep
	}
	if maybe {
		sign(onlyMaybe, true, false)
	}
	if unknown {
		sign(notMeasured, false, true)
	}
}

// keyStep is the room of one sign in the key.
const keyStep = 110.0

// number writes a length to a tenth of a unit.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64)
}

func escape(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text)) // a strings.Builder never fails
	return b.String()
}
