package labels

// Each stock has its arrangement. All say first, and largest, our code; then
// what it is; then the QR code with the facts beside it. Nothing is ever
// printed in the QR code's square, which holds its quiet zone.

// placard fills a label of 100 × 150 mm, which hangs on a pallet: kind, code
// and title in letters read from across the dock, and the status at the foot.
func (p *pen) placard(t Tag, payload string) error {
	const edge, box, gap = 4, 58, 2
	a := area{edge, edge, p.width - 2*edge, p.height - 2*edge}
	part, a := a.above(10)
	p.badge(t.Kind.Word(), part, 7)
	_, a = a.above(gap)
	part, a = a.above(17)
	if err := p.code(t.Code, part, style{most: 14, least: 3.5, bold: true}); err != nil {
		return err
	}
	_, a = a.above(gap)
	part, a = a.below(4.6)
	if err := p.payload(payload, part, 3); err != nil {
		return err
	}
	if tidy(t.Status) != "" {
		part, a = a.below(12)
		part.h -= 1
		p.status(t, part, style{most: 7, least: 3.2}, 2)
	}
	const caption = 3.2
	title := style{most: 11, least: 4, bold: true}
	if lot, ok := t.number(); ok {
		title.most = 7.2
		part, a = a.below(15.5)
		p.stack(lot, part, caption, style{most: 6.4, least: 3, bold: true}, 2)
	}
	part, a = a.below(box)
	if err := p.qr(payload, area{1.5, part.y, box, box}); err != nil {
		return err
	}
	beside := area{1.5 + box + gap, part.y + 1, p.width - edge - 1.5 - box - gap, box - 1}
	p.stacks(t.rows(), beside, caption, style{most: 5.6, least: 3, bold: true})
	p.text(t.Title, a, title, 3)
	return nil
}

// card fills a cell of a sheet, about 95 × 66 mm.
func (p *pen) card(t Tag, payload string) error {
	const edge, gap = 4, 1.5
	a := area{edge, edge, p.width - 2*edge, p.height - 2*edge}
	part, a := a.above(10)
	if err := p.head(t, part, 4.6, style{most: 9, least: 2.6, bold: true}); err != nil {
		return err
	}
	part, a = a.below(4.5)
	if err := p.payload(payload, part, 2.5); err != nil {
		return err
	}
	_, a = a.above(1)
	_, a = a.below(0.5)
	box := a.h
	if err := p.qr(payload, area{gap, a.y, box, box}); err != nil {
		return err
	}
	p.facts(t, area{gap + box + gap, a.y, p.width - edge - box - 2*gap, box})
	return nil
}

// facts is the column beside the QR code of a card. Title and supplier's lot
// share what the status and the rows that every card has leave them.
func (p *pen) facts(t Tag, a area) {
	const column, caption, gap = 16, 2.6, 0.8
	text := style{most: 3.4, least: 2.2, bold: true}
	var part area
	if tidy(t.Status) != "" {
		part, a = a.below(7)
		p.status(t, part, style{most: 4.4, least: 2.2}, 2)
		_, a = a.below(gap)
	}
	spare := a.h - p.tableHeight(len(t.facts()), text)
	part, _ = a.above(spare * 0.54)
	high := p.text(t.Title, part, style{most: 4.6, least: 2.4, bold: true}, 3)
	_, a = a.above(high + gap)
	if lot, ok := t.number(); ok {
		part, _ = a.above(spare - high - 2*gap)
		high := p.stack(lot, part, 2.4, style{most: 4.2, least: 2.2, bold: true}, 2)
		_, a = a.above(high + gap)
	}
	p.table(t.rows(), a, column, caption, text)
}

// sticker fills a label of 50 × 30 mm: code, title, supplier's lot and QR code
// always, then the status and what else there is room for.
func (p *pen) sticker(t Tag, payload string) error {
	const edge, top, box, gap = 2, 7, 21.75, 0.15
	if err := p.head(t, area{edge, 1.5, p.width - 2*edge, 5.2}, 2.4, style{most: 4.5, least: 2.1, bold: true}); err != nil {
		return err
	}
	if err := p.qr(payload, area{1, top, box, box}); err != nil {
		return err
	}
	a := area{box + 1.5, top - 0.3, p.width - edge - box - 1.5, 22}
	part, _ := a.above(5.6)
	high := p.text(t.Title, part, style{most: 3, least: 2, bold: true}, 2)
	_, a = a.above(high + gap)
	if lot, ok := t.number(); ok {
		part, _ = a.above(7)
		high := p.stack(lot, part, 1.8, style{most: 2.6, least: 1.9, bold: true}, 2)
		_, a = a.above(high + gap)
	}
	if tidy(t.Status) != "" {
		high, st := 3.0, style{most: 2.2, least: 1.6}
		if t.Refused {
			high, st = 4.4, style{most: 3.6, least: 1.6}
		}
		part, a = a.above(high)
		p.status(t, part, st, 1)
		_, a = a.above(gap)
	}
	p.table(t.rows(), a, 9, 1.9, style{most: 2.1, least: 1.7, bold: true})
	return nil
}

// head sets the code with a badge of the kind at its right.
func (p *pen) head(t Tag, a area, badge float64, st style) error {
	word := t.Kind.Word()
	mark, rest := a.after(p.badgeWidth(word, badge))
	high := badge * 1.35
	p.badge(word, area{mark.x, a.y + (a.h-high)/2, mark.w, high}, badge)
	rest.w -= badge / 2
	return p.code(t.Code, rest, st)
}

// code sets our code, whole, in one line or in two.
func (p *pen) code(code string, a area, st style) error {
	return p.whole("code", code, a, st, 2)
}

// payload sets what the QR code says, whole: where no scanner is at hand it is
// typed in.
func (p *pen) payload(payload string, a area, most float64) error {
	return p.whole("QR payload", payload, a, style{most: most, least: 1.9}, 2)
}

// stacks sets texts below each other, each under its caption, as far as they
// fit.
func (p *pen) stacks(rows []Row, a area, caption float64, st style) {
	high := caption*p.faces.regular.lineHeight() + st.most*p.faces.bold.lineHeight()
	for _, r := range rows {
		if a.h < high {
			return
		}
		part, below := a.above(high)
		p.stack(r, part, caption, st, 1)
		_, a = below.above(1)
	}
}

// table sets texts below each other, each beside its caption, as far as they
// fit.
func (p *pen) table(rows []Row, a area, column, caption float64, st style) {
	for _, r := range rows {
		if a.h < p.tableHeight(1, st) {
			return
		}
		part, below := a.above(p.tableHeight(1, st))
		p.row(r, part, column, caption, st)
		_, a = below.above(st.most / 10)
	}
}

// tableHeight is how high a table of n rows is.
func (p *pen) tableHeight(n int, st style) float64 {
	return float64(n)*st.most*p.faces.bold.lineHeight() + float64(max(0, n-1))*st.most/10
}
