package demo

import (
	"fmt"
	"time"
)

// lot is what is left of a delivery.
type lot struct {
	code     string
	received time.Time
	left     float64
}

// delivery is how much of an item comes at a time, and where it is put.
var delivery = map[string]struct {
	quantity float64
	into     string
	place    string
}{
	"MALT-PALE": {12000, "SILO-1", ""}, "MALT-PILS": {2000, "", "malt store"}, "MALT-DARK": {1000, "", "malt store"}, "OATS": {500, "", "malt store"},
	"LACTOSE": {500, "", "malt store"}, "HOP-BIT": {61, "", "hop cold room"}, "HOP-AROMA": {80, "", "hop cold room"}, "HOP-LATE": {60, "", "hop cold room"},
	"YEAST-ALE": {60, "", "yeast fridge"}, "YEAST-LAG": {90, "", "yeast fridge"}, "ENZYME": {2000, "", "dry store"}, "FININGS": {3000, "", "dry store"},
	"GYPSUM": {25000, "", "dry store"}, "CO2": {3000, "CO2-TANK", ""}, "CAN-44": {70000, "", "can hall"}, "END-20": {52000, "", "can hall"},
	"BTL-50": {30000, "", "can hall"}, "CROWN": {40000, "", "can hall"}, "LABEL-ST": {25000, "", "can hall"}, "LABEL-BI": {25000, "", "can hall"}, "CARRIER": {20000, "", "can hall"},
	"CARTON-24": {6000, "", "can hall"}, "CARTON-12": {5000, "", "can hall"},
}

// receive logs a delivery.
func (b *book) receive(code string, when time.Time) *lot {
	var it item
	for _, x := range items {
		if x.code == code {
			it = x
		}
	}
	d := delivery[code]
	l := &lot{b.number("L", when), when, d.quantity}
	b.write(when, clerk, "receipts", "lot", l.code, "item", code, "supplier", it.supplier, "supplier_lot", b.supplierLot(code, when), "quantity", fmt.Sprint(d.quantity),
		"unit", it.unit, "received_at", b.at(when), "best_by", b.date(when.AddDate(1, 0, 0)), "into", d.into, "place", d.place, "carrier", b.pick("Island Ferry Freight", "Quernholt Haulage"),
		"document", fmt.Sprintf("DN-%d", 40000+b.rng.IntN(9000)), "status", "accepted")
	b.stock[code] = append(b.stock[code], l)
	return l
}

// supplierLot is printed in each supplier's own manner.
func (b *book) supplierLot(code string, when time.Time) string {
	n := 100 + b.rng.IntN(900)
	switch code {
	case "GYPSUM":
		return "-" // the sacks bear none
	case "MALT-PALE", "MALT-PILS":
		return fmt.Sprintf("HD%s/%d", when.Format("0601"), n)
	case "HOP-BIT", "HOP-AROMA", "HOP-LATE":
		return fmt.Sprintf("F%02d-%03d-%s", when.Year()%100-1, n, code[4:6])
	case "CAN-44", "END-20":
		return fmt.Sprintf("%d%s%d", n, when.Format("02JAN06"), b.rng.IntN(10))
	}
	return fmt.Sprintf("%s %d", when.Format("060102"), n)
}

// part is so much of a lot.
type part struct {
	lot      string
	quantity float64
}

// take uses an item up, oldest lot first, and has a new delivery come before it runs out.
func (b *book) take(code string, quantity float64, when time.Time) []part {
	var parts []part
	for quantity > 0 {
		var l *lot
		for _, x := range b.stock[code] {
			if x.left > 0 {
				l = x
				break
			}
		}
		if l == nil {
			l = b.receive(code, when.AddDate(0, 0, -2).Truncate(24*time.Hour).Add(9*time.Hour+time.Duration(b.rng.IntN(240))*time.Minute))
		}
		q := min(quantity, l.left)
		l.left -= q
		quantity -= q
		parts = append(parts, part{l.code, q})
	}
	return parts
}

// one takes from a single lot: what is too little to start a new bag with is thrown away, which is mostly written down.
func (b *book) one(code string, quantity float64, when time.Time) string {
	for _, l := range b.stock[code] {
		if l.left <= 0 || l.left >= quantity {
			continue
		}
		if b.times("rests")%9 != 5 {
			b.write(when, cellar, "removals", "subject", l.code, "quantity", num(l.left), "at", b.at(when), "reason", "loss", "ref", "rest-"+l.code)
		}
		l.left = 0
	}
	return b.take(code, quantity, when)[0].lot
}

// drawMalt has malt delivered before the silo runs out. Once the silo is emptied, swept and looked into first.
func (b *book) drawMalt(kg float64, when time.Time) {
	if b.silo < kg+500 {
		at := when.Add(-20 * time.Hour)
		if b.deliveries++; b.deliveries == 5 || b.sweep && b.deliveries%5 == 0 {
			b.write(at.Add(-2*time.Hour), cellar, "removals", "subject", "SILO-1", "quantity", "all", "at", b.at(at.Add(-2*time.Hour)), "reason", "dumped", "ref", b.nthTime("silo-sweepings"))
			b.write(at.Add(-time.Hour), cellar, "cleans", "vessel", "SILO-1", "at", b.at(at.Add(-time.Hour)), "method", "manual", "verified", "yes", "ref", b.nthTime("silo-swept"))
			b.silo = 0
			for _, d := range b.drawn[max(0, len(b.drawn)-60):] { // a brew since then takes from what is delivered now
				if d.at.After(at) {
					b.silo -= d.kg
				}
			}
		}
		b.receive("MALT-PALE", at)
		b.silo += delivery["MALT-PALE"].quantity
	}
	b.silo -= kg
	b.drawn = append(b.drawn, draw{when, kg})
}

// draw is malt taken from the silo.
type draw struct {
	at time.Time
	kg float64
}
