package paper

import (
	"math"
	"strings"
)

const (
	leastUnit = 0.200 // mm for a unit of a picture: titles are of 6.2 pt
	mostUnit  = 0.255 // of 8 pt
	aboveRoom = 13.0  // mm left free for a heading of one line above a picture on a page of its own
)

// sheetOf says how a picture is put on pages: upright or turned, how many mm a unit is, and
// how many units high a piece may be on a page of its own.
func (p *press) sheetOf(f Flow, l *plan) (turned bool, unit, high float64) {
	wide := l.wide()
	unit = min(mostUnit, (p.sheet.Wd-2*margin)/wide)
	if turned = unit < leastUnit; turned {
		unit = min(mostUnit, (p.sheet.Ht-2*margin)/wide)
	}
	height, across := p.lowest(turned)-p.top-aboveRoom, p.sheet.Wd-2*margin
	if turned {
		across = p.sheet.Ht - 2*margin
	}
	for _, below := range []float64{p.captionHeight(f, l, across), 0} { // with what is written below it, if that can be
		if all := (height - below) / pictureUnits(l); all >= leastUnit {
			unit = min(unit, all) // a little smaller, on one page
			break
		}
	}
	return turned, unit, height/unit - 4
}

// pictureUnits is the height of a picture with its key.
func pictureUnits(l *plan) float64 {
	if maybe, unknown := l.key(); maybe || unknown {
		return l.height + keyRoom
	}
	return l.height
}

func (p *press) turns(f Flow) bool {
	turned, _, _ := p.sheetOf(f, f.layOut(p.ruler))
	return turned
}

// pictureHeight is what must follow a heading: all of a picture that fits on a page below it, so
// that the heading is not left behind.
func (p *press) pictureHeight(f Flow) float64 {
	l := f.layOut(p.ruler)
	turned, unit, high := p.sheetOf(f, l)
	if turned {
		return 0 // the page is turned already
	}
	if whole := pictureUnits(l)*unit + p.captionHeight(f, l, p.width); whole <= p.lowest(false)-p.top-aboveRoom+1e-6 {
		return whole
	}
	return high / 2 * unit
}

// captionHeight is the room below a picture for what is written there, where that is short.
func (p *press) captionHeight(f Flow, l *plan, width float64) float64 {
	room := 1.0
	for _, text := range []string{f.Caption, cutText(l)} {
		if text != "" {
			room += 1 + float64(min(len(p.ruler.wrap(text, false, width/noteType.em())), 4))*noteType.height()
		}
	}
	return room
}

// cutText is what a picture shows shortened, in full.
func cutText(l *plan) string {
	if cut := l.cutTexts(); len(cut) > 0 {
		return "… " + strings.Join(cut, " … ")
	}
	return ""
}

// picture draws a flow as wide as its type needs: upright, or on a turned page; a tall one in
// pieces that overlap, each below the names of the columns. What stands below a heading stays
// there: the heading made room for it, or it comes in pieces.
func (p *press) picture(f Flow, headed bool) {
	l := f.layOut(p.ruler)
	turned, unit, _ := p.sheetOf(f, l)
	switch {
	case turned && !(p.isTurned() && !p.due && (p.fresh || p.low-p.y > 0.75*(p.low-p.top))):
		p.page(true)
	case !turned && (p.isTurned() || p.due):
		p.page(false)
	}
	whole := pictureUnits(l)*unit + p.captionHeight(f, l, p.width)
	if p.y+whole > p.low+1e-6 && whole <= p.low-p.top && !headed {
		p.page(turned)
	}
	p.fresh, p.turn = false, turned
	for from := headRoom - gap; ; {
		room := (p.low-p.y)/unit - headRoom
		to, next, last := l.pieceEnd(from, room)
		p.piece(l, unit, from, to, last)
		if last {
			break
		}
		p.page(turned)
		p.fresh = false
		from = next
	}
	p.key(l, unit)
	p.y += 1
	p.setLines(p.ruler.wrap(f.Caption, false, p.width/noteType.em()), noteType, 0)
	if text := cutText(l); text != "" {
		p.y += 1
		p.setLines(p.ruler.wrap(text, false, p.width/noteType.em()), noteType, 0)
	}
	p.space(3)
	if turned { // what follows stands on an upright page, and is measured for it
		p.turn = false
		p.due, p.width, p.low = true, p.sheet.Wd-2*margin, p.lowest(false)
	}
}

// pieceEnd says where a piece of a picture that begins at a height ends, and where the next one
// begins: so that few boxes are cut, and each stands whole on one of the two.
func (l *plan) pieceEnd(from, room float64) (to, next float64, last bool) {
	rest := l.height - from
	if maybe, unknown := l.key(); maybe || unknown {
		rest += keyRoom
	}
	if rest <= room {
		return l.height, 0, true
	}
	to, fewest := from+room, math.MaxInt
	next = to
	for y := from + room; y > from+room*0.7; y -= 2 {
		cut, top := l.cutAt(y)
		if cut < fewest {
			if fewest, to, next = cut, y, y; cut > 0 {
				next = top - gap/2
			}
		}
	}
	return to, max(next, from+room*0.3), false
}

// cutAt counts the boxes that a cut at a height goes through, and gives the top of the highest.
func (l *plan) cutAt(y float64) (count int, top float64) {
	top = y
	for _, column := range l.columns {
		for _, s := range column {
			if s.node != nil && s.y < y && s.y+s.h > y {
				count, top = count+1, min(top, s.y)
			}
		}
	}
	return count, top
}

// piece draws what of a picture lies between two heights, below the names of its columns.
func (p *press) piece(l *plan, unit, from, to float64, last bool) {
	x0 := margin
	for _, h := range l.heads() {
		p.write(x0, p.y, unit, h)
	}
	top := p.y + headRoom*unit
	y0 := top - from*unit
	height := (to - from) * unit
	p.ClipRect(x0-1, top, l.wide()*unit+2, height, false)
	for i, r := range l.drawingOrder() {
		p.band(l, i, r, x0, y0, unit)
	}
	p.SetDashPattern([]float64{}, 0)
	for _, column := range l.columns {
		for _, s := range column {
			if s.node != nil && s.y < to && s.y+s.h > from {
				p.box(l, s, x0, y0, unit, s.y >= from-1e-6 && s.y+s.h <= to+1e-6)
			}
		}
	}
	p.ClipEnd()
	p.SetDashPattern([]float64{}, 0)
	p.y = top + height
	if !last {
		p.set(margin, p.low-noteType.height(), "goes on on the next page", noteType)
	}
}

// write sets a line of a picture.
func (p *press) write(x0, y0, unit float64, w writing) {
	weight := ""
	if w.bold {
		weight = "B"
	}
	p.SetFont(typeface, weight, w.size*unit/pointsInMM)
	p.Text(x0+w.x*unit, y0+w.y*unit, w.text)
}

// band draws a band over a wider white one, so that bands that cross stay apart.
func (p *press) band(l *plan, i int, r *route, x0, y0, unit float64) {
	if arrow, ok := l.arrow(r); ok {
		p.SetFillColor(maybeGrey, maybeGrey, maybeGrey)
		p.MoveTo(x0+arrow[0].x*unit, y0+arrow[0].y*unit)
		p.LineTo(x0+arrow[1].x*unit, y0+arrow[1].y*unit)
		p.LineTo(x0+arrow[2].x*unit, y0+arrow[2].y*unit)
		p.ClosePath()
		p.DrawPath("F")
	}
	grey, dash := sureGrey, []float64{}
	if !r.edge.Sure {
		grey, dash = maybeGrey, []float64{7 * unit, 4 * unit}
	}
	if !r.edge.known() {
		grey = maybeGrey
	}
	draw := func() {
		for k, s := range l.strokes(r) {
			if k == 0 {
				p.MoveTo(x0+s.from.x*unit, y0+s.from.y*unit)
			}
			if s.curved {
				p.CurveBezierCubicTo(x0+s.c1.x*unit, y0+s.c1.y*unit, x0+s.c2.x*unit, y0+s.c2.y*unit, x0+s.to.x*unit, y0+s.to.y*unit)
			} else {
				p.LineTo(x0+s.to.x*unit, y0+s.to.y*unit)
			}
		}
		p.DrawPath("D")
	}
	p.SetDashPattern([]float64{}, 0)
	p.SetDrawColor(255, 255, 255)
	p.SetLineWidth((r.width + 1.6) * unit)
	draw()
	p.SetDashPattern(dash, 0)
	p.SetDrawColor(grey, grey, grey)
	p.SetLineWidth(r.width * unit)
	draw()
	at := l.mark(i, r)
	p.sign(x0+at.x*unit, y0+at.y*unit, unit, !r.edge.Sure, !r.edge.known())
}

// sign draws a band's question mark or ring.
func (p *press) sign(x, y, unit float64, maybe, unknown bool) {
	p.SetDashPattern([]float64{}, 0)
	p.SetFillColor(255, 255, 255)
	p.SetDrawColor(maybeGrey, maybeGrey, maybeGrey)
	p.SetLineWidth(0.9 * unit)
	switch {
	case maybe && unknown:
		p.Circle(x, y, 5*unit, "FD")
	case maybe:
		p.Circle(x, y, 5*unit, "F")
	case unknown:
		p.Circle(x, y, 2.8*unit, "FD")
	}
	if maybe {
		w := writing{text: "?", size: 8.5}
		w.x = -p.ruler.Width("?", false) * w.size / 2
		w.y = 3
		p.write(x, y, unit, w)
	}
}

func (p *press) box(l *plan, s *spot, x0, y0, unit float64, whole bool) {
	p.SetDrawColor(0, 0, 0)
	p.SetFillColor(255, 255, 255)
	p.SetLineWidth(1.1 * unit)
	dash := []float64{}
	if !s.node.Sure {
		dash = []float64{5 * unit, 3 * unit}
	}
	p.SetDashPattern(dash, 0)
	p.Rect(x0+l.left(s.column)*unit, y0+s.y*unit, l.boxWide*unit, s.h*unit, "FD")
	if !whole {
		return // its text stands where it is whole
	}
	for _, w := range l.says(s) {
		p.write(x0, y0, unit, w)
	}
}

// key says what the signs mean that are in the picture.
func (p *press) key(l *plan, unit float64) {
	maybe, unknown := l.key()
	if !maybe && !unknown {
		return
	}
	y, x := p.y+12*unit, margin
	entry := func(words string, maybe, unknown bool) {
		dash := []float64{}
		if maybe {
			dash = []float64{7 * unit, 4 * unit}
		}
		p.SetDashPattern(dash, 0)
		p.SetDrawColor(maybeGrey, maybeGrey, maybeGrey)
		p.SetLineWidth(1.1 * unit)
		p.Line(x, y, x+36*unit, y)
		p.sign(x+18*unit, y, unit, maybe, unknown)
		p.write(x, y, unit, writing{point: point{42, 3.5}, text: words, size: smallSize})
		x += keyStep * unit
	}
	if maybe {
		entry(onlyMaybe, true, false)
	}
	if unknown {
		entry(notMeasured, false, true)
	}
	p.y += keyRoom * unit
}
