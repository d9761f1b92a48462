package demo

import (
	"fmt"
	"time"

	"heeltap/lots/datecode"
)

// pallet is a pallet with cases to ship.
type pallet struct {
	code, product string
	cases         int
	packed        time.Time
	gone          bool
}

// packBatch packs a bright tank: kegs of stout and bitter first, the rest into cans or bottles.
func (b *book) packBatch(t *batch, bt string, hl float64, at time.Time) {
	code := map[string]string{pale.name: "PALE-CAN", lager.name: "LAGER-CAN", stout.name: "STOUT-BTL", bitter.name: "BITTER-BTL"}[t.name]
	if t.name == lager.name && t.n%5 == 3 {
		code = "WHERRY-CAN"
	}
	if t.name == stout.name || t.name == bitter.name {
		keg := map[string]string{stout.name: "STOUT-KEG", bitter.name: "BITTER-KEG"}[t.name]
		hl -= b.fillKegs(t, bt, keg, 5, at, false)
	}
	if t.name == pale.name && t.n%4 == 2 {
		hl -= b.fillServing(bt, at)
	}
	if b.times("batches packed")%4 == 1 {
		b.write(at, quality, "removals", "subject", bt, "quantity", "2", "unit", "L", "at", b.at(at), "reason", "sample")
	}
	keep := 0.1
	if t.name == stout.name && t.n == 7 {
		keep = 0.4 // left in the tank, which is then filled again without a clean
	}
	end := b.packRun(t, bt, productOf(code), hl-keep, at.Add(4*time.Hour))
	if keep > 0.1 {
		b.dirty = bt
		return
	}
	b.write(end, packer, "removals", "subject", bt, "quantity", "all", "at", b.at(end), "reason", "loss")
}

// packRun packs so much beer into cans or bottles and gives the run's end.
func (b *book) packRun(t *batch, bt string, p *product, hl float64, at time.Time) time.Time {
	start := b.onLine(p, at)
	rate := map[string]int{"CANS": 60, "BOTTLES": 50}[p.line]
	filled := int(hl * 100000 / float64(p.ml))
	rejects := filled * (8 + b.rng.IntN(10)) / 1000
	good := (filled - rejects) / p.perCase * p.perCase
	rejects = filled - good
	end := start.Add(time.Duration((filled+rate-1)/rate) * time.Minute)
	b.free[p.line] = end.Add(time.Hour)
	run := b.number("R", start)
	offset := map[string]string{"CANS": "4", "BOTTLES": "-2"}[p.line]
	b.write(end, packer, "runs", "run", run, "product", p.code, "line", p.line, "started_at", b.at(start), "ended_at", b.at(end), "date_code", b.code(p, start),
		"good", fmt.Sprint(good), "rejects", fmt.Sprint(rejects), "clock_offset_min", offset)
	if p.code == "LAGER-CAN" && b.times("wrong code") == 6 {
		b.write(end, packer, "codes", "run", run, "date_code", b.code(p, start.AddDate(0, 0, -1)), "since", b.at(start), "until", b.at(start.Add(25*time.Minute)))
	}
	b.feed(end, run, bt)
	b.feed(end, run, "CO2-TANK")
	for _, item := range p.parts {
		b.feedPart(end, run, item, p.each(item, filled), start, end)
	}
	b.stack(t, p, run, good/p.perCase, start, end)
	if run != forgotten {
		b.write(end.Add(20*time.Minute), packer, "clearances", "line", p.line, "at", b.at(end.Add(20*time.Minute)))
	}
	return end.Add(30 * time.Minute)
}

// forgotten is the can run after which nobody noted that the line was cleared; the next one began with another lot of ends.
const forgotten = "R25-0103"

// onLine finds when a product's line can start: after the run before it, in working hours, cleaned. Once the
// bottling line is only rinsed between the stout, which holds milk sugar, and the bitter, which does not.
func (b *book) onLine(p *product, at time.Time) time.Time {
	if b.free[p.line].After(at) {
		at = b.free[p.line]
	}
	if at.In(b.zone).Hour() >= 15 {
		y, m, d := at.In(b.zone).Date()
		at = time.Date(y, m, d+1, 8, 0, 0, 0, b.zone)
	}
	if p.code == "BITTER-BTL" && b.times("bitter bottled") == 6 {
		before := at.Add(-45 * time.Minute)
		b.write(before, packer, "cleans", "vessel", p.line, "at", b.at(before), "method", "rinse", "ref", "line-only-rinsed")
		return at
	}
	b.clean(p.line, at.Add(-45*time.Minute), "")
	return at
}

func (b *book) code(p *product, packed time.Time) string {
	pattern, err := datecode.Parse(p.pattern)
	if err != nil {
		panic(err) // the demo's own patterns
	}
	return pattern.Recorded(datecode.Moment{Packed: packed.In(b.zone), ShelfLifeDays: int64(p.shelf), Line: p.line, Product: p.code})
}

func (b *book) feed(at time.Time, run, from string, cells ...string) {
	b.write(at, packer, "feeds", append([]string{"run", run, "from", from}, cells...)...)
}

// feedPart feeds a packaging part for a whole run; where a lot runs out another is opened in mid-run.
func (b *book) feedPart(at time.Time, run, item string, n int, start, end time.Time) {
	parts := b.take(item, float64(n), start)
	used := 0.0
	for i, p := range parts {
		cells := []string{"quantity", num(p.quantity), "unit", "each"}
		moment := func() string {
			return b.at(start.Add(time.Duration(float64(end.Sub(start)) * used / float64(n))).Truncate(time.Minute))
		}
		if i > 0 {
			cells = append(cells, "since", moment())
		}
		used += p.quantity
		if i < len(parts)-1 {
			cells = append(cells, "until", moment())
		}
		b.feed(at, run, p.lot, cells...)
	}
}

// stack puts a run's cases on pallets. Twice the part pallet of the run before is topped up; once some
// cases are noted on no pallet.
func (b *book) stack(t *batch, p *product, run string, cases int, start, end time.Time) {
	at := func(done int) string {
		return b.at(start.Add(time.Duration(float64(end.Sub(start)) * float64(done) / float64(cases))).Truncate(time.Minute))
	}
	done := 0
	if o := b.open[p.code]; o != nil && !o.gone && o.cases < p.perPallet && b.times("top up "+p.code)%9 == 4 {
		n := min(p.perPallet-o.cases, cases)
		b.write(end, packer, "units", "unit", o.code, "kind", "pallet", "run", run, "quantity", fmt.Sprint(n), "first_at", at(0), "last_at", at(n), "place", "cold store")
		o.cases += n
		done = n
	}
	missing := 0
	if p.code == "PALE-CAN" && b.times("cases on no pallet") == 5 {
		missing = 9
	}
	for done < cases-missing {
		n := min(p.perPallet, cases-missing-done)
		x := &pallet{code: b.number("P", start), product: p.code, cases: n, packed: end}
		first, last := at(done), at(done+n)
		if p.code == "LAGER-CAN" && b.times("lager pallets") == 40 {
			first, last = "", "" // nobody noted when it was packed
		}
		b.write(end, packer, "units", "unit", x.code, "kind", "pallet", "run", run, "quantity", fmt.Sprint(n), "first_at", first, "last_at", last, "sscc", b.sscc(), "place", "cold store")
		done += n
		if n < p.perPallet {
			b.open[p.code] = x
		}
		b.sell(x, end)
	}
}

// sscc numbers a pallet as GS1 does.
func (b *book) sscc() string {
	return checked(fmt.Sprintf("0%s%09d", demoPrefix, b.times("sscc")))
}

// keg is a returnable keg.
type keg struct {
	number string
	back   time.Time // when it is here and empty
}

func (b *book) fillPool() {
	for i := range 150 {
		b.kegs = append(b.kegs, &keg{number: fmt.Sprintf("K%04d", 101+i), back: b.day(-10, 8, 0)})
	}
}

// fillKegs washes and fills the kegs that are back longest, and gives the volume in hL it took.
func (b *book) fillKegs(t *batch, bt, code string, hl float64, at time.Time, empty bool) float64 {
	p := productOf(code)
	start := b.onLine(p, at)
	var chosen []*keg
	for range int(hl * 100 / 30) {
		var best *keg
		for _, k := range b.kegs {
			if k.back.Before(start.Add(-24*time.Hour)) && (best == nil || k.back.Before(best.back)) {
				best = k
			}
		}
		if best == nil {
			break
		}
		best.back = start.AddDate(10, 0, 0)
		chosen = append(chosen, best)
	}
	if len(chosen) == 0 {
		return 0
	}
	end := start.Add(time.Duration(len(chosen)) * 3 * time.Minute)
	b.free[p.line] = end.Add(time.Hour)
	run := b.number("R", start)
	b.write(end, packer, "runs", "run", run, "product", code, "line", p.line, "started_at", b.at(start), "ended_at", b.at(end), "date_code", b.code(p, start), "good", fmt.Sprint(len(chosen)))
	b.feed(end, run, bt)
	b.feed(end, run, "CO2-TANK")
	for i, k := range chosen {
		unit := k.number + "/" + run
		filled := start.Add(time.Duration(i) * 3 * time.Minute)
		b.write(end, packer, "units", "unit", unit, "kind", "keg", "run", run, "quantity", "1", "first_at", b.at(filled), "last_at", b.at(filled.Add(3*time.Minute)),
			"washed_at", b.at(filled.Add(-2*time.Hour)), "washer", "WASHER", "place", "keg cold store")
		b.sellKeg(k, unit, end)
	}
	if empty {
		b.write(end.Add(30*time.Minute), packer, "removals", "subject", bt, "quantity", "all", "at", b.at(end.Add(30*time.Minute)), "reason", "loss")
	}
	return float64(len(chosen)) * 0.3
}
