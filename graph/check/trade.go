package check

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
)

func tradeRules() []Rule {
	return []Rule{
		{"unit-nowhere", Misses, "the books have it here, but nobody noted where", "heeltap count UNIT --quantity … --place …", unitNowhere},
		{"shipped-above-packed", Misses, "more left than there was: a consignee or a quantity is wrong", "heeltap amend ENTRY quantity=…, or unit=…", shippedAbovePacked},
		{"counts-swapped", Misses, "two runs of one product are off by the same number at the count: cases may have been swapped in shipping, and so have their consignees", "count both again, then correct the shipment", countsSwapped},
		{"return-shipped-again", Widens, "what came back went out again, and nobody signed that it was fit", "put what comes back on hold, and release it with a reason", returnShippedAgain},
		{"return-not-measured", Widens, "nobody measured what a part keg still held: what is still out cannot be worked out", "heeltap amend ENTRY left=… left_unit=L", returnNotMeasured},
		{"shipped-before-packed", Misses, "a time or a unit is wrong", "heeltap amend ENTRY shipped_at=…, or unit=…", shippedBeforePacked},
		{"one-of-several", Widens, "nobody knows which one it was: everybody who may have it must be told", "find out which, then heeltap amend ENTRY unit=…", oneOfSeveral},
		{"consignee-without-contact", Widens, "a recall notice cannot reach it", "heeltap amend PARTY phone=… email=…", consigneeWithoutContact},
		{"returned-above-shipped", Misses, "more came back than went there: a consignee or a unit is wrong", "heeltap amend ENTRY consignee=…, or quantity=…", returnedAboveShipped},
	}
}

func unitNowhere(b *book) (out []Hit) {
	counted := map[string]bool{}
	for _, c := range b.counts {
		for _, code := range c.Subject.Codes {
			counted[code] = true
		}
	}
	for _, unit := range slices.Sorted(maps.Keys(b.unitRows)) {
		rows := b.unitRows[unit]
		if counted[unit] || slices.ContainsFunc(rows, func(x *lots.Packed) bool { return x.Place != "" }) {
			continue
		}
		if left := trace.BooksOf(b.tx, unit).OnHand(); left > 0 {
			h := hit(unit, rows[0].Seq, "%s of %s should be here, but nobody noted where", lots.Figure(left), unit)
			h.Mend = "heeltap count " + unit + " --quantity … --place …"
			out = append(out, h)
		}
	}
	return out
}

// shippedAbovePacked finds units of which more left than there was, and units of which one of several
// left that cannot all together have held it.
func shippedAbovePacked(b *book) (out []Hit) {
	for _, unit := range sortedKeys(b.unitRows) {
		if left := trace.BooksOf(b.tx, unit).OnHand(); left < 0 {
			h := hit(unit, b.unitRows[unit][0].Seq, "%s more left %s than was on it", lots.Figure(-left), unit)
			h.Mend = "look at what left it (heeltap show UNIT), then correct the row that is wrong"
			for _, rec := range b.tx.Touching(unit) {
				if s, ok := rec.(*lots.Shipment); ok && !s.Unit.OneOf() {
					h.Mend = fmt.Sprintf("heeltap amend %d quantity=…, or unit=…; heeltap show UNIT lists all that left it", s.Seq)
				}
			}
			out = append(out, h)
		}
	}
	joined := map[string][]string{} // units that name each other in rows of one of several
	add := func(ref lots.Ref) {
		if !ref.OneOf() {
			return
		}
		all := slices.Clone(ref.Codes)
		for _, u := range ref.Codes {
			all = append(all, joined[u]...)
		}
		slices.Sort(all)
		all = slices.Compact(all)
		for _, u := range all {
			joined[u] = all
		}
	}
	left := map[string]float64{} // by the first unit of those joined
	last := map[string]*lots.Shipment{}
	for _, s := range b.shipments {
		add(s.Unit)
	}
	for _, s := range b.shipments {
		if s.Unit.OneOf() {
			first := joined[s.Unit.Codes[0]][0]
			left[first] += float64(s.Quantity)
			last[first] = s
		}
	}
	for _, r := range b.returns {
		if all := joined[r.Unit.Codes[0]]; r.Unit.OneOf() && len(all) > 0 && r.OfGoods() {
			left[all[0]] -= float64(r.Quantity)
		}
	}
	for _, first := range sortedKeys(left) {
		here := 0.0
		for _, u := range joined[first] {
			here += trace.BooksOf(b.tx, u).OnHand()
		}
		if over := left[first] - max(0, here); over > 1e-9 {
			out = append(out, hit(first, last[first].Seq, "%s more left one of %s than was on all of them", lots.Figure(over), strings.Join(joined[first], ", ")))
		}
	}
	return out
}

// countsSwapped compares runs of a product that follow each other by what their units' last counts
// found too much or too little.
func countsSwapped(b *book) (out []Hit) {
	off, entry := map[string]float64{}, map[string]int64{}
	seen := map[string]bool{}
	for _, c := range slices.Backward(b.counts) {
		if c.Subject.Kind != lots.KindUnit || c.Subject.OneOf() {
			continue
		}
		unit := c.Subject.Code()
		rows := b.unitRows[unit]
		if seen[unit] || len(rows) != 1 || b.run[rows[0].Run] == nil {
			continue
		}
		seen[unit] = true
		run := rows[0].Run
		off[run] += c.Count - trace.UnitBooksAt(b.tx, unit, c.At.To).OnHand()
		entry[run] = c.Seq
	}
	byProduct := map[string][]*lots.Run{}
	for run := range off {
		byProduct[b.run[run].Product] = append(byProduct[b.run[run].Product], b.run[run])
	}
	for _, product := range sortedKeys(byProduct) {
		list := byProduct[product]
		slices.SortFunc(list, func(x, y *lots.Run) int {
			return cmp.Or(cmp.Compare(x.Started.From, y.Started.From), cmp.Compare(x.Run, y.Run))
		})
		for i := 1; i < len(list); i++ {
			x, y := list[i-1].Run, list[i].Run
			if math.Abs(off[x]) >= 1 && math.Abs(off[x]+off[y]) < 1e-9 {
				out = append(out, hit(y, entry[y], "run %s was %+g against the books at the count, run %s %+g", x, off[x], y, off[y]))
			}
		}
	}
	return out
}

// returnShippedAgain finds shipments of what had come back, where no hold of the unit was released
// between: only where what had never left cannot have been enough.
func returnShippedAgain(b *book) (out []Hit) {
	for _, r := range b.returns {
		if r.Unit.OneOf() || !r.OfGoods() || b.several(r.Unit.Code()) {
			continue
		}
		unit := r.Unit.Code()
		decided := slices.ContainsFunc(b.holds, func(h *lots.Hold) bool {
			return slices.Contains(h.Subject.Codes, unit) && h.At.To >= r.At.From && h.Released
		})
		if decided {
			continue
		}
		for _, s := range b.shipped[unit] {
			if s.At.From <= r.At.To {
				continue
			}
			if after := trace.UnitBooksAt(b.tx, unit, s.At.To).OnHand(); after < float64(r.Quantity) {
				out = append(out, hit(unit, s.Seq, "%s brought %d of %s back on %s, and shipment %s sent it out again on %s", r.Consignee, r.Quantity, unit, b.day(r.At.From), s.Shipment, b.day(s.At.From)))
			}
			break
		}
	}
	return out
}

func returnNotMeasured(b *book) (out []Hit) {
	for _, r := range b.returns {
		if rows := b.unitRows[r.Unit.Codes[0]]; r.State == "part" && !r.HasLeft && len(rows) > 0 && rows[0].UnitKind == "keg" {
			h := hit(r.Unit.Codes[0], r.Seq, "%s came back part full, and nobody measured what it still held", r.Unit.Codes[0])
			h.Mend = "heeltap amend " + r.Return + " left=… left_unit=L"
			out = append(out, h)
		}
	}
	return out
}

func shippedBeforePacked(b *book) (out []Hit) {
	for _, s := range b.shipments {
		for _, u := range s.Unit.Codes {
			for _, x := range b.unitRows[u] {
				if r := b.run[x.Run]; r != nil && s.At.To < r.Started.From && len(b.unitRows[u]) == 1 {
					out = append(out, hit(u, s.Seq, "%s was shipped on %s, but packed on %s", u, b.stamp(s.At.From), b.stamp(r.Started.From)))
				}
			}
		}
	}
	return out
}

func oneOfSeveral(b *book) (out []Hit) {
	see := func(ref lots.Ref, entry int64, what string) {
		if ref.OneOf() {
			out = append(out, hit(ref.Codes[0], entry, "%s is from one of %s, unknown which", what, strings.Join(ref.Codes, ", ")))
		}
	}
	for _, x := range b.shipments {
		see(x.Unit, x.Seq, "shipment "+x.Shipment)
	}
	for _, x := range b.bulk {
		see(x.From, x.Seq, "shipment "+x.Shipment)
	}
	for _, x := range b.returns {
		see(x.Unit, x.Seq, "return "+x.Return)
	}
	for _, x := range b.inputs {
		see(x.From, x.Seq, "an input of brew "+x.Brew)
	}
	for _, x := range b.additions {
		see(x.From, x.Seq, "an addition to "+x.Vessel)
	}
	for _, run := range slices.Sorted(maps.Keys(b.feeds)) {
		for _, x := range b.feeds[run] {
			see(x.From, x.Seq, "a feed of run "+run)
		}
	}
	return out
}

func consigneeWithoutContact(b *book) (out []Hit) {
	supplied := map[string]bool{}
	for _, s := range b.shipments {
		supplied[s.Consignee] = true
	}
	for _, s := range b.bulk {
		supplied[s.Consignee] = true
	}
	for _, code := range slices.Sorted(maps.Keys(supplied)) {
		if p := b.parties[code]; p != nil && p.Phone == "" && p.Email == "" {
			h := hit(code, p.Seq, "%s %s has neither a telephone number nor an e-mail address", code, p.Name)
			h.Mend = "heeltap amend " + code + " phone=… email=…"
			out = append(out, h)
		}
	}
	return out
}

func returnedAboveShipped(b *book) (out []Hit) {
	type key struct{ unit, party string }
	net := map[key]float64{}
	for _, s := range b.shipments {
		if !s.Unit.OneOf() {
			net[key{s.Unit.Code(), s.Consignee}] += float64(s.Quantity)
		}
	}
	unclear := map[string]bool{}
	for _, s := range b.shipments {
		if s.Unit.OneOf() {
			for _, u := range s.Unit.Codes {
				unclear[u] = true
			}
		}
	}
	for _, r := range b.returns {
		if r.Unit.OneOf() || unclear[r.Unit.Code()] || !r.OfGoods() {
			continue
		}
		k := key{r.Unit.Code(), r.Consignee}
		if net[k] -= float64(r.Quantity); net[k] < 0 {
			out = append(out, hit(k.unit, r.Seq, "%s brought back %s more of %s than went there", k.party, lots.Figure(-net[k]), k.unit))
		}
	}
	return out
}
