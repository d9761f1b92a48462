package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
)

func packagingRules() []Rule {
	return []Rule{
		{"run-without-tank", Misses, "a trace back ends at the run", "heeltap feed RUN --from TANK", runWithoutTank},
		{"run-above-tank", Misses, "more was filled than was drawn: a second tank or a top-up was not recorded", "heeltap feed RUN --from TANK --quantity …", func(b *book) []Hit { return b.tankAgainstRun(true) }},
		{"run-below-tank", Widens, "far less was filled than was drawn: rejects or another run were not recorded", "heeltap amend RUN rejects=…", func(b *book) []Hit { return b.tankAgainstRun(false) }},
		{"run-too-fast", Widens, "faster than the line can run: its times are wrong, and so are those of its pallets", "heeltap amend RUN started_at=… ended_at=…", runTooFast},
		{"run-too-slow", Slows, "far slower than the line runs: stops were not recorded, so times within the run are uncertain", "heeltap amend RUN ended_at=…, or record it as two runs", runTooSlow},
		{"parts-do-not-fit", Widens, "the cans or ends fed do not match what was filled: a change of lot may be missing", "heeltap feed RUN --from LOT --quantity … --since …", partsDoNotFit},
		{"part-of-run-without-lot", Misses, "packages of that time have no lot for that part: a recall of it misses them", "heeltap feed RUN --from LOT --since … --until …", partOfRunWithoutLot},
		{"undeclared-allergen", Misses, "an allergen traced into the beer is not on the label: people can fall seriously ill", "hold what is here, then heeltap recall open LOT --hazard allergen --reason …", undeclaredAllergen},
		{"cases-on-no-unit", Misses, "nobody can find these cases", "heeltap pack UNIT --kind pallet --run RUN --quantity …", casesOnNoUnit},
		{"rejects-above-run", Misses, "more rejects were emptied or fed than the run rejected: a quantity or a run is wrong", "heeltap amend RUN rejects=…", func(b *book) []Hit { return b.folded("rejects-above-run") }},
		{"units-above-run", Misses, "more is on pallets or in kegs than was filled: a quantity or a run is wrong", "heeltap amend UNIT quantity=…", func(b *book) []Hit { return b.folded("units-above-run") }},
		{"window-outside-run", Widens, "its times lie outside its run: it may come from any part of it", "heeltap amend UNIT first_at=… last_at=…", func(b *book) []Hit { return b.folded("window-outside-run", "feed-outside-run") }},
		{"part-changed-between-runs", Widens, "what the run before left in the magazine is possible in this run's first packages", "heeltap clear LINE --at …", func(b *book) []Hit { return b.folded("part-changed-between-runs") }},
		{"unit-too-full", Misses, "more cases than a pallet holds: perhaps two pallets under one tag", "heeltap amend UNIT quantity=…", unitTooFull},
		{"keg-filled-while-out", Misses, "a keg was filled while it was still out: a return is missing, or a keg number is wrong", "heeltap return --unit KEG/RUN --quantity 1 --state empty --consignee … --returned-at …", kegFilledWhileOut},
		{"keg-filled-while-full", Misses, "a keg was filled while the books still had its last filling here: a shipment, a return or a keg number is wrong, so nobody knows who has which filling", "heeltap ship --unit KEG/RUN --quantity 1 --consignee … --shipped-at …, or heeltap remove KEG/RUN --quantity 1 --reason … --at …", kegFilledWhileFull},
		{"keg-shipped-as-older-filling", Misses, "a shipment names an older filling of a keg, though the keg had been filled again by then: whoever has the new one is told of the wrong beer", "heeltap amend ENTRY unit=KEG/RUN", kegShippedAsOlder},
		{"run-without-line", Misses, "a fault of the line, or of what it was cleaned with, is not traced to this run", "heeltap amend RUN line=…", runWithoutLine},
		{"keg-not-washed", Widens, "a fault of the keg washer cannot be traced to it", "heeltap amend KEG/RUN washed_at=… washer=…", kegNotWashed},
		{"keg-wash-in-doubt", Misses, "nothing says that the keg was washed between two fillings: what was left of the one before may be in the next", "heeltap amend KEG/RUN washed_at=…, if it was", kegWashInDoubt},
		{"tank-age", Slows, "beer is not packed that young, or that old: a brew, a tank or a date is wrong", "heeltap amend RUN started_at=…, or correct the brew", tankAge},
		{"usual-lot-missing", Widens, "nearly every other run of the product has a lot of this kind in it: a recall of such a lot misses this run", "record the input, addition or feed that is missing", usualLotMissing},
		{"repack-does-not-add-up", Misses, "what was unpacked does not match what was packed: some packages have lost their lots", "heeltap feed RUN --from UNIT --quantity …", repackDoesNotAddUp},
	}
}

// tanksOf lists what a run was fed from that holds beer: tanks, and units that were unpacked.
func (b *book) tanksOf(run string) (tanks, units []*lots.Feed) {
	for _, f := range b.feeds[run] {
		switch f.From.Kind {
		case lots.KindVessel:
			if v := b.vessels[f.From.Codes[0]]; v != nil && lots.BeerVessel(v.Kind) {
				tanks = append(tanks, f)
			}
		case lots.KindUnit:
			units = append(units, f)
		}
	}
	return tanks, units
}

func runWithoutTank(b *book) (out []Hit) {
	for _, r := range b.runs {
		if tanks, units := b.tanksOf(r.Run); len(tanks)+len(units) == 0 {
			h := hit(r.Run, r.Seq, "run %s has no tank to have been packed from", r.Run)
			h.Mend = "heeltap feed " + r.Run + " --from TANK"
			out = append(out, h)
		}
	}
	return out
}

func (b *book) filledML(r *lots.Run) float64 {
	p := b.products[r.Product]
	if p == nil {
		return 0
	}
	return float64((r.Good + r.Rejects) * p.ContainerML)
}

func (b *book) tankAgainstRun(above bool) (out []Hit) {
	most, least := 1+b.limit("run-above-tank.percent")/100, 1-b.limit("run-below-tank.percent")/100
	for _, r := range b.runs {
		tanks, units := b.tanksOf(r.Run)
		drawn, known := 0.0, len(tanks) > 0 && len(units) == 0
		for _, f := range tanks {
			known = known && f.HasQty && !f.From.OneOf()
			drawn += f.Qty.Millilitres()
		}
		filled := b.filledML(r)
		switch {
		case !known || filled == 0:
		case above && filled > drawn*most:
			out = append(out, hit(r.Run, r.Seq, "run %s filled %.5g L, but only %.5g L were drawn for it", r.Run, filled/1000, drawn/1000))
		case !above && filled < drawn*least:
			out = append(out, hit(r.Run, r.Seq, "run %s filled %.5g L of the %.5g L drawn for it", r.Run, filled/1000, drawn/1000))
		}
	}
	return out
}

// speed is a run's containers a minute, and what its line can; false where either is not known.
func (b *book) speed(r *lots.Run) (speed, rate float64, ok bool) {
	l := b.lines[r.Line]
	if l == nil || l.RatePerMin == 0 || r.Started.Day || r.Ended.Day {
		return 0, 0, false
	}
	minutes := float64(r.Ended.End()-r.Started.From) / 60
	return float64(r.Good+r.Rejects) / max(minutes, 1), l.RatePerMin, minutes > 0
}

func runTooFast(b *book) (out []Hit) {
	most := 1 + b.limit("run-too-fast.percent")/100
	for _, r := range b.runs {
		if speed, rate, ok := b.speed(r); ok && speed > rate*most {
			out = append(out, hit(r.Run, r.Seq, "run %s made %.3g a minute on a line that makes %.3g", r.Run, speed, rate))
		}
	}
	return out
}

func runTooSlow(b *book) (out []Hit) {
	least := 1 - b.limit("run-too-slow.percent")/100
	for _, r := range b.runs {
		if speed, rate, ok := b.speed(r); ok && speed < rate*least {
			out = append(out, hit(r.Run, r.Seq, "run %s made %.3g a minute on a line that makes %.3g", r.Run, speed, rate))
		}
	}
	return out
}

func partsDoNotFit(b *book) (out []Hit) {
	most := 1 + b.limit("parts-do-not-fit.percent")/100
	for _, r := range b.runs {
		sums, known := map[string]float64{}, map[string]bool{}
		for _, f := range b.feeds[r.Run] {
			if f.From.Kind != lots.KindLot {
				continue
			}
			kind := b.kindOf(f.From.Codes[0])
			if kind != "container" && kind != "closure" {
				continue
			}
			if _, seen := known[kind]; !seen {
				known[kind] = true
			}
			known[kind] = known[kind] && f.HasQty && !f.From.OneOf()
			sums[kind] += float64(f.Qty.N)
		}
		made := float64(r.Good + r.Rejects)
		for _, kind := range []string{"container", "closure"} {
			switch {
			case !known[kind] || made == 0:
			case sums[kind] < made:
				out = append(out, hit(r.Run, r.Seq, "run %s filled %.0f, but was fed %.0f of its %ss", r.Run, made, sums[kind], kind))
			case sums[kind] > made*most:
				out = append(out, hit(r.Run, r.Seq, "run %s filled %.0f, but was fed %.0f of its %ss: some were spoiled, or another lot was opened", r.Run, made, sums[kind], kind))
			}
		}
	}
	return out
}

// partOfRunWithoutLot finds the times of a run for which no lot of a part is recorded: of the kinds
// that were fed to it at all, of those that were fed to most other runs of its product, and of
// containers and closures where it was packed from tanks into anything but kegs.
func partOfRunWithoutLot(b *book) (out []Hit) {
	usual := b.usualParts()
	for _, r := range b.runs {
		spans := map[string][][2]int64{}
		for kind := range usual[r.Run] {
			spans[kind] = nil
		}
		for _, f := range b.feeds[r.Run] {
			if f.From.Kind != lots.KindLot {
				continue
			}
			if kind := b.kindOf(f.From.Codes[0]); lots.PackagingPart(kind) {
				from, until := span(r, f)
				spans[kind] = append(spans[kind], [2]int64{from, until})
			}
		}
		for _, kind := range sortedKeys(spans) {
			list := spans[kind]
			if len(list) == 0 {
				out = append(out, hit(r.Run, r.Seq, "run %s has no lot for its %s at all", r.Run, kind))
				continue
			}
			slices.SortFunc(list, func(a, c [2]int64) int { return cmp.Compare(a[0], c[0]) })
			at := r.Started.From
			for _, s := range list {
				if s[0] > at {
					out = append(out, hit(r.Run, r.Seq, "run %s has no lot for its %s from %s to %s", r.Run, kind, b.stamp(at), b.stamp(s[0])))
				}
				at = max(at, s[1])
			}
			if at < r.Ended.End() {
				out = append(out, hit(r.Run, r.Seq, "run %s has no lot for its %s from %s on", r.Run, kind, b.stamp(at)))
			}
		}
	}
	return out
}

// usualParts tells for each run which kinds of parts it must have had.
func (b *book) usualParts() map[string]map[string]bool {
	out := map[string]map[string]bool{}
	runs, with := map[string]int{}, map[[2]string]int{}
	kinds := map[string]map[string]bool{}
	for _, r := range b.runs {
		kinds[r.Run] = map[string]bool{}
		for _, f := range b.feeds[r.Run] {
			if f.From.Kind == lots.KindLot {
				kinds[r.Run][b.kindOf(f.From.Codes[0])] = true
			}
		}
		runs[r.Product]++
		for k := range kinds[r.Run] {
			with[[2]string{r.Product, k}]++
		}
	}
	for _, r := range b.runs {
		out[r.Run] = map[string]bool{}
		for _, k := range []string{"container", "closure", "label", "carrier", "carton"} {
			others, have := runs[r.Product]-1, with[[2]string{r.Product, k}]
			if kinds[r.Run][k] {
				have--
			}
			if others > 0 && 2*have > others {
				out[r.Run][k] = true
			}
		}
		if tanks, units := b.tanksOf(r.Run); len(tanks) > 0 && len(units) == 0 && !b.ofKegs(r) {
			out[r.Run]["container"], out[r.Run]["closure"] = true, true
		}
	}
	return out
}

// ofKegs reports whether a run filled kegs: by its units, else by the size of its container.
func (b *book) ofKegs(r *lots.Run) bool {
	if rows := b.packedOf[r.Run]; len(rows) > 0 {
		return rows[0].UnitKind == "keg"
	}
	p := b.products[r.Product]
	return p != nil && p.ContainerML >= 5000
}

// carrier is a lot that carries an allergen, and how sure it is.
type carrier struct {
	lot  string
	node int64
	band graph.Band
}

// undeclared finds what lots that a walk back reached carry and a label does not name: of each word the
// lot that is surest to be in it.
func (b *book) undeclared(p *lots.Product, back *graph.Reach) map[string]carrier {
	out := map[string]carrier{}
	for n, band := range back.All() {
		rec := b.receipt[n.Code]
		if n.Kind != graph.Lot || rec == nil || b.items[rec.Item] == nil {
			continue
		}
		for _, a := range b.items[rec.Item].Allergens {
			if had, ok := out[a]; !allergens.Declared(p.Declares, a) && (!ok || band > had.band) {
				out[a] = carrier{rec.Lot, n.ID, band}
			}
		}
	}
	return out
}

// undeclaredAllergen compares what the lots behind each run carry with its product's label; what only
// the path of the beer carries is told by line-after-allergen.
func undeclaredAllergen(b *book) (out []Hit) {
	for _, r := range b.runs {
		p := b.products[r.Product]
		if p == nil || len(b.undeclared(p, b.back(r.Run))) == 0 {
			continue
		}
		missing := b.undeclared(p, b.backWithout(r.Run, noPath))
		for _, a := range sortedKeys(missing) {
			out = append(out, hit(r.Run, r.Seq, "run %s of %s contains %s from lot %s (%s), and its label does not say so", r.Run, r.Product, a, missing[a].lot, missing[a].band))
		}
	}
	return out
}

func casesOnNoUnit(b *book) (out []Hit) {
	for _, r := range b.runs {
		p := b.products[r.Product]
		if p == nil {
			continue
		}
		var on int64
		for _, x := range b.packedOf[r.Run] {
			on += x.Quantity
		}
		if left := r.Good/max(1, p.PerCase) - on; left > 0 {
			verb := "are"
			if left == 1 {
				verb = "is"
			}
			h := hit(r.Run, r.Seq, "%s of run %s %s on no unit", trace.CasesOrKegs(b.tx, r.Run, left), r.Run, verb)
			h.Mend = fmt.Sprintf("heeltap pack UNIT --kind pallet --run %s --quantity %d", r.Run, left)
			if trace.OfKegs(b.tx, r.Run) {
				h.Mend = fmt.Sprintf("heeltap pack KEG --kind keg --run %s --quantity 1, for each", r.Run)
			}
			out = append(out, h)
		}
	}
	return out
}

func unitTooFull(b *book) (out []Hit) {
	for _, unit := range sortedKeys(b.unitRows) {
		rows := b.unitRows[unit]
		var sum, most int64
		for _, x := range rows {
			sum += x.Quantity
			if r := b.run[x.Run]; r != nil && b.products[r.Product] != nil {
				most = max(most, b.products[r.Product].CasesPerPallet)
			}
		}
		switch kind := rows[0].UnitKind; {
		case kind == "keg" && sum > 1:
			out = append(out, hit(unit, rows[0].Seq, "keg filling %s counts as %d kegs", unit, sum))
		case kind == "pallet" && most > 0 && sum > most:
			out = append(out, hit(unit, rows[0].Seq, "pallet %s has %d cases, and takes %d", unit, sum, most))
		}
	}
	return out
}

func repackDoesNotAddUp(b *book) (out []Hit) {
	for _, r := range b.runs {
		tanks, units := b.tanksOf(r.Run)
		if len(units) == 0 || len(tanks) > 0 {
			continue
		}
		fed, known := 0.0, true
		for _, f := range units {
			known = known && f.HasQty
			thing, _ := b.tx.Thing(f.From.Codes[0])
			fed += f.Count * float64(max(1, thing.PerCase))
		}
		made := float64(r.Good + r.Rejects)
		if known && math.Abs(fed-made) > 0.005*made {
			out = append(out, hit(r.Run, r.Seq, "run %s unpacked %.0f containers and packed %.0f", r.Run, fed, made))
		}
	}
	return out
}
