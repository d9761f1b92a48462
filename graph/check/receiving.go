package check

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

func receivingRules() []Rule {
	return []Rule{
		{"used-above-receipt", Misses, "some of that use belongs to another lot, whose trace is incomplete", "look at what took from it (heeltap show LOT), then correct the row that is wrong",
			func(b *book) []Hit { return b.folded("used-above-receipt") }},
		{"used-before-receipt", Misses, "a lot or a time is wrong, so a trace back contradicts itself", "heeltap amend ENTRY at=…, or from=…", usedBeforeReceipt},
		{"used-while-stopped", Misses, "goods that were stopped went into beer, and nobody signed for it", "put what was made from them on hold, or void the row that is wrong", usedWhileStopped},
		{"rejected-in-vessel", Misses, "by the records, rejected goods are in a vessel and in everything drawn from it since", "heeltap hold VESSEL --reason …; if it never went in, heeltap amend LOT into=", rejectedInVessel},
		{"near-supplier-lots", Misses, "one is probably a misreading of the other: asking for the lot as printed misses it", "check the bag or the delivery note, then heeltap amend LOT supplier_lot=…", nearSupplierLots},
		{"supplier-lot-twice", Widens, "one supplier's lot under two items: the item or the lot is wrong", "heeltap amend LOT supplier_lot=…, or item=…", supplierLotTwice},
		{"odd-supplier-lot", Widens, "that is some other number, so a notice from the supplier cannot be matched to it", "heeltap amend LOT supplier_lot=…", oddSupplierLot},
		{"odd-shape", Widens, "it does not look like this supplier's other lots: it may be mistyped", "check the bag, then heeltap amend LOT supplier_lot=…", oddShape},
		{"late-receipt", Slows, "it was entered from memory", "enter receipts at the dock, as they arrive", lateReceipt},
		{"past-best-by", Slows, "it was used after its best-by date", "note who decided to use it", pastBestBy},
		{"lot-too-small", Misses, "more was filled than its lots can account for: a change of lot was not recorded", "heeltap feed RUN --from OTHER-LOT --since …", lotTooSmall},
		{"rest-not-seen", Slows, "the rest is still somewhere, or it was used and not recorded", "heeltap count LOT --quantity …, or heeltap remove LOT --quantity … --reason …", restNotSeen},
		{"units-do-not-meet", Widens, "lots of one item are in kg and in L, or in pieces: they cannot be balanced in one unit", "heeltap amend LOT quantity=… unit=…", unitsDoNotMeet},
		{"store-never-emptied", Widens, "whatever is drawn from it contains every lot since its last clean", "empty it, clean it and record that: heeltap clean VESSEL --method manual --at …", neverEmptied},
		{"above-capacity", Misses, "it holds more than it can: a vessel is wrong, or something left it and was not recorded", "look at what went in and out (heeltap show VESSEL), then correct the row that is wrong", aboveCapacity},
		{"count-differs", Widens, "the count does not match the books: something was used or lost and not recorded", "find where it went and record it, or heeltap remove CODE --quantity … --reason loss --at …", countDiffers},
		{"no-carrier", Slows, "the record of a receipt or shipment must name the carrier (21 CFR 1.337, 1.345)", "heeltap amend ENTRY carrier=…", noCarrier},
	}
}

func usedBeforeReceipt(b *book) (out []Hit) {
	for _, lot := range sortedKeys(b.uses) {
		came, _, _, ok := b.came(lot)
		for _, u := range b.uses[lot] {
			if ok && !u.removed && came.From > u.at.To && u.at.To > 0 {
				out = append(out, hit(lot, u.entry, "%s was used in %s on %s, but arrived on %s", lot, u.what, b.stamp(u.at.From), b.stamp(came.From)))
			}
		}
	}
	return out
}

// usedWhileStopped finds what was taken of anything on hold, or of what a held thing had gone into,
// and the use of what was rejected; what somebody's named override let through is left out.
func usedWhileStopped(b *book) (out []Hit) {
	over := b.tx.Overridden()
	taken, err := trace.TakenWhileHeld(b.tx)
	if err != nil {
		b.err = err
		return nil
	}
	for _, t := range taken {
		if over[t.Entry] {
			continue
		}
		by := ""
		if t.By != "" {
			by = " by " + t.By
		}
		out = append(out, hit(t.Code, t.Entry, "%s was taken for the %s of %s on %s, while it was on hold%s (%s)", t.Code, b.nounOf(t.Entry), b.codeOf(t.Entry), b.stamp(t.At.From), by, t.Reason))
	}
	for _, r := range b.receipts {
		for _, u := range b.uses[r.Lot] {
			if r.Status == "rejected" && !u.removed && !over[u.entry] {
				out = append(out, hit(r.Lot, u.entry, "%s was rejected, yet used in %s", r.Lot, u.what))
			}
		}
	}
	return out
}

// rejectedInVessel finds lots that were rejected and put into a vessel all the same.
func rejectedInVessel(b *book) (out []Hit) {
	for _, r := range b.receipts {
		if r.Status == "rejected" && r.Into != "" {
			h := hit(r.Lot, r.Seq, "%s was rejected when it was received, and yet recorded as put into %s", r.Lot, r.Into)
			h.Mend = "heeltap hold " + r.Into + " --reason …; if it never went in, heeltap amend LOT into="
			out = append(out, h)
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

// nearSupplierLots finds two lots of one supplier and item of which one is a misreading of the
// other: by what is easily misread, or by a character that was lost where all others have it. That
// one character differs says nothing: lots that follow each other do.
func nearSupplierLots(b *book) (out []Hit) {
	seen := map[[2]string]*lots.Receipt{}
	ofItem := map[string][]*lots.Receipt{}
	for _, r := range b.receipts {
		if r.SupplierLot == "-" {
			continue
		}
		item := r.Supplier + " " + r.Item
		ofItem[item] = append(ofItem[item], r)
		key := [2]string{item, fold(r.SupplierLot)}
		if other := seen[key]; other != nil && other.SupplierLot != r.SupplierLot {
			out = append(out, hit(r.Lot, r.Seq, "%s is %q, %s is %q: they differ only in characters that are easily misread", r.Lot, r.SupplierLot, other.Lot, other.SupplierLot))
		}
		seen[key] = r
	}
	for _, item := range sortedKeys(ofItem) {
		out = append(out, oneLost(ofItem[item])...)
	}
	return out
}

// oneLost finds the only lot of its shape that is another lot with one character left out, where
// three others have that one's shape.
func oneLost(list []*lots.Receipt) (out []Hit) {
	shapes := map[string]int{}
	for _, r := range list {
		shapes[shape(r.SupplierLot)]++
	}
	for _, r := range list {
		if len(r.SupplierLot) < 4 || shapes[shape(r.SupplierLot)] > 1 {
			continue
		}
		for _, other := range list {
			if shapes[shape(other.SupplierLot)] >= 3 && lost(other.SupplierLot, r.SupplierLot) {
				out = append(out, hit(r.Lot, r.Seq, "%s is %q, %s is %q: a character may be missing", r.Lot, r.SupplierLot, other.Lot, other.SupplierLot))
				break
			}
		}
	}
	return out
}

// lost reports whether short is long with one byte left out.
func lost(long, short string) bool {
	if len(long) != len(short)+1 {
		return false
	}
	i := 0
	for i < len(short) && long[i] == short[i] {
		i++
	}
	return long[i+1:] == short[i:]
}

func supplierLotTwice(b *book) (out []Hit) {
	seen := map[[2]string]*lots.Receipt{}
	for _, r := range b.receipts {
		if r.SupplierLot == "-" {
			continue
		}
		key := [2]string{r.Supplier, r.SupplierLot}
		if other := seen[key]; other != nil && other.Item != r.Item {
			out = append(out, hit(r.Lot, r.Seq, "%s (%s) and %s (%s) both carry %q", r.Lot, r.Item, other.Lot, other.Item, r.SupplierLot))
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
			out = append(out, hit(r.Lot, r.Seq, "the supplier's lot of %s is the day it arrived", r.Lot))
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
				out = append(out, hit(r.Lot, r.Seq, "%q does not look like %s, as %d of %d of %s's lots of %s do", r.SupplierLot, usual, count[usual], len(list), r.Supplier, r.Item))
			}
		}
	}
	return out
}

func lateReceipt(b *book) []Hit {
	hours := b.limit("late-receipt.hours")
	var out []late
	for _, r := range b.receipts {
		if n := b.recorded(r.Seq).Sub(time.Unix(r.At.To, 0)).Hours(); n > hours {
			out = append(out, late{r.Seq, hit(r.Lot, r.Seq, "%s arrived on %s and was entered %.0f hours later", r.Lot, b.stamp(r.At.From), n)})
		}
	}
	return b.joined(out, "receipts")
}

func pastBestBy(b *book) (out []Hit) {
	for _, r := range b.receipts {
		w, _, err := lots.ParseWhen(r.BestBy, b.zone)
		if r.BestBy == "" || err != nil {
			continue
		}
		for _, u := range b.uses[r.Lot] {
			if !u.removed && u.at.From > w.To {
				out = append(out, hit(r.Lot, u.entry, "%s was best by %s, and used in %s on %s", r.Lot, r.BestBy, u.what, b.day(u.at.From)))
			}
		}
	}
	return out
}

// neverEmptied finds silos and bulk tanks that hold many deliveries, or old ones, with no clean between.
func neverEmptied(b *book) (out []Hit) {
	most, days := b.limit("store-never-emptied.lots"), b.limit("store-never-emptied.days")
	for _, code := range sortedKeys(b.vessels) {
		if v := b.vessels[code]; v.Kind != "silo" && v.Kind != "tank" {
			continue
		}
		fills := b.tx.NodesOf(code) // in order of time
		if len(fills) == 0 {
			continue
		}
		last := fills[len(fills)-1]
		back := b.g.Walk(graph.Query{Dir: graph.Back, Starts: []graph.Start{{ID: last.ID}}})
		n, oldest := 0, last.Since
		for node, band := range back.All() {
			if r := b.receipt[node.Code]; node.Kind == graph.Lot && band == graph.In && r != nil && r.Into == code {
				n, oldest = n+1, min(oldest, r.At.From)
			}
		}
		var h Hit
		switch age := float64(b.tx.Recorded().Unix()-oldest) / 86400; {
		case float64(n) > most:
			h = hit(code, 0, "%d deliveries went into %s with no clean between: a fault in one is in everything drawn since", n, code)
		case n > 1 && last.Until == 0 && age > days:
			h = hit(code, 0, "%s has been refilled since %s with no clean between", code, b.day(oldest))
		default:
			continue
		}
		h.Mend = fmt.Sprintf("heeltap clean %s --method manual --at …, when it is empty", code)
		out = append(out, h)
	}
	return out
}

func aboveCapacity(b *book) (out []Hit) {
	most := 1 + b.limit("above-capacity.percent")/100
	for _, code := range sortedKeys(b.vessels) {
		v := b.vessels[code]
		if v.Capacity == 0 || v.Kind == "gas" { // what gas is drawn, nobody writes down
			continue
		}
		for _, n := range b.tx.NodesOf(code) {
			in := v.Unit.Of(n.Total)
			if v.Unit.Dim() == lots.Mass {
				in = v.Unit.Of(n.Total * 1000)
			}
			if in > v.Capacity*most {
				out = append(out, hit(n.Code, n.Entry, "%s holds %.4g %s by the books, but its capacity is %.4g", n.Code, in, v.Unit, v.Capacity))
			}
		}
	}
	return out
}

func countDiffers(b *book) (out []Hit) {
	share, vessels := b.limit("count-differs.percent")/100, b.limit("count-differs.vessel-percent")/100
	for _, c := range b.counts {
		if c.Subject.OneOf() {
			continue
		}
		code := c.Subject.Code()
		var counted, booked, most float64
		ok := true
		switch c.Subject.Kind {
		case lots.KindUnit:
			counted, booked = c.Count, trace.UnitBooksAt(b.tx, code, c.At.To).OnHand()
			most = max(1, share*booked)
		case lots.KindLot:
			counted = float64(c.Qty.N)
			booked, ok = b.lotBooked(code, c.At)
			most = max(1, share*booked)
		case lots.KindVessel:
			counted = c.Qty.Millilitres()
			booked, ok = b.vesselBooked(code, c.At.To)
			most = max(1000, vessels*booked)
		}
		if off := counted - booked; ok && math.Abs(off) > most-1e-9 && math.Abs(off) > share*booked {
			out = append(out, hit(code, c.Seq, "the count of %s on %s does not match the books: %s", code, b.day(c.At.From), offBy(off, booked)))
		}
	}
	return out
}

func offBy(off, booked float64) string {
	if booked <= 0 {
		return "they had nothing there"
	}
	return fmt.Sprintf("%+.4g%% off", 100*off/booked)
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
	for _, s := range b.bulk {
		if s.Carrier == "" {
			out = append(out, hit(s.Shipment, s.Seq, "shipment %s names no carrier", s.Shipment))
		}
	}
	return out
}
