package check

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/datecode"
)

func packagingRules() []Rule {
	return []Rule{
		{"run-without-tank", Misses, "asked backwards, the trace ends at the run", "heeltap feed RUN --from TANK", runWithoutTank},
		{"run-above-tank", Misses, "more was filled than was drawn: a second tank or a top-up is not recorded", "heeltap feed RUN --from TANK", func(b *book) []Hit { return b.tankAgainstRun(true) }},
		{"run-below-tank", Widens, "far less was filled than was drawn: rejects or another run are missing", "heeltap amend RUN rejects=…", func(b *book) []Hit { return b.tankAgainstRun(false) }},
		{"run-too-fast", Widens, "faster than the line can: its times are wrong, and so are the windows of its pallets", "heeltap amend RUN started_at=… ended_at=…", runTooFast},
		{"run-too-slow", Slows, "far slower than the line: stops are missing, and times within the run are unsure", "heeltap amend RUN, or record it as two runs", runTooSlow},
		{"parts-do-not-fit", Widens, "cans or ends fed are not what was filled: a change of lots may not be recorded", "heeltap feed RUN --from LOT --since …", partsDoNotFit},
		{"part-of-run-without-lot", Misses, "packages of that time have no lot of the part: its recall misses them", "heeltap feed RUN --from LOT --since … --until …", partOfRunWithoutLot},
		{"date-code-twice", Widens, "one product and code on two days or tanks: the public can not tell them apart", "nothing for what is printed; set the coder", dateCodeTwice},
		{"date-code-odd", Misses, "the code is not what the pattern gives for that day: whoever reads it is led to another run", "heeltap codes, or heeltap amend RUN date_code=…", dateCodeOdd},
		{"no-clock-check", Widens, "nobody says how far the coder's clock was off: times on packages are unsure", "heeltap amend RUN clock_offset_min=0, if it was right", noClockCheck},
		{"midnight-not-split", Widens, "the run crosses midnight, and no change of the printed code is recorded", "heeltap codes RUN --date-code … --since …", midnightNotSplit},
		{"undeclared-allergen", Misses, "a traced allergen is not on the label: people may be seriously ill", "hold what is here, then heeltap recall open LOT --hazard allergen", undeclaredAllergen},
		{"cases-on-no-unit", Misses, "cases that nobody can find", "heeltap pack UNIT --run RUN --quantity …", casesOnNoUnit},
		{"units-above-run", Misses, "more stands on units than was filled: a quantity or a run is wrong", "heeltap amend UNIT quantity=…", func(b *book) []Hit { return b.folded("units-above-run") }},
		{"window-outside-run", Widens, "a unit's times lie outside its run: it may come from any of it", "heeltap amend UNIT first_at=… last_at=…", func(b *book) []Hit { return b.folded("window-outside-run", "feed-outside-run") }},
		{"unit-too-full", Misses, "more cases than a pallet holds: two pallets under one tag", "heeltap amend UNIT quantity=…", unitTooFull},
		{"keg-filled-while-out", Misses, "a keg was filled while it was still at a consignee: a return is missing, or a number is wrong", "heeltap return --unit KEG/RUN --state empty", kegFilledWhileOut},
		{"repack-does-not-add-up", Misses, "what was unpacked is not what was packed: the lots of some packages are lost", "heeltap feed RUN --from UNIT --quantity …", repackDoesNotAddUp},
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
			h := hit(r.Run, r.Seq, "run %s has no tank it was packed from", r.Run)
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
		case above && filled > drawn*1.01:
			out = append(out, hit(r.Run, r.Seq, "run %s filled %.5g L, and %.5g L were drawn for it", r.Run, filled/1000, drawn/1000))
		case !above && filled < drawn*0.85:
			out = append(out, hit(r.Run, r.Seq, "run %s filled %.5g L of %.5g L that were drawn for it", r.Run, filled/1000, drawn/1000))
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
	for _, r := range b.runs {
		if speed, rate, ok := b.speed(r); ok && speed > rate*1.1 {
			out = append(out, hit(r.Run, r.Seq, "run %s made %.3g a minute on a line of %.3g", r.Run, speed, rate))
		}
	}
	return out
}

func runTooSlow(b *book) (out []Hit) {
	for _, r := range b.runs {
		if speed, rate, ok := b.speed(r); ok && speed < rate*0.3 {
			out = append(out, hit(r.Run, r.Seq, "run %s made %.3g a minute on a line of %.3g", r.Run, speed, rate))
		}
	}
	return out
}

func partsDoNotFit(b *book) (out []Hit) {
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
				out = append(out, hit(r.Run, r.Seq, "run %s filled %.0f, and was fed %.0f of its %ss", r.Run, made, sums[kind], kind))
			case sums[kind] > made*1.1:
				out = append(out, hit(r.Run, r.Seq, "run %s filled %.0f, and was fed %.0f of its %ss: some were spoiled, or another lot was opened", r.Run, made, sums[kind], kind))
			}
		}
	}
	return out
}

func partOfRunWithoutLot(b *book) (out []Hit) {
	for _, r := range b.runs {
		spans := map[string][][2]int64{}
		for _, f := range b.feeds[r.Run] {
			if f.From.Kind != lots.KindLot {
				continue
			}
			kind := b.kindOf(f.From.Codes[0])
			if !lots.PackagingPart(kind) {
				continue
			}
			s := [2]int64{r.Started.From, r.Ended.End()}
			if f.HasSince {
				s[0] = f.Since.From
			}
			if f.HasUntil {
				s[1] = f.Until.End()
			}
			spans[kind] = append(spans[kind], s)
		}
		for kind, list := range spans {
			slices.SortFunc(list, func(a, c [2]int64) int { return cmp.Compare(a[0], c[0]) })
			at := r.Started.From
			for _, s := range list {
				if s[0] > at {
					out = append(out, hit(r.Run, r.Seq, "run %s has no lot of its %s from %s to %s", r.Run, kind, b.stamp(at), b.stamp(s[0])))
				}
				at = max(at, s[1])
			}
			if at < r.Ended.End() {
				out = append(out, hit(r.Run, r.Seq, "run %s has no lot of its %s from %s on", r.Run, kind, b.stamp(at)))
			}
		}
	}
	return out
}

func dateCodeTwice(b *book) (out []Hit) {
	seen := map[[2]string]*lots.Run{}
	for _, r := range b.runs {
		key := [2]string{r.Product, r.DateCode}
		if other := seen[key]; other != nil && b.day(other.Started.From) != b.day(r.Started.From) {
			out = append(out, hit(r.Run, r.Seq, "runs %s and %s of %s both bear %s", other.Run, r.Run, r.Product, r.DateCode))
		}
		seen[key] = r
		for _, c := range b.codes[r.Run] {
			if other := seen[[2]string{r.Product, c.DateCode}]; other != nil && other != r {
				out = append(out, hit(r.Run, c.Seq, "run %s bore %s from %s on, as run %s does", r.Run, c.DateCode, b.stamp(c.Since.From), other.Run))
			}
		}
	}
	return out
}

// patternOf reads a product's pattern; false where it has none, or one of free text.
func (b *book) patternOf(product string) (*datecode.Pattern, *lots.Product, bool) {
	p := b.products[product]
	if p == nil || p.DateCode == "" {
		return nil, nil, false
	}
	pattern, err := datecode.Parse(p.DateCode)
	return pattern, p, err == nil
}

func dateCodeOdd(b *book) (out []Hit) {
	for _, r := range b.runs {
		pattern, p, ok := b.patternOf(r.Product)
		if !ok || r.Started.Day {
			continue
		}
		expected := func(unix int64) string {
			return pattern.Recorded(datecode.Moment{Packed: time.Unix(unix+r.ClockOffset, 0).In(b.zone), ShelfLifeDays: p.ShelfLifeDays, Line: r.Line, Product: r.Product})
		}
		start, end := expected(r.Started.From), expected(r.Ended.End()-1)
		if r.DateCode != start && r.DateCode != end {
			out = append(out, hit(r.Run, r.Seq, "run %s bears %q; the pattern gives %q for its day", r.Run, r.DateCode, start))
		}
		for _, c := range b.codes[r.Run] {
			if c.DateCode != expected(c.Since.From) {
				out = append(out, hit(r.Run, c.Seq, "run %s bears %q from %s on; the pattern gives %q", r.Run, c.DateCode, b.stamp(c.Since.From), expected(c.Since.From)))
			}
		}
	}
	return out
}

func noClockCheck(b *book) (out []Hit) {
	for _, r := range b.runs {
		if pattern, _, ok := b.patternOf(r.Product); ok && pattern.PrintsTime() && b.rows[r.Seq]["clock_offset_min"] == "" {
			out = append(out, hit(r.Run, r.Seq, "run %s prints a time of day, and nobody noted how far the clock was off", r.Run))
		}
	}
	return out
}

func midnightNotSplit(b *book) (out []Hit) {
	for _, r := range b.runs {
		pattern, _, ok := b.patternOf(r.Product)
		if !ok || !pattern.Dated() || r.Started.Day || len(b.codes[r.Run]) > 0 {
			continue
		}
		if b.day(r.Started.From+r.ClockOffset) != b.day(r.Ended.End()-1+r.ClockOffset) {
			out = append(out, hit(r.Run, r.Seq, "run %s went on past midnight, and the printed date with it", r.Run))
		}
	}
	return out
}

// undeclaredAllergen compares what the lots behind each run carry for certain with its product's label.
func undeclaredAllergen(b *book) (out []Hit) {
	for _, r := range b.runs {
		p := b.products[r.Product]
		if p == nil {
			continue
		}
		missing := map[string]string{}
		for n, band := range b.back(r.Run).All() {
			rec := b.receipt[n.Code]
			if rec == nil || b.items[rec.Item] == nil {
				continue
			}
			for _, a := range b.items[rec.Item].Allergens {
				if !allergens.Declared(p.Declares, a) {
					missing[a] = cmp.Or(missing[a], rec.Lot+" ("+band.String()+")")
				}
			}
		}
		for _, a := range sortedKeys(missing) {
			out = append(out, hit(r.Run, r.Seq, "run %s of %s holds %s by lot %s, and its label does not say so", r.Run, r.Product, a, missing[a]))
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
		for _, x := range b.packed {
			if x.Run == r.Run {
				on += x.Quantity
			}
		}
		if left := r.Good/max(1, p.PerCase) - on; left > 0 {
			h := hit(r.Run, r.Seq, "%d cases or kegs of run %s hang on no unit", left, r.Run)
			h.Mend = fmt.Sprintf("heeltap pack UNIT --run %s --quantity %d", r.Run, left)
			out = append(out, h)
		}
	}
	return out
}

func unitTooFull(b *book) (out []Hit) {
	for unit, rows := range b.unitRows {
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
			out = append(out, hit(unit, rows[0].Seq, "pallet %s holds %d cases, and can hold %d", unit, sum, most))
		}
	}
	return out
}

// kegFilledWhileOut follows each keg from filling to filling.
func kegFilledWhileOut(b *book) (out []Hit) {
	fillings := map[string][]*lots.Packed{}
	for _, x := range b.packed {
		if keg, _, ok := lots.SplitFilling(x.Unit); ok && x.UnitKind == "keg" && b.run[x.Run] != nil {
			fillings[keg] = append(fillings[keg], x)
		}
	}
	back := map[string]bool{}
	for _, r := range b.returns {
		for _, u := range r.Unit.Codes {
			back[u] = true
		}
	}
	for _, list := range fillings {
		slices.SortFunc(list, func(a, c *lots.Packed) int {
			return cmp.Compare(b.run[a.Run].Started.From, b.run[c.Run].Started.From)
		})
		for i := 1; i < len(list); i++ {
			before := list[i-1].Unit
			if len(b.consignees[before]) > 0 && !back[before] {
				h := hit(list[i].Unit, list[i].Seq, "%s was filled while %s was still out, by the records", list[i].Unit, before)
				h.Mend = "heeltap return --unit " + before + " --quantity 1 --state empty --consignee …"
				out = append(out, h)
			}
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
			out = append(out, hit(r.Run, r.Seq, "run %s was fed %.0f containers from units, and packed %.0f", r.Run, fed, made))
		}
	}
	return out
}
