package labels

import "fmt"

// An area is a place on a tag: its top left corner and its size, mm.
type area struct{ x, y, w, h float64 }

// above, below, before and after cut an area in two: the part named, and what
// is left of it.
func (a area) above(h float64) (part, rest area) {
	return area{a.x, a.y, a.w, h}, area{a.x, a.y + h, a.w, a.h - h}
}

func (a area) below(h float64) (part, rest area) {
	return area{a.x, a.y + a.h - h, a.w, h}, area{a.x, a.y, a.w, a.h - h}
}

func (a area) before(w float64) (part, rest area) {
	return area{a.x, a.y, w, a.h}, area{a.x + w, a.y, a.w - w, a.h}
}

func (a area) after(w float64) (part, rest area) {
	return area{a.x + a.w - w, a.y, w, a.h}, area{a.x, a.y, a.w - w, a.h}
}

// A drawing is one tag laid out: what every output draws, in drawing order.
type drawing struct {
	width, height float64 // mm
	boxes         []area  // filled black
	texts         []textMark
	symbol        symbol
	codeBox       area // the code and its quiet zone
}

// A textMark is one line of type.
type textMark struct {
	x, y  float64 // left end of the baseline, mm
	size  float64
	bold  bool
	white bool
	text  string
}

// origin is where the first module of the code lies.
func (d *drawing) origin() (x, y float64) {
	return d.codeBox.x + d.symbol.offset, d.codeBox.y + d.symbol.offset
}

// A pen lays one tag out on one stock.
type pen struct {
	faces faces
	stock Stock
	pitch float64 // printer's dots, mm
	*drawing
}

// layOut makes the drawing of a tag. Pitch is the size of a printer's dot (mm)
// that QR modules are to be a whole number of.
func layOut(fs faces, tag Tag, base string, stock Stock, pitch float64) (*drawing, error) {
	if err := tag.check(); err != nil {
		return nil, err
	}
	payload, err := tag.payload(base)
	if err != nil {
		return nil, err
	}
	p := &pen{fs, stock, pitch, &drawing{width: stock.cellW, height: stock.cellH}}
	if err := stock.arrange(p, tag, payload); err != nil {
		return nil, fmt.Errorf("%s %s on %s: %w", tag.Kind, tag.Code, stock.Name, err)
	}
	return p.drawing, nil
}

// qr puts the code into a square.
func (p *pen) qr(payload string, a area) error {
	code, err := fitSymbol(payload, min(a.w, a.h), p.pitch, p.stock)
	p.symbol, p.codeBox = code, a
	return err
}

// whole sets a text that must not be cut short.
func (p *pen) whole(what, s string, a area, st style, lines int) error {
	f := p.faces.pick(st.bold)
	s = f.printable(s)
	size, set, ok := f.cram(s, a, st, lines)
	if !ok {
		return fmt.Errorf("%w: the %s of %d characters cannot be printed at a size that is read by eye; use a larger stock or a shorter %[2]s",
			ErrTooLong, what, len([]rune(s)))
	}
	p.lines(set, size, a, st)
	return nil
}

// text sets a text that may be cut short, and says how high it came out.
func (p *pen) text(s string, a area, st style, lines int) (height float64) {
	f := p.faces.pick(st.bold)
	s = f.printable(tidy(s))
	if s == "" {
		return 0
	}
	size, set, ok := f.fit(s, a, st, lines)
	if !ok {
		size, set = f.shorten(s, a, st, lines)
	}
	p.lines(set, size, a, st)
	return float64(len(set)) * size * f.lineHeight()
}

// lines puts lines of type at the top of an area; a single line of an area
// made for one is centred by its capitals.
func (p *pen) lines(set []string, size float64, a area, st style) {
	f := p.faces.pick(st.bold)
	for i, s := range set {
		x := a.x
		if st.across == center {
			x += (a.w - f.width(s)*size) / 2
		}
		y := a.y + (float64(i)*f.lineHeight()+f.ascent)*size
		p.texts = append(p.texts, textMark{x, y, size, st.bold, st.white, s})
	}
}

// caps sets one line with its capitals in the middle of the area's height.
func (p *pen) caps(s string, a area, st style) {
	f := p.faces.pick(st.bold)
	before := len(p.texts)
	p.text(s, a, st, 1)
	for i := before; i < len(p.texts); i++ {
		p.texts[i].y = a.y + (a.h+f.capHeight*p.texts[i].size)/2
	}
}

// badge sets a word white on black.
func (p *pen) badge(word string, a area, size float64) {
	p.boxes = append(p.boxes, a)
	p.caps(word, a, style{most: size, least: size / 2, bold: true, white: true, across: center})
}

// badgeWidth is the width of a badge that holds the word with air around it.
func (p *pen) badgeWidth(word string, size float64) float64 {
	return (p.faces.bold.width(word) + 0.9) * size
}

// frame draws the outline of an area, inside it.
func (p *pen) frame(a area, thick float64) {
	p.boxes = append(p.boxes,
		area{a.x, a.y, a.w, thick}, area{a.x, a.y + a.h - thick, a.w, thick},
		area{a.x, a.y + thick, thick, a.h - 2*thick}, area{a.x + a.w - thick, a.y + thick, thick, a.h - 2*thick})
}

// status sets the status line in a frame, white on black where the thing is refused: words, so that it needs no colour.
func (p *pen) status(t Tag, a area, st style, lines int) {
	thick := a.h / 28
	inset := a.h / 6
	if t.Refused {
		p.boxes = append(p.boxes, a)
	} else {
		p.frame(a, thick)
	}
	st.bold, st.white, st.across = true, t.Refused, center
	before := len(p.texts)
	inner := area{a.x + inset, a.y + 2*thick, a.w - 2*inset, a.h - 4*thick}
	high := p.text(t.Status, inner, st, lines)
	for i := before; i < len(p.texts); i++ { // the block of lines in the middle
		p.texts[i].y += (inner.h - high) / 2
	}
}

// stack sets a small caption and the text below it, and says how high both are.
func (p *pen) stack(r Row, a area, caption float64, st style, lines int) (height float64) {
	head, body := a.above(caption * p.faces.regular.lineHeight())
	p.text(r.Name, head, style{most: caption, least: caption * 0.7}, 1)
	return head.h + p.text(r.Text, body, st, lines)
}

// row sets a caption and its text in one line, on one baseline.
func (p *pen) row(r Row, a area, column, caption float64, st style) {
	name, text := a.before(column)
	name.w -= caption / 2
	before := len(p.texts)
	p.text(r.Name, name, style{most: caption, least: caption * 0.7}, 1)
	p.text(r.Text, text, st, 1)
	baseline := a.y + p.faces.bold.ascent*st.most
	for i := before; i < len(p.texts); i++ {
		p.texts[i].y = baseline
	}
}
