package paper

import "fmt"

// part sets the i-th part.
func (p *press) part(i int, part Part) error {
	switch x := part.(type) {
	case Heading:
		p.heading(i, x)
	case Text:
		s := textType
		if x.Strong {
			s = strongType
		}
		p.lines(x.Text, s, 0)
		p.space(1.8)
	case Caution:
		p.caution(x)
	case Facts:
		p.facts(x.Rows)
	case Table:
		p.table(i, x)
	case List:
		p.list(x.Items)
	case Signatures:
		p.space(1.5)
		p.room(p.signsHeight(x))
		for _, role := range x.Roles {
			p.signing(role)
		}
	case Blank:
		for _, label := range x.Labels {
			p.blank(label)
		}
		p.space(2)
	case Code:
		return p.code(x)
	case Break:
		p.due = p.due || !p.fresh
	case Picture:
		p.picture(x.Flow, p.isHeading(i-1))
	default:
		return fmt.Errorf("a paper has no part of type %T", part)
	}
	return nil
}

func headingType(h Heading) style { return style{[]float64{13, 11, 10}[h.level()-1], true} }

func (p *press) headingHeight(h Heading) float64 {
	s := headingType(h)
	return 3 + float64(len(p.ruler.wrap(h.Text, true, p.width/s.em())))*s.height() + 2
}

// heading stays with what follows it, also where that is a picture on a turned page.
func (p *press) heading(i int, h Heading) {
	if picture, ok := p.nextPart(i).(Picture); ok && p.turns(picture.Flow) && !p.isHeading(i-1) && !(p.isTurned() && p.fresh) {
		p.page(true)
	}
	p.space(3)
	p.room(p.headingHeight(h) + p.keep(i+1))
	s := headingType(h)
	p.Bookmark(p.ruler.settable(oneLineOf(h.Text)), 0, p.y)
	for _, line := range p.ruler.wrap(h.Text, true, p.width/s.em()) {
		p.set(margin, p.y, line, s)
		p.y += s.height()
	}
	if h.level() == 1 {
		p.rule(margin, margin+p.width, p.y+0.4, 0.4)
		p.y += 0.4
	}
	p.y += 1.6
}

const (
	cautionIn   = 5.0
	cautionEdge = 2.0
)

func (p *press) cautionLines(c Caution) []string {
	var lines []string
	for _, l := range c.Lines {
		lines = append(lines, p.ruler.wrap(l, cautionType.bold, (p.width-cautionIn-3)/cautionType.em())...)
	}
	return lines
}

func (p *press) cautionHeight(lines []string) float64 {
	return float64(len(lines))*cautionType.height() + 2*cautionEdge
}

// caution stands on one page unless it is taller than that.
func (p *press) caution(c Caution) {
	lines := p.cautionLines(c)
	for len(lines) > 0 {
		p.room(min(p.cautionHeight(lines), p.low-p.top))
		n := min(len(lines), max(1, int((p.low-p.y-2*cautionEdge+1e-6)/cautionType.height())))
		height := p.cautionHeight(lines[:n])
		p.SetDrawColor(0, 0, 0)
		p.SetFillColor(0, 0, 0)
		p.SetLineWidth(0.5)
		p.Rect(margin, p.y, p.width, height, "D")
		p.Rect(margin, p.y, 2, height, "F")
		for k, l := range lines[:n] {
			p.set(margin+cautionIn, p.y+cautionEdge+float64(k)*cautionType.height(), l, cautionType)
		}
		p.y += height
		lines = lines[n:]
		p.due = len(lines) > 0
	}
	p.space(3)
}

const factName = 52.0 // mm for the names of facts

var (
	factType  = style{9.5, false}
	factTitle = style{9.5, true}
)

// facts sets names beside their values. One that takes up to half a page stays on one.
func (p *press) facts(rows [][2]string) {
	for _, r := range rows {
		left := p.ruler.wrap(r[0], true, (factName-3)/factTitle.em())
		right := p.ruler.wrap(r[1], false, (p.width-factName)/factType.em())
		for len(left)+len(right) > 0 {
			height := float64(max(len(left), len(right))) * factType.height()
			if height > (p.low-p.top)/2 {
				height = 2 * factType.height()
			}
			p.room(height)
			n := max(1, int((p.low-p.y+1e-6)/factType.height()))
			y := p.y
			for k, l := range left[:min(n, len(left))] {
				p.set(margin, y+float64(k)*factType.height(), l, factTitle)
			}
			for k, l := range right[:min(n, len(right))] {
				p.set(margin+factName, y+float64(k)*factType.height(), l, factType)
			}
			p.y += float64(min(n, max(len(left), len(right)))) * factType.height()
			left, right = left[min(n, len(left)):], right[min(n, len(right)):]
			p.due = len(left)+len(right) > 0
		}
		p.y += 0.7
	}
	p.space(2)
}

func (p *press) list(items []string) {
	const in = 5.0
	for _, item := range items {
		lines := p.ruler.wrap(item, false, (p.width-in)/textType.em())
		p.room(float64(min(len(lines), 2)) * textType.height())
		p.set(margin+1, p.y, "•", textType)
		p.setLines(lines, textType, in)
		p.y += 0.7
	}
	p.space(1.4)
}

const signHeight = 22.0

// signsHeight is the height of all lines to sign on, which stand together where they fit on half a page.
func (p *press) signsHeight(s Signatures) float64 {
	if all := float64(len(s.Roles)) * signHeight; all <= (p.low-p.top)/2 {
		return all
	}
	return signHeight
}

// signing sets the lines of one role.
func (p *press) signing(role string) {
	roles := p.ruler.wrap(role, true, p.width/factTitle.em())
	p.room(signHeight + float64(len(roles)-1)*factTitle.height())
	for _, l := range roles {
		p.set(margin, p.y, l, factTitle)
		p.y += factTitle.height()
	}
	p.y += 10
	x := margin
	for i, label := range []string{signName, signature, signDate} {
		w := p.width * []float64{0.36, 0.38, 0.26}[i]
		end := x + w - 4
		if i == 2 {
			end = x + w
		}
		p.rule(x, end, p.y, 0.25)
		p.set(x, p.y+0.3, label, footType)
		x += w
	}
	p.y += 8
}

// blank sets a label with a line to write on.
func (p *press) blank(label string) {
	const name, hand = 84.0, 8.5 // mm; hand is the least room for writing
	s := cautionType
	lines := p.ruler.wrap(label, false, (name-4)/s.em())
	height := max(hand, float64(len(lines))*s.height()+3)
	p.room(height)
	y := p.y + height - float64(len(lines))*s.height()
	for k, l := range lines {
		p.set(margin, y+float64(k)*s.height(), l, s)
	}
	p.y += height
	p.rule(margin+name, margin+p.width, p.y-0.6, 0.25)
}

// code sets a QR code with its text beside it.
func (p *press) code(c Code) error {
	q, err := newCode(c)
	if err != nil {
		return err
	}
	text := p.ruler.wrap(c.Text, true, (p.width-codeBox-4)/textType.em())
	payload := p.ruler.wrap(clean(c.Payload), false, (p.width-codeBox-4)/noteType.em())
	height := float64(len(text))*textType.height() + 0.6 + float64(len(payload))*noteType.height()
	p.room(max(codeBox, height))
	side := float64(q.Side) * q.Module
	left, top := margin, p.y+(codeBox-side)/2 // flush with the text: the margin is quiet enough
	p.SetFillColor(0, 0, 0)
	for _, b := range q.Bars {
		x, y := left+float64(b.X)*q.Module, top+float64(b.Y)*q.Module
		p.MoveTo(x, y)
		p.LineTo(x+float64(b.N)*q.Module, y)
		p.LineTo(x+float64(b.N)*q.Module, y+q.Module)
		p.LineTo(x, y+q.Module)
		p.ClosePath()
	}
	p.DrawPath("F") // as one path, so that no hairline shows between rows
	y := p.y + max(0, (codeBox-height)/2)
	for _, l := range text {
		p.set(margin+codeBox, y, l, textType)
		y += textType.height()
	}
	y += 0.6
	for _, l := range payload {
		p.set(margin+codeBox, y, l, noteType)
		y += noteType.height()
	}
	p.y += max(codeBox, height) + 2
	return nil
}
