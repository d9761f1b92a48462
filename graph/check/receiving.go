package check

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"heeltap/graph"
	"heeltap/lots"
)

func receivingRules() []Rule {
	return []Rule{
		{"used-above-receipt", Misses, "some of the use belongs to another lot, whose trace is incomplete", "heeltap show LOT, then heeltap amend the wrong row",
			func(b *book) []Hit { return b.folded("used-above-receipt") }},
		{"used-before-receipt", Misses, "a lot or a time is wrong: what is asked backwards contradicts itself", "heeltap amend ENTRY at=… or from=…", usedBeforeReceipt},
		{"used-while-stopped", Misses, "goods that were stopped are in the beer, with nobody's word for it", "hold what came of it, or void the wrong row", usedWhileStopped},
		{"near-supplier-lots", Misses, "one is a misreading of the other: whoever asks for the lot as printed misses it", "look at the bag or the papers, then heeltap amend LOT supplier_lot=…", nearSupplierLots},
		{"supplier-lot-twice", Widens, "one supplier's lot under two items: the item or the lot is wrong", "heeltap amend LOT item=… or supplier_lot=…", supplierLotTwice},
		{"odd-supplier-lot", Widens, "what stands there is another number, so that the supplier's notice can not be matched", "heeltap amend LOT supplier_lot=…", oddSupplierLot},
		{"odd-shape", Widens, "it does not look like this supplier's other lots: perhaps mistyped", "look at the bag, then heeltap amend LOT supplier_lot=…", oddShape},
		{"late-receipt", Slows, "it was entered from memory", "enter receipts at the dock", lateReceipt},
		{"past-best-by", Slows, "it was used after its best-by date", "note who decided so", pastBestBy},
		{"store-never-emptied", Widens, "every lot since its last clean is in whatever is drawn from it", "empty and clean it, and record it: heeltap clean VESSEL --method manual", neverEmptied},
		{"above-capacity", Misses, "more is in it than it can hold: a vessel is wrong, or something left it unrecorded", "heeltap show VESSEL, then heeltap amend the wrong row", aboveCapacity},
		{"count-differs", Widens, "what was counted is not what the books say: something was used or lost unrecorded", "find the use, or heeltap remove it as a loss", countDiffers},
		{"no-carrier", Slows, "records of a receipt or shipment name who brought it (21 CFR 1.337, 1.345)", "heeltap amend CODE carrier=…", noCarrier},
	}
}

// uses lists every use of a lot: when, and by which entry.
func (b *book) uses(f func(lot string, at lots.When, entry int64, what string)) {
	each := func(from lots.Ref, at lots.When, entry int64, what string) {
		if from.Kind == lots.KindLot && !from.OneOf() {
			f(from.Code(), at, entry, what)
		}
	}
	started := map[string]lots.When{}
	for _, x := range b.brews {
		started[x.Brew] = x.Started
	}
	for _, x := range b.inputs {
		at := started[x.Brew]
		if x.HasAt {
			at = x.At
		}
		each(x.From, at, x.Seq, "brew "+x.Brew)
	}
	for _, x := range b.additions {
		each(x.From, x.At, x.Seq, x.Vessel)
	}
	for run, list := range b.feeds {
		for _, x := range list {
			at := lots.When{}
			if r := b.run[run]; r != nil {
				at = r.Started
			}
			if x.HasSince {
				at = x.Since
			}
			each(x.From, at, x.Seq, "run "+run)
		}
	}
}

func usedBeforeReceipt(b *book) (out []Hit) {
	b.uses(func(lot string, at lots.When, entry int64, what string) {
		var came lots.When
		if r := b.receipt[lot]; r != nil {
			came = r.At
		} else if c := b.crops[lot]; c != nil {
			came = c.At
		}
		if came.From > at.To && at.To > 0 {
			out = append(out, hit(lot, entry, "%s was used in %s on %s, and came on %s", lot, what, b.stamp(at.From), b.stamp(came.From)))
		}
	})
	return out
}

// overridden lists the entries that somebody's named override let through.
func (b *book) overridden() map[int64]bool { return b.tx.Overridden() }

func usedWhileStopped(b *book) (out []Hit) {
	over := b.overridden()
	stopped := map[string][]*lots.Hold{}
	for _, h := range b.holds {
		for _, c := range h.Subject.Codes {
			stopped[c] = append(stopped[c], h)
		}
	}
	held := func(code string, at lots.When, entry int64, what string) {
		if over[entry] {
			return
		}
		for _, h := range stopped[code] {
			if at.From >= h.At.To && (!h.Released || at.To < h.ReleasedAt.From) {
				out = append(out, hit(code, entry, "%s was taken for %s on %s, while it was on hold (%s)", code, what, b.stamp(at.From), h.Reason))
			}
		}
		if r := b.receipt[code]; r != nil && r.Status == "rejected" {
			out = append(out, hit(code, entry, "%s was rejected, and used in %s", code, what))
		}
	}
	b.uses(held)
	for _, s := range b.shipments {
		if !s.Unit.OneOf() {
			held(s.Unit.Code(), s.At, s.Seq, "shipment "+s.Shipment)
		}
	}
	return out
}

// fold makes what is easily misread the same.
func fold(text string) string {
	return strings.Map(func(r rune) rune {
		switch unicode.ToUpper(r) {
		case 'O', 'Q':
			return '0'
		case 'I', 'L':
			return '1'
		case 'B':
			return '8'
		case 'S':
			return '5'
		case 'Z':
			return '2'
		case 'G':
			return '6'
		}
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, text)
}

func nearSupplierLots(b *book) (out []Hit) {
	seen := map[[2]string]*lots.Receipt{}
	for _, r := range b.receipts {
		if r.SupplierLot == "-" {
			continue
		}
		key := [2]string{r.Supplier + " " + r.Item, fold(r.SupplierLot)}
		if other := seen[key]; other != nil && other.SupplierLot != r.SupplierLot {
			out = append(out, hit(r.Lot, r.Seq, "%s is %q, %s is %q: they differ only by what is easily misread", r.Lot, r.SupplierLot, other.Lot, other.SupplierLot))
		}
		seen[key] = r
	}
	return out
}

func supplierLotTwice(b *book) (out []Hit) {
	seen := map[[2]string]*lots.Receipt{}
	for _, r := range b.receipts {
		if r.SupplierLot == "-" {
			continue
		}
		key := [2]string{r.Supplier, r.SupplierLot}
		if other := seen[key]; other != nil && other.Item != r.Item {
			out = append(out, hit(r.Lot, r.Seq, "%s (%s) and %s (%s) both bear %q", r.Lot, r.Item, other.Lot, other.Item, r.SupplierLot))
		}
		seen[key] = r
	}
	return out
}

func oddSupplierLot(b *book) (out []Hit) {
	for _, r := range b.receipts {
		switch {
		case r.SupplierLot == r.Document && r.Document != "":
			out = append(out, hit(r.Lot, r.Seq, "the supplier's lot of %s is the number of its delivery note", r.Lot))
		case r.SupplierLot == r.Item:
			out = append(out, hit(r.Lot, r.Seq, "the supplier's lot of %s is the item's code", r.Lot))
		case dateOf(r.SupplierLot) != "" && dateOf(r.SupplierLot) == b.day(r.At.From):
			out = append(out, hit(r.Lot, r.Seq, "the supplier's lot of %s is the day it came", r.Lot))
		}
	}
	return out
}

// dateOf reads a text that is nothing but a date.
func dateOf(text string) string {
	for _, layout := range []string{time.DateOnly, "02.01.2006", "02/01/2006", "20060102", "02Jan2006", "02 Jan 2006"} {
		if t, err := time.Parse(layout, text); err == nil {
			return t.Format(time.DateOnly)
		}
	}
	return ""
}

// shape is a lot's pattern: digits and letters, and the marks between them.
func shape(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsDigit(r):
			return '9'
		case unicode.IsLetter(r):
			return 'A'
		}
		return r
	}, text)
}

func oddShape(b *book) (out []Hit) {
	byKind := map[string][]*lots.Receipt{}
	for _, r := range b.receipts {
		if r.SupplierLot != "-" {
			byKind[r.Supplier+" "+r.Item] = append(byKind[r.Supplier+" "+r.Item], r)
		}
	}
	for _, list := range byKind {
		count := map[string]int{}
		usual := ""
		for _, r := range list {
			s := shape(r.SupplierLot)
			if count[s]++; count[s] > count[usual] || count[s] == count[usual] && s < usual {
				usual = s
			}
		}
		if count[usual] < 5 || count[usual]*10 < len(list)*9 {
			continue
		}
		for _, r := range list {
			if shape(r.SupplierLot) != usual {
				out = append(out, hit(r.Lot, r.Seq, "%q is not of the shape %s that %d of %d of %s's lots of %s have", r.SupplierLot, usual, count[usual], len(list), r.Supplier, r.Item))
			}
		}
	}
	return out
}

func lateReceipt(b *book) (out []Hit) {
	hours := b.limit("late-receipt.hours", 24)
	for _, r := range b.receipts {
		if late := b.recorded(r.Seq).Sub(time.Unix(r.At.To, 0)); late.Hours() > hours {
			out = append(out, hit(r.Lot, r.Seq, "%s came on %s and was entered %.0f hours later", r.Lot, b.stamp(r.At.From), late.Hours()))
		}
	}
	return out
}

func pastBestBy(b *book) (out []Hit) {
	b.uses(func(lot string, at lots.When, entry int64, what string) {
		r := b.receipt[lot]
		if r == nil || r.BestBy == "" {
			return
		}
		w, _, err := lots.ParseWhen(r.BestBy, b.zone)
		if err == nil && at.From > w.To {
			out = append(out, hit(lot, entry, "%s was best by %s, and used in %s on %s", lot, r.BestBy, what, b.day(at.From)))
		}
	})
	return out
}

// neverEmptied finds silos and bulk tanks that hold many deliveries, or old ones, with no clean between.
func neverEmptied(b *book) (out []Hit) {
	most := b.limit("store-never-emptied.lots", 4)
	for code, v := range b.vessels {
		if v.Kind != "silo" && v.Kind != "tank" {
			continue
		}
		fills := b.tx.NodesOf(code) // in order of time
		if len(fills) == 0 {
			continue
		}
		back := b.g.Walk(graph.Query{Dir: graph.Back, Starts: []graph.Start{{ID: fills[len(fills)-1].ID}}})
		n := 0
		for node, band := range back.All() {
			if r := b.receipt[node.Code]; node.Kind == graph.Lot && band == graph.In && r != nil && r.Into == code {
				n++
			}
		}
		if float64(n) > most {
			h := hit(code, 0, "%d deliveries stand in %s with no clean between: a fault in one is in all that was drawn since", n, code)
			h.Mend = fmt.Sprintf("heeltap clean %s --method manual, when it is empty", code)
			out = append(out, h)
		}
	}
	return out
}

func aboveCapacity(b *book) (out []Hit) {
	for code, v := range b.vessels {
		if v.Capacity == 0 || v.Kind == "gas" { // what gas is drawn, nobody writes down
			continue
		}
		for _, n := range b.tx.NodesOf(code) {
			in := v.Unit.Of(n.Total)
			if v.Unit.Dim() == lots.Mass {
				in = v.Unit.Of(n.Total * 1000)
			}
			if in > v.Capacity*1.02 {
				out = append(out, hit(n.Code, n.Entry, "%s holds %.4g %s by the books, and can hold %.4g", n.Code, in, v.Unit, v.Capacity))
			}
		}
	}
	return out
}

func countDiffers(b *book) (out []Hit) {
	for _, c := range b.counts {
		if c.Subject.OneOf() {
			continue
		}
		code := c.Subject.Code()
		counted, booked := c.Count, 0.0
		switch c.Subject.Kind {
		case lots.KindUnit:
			booked = b.unitBooked(code, c.At)
		case lots.KindLot:
			counted, booked = float64(c.Qty.N), b.lotBooked(code, c.At)
		default:
			continue
		}
		off := counted - booked
		unit := 1.0
		if c.Subject.Kind == lots.KindLot {
			unit = max(1, 0.02*booked)
		}
		if off > unit-1e-9 && off > 0.02*booked || -off > unit-1e-9 && -off > 0.02*booked {
			out = append(out, hit(code, c.Seq, "%s was counted on %s and is not what the books said: %+.4g%% of them", code, b.day(c.At.From), 100*off/max(booked, 1)))
		}
	}
	return out
}

// lotBooked is what the books said of a lot at a time, in base units.
func (b *book) lotBooked(lot string, at lots.When) float64 {
	r := b.receipt[lot]
	if r == nil || r.At.From > at.To {
		return 0
	}
	sum := float64(r.Qty.N)
	for _, x := range b.inputs {
		if x.From.Kind == lots.KindLot && !x.From.OneOf() && x.From.Code() == lot && b.happened(x).From <= at.To {
			sum -= float64(x.Qty.N)
		}
	}
	for _, x := range b.additions {
		if x.From.Kind == lots.KindLot && !x.From.OneOf() && x.From.Code() == lot && x.At.From <= at.To {
			sum -= float64(x.Qty.N)
		}
	}
	for run, list := range b.feeds {
		for _, x := range list {
			if x.From.Kind == lots.KindLot && !x.From.OneOf() && x.From.Code() == lot && b.run[run] != nil && b.run[run].Started.From <= at.To {
				sum -= float64(x.Qty.N)
			}
		}
	}
	for _, x := range b.removals {
		if x.Subject.Kind == lots.KindLot && !x.Subject.OneOf() && x.Subject.Code() == lot && x.At.From <= at.To {
			sum -= float64(x.Qty.N)
		}
	}
	return sum
}

func noCarrier(b *book) (out []Hit) {
	for _, r := range b.receipts {
		if r.Carrier == "" {
			out = append(out, hit(r.Lot, r.Seq, "receipt %s names no carrier", r.Lot))
		}
	}
	for _, s := range b.shipments {
		if s.Carrier == "" {
			out = append(out, hit(s.Shipment, s.Seq, "shipment %s names no carrier", s.Shipment))
		}
	}
	return out
}
