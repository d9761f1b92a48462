package trace

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Books is what became of a unit, in its cases or kegs.
type Books struct {
	Quantity                             int64
	Shipped, Returned, Removed, Repacked float64
}

// OnHand is what must be here if nothing else happened: no evidence that it is.
func (b Books) OnHand() float64 {
	return lots.Nine(float64(b.Quantity) - b.Shipped + b.Returned - b.Removed - b.Repacked)
}

// BooksOf adds up what the records say of a unit. What happened to one of several
// units is in the books of none. A unit that was fed to a run or emptied without a
// quantity is taken to have been used up.
func BooksOf(tx *store.Tx, code string) Books {
	return booksOf(tx, code, func(lots.When, int64) bool { return true })
}

// booksOf adds up what counts, by its time and entry.
func booksOf(tx *store.Tx, code string, counts func(at lots.When, entry int64) bool) Books {
	var b Books
	usedUp := false
	for _, rec := range tx.Touching(code) {
		switch x := rec.(type) {
		case *lots.Packed:
			if x.Unit == code && counts(packedAt(tx, x), x.Seq) {
				b.Quantity += x.Quantity
			}
		case *lots.Shipment:
			if !x.Unit.OneOf() && counts(x.At, x.Seq) {
				b.Shipped += float64(x.Quantity)
			}
		case *lots.Return:
			if !x.Unit.OneOf() && x.OfGoods() && counts(x.At, x.Seq) {
				b.Returned += float64(x.Quantity)
			}
		case *lots.Removal:
			if x.Subject.Kind == lots.KindUnit && !x.Subject.OneOf() && counts(x.At, x.Seq) {
				b.Removed += x.Count
			}
		case *lots.Feed:
			if is(x.From, code) && counts(FedAt(tx, x), x.Seq) {
				b.Repacked += x.Count
				usedUp = usedUp || !x.HasQty
			}
		case *lots.Addition:
			if is(x.From, code) && counts(x.At, x.Seq) {
				b.Repacked += x.Count
			}
		}
	}
	if usedUp {
		b.Repacked += max(0, b.OnHand())
	}
	return b
}

// is reports whether a reference means one unit for certain.
func is(from lots.Ref, unit string) bool {
	return from.Kind == lots.KindUnit && !from.OneOf() && from.Code() == unit
}

// packedAt is when a row of a unit was complete: its last case, else the end of its run.
func packedAt(tx *store.Tx, p *lots.Packed) lots.When {
	if p.HasLast {
		return p.Last
	}
	if run, _, ok := runOf(tx, p.Run); ok {
		return run.Ended
	}
	return lots.When{}
}

// InputAt is when a brew took an input: its own time, or the brew's.
func InputAt(tx *store.Tx, x *lots.BrewInput) lots.When {
	if x.HasAt {
		return x.At
	}
	for _, rec := range tx.Touching(x.Brew) {
		if b, ok := rec.(*lots.Brew); ok && b.Brew == x.Brew {
			if x.AtCast {
				return b.CastOut
			}
			return b.Started
		}
	}
	return lots.When{}
}

// FedAt is when a feed began: its own time, or its run's.
func FedAt(tx *store.Tx, f *lots.Feed) lots.When {
	if run, _, ok := runOf(tx, f.Run); ok && !f.HasSince {
		return run.Started
	}
	return f.Since
}

// unitElement tells of a reached unit.
func (q *asked) unitElement(at Reached, id int64, held *graph.Reach) Unit {
	u := Unit{Reached: at, Amount: q.amount(id), Books: BooksOf(q.tx, at.Code), Runs: []string{}, DateCodes: []string{}}
	for _, step := range q.reach.Why(id) {
		if step.Link.Entry != 0 {
			u.Entries = append(u.Entries, step.Link.Entry)
		}
	}
	u.Quantity, u.OnHand = u.Books.Quantity, u.Books.OnHand()
	var products []string
	affected := 0.0
	hit := q.hits()
	for _, rec := range q.tx.Touching(at.Code) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != at.Code {
			continue
		}
		u.Kind = p.UnitKind
		if p.Place != "" {
			u.Place = &p.Place
		}
		run, _, ok := runOf(q.tx, p.Run)
		if !ok {
			continue
		}
		u.Runs = append(u.Runs, p.Run)
		products = append(products, run.Product)
		w, _ := lineage.WindowOf(p, run, lineOf(q.tx, run.Line).Margin)
		part := Part{Run: p.Run, Product: run.Product, DateCodes: codesIn(codesOf(q.tx, run), w), Codes: coder{q.tx, hit, map[string]bool{at.Code: true}}.row(p), Quantity: p.Quantity, Affected: q.affected(p, run, w), Entry: p.Seq}
		if p.HasFirst {
			part.First = p.First.Text(q.site.Zone)
		}
		if p.HasLast {
			part.Last = p.Last.Text(q.site.Zone)
		}
		if slices.Contains(part.DateCodes, "") {
			part.DateCodes = affectedCodes(part.Codes)
		}
		u.Parts = append(u.Parts, part)
		affected += part.Affected
	}
	u.standing()
	u.Runs, u.DateCodes, products = sortedSet(u.Runs), sortedSet(u.DateCodes), sortedSet(products)
	if len(products) == 1 {
		u.Product = &products[0]
	}
	u.Affected = min(u.Quantity, max(1, int64(math.Ceil(affected-1e-9))))
	u.heeled = u.Kind == "keg" && q.heeled(id)
	if _, start := q.startOf[id]; start || u.heeled {
		u.Affected = u.Quantity
		for i := range u.Parts {
			u.Parts[i].Affected = float64(u.Parts[i].Quantity)
		}
	}
	u.Held = held.Band(id) == graph.In
	u.HeldPossible = held.Band(id) == graph.Possible
	return u
}

// heeled reports whether a keg filling is reached by what the keg held before it: then all of it is.
func (q *asked) heeled(id int64) bool {
	return slices.ContainsFunc(q.tx.SourcesOf(id, graph.Contact), func(src int64) bool {
		n, ok := q.reached.Nodes[src]
		return ok && n.Kind == graph.Unit && q.reach.Band(src) != graph.Out
	})
}

// hits is what the answer reaches, for telling which of the codes on a repacked unit it is about. Backwards it is about all.
func (q *asked) hits() reaches {
	if q.dir == graph.Back {
		return whole
	}
	return reaches{func(id int64) bool { return q.reach.Band(id) != graph.Out }, func(run string) bool {
		return slices.ContainsFunc(q.tx.NodesOf(run), func(n store.Node) bool { return q.reach.Band(n.ID) != graph.Out })
	}}
}

// affectedCodes lists the codes of parts that are affected.
func affectedCodes(parts []CodePart) []string {
	var out []string
	for _, c := range parts {
		if c.Affected {
			out = append(out, c.Code)
		}
	}
	return sortedSet(out)
}

// standing gathers the codes of a unit from its parts.
func (u *Unit) standing() {
	var all []CodePart
	for i := range u.Parts {
		p := &u.Parts[i]
		for j := range p.Codes {
			p.Codes[j].Of = u.Quantity
		}
		p.Codes = together(p.Codes)
		all = append(all, p.Codes...)
	}
	u.Codes = append([]CodePart{}, together(all)...)
	for _, c := range u.Codes {
		u.DateCodes = append(u.DateCodes, c.Code)
	}
}

// CodesText names the date codes on the unit; where one does not stand on all of it, with its part.
func (u Unit) CodesText() string {
	if u.Kind == "keg" {
		return CodesText(u.Codes, "keg")
	}
	return CodesText(u.Codes, "case")
}

// codesIn lists what was printed during a window; all of the run's where there is none.
func codesIn(codes []coded, w lineage.Window) []string {
	var out []string
	for _, c := range codes {
		if w.None || c.meets(w.From, w.Until) || w.From == w.Until && w.From == c.until {
			out = append(out, c.code)
		}
	}
	return out
}

// affected is how many cases of one row of a unit lie on the run's reached segments: by
// the window as written; where only the line's margin touches them, the part of the
// window inside the margin, at least one case; without a window all of the row.
func (q *asked) affected(p *lots.Packed, run *lots.Run, w lineage.Window) float64 {
	var reached, all []span
	for _, n := range q.tx.NodesOf(p.Run) {
		if n.Kind != graph.Segment {
			continue
		}
		all = append(all, span{n.Since, n.Until})
		if q.reach.Band(n.ID) != graph.Out {
			reached = append(reached, span{n.Since, n.Until})
		}
	}
	quantity := float64(p.Quantity)
	switch {
	case len(reached) == 0:
		return 0
	case w.None || len(reached) == len(all):
		return quantity
	case w.From == w.Until:
		end := run.Ended.End() // belongs to the last stretch
		if slices.ContainsFunc(reached, func(s span) bool { return s.meets(w.From, w.Until) || w.From == end && s.until == end }) {
			return quantity
		}
	}
	margin := lineOf(q.tx, run.Line).Margin
	if part := overlapOf(reached, w) / max(1, overlapOf(all, w)); part > 0 {
		return quantity * part
	}
	if !q.touched(reached, w) {
		return 0
	}
	for i := range reached {
		reached[i] = span{reached[i].from - margin, reached[i].until + margin}
	}
	return max(1, quantity*overlapOf(merged(reached), w)/max(1, float64(w.Until-w.From)))
}

// touched reports whether a window with its doubt comes to any of the stretches.
func (q *asked) touched(stretches []span, w lineage.Window) bool {
	return slices.ContainsFunc(stretches, func(s span) bool { return s.meets(w.MayFrom, w.MayUntil) })
}

func overlapOf(stretches []span, w lineage.Window) float64 {
	var sum int64
	for _, s := range stretches {
		sum += max(0, min(s.until, w.Until)-max(s.from, w.From))
	}
	return float64(sum)
}

// merged joins stretches that overlap; they come in order of their start.
func merged(stretches []span) []span {
	var out []span
	for _, s := range stretches {
		if n := len(out); n > 0 && s.from <= out[n-1].until {
			out[n-1].until = max(out[n-1].until, s.until)
			continue
		}
		out = append(out, s)
	}
	return out
}
