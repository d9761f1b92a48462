package paper

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"strings"

	"github.com/skip2/go-qrcode"
)

const style = `
:root{color-scheme:light}*{box-sizing:border-box}
body{font:16px/1.45 system-ui,sans-serif;color:#111;background:#fff;max-width:62rem;margin:0 auto;padding:1rem}
h1{font-size:1.7rem;line-height:1.2;margin:.2em 0}h2{font-size:1.25rem;margin:1.6em 0 .4em;border-bottom:2px solid #111}h3{font-size:1.05rem;margin:1.3em 0 .3em}
.sub{margin:0 0 1em;color:#333}.mark{display:inline-block;border:3px solid #111;font-weight:700;letter-spacing:.08em;padding:.1em .6em;margin:0 .6em .4em 0}
.caution{border:2px solid #111;border-left-width:.6rem;padding:.5em .8em;margin:1em 0}.caution p{margin:.15em 0}
.wide{overflow-x:auto;margin:.6em 0}table{border-collapse:collapse;width:100%;font-size:.9rem}th,td{border-bottom:1px solid #999;padding:.25em .6em .25em 0;text-align:left;vertical-align:top}
th{border-bottom:2px solid #111}.n{text-align:right;font-variant-numeric:tabular-nums}td{overflow-wrap:break-word}td.n{white-space:nowrap;overflow-wrap:normal}
dl{display:grid;grid-template-columns:minmax(8rem,16rem) 1fr;gap:.2em 1em;margin:.6em 0}dt{font-weight:600}dd{margin:0;overflow-wrap:anywhere}
.line{border-bottom:1px solid #111;min-height:2.4em;margin:.3em 0;padding-top:1.1em;font-size:.85rem}.signs{display:grid;grid-template-columns:2fr 2fr 1fr;gap:1em;margin:1em 0}
.code{display:flex;gap:1em;align-items:center;margin:1em 0;flex-wrap:wrap}.code svg{width:32mm;height:32mm}.flow svg{min-width:44rem;width:100%;height:auto}
footer{border-top:1px solid #999;margin-top:2em;padding-top:.4em;font-size:.85rem;color:#333}
@media(max-width:34rem){dl{grid-template-columns:1fr}dd{margin-bottom:.4em}
table,tbody,tr,td{display:block}thead{position:absolute;left:-99rem}tr{border-bottom:2px solid #111;padding:.3em 0}td,td.n{border:0;text-align:left;white-space:normal;padding:.05em 0}td:empty{display:none}td[data-h]:not([data-h=""])::before{content:attr(data-h) ": ";font-weight:600}}
@media print{body{font-size:10pt;max-width:none;padding:0}.break{break-before:page}tr,.caution,.signs{break-inside:avoid}thead{display:table-header-group}}`

// HTML writes the document as one page that needs nothing else.
func (d *Document) HTML(w io.Writer) error {
	b := bufio.NewWriter(w)
	title := html.EscapeString(d.Title)
	fmt.Fprintf(b, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n<title>%s</title><style>%s</style></head><body>\n<header>", title, style)
	for _, m := range d.Marks {
		fmt.Fprintf(b, "<span class=\"mark\">%s</span>", html.EscapeString(m))
	}
	fmt.Fprintf(b, "<h1>%s</h1>", title)
	if d.Subtitle != "" {
		fmt.Fprintf(b, "<p class=\"sub\">%s</p>", html.EscapeString(d.Subtitle))
	}
	fmt.Fprint(b, "</header>\n<main>\n")
	for _, p := range d.Parts {
		if err := htmlPart(b, p); err != nil {
			return err
		}
	}
	fmt.Fprintf(b, "</main>\n<footer>%s</footer>\n</body></html>\n", html.EscapeString(d.Footer))
	return b.Flush()
}

func htmlPart(b *bufio.Writer, part Part) error {
	e := html.EscapeString
	switch p := part.(type) {
	case Heading:
		fmt.Fprintf(b, "<h%d>%s</h%d>\n", p.Level+1, e(p.Text), p.Level+1)
	case Text:
		if p.Strong {
			fmt.Fprintf(b, "<p><strong>%s</strong></p>\n", e(p.Text))
		} else {
			fmt.Fprintf(b, "<p>%s</p>\n", e(p.Text))
		}
	case Caution:
		fmt.Fprint(b, "<div class=\"caution\" role=\"note\">")
		for _, l := range p.Lines {
			fmt.Fprintf(b, "<p>%s</p>", e(l))
		}
		fmt.Fprint(b, "</div>\n")
	case Facts:
		fmt.Fprint(b, "<dl>")
		for _, r := range p.Rows {
			fmt.Fprintf(b, "<dt>%s</dt><dd>%s</dd>\n", e(r[0]), e(r[1]))
		}
		fmt.Fprint(b, "</dl>\n")
	case Table:
		htmlTable(b, p)
	case List:
		fmt.Fprint(b, "<ul>")
		for _, i := range p.Items {
			fmt.Fprintf(b, "<li>%s</li>", e(i))
		}
		fmt.Fprint(b, "</ul>\n")
	case Signatures:
		for _, r := range p.Roles {
			fmt.Fprintf(b, "<div class=\"signs\"><div class=\"line\">%s, name</div><div class=\"line\">signature</div><div class=\"line\">date, time</div></div>\n", e(r))
		}
	case Blank:
		for _, l := range p.Labels {
			fmt.Fprintf(b, "<div class=\"line\">%s</div>\n", e(l))
		}
	case Break:
		fmt.Fprint(b, "<div class=\"break\"></div>\n")
	case Picture:
		fmt.Fprintf(b, "<figure class=\"flow wide\">")
		if err := p.SVG(b); err != nil {
			return err
		}
		fmt.Fprintf(b, "<figcaption>%s</figcaption></figure>\n", e(p.Caption))
	case Code:
		return htmlCode(b, p)
	}
	return nil
}

func htmlTable(b *bufio.Writer, t Table) {
	e := html.EscapeString
	fmt.Fprint(b, "<div class=\"wide\"><table><thead><tr>")
	class := make([]string, len(t.Head))
	for i, h := range t.Head {
		text, number := heading(h)
		kind := ""
		if number {
			kind = " class=\"n\""
		}
		class[i] = kind + " data-h=\"" + e(text) + "\""
		fmt.Fprintf(b, "<th scope=\"col\"%s>%s</th>", kind, e(text))
	}
	fmt.Fprint(b, "</tr></thead><tbody>\n")
	for _, row := range t.Rows {
		fmt.Fprint(b, "<tr>")
		for i := range t.Head {
			fmt.Fprintf(b, "<td%s>%s</td>", class[i], e(cell(row, i)))
		}
		fmt.Fprint(b, "</tr>\n")
	}
	fmt.Fprint(b, "</tbody></table></div>\n")
	if t.Note != "" {
		fmt.Fprintf(b, "<p class=\"sub\">%s</p>\n", e(t.Note))
	}
}

// modules draws a payload as a QR symbol: rows of dark and light, with the quiet zone of
// four modules that ISO/IEC 18004 asks for.
func modules(payload string) ([][]bool, error) {
	q, err := qrcode.New(payload, qrcode.Medium)
	if err != nil {
		return nil, fmt.Errorf("%q does not fit a QR symbol: %w", payload, err)
	}
	return q.Bitmap(), nil
}

func htmlCode(b *bufio.Writer, c Code) error {
	m, err := modules(c.Payload)
	if err != nil {
		return err
	}
	fmt.Fprintf(b, "<div class=\"code\"><svg viewBox=\"0 0 %d %d\" role=\"img\" aria-label=\"%s\" shape-rendering=\"crispEdges\"><path d=\"", len(m), len(m), html.EscapeString(c.Payload))
	for y, row := range m {
		for x, dark := range row {
			if dark {
				fmt.Fprintf(b, "M%d %dh1v1h-1z", x, y)
			}
		}
	}
	fmt.Fprintf(b, "\"/></svg><div>%s<br><small>%s</small></div></div>\n", html.EscapeString(c.Text), html.EscapeString(c.Payload))
	return nil
}

// SVG writes the picture.
func (f *Flow) SVG(w io.Writer) error {
	d := f.layOut()
	b := bufio.NewWriter(w)
	e := html.EscapeString
	fmt.Fprintf(b, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %g %g\" role=\"img\" font-family=\"sans-serif\" font-size=\"11\"><title>%s</title>\n", flowWidth, d.height, e(f.Caption))
	for _, x := range d.bands {
		dash, shade := "", "#777"
		if !x.sure {
			dash, shade = " stroke-dasharray=\"7 4\"", "#333"
		}
		mid := (x.x1 + x.x2) / 2
		fmt.Fprintf(b, "<path d=\"M%.1f %.1fC%.1f %.1f %.1f %.1f %.1f %.1f\" fill=\"none\" stroke=\"%s\" stroke-opacity=\".65\" stroke-width=\"%.2f\"%s/>\n", x.x1, x.y1, mid, x.y1, mid, x.y2, x.x2, x.y2, shade, x.width, dash)
		if !x.known {
			fmt.Fprintf(b, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"2.5\" fill=\"#fff\" stroke=\"#333\"/>\n", mid, (x.y1+x.y2)/2)
		}
	}
	for _, h := range d.heads {
		fmt.Fprintf(b, "<text x=\"%.1f\" y=\"16\" font-weight=\"bold\" font-size=\"13\">%s</text>\n", h.x, e(h.Title))
	}
	for _, n := range d.boxes {
		dash := ""
		if !n.Sure {
			dash = " stroke-dasharray=\"5 3\""
		}
		fmt.Fprintf(b, "<g><title>%s</title><rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"#fff\" stroke=\"#111\" stroke-width=\"1.2\"%s/><text x=\"%.1f\" y=\"%.1f\">%s</text></g>\n",
			e(n.full()), n.x, n.y, n.w, boxHeight, dash, n.x+5, n.y+15, e(shorten(n.full(), int(n.w/6))))
	}
	fmt.Fprint(b, "</svg>")
	return b.Flush()
}

// full is all that a box says.
func (n FlowNode) full() string {
	text := strings.TrimSpace(n.Title + "  " + n.Detail)
	if !n.Sure {
		text = "? " + text
	}
	return text
}

// shorten cuts a text to so many characters.
func shorten(text string, most int) string {
	r := []rune(text)
	if len(r) <= most {
		return text
	}
	return string(r[:max(1, most-1)]) + "…"
}
