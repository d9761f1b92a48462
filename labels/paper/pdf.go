package paper

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/go-pdf/fpdf"

	"heeltap/labels/font"
)

const (
	typeface   = "paper" // the name of the embedded face within the file
	margin     = 17.0    // mm at each side
	topEdge    = 10.0    // where the marks begin, mm
	footEdge   = 10.0    // what stays clear below the footer, mm
	pointsInMM = 25.4 / 72
	leading    = 1.32 // from one line to the next, in sizes
)

// The type of a document, sizes in points.
var (
	markType    = style{13, true}
	titleType   = style{18, true}
	textType    = style{10, false}
	strongType  = style{10, true}
	cautionType = style{9, false}
	noteType    = style{8, false}
	footType    = style{7.5, false}
)

// titleRed is dark enough to stand out in a copy without colours, too.
var titleRed = [3]int{0xb0, 0, 0}

// style is a type size in points, and its weight.
type style struct {
	size float64
	bold bool
}

func (s style) em() float64     { return s.size * pointsInMM }
func (s style) height() float64 { return s.em() * leading }

// press sets a document on pages.
type press struct {
	*fpdf.Fpdf
	ruler ruler
	d     *Document
	sheet fpdf.SizeType   // a page upright, mm
	sizes []fpdf.SizeType // of each page begun
	y     float64         // how far down the page is set
	top   float64         // where parts may begin
	width float64         // between the margins
	low   float64         // the lowest a part may reach
	marks [][]string      // in rows, as they fit
	foot  []string
	fresh bool // nothing stands on the page yet
	due   bool // a new page must begin before anything else is set
	turn  bool // it will be a turned one
	grids map[int]*grid
}

// PDF writes the document ready to print. One part that cannot be shown fails all; nothing
// is written then.
func (d *Document) PDF(w io.Writer) error {
	p := newPress(d.cleaned())
	p.page(false)
	p.title()
	for i, part := range p.d.Parts {
		if err := p.part(i, part); err != nil {
			return err
		}
	}
	p.feet()
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		return fmt.Errorf("make PDF: %w", err)
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

// newPress makes an empty file. What would differ from one time to the next (the clock, the
// order of maps) is pinned.
func newPress(d *Document) *press {
	sheet := fpdf.SizeType{Wd: 210, Ht: 297}
	if d.Letter {
		sheet = fpdf.SizeType{Wd: 215.9, Ht: 279.4}
	}
	p := &press{Fpdf: fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: sheet}), ruler: newRuler(), d: d, sheet: sheet, grids: map[int]*grid{}}
	date := d.Dated
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	p.SetCreationDate(date.UTC())
	p.SetModificationDate(date.UTC())
	p.SetCatalogSort(true)
	p.SetProducer("heeltap", false)
	p.SetTitle(d.Title, true)
	p.SetLang("en")
	p.SetMargins(0, 0, 0)
	p.SetAutoPageBreak(false, 0)
	p.SetCellMargin(0)
	p.AddUTF8FontFromBytes(typeface, "", []byte(font.Regular))
	p.AddUTF8FontFromBytes(typeface, "B", []byte(font.Bold))
	width := sheet.Wd - 2*margin
	p.marks = p.rowsOfMarks(width)
	p.foot = p.ruler.wrap(d.Footer, false, (width-28)/footType.em())
	return p
}

// page begins a page, upright or turned.
func (p *press) page(turned bool) {
	size, way := p.sheet, "P"
	if turned {
		size, way = fpdf.SizeType{Wd: p.sheet.Ht, Ht: p.sheet.Wd}, "L"
	}
	p.AddPageFormat(way, p.sheet)
	p.sizes = append(p.sizes, size)
	p.width, p.low = size.Wd-2*margin, p.lowest(turned)
	p.y = topEdge
	p.fresh, p.due = true, false
	p.head()
	p.top = p.y
}

// lowest is how far down parts may reach on a page.
func (p *press) lowest(turned bool) float64 {
	height := p.sheet.Ht
	if turned {
		height = p.sheet.Wd
	}
	return height - footEdge - float64(len(p.foot))*footType.height() - 4
}

// isTurned reports whether the page is turned.
func (p *press) isTurned() bool { return p.sizes[len(p.sizes)-1] != p.sheet }

// room makes sure that so much height is left, or the page is new.
func (p *press) room(height float64) {
	if p.due || p.y+height > p.low+1e-6 && !p.fresh {
		p.page(p.turn)
	}
	p.fresh = false
}

// space leaves height free, but not at the head of a page.
func (p *press) space(height float64) {
	if !p.fresh && !p.due {
		p.y += height
	}
}

const (
	markPad    = 3.0
	markHeight = 8.0
	markApart  = 4.0
)

// rowsOfMarks says how the marks stand side by side.
func (p *press) rowsOfMarks(width float64) [][]string {
	var rows [][]string
	x := width + 1
	for _, m := range p.d.Marks {
		for _, line := range p.ruler.wrap(m, true, (width-2*markPad)/markType.em()) {
			w := p.ruler.Width(line, true)*markType.em() + 2*markPad
			if x+w > width {
				rows, x = append(rows, nil), 0
			}
			rows[len(rows)-1] = append(rows[len(rows)-1], line)
			x += w + markApart
		}
	}
	return rows
}

// head sets the marks.
func (p *press) head() {
	p.SetDrawColor(0, 0, 0)
	for _, row := range p.marks {
		x := margin
		for _, m := range row {
			w := p.ruler.Width(m, true)*markType.em() + 2*markPad
			p.SetLineWidth(0.7)
			p.Rect(x, p.y, w, markHeight, "D")
			p.set(x+markPad, p.y+(markHeight-markType.height())/2, m, markType)
			x += w + markApart
		}
		p.y += markHeight + 2
	}
	p.y = max(p.y+2, margin)
}

// feet sets the footers, when the number of pages is known.
func (p *press) feet() {
	last := p.sizes[len(p.sizes)-1].Ht
	for i, size := range p.sizes {
		p.SetPage(i + 1)
		y := last - footEdge - float64(len(p.foot))*footType.height() // the last page's measure holds for all
		p.rule(margin, size.Wd-margin, y-1, 0.2)
		for k, line := range p.foot {
			p.set(margin, y+float64(k)*footType.height(), line, footType)
		}
		number := fmt.Sprintf("page %d of %d", i+1, len(p.sizes))
		p.set(size.Wd-margin-p.ruler.Width(number, false)*footType.em(), y, number, footType)
	}
}

// set sets one line; y is the top of its room.
func (p *press) set(x, y float64, line string, s style) {
	weight := ""
	if s.bold {
		weight = "B"
	}
	p.SetFont(typeface, weight, s.size)
	p.Text(x, y+s.height()/2+s.em()*0.34, line)
}

// rule draws a line across.
func (p *press) rule(from, to, y, thick float64) {
	p.SetDrawColor(0, 0, 0)
	p.SetLineWidth(thick)
	p.Line(from, y, to, y)
}

func (p *press) title() {
	if p.d.Red {
		p.SetTextColor(titleRed[0], titleRed[1], titleRed[2])
	}
	p.lines(p.d.Title, titleType, 0)
	p.SetTextColor(0, 0, 0)
	if p.d.Subtitle != "" {
		p.y += 0.5
		p.lines(p.d.Subtitle, textType, 0)
	}
	p.y += 3
}

// lines sets a paragraph, set in by so many mm. Where it runs over a page, at least two of its
// lines stand on either.
func (p *press) lines(text string, s style, in float64) {
	p.setLines(p.ruler.wrap(text, s.bold, (p.width-in)/s.em()), s, in)
}

func (p *press) setLines(all []string, s style, in float64) {
	for len(all) > 0 {
		n := len(all)
		p.room(float64(min(n, 2)) * s.height())
		if fit := max(1, int((p.low-p.y+1e-6)/s.height())); fit < n {
			if n = fit; len(all)-n == 1 && n > 2 {
				n--
			}
			p.due = true
		}
		for _, line := range all[:n] {
			p.set(margin+in, p.y, line, s)
			p.y += s.height()
		}
		all = all[n:]
	}
}

// keep is the height that must follow a heading on its page: as much of the parts after it as
// makes sense.
func (p *press) keep(i int) float64 {
	if i >= len(p.d.Parts) {
		return 0
	}
	switch x := p.d.Parts[i].(type) {
	case Heading:
		return p.headingHeight(x) + p.keep(i+1)
	case Text:
		n := len(p.ruler.wrap(x.Text, x.Strong, p.width/textType.em()))
		return float64(min(n, 2)) * textType.height()
	case Table:
		return p.grid(i, x).least()
	case Caution:
		return min(60, p.cautionHeight(p.cautionLines(x)))
	case Signatures:
		return p.signsHeight(x)
	case Code:
		return codeBox
	case Picture:
		return p.pictureHeight(x.Flow)
	}
	return 2 * textType.height()
}

// isHeading reports whether the i-th part is a heading.
func (p *press) isHeading(i int) bool {
	if i < 0 || i >= len(p.d.Parts) {
		return false
	}
	_, ok := p.d.Parts[i].(Heading)
	return ok
}

// nextPart is the part after i that is no heading.
func (p *press) nextPart(i int) Part {
	n := slices.IndexFunc(p.d.Parts[i+1:], func(part Part) bool { _, ok := part.(Heading); return !ok })
	if n < 0 {
		return nil
	}
	return p.d.Parts[i+1+n]
}
