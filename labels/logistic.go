package labels

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/boombuler/barcode/code128"
)

// A logistic label says in GS1-128 bar codes what a pallet is, for whoever has no view of our records. Source: GS1 General
// Specifications, 6.6 (logistic label: the SSCC lowest, bars upright, the text above with data titles) and 5.12.3.1, table 5
// (general distribution: X-dimension 0.495 to 1.016 mm, bars at least 31.75 mm high, quiet zones of 10 X); 5.4.1 (a symbol
// holds at most 48 characters on at most 165.1 mm).
const (
	leastX      = 0.495
	mostX       = 1.016
	barHeight   = 31.75
	quietBars   = 10 // in X, on each side
	mostLinear  = 165.1
	mostChars   = 48
	humanHeight = 3.4 // type size of what stands below the bars, mm
	groupMark   = "\x1d"
)

// A Field is one element of a logistic label: an application identifier with its value.
type Field struct {
	AI, Value string
	Fixed     bool   // of a length that needs no separator behind it
	Title     string // the data title, such as COUNT
	Text      string // the value as a person reads it
}

// Logistic is what a logistic label carries: the SSCC, and what there is to say of a content that is all of one kind.
type Logistic struct {
	From    []string // lines on top: who packed it
	Content []Field  // most wanted first
	SSCC    Field
}

// A linear is a GS1-128 symbol.
type linear struct {
	bits  []bool
	human string
	x     float64 // the X-dimension, mm
}

func (l linear) width() float64 { return float64(len(l.bits)+2*quietBars) * l.x }

// newLinear encodes fields as one symbol; false where it does not fit into width (mm) at the least X-dimension. X is as
// large as fits, in whole steps of pitch (mm).
func newLinear(fields []Field, width, pitch float64) (linear, bool, error) {
	var data, human strings.Builder
	for i, f := range fields {
		data.WriteString(f.AI + f.Value)
		human.WriteString("(" + f.AI + ")" + f.Value)
		if !f.Fixed && i+1 < len(fields) {
			data.WriteString(groupMark)
		}
	}
	if data.Len() > mostChars {
		return linear{}, false, nil
	}
	code, err := code128.Encode(string(code128.FNC1) + strings.ReplaceAll(data.String(), groupMark, string(code128.FNC1)))
	if err != nil {
		return linear{}, false, fmt.Errorf("%s cannot stand in a bar code: %w", human.String(), err)
	}
	l := linear{human: human.String()}
	bounds := code.Bounds()
	for x := bounds.Min.X; x < bounds.Max.X; x++ {
		r, _, _, _ := code.At(x, 0).RGBA()
		l.bits = append(l.bits, r == 0)
	}
	modules := float64(len(l.bits) + 2*quietBars)
	most := min(mostX, width/modules, mostLinear/modules)
	l.x = pitch * math.Floor(most/pitch+1e-9)
	return l, l.x >= leastX, nil
}

// linears puts fields into as few symbols as they fit in, in their order: what has a fixed length first within each, so that
// it needs no separator.
func linears(fields []Field, width, pitch float64) (out []linear, err error) {
	for len(fields) > 0 {
		n, last := 0, linear{}
		for k := 1; k <= len(fields); k++ {
			part := slices.Clone(fields[:k])
			slices.SortStableFunc(part, func(a, b Field) int {
				switch {
				case a.Fixed == b.Fixed:
					return 0
				case a.Fixed:
					return -1
				}
				return 1
			})
			l, ok, err := newLinear(part, width, pitch)
			if err != nil {
				return nil, err
			}
			if !ok {
				break
			}
			n, last = k, l
		}
		if n == 0 {
			return nil, fmt.Errorf("%w: (%s)%s needs a wider label", ErrTooLong, fields[0].AI, fields[0].Value)
		}
		out, fields = append(out, last), fields[n:]
	}
	return out, nil
}

// LogisticStocks lists what logistic labels are printed on. GS1 recommends A6 and A5 and prescribes neither.
func LogisticStocks() []Stock {
	return []Stock{
		{Name: "a5", About: "logistic label, A5", Width: 148, Height: 210, Columns: 1, Rows: 1, GoodModule: 0.75, LeastModule: 0.5, cellW: 148, cellH: 210, arrange: (*pen).logistic},
		{Name: "a6", About: "logistic label, A6: the SSCC, and one more bar code", Width: 105, Height: 148, Columns: 1, Rows: 1, GoodModule: 0.75, LeastModule: 0.5, cellW: 105, cellH: 148, arrange: (*pen).logistic},
	}
}

// LogisticStock finds a stock of logistic labels by its name.
func LogisticStock(name string) (Stock, error) {
	for _, s := range LogisticStocks() {
		if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
			return s, nil
		}
	}
	return Stock{}, fmt.Errorf("no size %q of logistic label: choose a5 or a6", name)
}

// Unprinted lists the fields that have no bar code on a stock, for want of room: they stand on it as text.
func (l Logistic) Unprinted(s Stock) (out []Field) {
	p := &pen{stock: s, pitch: dot, drawing: &drawing{width: s.cellW, height: s.cellH}}
	_, out, _ = p.contents(l)
	return out
}

// contents are the symbols above the SSCC's, as many as leave the text its room, and the fields that got none. Both are in
// the fields' order: those most wanted are kept.
func (p *pen) contents(l Logistic) (out []linear, rest []Field, err error) {
	rows := 2
	if p.height < 200 {
		rows = 1
	}
	for n := len(l.Content); n >= 0; n-- {
		out, err = linears(l.Content[:n], p.width, p.pitch)
		if err == nil && len(out) <= rows {
			return out, l.Content[n:], nil
		}
	}
	return nil, l.Content, err
}

// logistic fills a logistic label from below: the SSCC, the content, and over them the text with the QR code.
func (p *pen) logistic(t Tag, payload string) error {
	const edge, gap, box = 5, 1.5, 34
	l := t.Logistic
	if l == nil {
		return fmt.Errorf("%s has no SSCC: a logistic label is for pallets and kegs that have one", t.Code)
	}
	symbols, _, err := p.contents(*l)
	if err != nil {
		return err
	}
	sscc, err := linears([]Field{l.SSCC}, p.width, p.pitch)
	if err != nil {
		return err
	}
	symbols = append(symbols, sscc...)
	a := area{edge, edge, p.width - 2*edge, p.height - 2*edge + 1}
	for i := len(symbols) - 1; i >= 0; i-- {
		var part area
		part, a = a.below(barHeight + humanHeight*1.5 + gap)
		p.bars(symbols[i], part)
	}
	p.boxes = append(p.boxes, area{0, a.y + a.h - gap/2, p.width, 0.4})
	a.h -= 2 * gap
	if err := p.qr(payload, area{p.width - box - 1, 1, box, box}); err != nil {
		return err
	}
	part, _ := a.above(box - edge)
	part.w = p.width - box - edge - 2
	high := p.text(strings.Join(l.From, ", "), part, style{most: 4, least: 2.6}, 2)
	_, part = part.above(high + 1)
	high = p.text(t.Title, part, style{most: 7, least: 3, bold: true}, 2)
	_, part = part.above(high)
	high = p.text(t.Code, part, style{most: 5, least: 2.6}, 1)
	_, part = part.above(high)
	if tidy(t.Status) != "" {
		p.text(t.Status, part, style{most: 5, least: 3, bold: true}, 1)
	}
	_, a = a.above(box - edge + 1)
	p.fields(append([]Field{l.SSCC}, l.Content...), a)
	return nil
}

// fields sets the text with data titles: the SSCC over the whole width, the others in two columns. Capitals are 7 mm high
// where there is room.
func (p *pen) fields(fields []Field, a area) {
	rows := 1 + len(fields)/2
	high := min(18, a.h/float64(rows))
	caption := min(3, high*0.22)
	st := style{most: (high - caption*1.25) * 0.9, least: 2.4, bold: true}
	line, rest := a.above(high)
	p.stack(Row{fields[0].Title, fields[0].Text}, line, caption, st, 1)
	others := []Row{}
	for _, f := range fields[1:] {
		others = append(others, Row{f.Title, f.Text})
	}
	for i := 0; i < len(others); i += 2 {
		line, rest = rest.above(high)
		left := area{line.x, line.y, line.w * 0.56, line.h}
		right := area{line.x + line.w*0.58, line.y, line.w * 0.42, line.h}
		p.stack(others[i], left, caption, st, 1)
		if i+1 < len(others) {
			p.stack(others[i+1], right, caption, st, 1)
		}
	}
}

// bars draws a symbol in the middle of an area, with what it says below. Bars stand on whole dots.
func (p *pen) bars(l linear, a area) {
	left := math.Floor((p.width-l.width())/2/p.pitch) * p.pitch
	left += quietBars * l.x
	for i := 0; i < len(l.bits); i++ {
		start := i
		for i < len(l.bits) && l.bits[i] {
			i++
		}
		if i > start {
			p.boxes = append(p.boxes, area{left + float64(start)*l.x, a.y, float64(i-start) * l.x, barHeight})
		}
	}
	p.text(l.human, area{0, a.y + barHeight + 0.5, p.width, humanHeight * 1.4}, style{most: humanHeight, least: 2.2, across: center}, 1)
}
