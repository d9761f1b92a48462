package paper

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/go-pdf/fpdf"

	"heeltap/labels/font"
)

const (
	face       = "paper"
	margin     = 17.0 // mm
	textSize   = 10.0 // pt
	tableSize  = 8.5
	pointsInMM = 25.4 / 72
)

// press sets a document on pages.
type press struct {
	*fpdf.Fpdf
	d      *Document
	width  float64 // between the margins, mm
	bottom float64 // the lowest a part may reach, mm
}

// PDF writes the document ready to print.
func (d *Document) PDF(w io.Writer) error {
	size := fpdf.SizeType{Wd: 210, Ht: 297}
	if d.Letter {
		size = fpdf.SizeType{Wd: 215.9, Ht: 279.4}
	}
	p := &press{Fpdf: fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: size}), d: d, width: size.Wd - 2*margin, bottom: size.Ht - 20}
	date := d.Dated
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	p.SetCreationDate(date.UTC())
	p.SetModificationDate(date.UTC())
	p.SetCatalogSort(true)
	p.SetProducer("heeltap", false)
	p.SetTitle(d.Title, true)
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(false, 0)
	p.SetCellMargin(0)
	p.AddUTF8FontFromBytes(face, "", []byte(font.Regular))
	p.AddUTF8FontFromBytes(face, "B", []byte(font.Bold))
	p.AliasNbPages("{pages}")
	p.SetHeaderFunc(p.head)
	p.SetFooterFunc(p.foot)
	p.AddPage()
	p.title()
	for _, part := range d.Parts {
		if err := p.part(part); err != nil {
			return err
		}
	}
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		return fmt.Errorf("make PDF: %w", err)
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

// plane leaves out what the face's tables can not hold.
func plane(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r > 0xFFFF:
			return '\uFFFD'
		case r < ' ' && r != '\n':
			return ' '
		}
		return r
	}, text)
}

func (p *press) head() {
	p.SetFont(face, "B", 11)
	x := margin
	for _, m := range p.d.Marks {
		m = plane(m)
		w := p.GetStringWidth(m) + 6
		p.SetLineWidth(0.7)
		p.Rect(x, 8, w, 7, "D")
		p.SetXY(x, 8)
		p.CellFormat(w, 7, m, "", 0, "C", false, 0, "")
		x += w + 4
	}
	p.SetXY(margin, margin+1)
}

func (p *press) foot() {
	_, height := p.GetPageSize()
	p.SetFont(face, "", 7.5)
	p.SetXY(margin, height-14)
	p.SetLineWidth(0.2)
	p.Line(margin, height-15, margin+p.width, height-15)
	p.CellFormat(p.width-30, 4, p.fit(plane(p.d.Footer), p.width-30), "", 0, "L", false, 0, "")
	p.CellFormat(30, 4, fmt.Sprintf("page %d of {pages}", p.PageNo()), "", 0, "R", false, 0, "")
}

// fit shortens a text to a width.
func (p *press) fit(text string, width float64) string {
	r := []rune(text)
	for len(r) > 1 && p.GetStringWidth(string(r)) > width {
		r = append(r[:len(r)-2], '…')
	}
	return string(r)
}

// room begins a new page where less than so many mm are left.
func (p *press) room(height float64) {
	if p.GetY()+height > p.bottom {
		p.AddPage()
	}
}

func (p *press) title() {
	p.lines(p.d.Title, "B", 17, 0)
	if p.d.Subtitle != "" {
		p.lines(p.d.Subtitle, "", textSize, 0)
	}
	p.Ln(2)
}

// lines sets a paragraph, line by line over the pages, set in by so many mm.
func (p *press) lines(text, weight string, size, in float64) {
	p.SetFont(face, weight, size)
	height := size * pointsInMM * 1.32
	for _, l := range p.split(text, p.width-in) {
		p.room(height)
		p.SetX(margin + in)
		p.CellFormat(p.width-in, height, l, "", 1, "L", false, 0, "")
		p.SetFont(face, weight, size) // a new page's head and foot set another
	}
}

// split breaks a text into lines of a width; a word that is wider is broken.
func (p *press) split(text string, width float64) []string {
	var out []string
	for _, paragraph := range strings.Split(plane(text), "\n") {
		line := ""
		for _, word := range strings.Fields(paragraph) {
			joined := strings.TrimSpace(line + " " + word)
			if p.GetStringWidth(joined) <= width {
				line = joined
				continue
			}
			if line != "" {
				out = append(out, line)
			}
			line = word
			for p.GetStringWidth(line) > width {
				n := p.most(line, width)
				out = append(out, string([]rune(line)[:n]))
				line = string([]rune(line)[n:])
			}
		}
		out = append(out, line)
	}
	return out
}

// most is how many characters of a word fit a width, at least one.
func (p *press) most(word string, width float64) int {
	r := []rune(word)
	n := 1
	for n < len(r) && p.GetStringWidth(string(r[:n+1])) <= width {
		n++
	}
	return n
}

func (p *press) part(part Part) error {
	switch x := part.(type) {
	case Heading:
		p.heading(x)
	case Text:
		weight := ""
		if x.Strong {
			weight = "B"
		}
		p.lines(x.Text, weight, textSize, 0)
		p.Ln(1.6)
	case Caution:
		p.caution(x)
	case Facts:
		p.facts(x)
	case Table:
		p.table(x)
	case List:
		for _, item := range x.Items {
			p.room(5)
			y := p.GetY()
			p.SetFont(face, "", textSize)
			p.Text(margin+1, y+3.7, "–")
			p.lines(item, "", textSize, 5)
		}
		p.Ln(1.6)
	case Signatures:
		p.signatures(x)
	case Blank:
		for _, l := range x.Labels {
			p.blank(l)
		}
		p.Ln(1.6)
	case Code:
		return p.code(x)
	case Break:
		p.AddPage()
	case Picture:
		p.picture(x.Flow)
	}
	return nil
}

// blank is a label with a line to write on.
func (p *press) blank(label string) {
	const name = 84.0
	p.SetFont(face, "", 9)
	lines := p.split(label, name-3)
	p.room(float64(len(lines))*4.2 + 6)
	y := p.GetY() + 3
	p.SetFont(face, "", 9)
	for i, l := range lines {
		p.SetXY(margin, y+float64(i)*4.2)
		p.CellFormat(name, 4.2, l, "", 0, "L", false, 0, "")
	}
	y += float64(len(lines)) * 4.2
	p.SetLineWidth(0.25)
	p.Line(margin+name, y+0.8, margin+p.width, y+0.8)
	p.SetXY(margin, y+2)
}

func (p *press) heading(h Heading) {
	size := 13.0
	if h.Level > 1 {
		size = 11
	}
	p.room(20)
	p.Ln(2.5)
	p.lines(h.Text, "B", size, 0)
	if h.Level == 1 {
		p.SetLineWidth(0.4)
		p.Line(margin, p.GetY()+0.3, margin+p.width, p.GetY()+0.3)
	}
	p.Ln(1.4)
}

func (p *press) caution(c Caution) {
	p.SetFont(face, "", 9)
	var lines []string
	for _, l := range c.Lines {
		lines = append(lines, p.split(l, p.width-8)...)
	}
	height := float64(len(lines))*4.2 + 3
	p.room(height + 2)
	y := p.GetY()
	p.SetLineWidth(0.5)
	p.Rect(margin, y, p.width, height, "D")
	p.SetFillColor(0, 0, 0)
	p.Rect(margin, y, 2, height, "F")
	p.SetFont(face, "", 9)
	for i, l := range lines {
		p.SetXY(margin+4, y+1.5+float64(i)*4.2)
		p.CellFormat(p.width-8, 4.2, l, "", 0, "L", false, 0, "")
	}
	p.SetXY(margin, y+height+2.5)
}

func (p *press) facts(f Facts) {
	const name = 52.0
	for _, r := range f.Rows {
		p.SetFont(face, "B", 9.5)
		left := p.split(r[0], name-3)
		p.SetFont(face, "", 9.5)
		right := p.split(r[1], p.width-name)
		for i := range max(len(left), len(right)) {
			p.room(4.6)
			y := p.GetY()
			p.SetFont(face, "B", 9.5)
			p.SetXY(margin, y)
			p.CellFormat(name, 4.6, cell(left, i), "", 0, "L", false, 0, "")
			p.SetFont(face, "", 9.5)
			p.CellFormat(p.width-name, 4.6, cell(right, i), "", 1, "L", false, 0, "")
		}
		p.Ln(0.5)
	}
	p.Ln(1.6)
}

func (p *press) signatures(s Signatures) {
	for _, role := range s.Roles {
		p.room(18)
		p.SetFont(face, "B", 9)
		p.CellFormat(p.width, 5, plane(role), "", 1, "L", false, 0, "")
		y := p.GetY() + 8
		p.SetLineWidth(0.25)
		p.SetFont(face, "", 7)
		x := margin
		for i, label := range []string{"name", "signature", "date, time"} {
			w := p.width * []float64{0.38, 0.38, 0.24}[i]
			p.Line(x, y, x+w-4, y)
			p.Text(x, y+3, label)
			x += w
		}
		p.SetXY(margin, y+5)
	}
}

func (p *press) code(c Code) error {
	m, err := modules(c.Payload)
	if err != nil {
		return err
	}
	const side = 32.0
	p.room(side + 2)
	x, y := margin, p.GetY()
	pitch := side / float64(len(m))
	p.SetFillColor(0, 0, 0)
	for i, row := range m {
		for from := 0; from < len(row); from++ {
			to := from
			for to < len(row) && row[to] {
				to++
			}
			if to > from {
				p.Rect(x+float64(from)*pitch, y+float64(i)*pitch, float64(to-from)*pitch, pitch, "F")
				from = to
			}
		}
	}
	p.SetXY(x, y+8)
	p.lines(c.Text, "B", textSize, side+4)
	p.lines(c.Payload, "", 8, side+4)
	p.SetXY(margin, max(p.GetY(), y+side)+2)
	return nil
}

// widths shares the page's width among columns: what they ask for where there is room, else
// at least their longest word, and of the rest what they would have liked.
func (p *press) widths(t Table, pad float64) []float64 {
	least, like := make([]float64, len(t.Head)), make([]float64, len(t.Head))
	for i, h := range t.Head {
		text, number := heading(h)
		ask := func(text string, whole bool) {
			like[i] = max(like[i], p.GetStringWidth(plane(text))+pad)
			for _, word := range strings.Fields(plane(text)) {
				least[i] = max(least[i], min(p.GetStringWidth(word)+pad, p.width/3))
			}
			if whole {
				least[i] = max(least[i], min(like[i], p.width/4))
			}
		}
		ask(text, false)
		for _, row := range t.Rows {
			ask(cell(row, i), number)
		}
	}
	return share(p.width, least, like)
}

// share divides a width: columns that like no more than an even share get what they like, the
// others share the rest evenly, and none gets less than its least while there is room.
func share(width float64, least, like []float64) []float64 {
	out := make([]float64, len(like))
	order := make([]int, len(like))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(like[a], like[b]) })
	left := width
	for n, i := range order {
		needed := 0.0 // by those that come later
		for _, j := range order[n+1:] {
			needed += least[j]
		}
		even := max(least[i], min(left/float64(len(order)-n), left-needed))
		out[i] = min(like[i], even)
		left -= out[i]
	}
	sum := 0.0
	for _, w := range out {
		sum += w
	}
	for i := range out { // what is over, or lacks, is spread by what they have
		out[i] *= width / max(sum, 1e-9)
	}
	return out
}

// table sets a table over as many pages as it needs, its head on each.
func (p *press) table(t Table) {
	size := tableSize
	if len(t.Head) > 7 {
		size = 7.2
	}
	height := size * pointsInMM * 1.3
	const pad = 2.2
	p.SetFont(face, "B", size)
	widths := p.widths(t, pad)
	head := make([]string, len(t.Head))
	for i, h := range t.Head {
		head[i], _ = heading(h)
	}
	row := func(cells []string, weight string) {
		p.SetFont(face, weight, size)
		lines := make([][]string, len(t.Head))
		most := 1
		for i := range t.Head {
			lines[i] = p.split(cell(cells, i), widths[i]-pad+0.3)
			most = max(most, len(lines[i]))
		}
		for k := range most {
			x := margin
			y := p.GetY()
			for i, h := range t.Head {
				_, number := heading(h)
				align := "L"
				if number {
					align = "R"
				}
				p.SetXY(x, y)
				p.CellFormat(widths[i]-pad/2, height, cell(lines[i], k), "", 0, align, false, 0, "")
				x += widths[i]
			}
			p.SetXY(margin, y+height)
			if weight == "" && p.GetY()+height > p.bottom && k+1 < most {
				p.AddPage()
				p.SetFont(face, weight, size)
			}
		}
		line := 0.12
		if weight == "B" {
			line = 0.4
		}
		p.SetLineWidth(line)
		p.Line(margin, p.GetY()+0.4, margin+p.width, p.GetY()+0.4)
		p.Ln(1)
	}
	tall := func(cells []string) float64 {
		p.SetFont(face, "", size)
		most := 1
		for i := range t.Head {
			most = max(most, len(p.split(cell(cells, i), widths[i]-pad+0.3)))
		}
		return float64(most)*height + 1.2
	}
	p.room(3 * height)
	row(head, "B")
	for _, cells := range t.Rows {
		if need := tall(cells); p.GetY()+need > p.bottom && (need < 100 || p.GetY()+3*height > p.bottom) {
			p.AddPage()
			row(head, "B")
		}
		row(cells, "")
	}
	if t.Note != "" {
		p.lines(t.Note, "", 8, 0)
	}
	p.Ln(2)
}

// picture draws a flow as wide as the page, and on a page of its own where it is tall.
func (p *press) picture(f Flow) {
	d := f.layOut()
	scale := p.width / flowWidth
	space := p.bottom - margin - 12
	scale = min(scale, space/d.height)
	p.room(d.height*scale + 8)
	x0, y0 := margin, p.GetY()
	for _, b := range d.bands {
		p.SetDrawColor(120, 120, 120)
		p.SetDashPattern([]float64{}, 0)
		if !b.sure {
			p.SetDrawColor(60, 60, 60)
			p.SetDashPattern([]float64{1.6, 1}, 0)
		}
		p.SetLineWidth(max(0.15, b.width*scale))
		mid := (b.x1 + b.x2) / 2
		p.CurveBezierCubic(x0+b.x1*scale, y0+b.y1*scale, x0+mid*scale, y0+b.y1*scale, x0+mid*scale, y0+b.y2*scale, x0+b.x2*scale, y0+b.y2*scale, "D")
		if !b.known {
			p.SetDashPattern([]float64{}, 0)
			p.SetFillColor(255, 255, 255)
			p.SetLineWidth(0.2)
			p.Circle(x0+mid*scale, y0+(b.y1+b.y2)/2*scale, 0.6, "FD")
		}
	}
	p.SetDrawColor(0, 0, 0)
	p.SetDashPattern([]float64{}, 0)
	size := 10.5 * scale / pointsInMM
	p.SetFont(face, "B", size*1.15)
	for _, h := range d.heads {
		p.Text(x0+h.x*scale, y0+16*scale, plane(h.Title))
	}
	p.SetFont(face, "", size)
	for _, n := range d.boxes {
		p.SetDashPattern([]float64{}, 0)
		if !n.Sure {
			p.SetDashPattern([]float64{1.2, 0.8}, 0)
		}
		p.SetFillColor(255, 255, 255)
		p.SetLineWidth(0.25)
		p.Rect(x0+n.x*scale, y0+n.y*scale, n.w*scale, boxHeight*scale, "FD")
		p.Text(x0+(n.x+5)*scale, y0+(n.y+15)*scale, p.fit(plane(n.full()), (n.w-10)*scale))
	}
	p.SetDashPattern([]float64{}, 0)
	p.SetXY(margin, y0+d.height*scale+1)
	p.lines(f.Caption, "", 8, 0)
	p.Ln(2)
}
