package paper

import (
	"bytes"
	_ "embed" // for the page
	"fmt"
	"html/template"
	"io"
	"regexp"
	"strings"

	"heeltap/labels"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

// manyColumns is from how many columns on a table becomes a list of its rows on a phone.
const manyColumns = 4

// printWidth is how wide a table may be on paper, mm; a browser's own face may be wider than ours.
const printWidth = 150.0

// pageView is what the page's template shows.
type pageView struct {
	*Document
	Style template.CSS
	Paper string
	Stamp template.CSS // the marks in one line, for the head of each printed page
	Foot  template.CSS
	Parts []partView
}

// partView is one part; each kind fills the fields that it needs.
type partView struct {
	Kind    string
	Level   int
	Strong  bool
	Text    string
	Payload string
	Lines   []string
	Pairs   [][2]string
	Columns []cellView
	Cells   [][]cellView
	Class   string // rows: one at a time on a phone; block: on paper too
	Image   template.HTML
}

type cellView struct {
	Name, Text string
	Number     bool
}

// HTML writes the document as one page that needs nothing else: no script, no other file, no
// network. It can be read on a phone, and printed with marks, footer and page number on each
// sheet. One part that cannot be shown fails all; nothing is written then.
func (d *Document) HTML(w io.Writer) error {
	d = d.cleaned()
	page, err := template.New("page").Funcs(template.FuncMap{"keep": keepCodes}).Parse(pageHTML)
	if err != nil {
		panic(err) // the page is part of the program
	}
	v := pageView{Document: d, Style: template.CSS(pageCSS), Paper: "A4", Foot: cssString(d.Footer)}
	if len(d.Marks) > 0 {
		v.Stamp = cssString(strings.Join(d.Marks, " \u00B7 "))
	}
	if d.Letter {
		v.Paper = "letter"
	}
	r := newRuler()
	for _, p := range d.Parts {
		part, err := view(p, r)
		if err != nil {
			return err
		}
		v.Parts = append(v.Parts, part)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return fmt.Errorf("make HTML: %w", err)
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write HTML: %w", err)
	}
	return nil
}

// cssString writes a text as a string of a style sheet, with all but letters, digits and blanks
// escaped.
func cssString(text string) template.CSS {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range oneLineOf(text) {
		switch {
		case r == ' ', r >= '0' && r <= '9', r >= 'A' && r <= 'Z', r >= 'a' && r <= 'z':
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\%x `, r)
		}
	}
	b.WriteByte('"')
	return template.CSS(b.String())
}

func oneLineOf(text string) string { return strings.Join(strings.Fields(text), " ") }

// longestCode is how many characters a code may have that is kept on one line.
const longestCode = 32

// moment matches a day with its time at the beginning of a text.
var moment = regexp.MustCompile(`^\d{4}-\d\d-\d\d \d\d:\d\d`)

// keepCodes escapes a text and keeps its codes, dates and moments on one line: browsers break lines
// after hyphens, and half a code is another code.
func keepCodes(text string) template.HTML {
	var b strings.Builder
	for len(text) > 0 {
		n := len(moment.FindString(text))
		if more := strings.IndexAny(text[n:], " \n"); more >= 0 {
			n += more
		} else {
			n = len(text)
		}
		word := template.HTMLEscapeString(text[:n])
		if strings.ContainsAny(word, "-/") && strings.ContainsAny(word, "0123456789") && n <= longestCode {
			word = `<span class="k">` + word + `</span>`
		}
		b.WriteString(word)
		if n < len(text) {
			b.WriteByte(text[n])
			n++
		}
		text = text[n:]
	}
	return template.HTML(b.String())
}

func view(part Part, r ruler) (partView, error) {
	switch p := part.(type) {
	case Heading:
		return partView{Kind: "heading", Level: p.level(), Text: p.Text}, nil
	case Text:
		return partView{Kind: "text", Text: p.Text, Strong: p.Strong}, nil
	case Caution:
		return partView{Kind: "caution", Lines: p.Lines}, nil
	case Facts:
		return partView{Kind: "facts", Pairs: p.Rows}, nil
	case Table:
		return tableView(p, r), nil
	case List:
		return partView{Kind: "list", Lines: p.Items}, nil
	case Signatures:
		return partView{Kind: "signatures", Lines: p.Roles}, nil
	case Blank:
		return partView{Kind: "blank", Lines: p.Labels}, nil
	case Code:
		image, err := codeSVG(p)
		return partView{Kind: "code", Text: p.Text, Payload: clean(p.Payload), Image: image}, err
	case Break:
		return partView{Kind: "break"}, nil
	case Picture:
		// The picture escapes its own texts.
		return partView{Kind: "picture", Text: p.Caption, Image: template.HTML(p.svg(r))}, nil
	}
	return partView{}, fmt.Errorf("a paper has no part of type %T", part)
}

func tableView(t Table, r ruler) partView {
	v := partView{Kind: "table", Text: t.Note}
	columns := t.columns()
	for _, c := range columns {
		v.Columns = append(v.Columns, cellView{Name: c.name, Number: c.number})
	}
	for _, row := range t.Rows {
		cells := make([]cellView, len(columns))
		for i, c := range columns {
			cells[i] = cellView{c.name, at(row, i), c.number}
		}
		v.Cells = append(v.Cells, cells)
	}
	narrow := &press{ruler: r, width: printWidth}
	switch {
	case len(t.Rows) == 0:
	case !narrow.widths(&grid{columns: columns, body: style{size: 8.5}}, t):
		v.Class = "rows block"
	case len(columns) > manyColumns:
		v.Class = "rows"
	}
	if t.Hand {
		v.Class = strings.TrimSpace(v.Class + " hand")
	}
	return v
}

// codeBox is the side of a code with its quiet zone, mm.
const codeBox = 32.0

func newCode(c Code) (labels.QR, error) {
	if c.Payload == "" {
		return labels.QR{}, fmt.Errorf("the code beside %q holds nothing: give it a payload", c.Text)
	}
	return labels.NewQR(c.Payload, codeBox)
}

// codeSVG draws a code in units of its modules. Nothing of the payload is in it as text.
func codeSVG(c Code) (template.HTML, error) {
	q, err := newCode(c)
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	all := q.Side + 2*q.Quiet
	fmt.Fprintf(&b, `<svg viewBox="0 0 %d %d" role="img" aria-label="QR code" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%[1]dv%[1]dH0z"/><path fill="#000" d="`, all, all)
	for _, bar := range q.Bars {
		fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", bar.X+q.Quiet, bar.Y+q.Quiet, bar.N, bar.N)
	}
	b.WriteString(`"/></svg>`)
	return template.HTML(b.String()), nil
}
