package check

import (
	"heeltap/graph/trace"
	"heeltap/lots"
)

// use is one use of a lot, or its removal.
type use struct {
	at      lots.When
	entry   int64
	what    string  // where it went
	qty     float64 // base units; 0 where nobody wrote down how much
	removed bool
}

// usesOfLots collects what was taken of each lot; what is of one of several is of none.
func (b *book) usesOfLots() map[string][]use {
	out := map[string][]use{}
	add := func(from lots.Ref, u use) {
		if from.Kind == lots.KindLot && !from.OneOf() {
			out[from.Code()] = append(out[from.Code()], u)
		}
	}
	brew := map[string]*lots.Brew{}
	for _, x := range b.brews {
		brew[x.Brew] = x
	}
	for _, x := range b.inputs {
		at := x.At
		if of := brew[x.Brew]; of != nil && !x.HasAt {
			if at = of.Started; x.AtCast {
				at = of.CastOut
			}
		}
		add(x.From, use{at: at, entry: x.Seq, what: "brew " + x.Brew, qty: float64(x.Qty.N)})
	}
	for _, x := range b.additions {
		add(x.From, use{at: x.At, entry: x.Seq, what: x.Vessel, qty: float64(x.Qty.N)})
	}
	for _, run := range sortedKeys(b.feeds) {
		for _, x := range b.feeds[run] {
			add(x.From, use{at: b.fedAt(x), entry: x.Seq, what: "run " + run, qty: float64(x.Qty.N)})
		}
	}
	for _, x := range b.tippings {
		add(x.From, use{at: x.At, entry: x.Seq, what: "lot " + x.Into, qty: float64(x.Qty.N)})
	}
	for _, x := range b.bulk {
		add(x.From, use{at: x.At, entry: x.Seq, what: "shipped to " + x.Consignee, qty: float64(x.Qty.N), removed: true})
	}
	for _, x := range b.removals {
		add(x.Subject, use{at: x.At, entry: x.Seq, what: x.Reason, qty: float64(x.Qty.N), removed: true})
	}
	return out
}

// fedAt is when a feed began.
func (b *book) fedAt(x *lots.Feed) lots.When {
	if r := b.run[x.Run]; r != nil && !x.HasSince {
		return r.Started
	}
	return x.Since
}

// came is when a lot was received or cropped, how much of it, and the vessel it went into.
func (b *book) came(lot string) (at lots.When, qty float64, into string, ok bool) {
	if r := b.receipt[lot]; r != nil {
		return r.At, float64(r.Qty.N), r.Into, true
	}
	if c := b.crops[lot]; c != nil {
		return c.At, float64(c.Qty.N), c.Into, true
	}
	return lots.When{}, 0, "", false
}

// lotBooked is what the books said of a lot at a time, in base units; false where they do not say:
// it went into a vessel, or some of it was used in a quantity that nobody wrote down.
func (b *book) lotBooked(lot string, at lots.When) (float64, bool) {
	came, sum, into, ok := b.came(lot)
	if !ok || into != "" || came.From > at.To {
		return 0, false
	}
	for _, x := range b.tippings {
		if x.Into == lot && x.At.From <= at.To {
			sum += float64(x.Qty.N)
		}
	}
	for _, u := range b.uses[lot] {
		if u.at.From > at.To {
			continue
		}
		if u.qty == 0 {
			return 0, false
		}
		sum -= u.qty
	}
	return sum, true
}

// vesselBooked is what the books said that a vessel held at a time, in mL; false where nothing.
func (b *book) vesselBooked(vessel string, at int64) (float64, bool) {
	fills, ok := b.fills[vessel]
	if !ok {
		fills = trace.FillsOf(b.tx, vessel)
		b.fills[vessel] = fills
	}
	return trace.HeldAt(fills, at+1)
}
