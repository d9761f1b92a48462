package labels

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ImageOptions say how one tag is drawn as a picture of its own.
type ImageOptions struct {
	Base  string // the server's address, or empty: see [Payload]
	Stock Stock  // the picture is one cell of it; the zero Stock means 100x150
	DPI   int    // of a PNG; 0 means 300. 203 gives the dots of an 8 dots/mm head
}

// stock is the stock asked for, or the usual one.
func (o ImageOptions) stock() (Stock, error) {
	if o.Stock.arrange == nil {
		return StockByName("100x150")
	}
	return o.Stock, nil
}

// SVG draws one tag at its size in print. Type is drawn as outlines, so that
// it needs no typeface where it is shown; the words stand in its description.
func SVG(tag Tag, opts ImageOptions) ([]byte, error) {
	stock, err := opts.stock()
	if err != nil {
		return nil, err
	}
	fs := newFaces()
	d, err := layOut(fs, tag, opts.Base, stock, dot)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]smm" height="%[2]smm" viewBox="0 0 %[1]s %[2]s" role="img">`+"\n",
		number(d.width), number(d.height))
	var words []string
	for _, t := range d.texts {
		words = append(words, t.text)
	}
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", escapeXML(tag.Kind.Word()+" "+tag.Code), escapeXML(strings.Join(words, "\n")))
	fmt.Fprintf(&b, `<path fill="#fff" d="M0 0h%sv%sH0z"/>`+"\n", number(d.width), number(d.height))
	for _, box := range d.boxes {
		fmt.Fprintf(&b, `<path d="M%s %sh%sv%sh%sz"/>`+"\n", number(box.x), number(box.y), number(box.w), number(box.h), number(-box.w))
	}
	for _, t := range d.texts {
		var path svgPath
		fs.pick(t.bold).trace(&path, t.x, t.y, t.size, t.text)
		fill := ""
		if t.white {
			fill = ` fill="#fff"`
		}
		fmt.Fprintf(&b, `<path%s d="%s"/>`+"\n", fill, path.String())
	}
	writeCode(&b, d)
	b.WriteString("</svg>\n")
	return b.Bytes(), nil
}

// writeCode draws the dark modules as one path in units of a module, so that
// no hairline shows between rows.
func writeCode(b *bytes.Buffer, d *drawing) {
	x, y := d.origin()
	fmt.Fprintf(b, `<path transform="translate(%s %s) scale(%s)" shape-rendering="crispEdges" d="`,
		number(x), number(y), number(d.symbol.module))
	for _, bar := range d.symbol.bars() {
		fmt.Fprintf(b, "M%d %dh%dv1h-%dz", bar.x, bar.y, bar.n, bar.n)
	}
	b.WriteString(`"/>` + "\n")
}

// svgPath collects path data to a hundredth of a millimetre, finer than any
// print head.
type svgPath struct{ strings.Builder }

func (p *svgPath) moveTo(x, y float64)         { p.put('M', x, y) }
func (p *svgPath) lineTo(x, y float64)         { p.put('L', x, y) }
func (p *svgPath) quadTo(cx, cy, x, y float64) { p.put('Q', cx, cy, x, y) }
func (p *svgPath) closePath()                  { p.WriteByte('Z') }

func (p *svgPath) put(command byte, values ...float64) {
	for i, v := range values {
		if i == 0 {
			p.WriteByte(command)
		} else {
			p.WriteByte(' ')
		}
		p.WriteString(number(math.Round(v*100) / 100))
	}
}

// number writes a length with three digits behind the point at most.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func escapeXML(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder never fails
	return b.String()
}
