package check

import (
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

func tradeRules() []Rule {
	return []Rule{
		{"unit-nowhere", Misses, "it should be here by the books, and no place is noted", "heeltap count UNIT --quantity … --place …", unitNowhere},
		{"shipped-above-packed", Misses, "more left than there was: one consignee or quantity is wrong", "heeltap amend SHIPMENT quantity=… or unit=…", shippedAbovePacked},
		{"shipped-before-packed", Misses, "a time or a unit is wrong", "heeltap amend SHIPMENT shipped_at=… or unit=…", shippedBeforePacked},
		{"one-of-several", Widens, "it is not known which unit went where: everybody who may have it must be told", "find out which, then heeltap amend ENTRY unit=…", oneOfSeveral},
		{"consignee-without-contact", Widens, "the notice reaches nobody", "heeltap amend PARTY phone=… email=…", consigneeWithoutContact},
		{"returned-above-shipped", Misses, "more came back than went there: a consignee or a unit is wrong", "heeltap amend RETURN quantity=… or unit=…", returnedAboveShipped},
	}
}

func (b *book) unitBooked(unit string, at lots.When) float64 {
	sum := 0.0
	for _, x := range b.unitRows[unit] {
		sum += float64(x.Quantity)
	}
	for _, s := range b.shipments {
		if !s.Unit.OneOf() && s.Unit.Code() == unit && s.At.From <= at.To {
			sum -= float64(s.Quantity)
		}
	}
	for _, r := range b.returns {
		if !r.Unit.OneOf() && r.Unit.Code() == unit && r.State != "empty" && r.At.From <= at.To {
			sum += float64(r.Quantity)
		}
	}
	for _, r := range b.removals {
		if r.Subject.Kind == lots.KindUnit && !r.Subject.OneOf() && r.Subject.Code() == unit && r.At.From <= at.To {
			sum -= r.Count
		}
	}
	for run, list := range b.feeds {
		for _, f := range list {
			if f.From.Kind == lots.KindUnit && !f.From.OneOf() && f.From.Code() == unit && b.run[run] != nil && b.run[run].Started.From <= at.To {
				sum -= f.Count
			}
		}
	}
	for _, x := range b.additions {
		if x.From.Kind == lots.KindUnit && !x.From.OneOf() && x.From.Code() == unit && x.At.From <= at.To {
			sum -= x.Count
		}
	}
	return sum
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
			h := hit(unit, rows[0].Seq, "%g of %s should be here, and nobody noted where", left, unit)
			h.Mend = "heeltap count " + unit + " --quantity … --place …"
			out = append(out, h)
		}
	}
	return out
}

func shippedAbovePacked(b *book) (out []Hit) {
	for _, unit := range slices.Sorted(maps.Keys(b.unitRows)) {
		if left := trace.BooksOf(b.tx, unit).OnHand(); left < 0 {
			out = append(out, hit(unit, b.unitRows[unit][0].Seq, "%g more left %s than was on it", -left, unit))
		}
	}
	return out
}

func shippedBeforePacked(b *book) (out []Hit) {
	for _, s := range b.shipments {
		for _, u := range s.Unit.Codes {
			for _, x := range b.unitRows[u] {
				if r := b.run[x.Run]; r != nil && s.At.To < r.Started.From && len(b.unitRows[u]) == 1 {
					out = append(out, hit(u, s.Seq, "%s was shipped on %s and packed on %s", u, b.stamp(s.At.From), b.stamp(r.Started.From)))
				}
			}
		}
	}
	return out
}

func oneOfSeveral(b *book) (out []Hit) {
	see := func(ref lots.Ref, entry int64, what string) {
		if ref.OneOf() {
			out = append(out, hit(ref.Codes[0], entry, "%s is of one of %s, unknown which", what, strings.Join(ref.Codes, ", ")))
		}
	}
	for _, x := range b.shipments {
		see(x.Unit, x.Seq, "shipment "+x.Shipment)
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
	for _, code := range slices.Sorted(maps.Keys(supplied)) {
		if p := b.parties[code]; p != nil && p.Phone == "" && p.Email == "" {
			h := hit(code, p.Seq, "%s %s has neither telephone nor e-mail", code, p.Name)
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
		if r.Unit.OneOf() || unclear[r.Unit.Code()] || r.State == "empty" {
			continue
		}
		k := key{r.Unit.Code(), r.Consignee}
		if net[k] -= float64(r.Quantity); net[k] < 0 {
			out = append(out, hit(k.unit, r.Seq, "%s brought back %g more of %s than went there", k.party, -net[k], k.unit))
		}
	}
	return out
}

// back walks back from all of a run.
func (b *book) back(run string) *graph.Reach {
	q := graph.Query{Dir: graph.Back}
	for _, id := range b.nodes[run] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	return b.g.Walk(q)
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
