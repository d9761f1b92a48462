package lineage

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// filling is one filling of a keg in the order of its fillings.
type filling struct {
	unit, run string
	when      stretch        // it was filled at some time in it
	rows      []*lots.Packed // in journal order
}

// keg is all fillings of one keg, by when they began.
type keg struct {
	fillings []*filling
	before   [][]int // of each, those that may have been the one before it
	noted    bool    // a wash is noted for one of them
}

// kegOf puts a keg's fillings in order. The zero keg has none.
func (e *engine) kegOf(number string) *keg {
	if k, ok := e.kegs[number]; ok {
		return k
	}
	k := &keg{}
	byUnit := map[string]*filling{}
	for _, rec := range e.src.Fillings(number) {
		p, ok := rec.(*lots.Packed)
		if !ok {
			continue
		}
		f := byUnit[p.Unit]
		if f == nil {
			f = &filling{unit: p.Unit, run: p.Run, when: e.filledIn(p)}
			byUnit[p.Unit] = f
			k.fillings = append(k.fillings, f)
		}
		w := e.filledIn(p)
		f.when = stretch{min(f.when.start, w.start), max(f.when.end, w.end)}
		f.rows = append(f.rows, p)
		k.noted = k.noted || WashNoted(p)
	}
	slices.SortStableFunc(k.fillings, func(a, b *filling) int { return cmp.Compare(a.when.start, b.when.start) })
	k.order()
	e.kegs[number] = k
	return k
}

// order finds for each filling those that may have been the one before it: both ways where the order is not known.
func (k *keg) order() {
	whens := make([]stretch, len(k.fillings))
	for i, f := range k.fillings {
		whens[i] = f.when
	}
	k.before = make([][]int, len(whens))
	for q, before := range predecessors(whens) {
		for _, p := range before {
			k.before[q] = append(k.before[q], p)
			if !whens[p].surelyBefore(whens[q]) {
				k.before[p] = append(k.before[p], q)
			}
		}
	}
}

// WashNoted reports whether a unit's row says that its keg was washed: when, or where.
func WashNoted(p *lots.Packed) bool { return p.Washed || p.Washer != "" }

// filledIn is the stretch in which a keg was filled: its own time so far as that lies in its run, else the run's.
func (e *engine) filledIn(p *lots.Packed) stretch {
	rec, _ := e.src.Stated(p.Run)
	run, ok := rec.(*lots.Run)
	if !ok {
		return stretch{}
	}
	return filledIn(p, run)
}

func filledIn(p *lots.Packed, run *lots.Run) stretch {
	whole := stretch{run.Started.From, max(run.Ended.End(), run.Started.From+1)}
	if !p.HasFirst {
		return whole
	}
	own := stretch{max(whole.start, p.First.From), min(whole.end, p.First.To+1)}
	if own.start >= own.end {
		return whole
	}
	return own
}

// fromBefore links a keg filling with the filling before it where the records speak against a wash between the two.
func (e *engine) fromBefore(c *Cell, unit string, entry int64) {
	number, _, ok := lots.SplitFilling(unit)
	if !ok {
		return
	}
	k := e.kegOf(number)
	i := slices.IndexFunc(k.fillings, func(f *filling) bool { return f.unit == unit })
	if i < 0 {
		return
	}
	q := k.fillings[i]
	for _, j := range k.before[i] {
		p := k.fillings[j]
		why := e.unwashed(k, p, q)
		if why == "" {
			continue
		}
		c.Links = append(c.Links, contact(Ref{graph.Unit, p.unit}, Ref{graph.Unit, unit}, graph.Heel, entry, q.when.start))
		c.Findings = append(c.Findings, Finding{"keg-wash-in-doubt", unit, fmt.Sprintf(
			"%s may hold some of what was left of %s: %s. If the keg was washed between the two, record heeltap amend %s washed_at=TIME", unit, p.unit, why, unit), entry})
	}
}

// unwashed says why a keg may not have been washed between two fillings; empty where it was, or where it is taken as washed.
func (e *engine) unwashed(k *keg, p, q *filling) string {
	noted := slices.ContainsFunc(q.rows, WashNoted)
	switch {
	case noted && q.washedAfter(p):
		return ""
	case noted:
		return "the wash noted does not certainly lie between the two"
	case e.keptBeer(p, q.when.end):
		return "no wash is noted, and the keg came back with beer in it or was never emptied by the books"
	case k.noted || e.washesIn(q.run):
		return "no wash is noted, though washes of this keg or of others of its run are"
	}
	return ""
}

// washedAfter reports whether a wash noted for a filling certainly came after another: one without a time came
// before the filling it is noted for, and so did one of that day.
func (q *filling) washedAfter(p *filling) bool {
	return slices.ContainsFunc(q.rows, func(r *lots.Packed) bool {
		if !r.Washed {
			return r.Washer != ""
		}
		return r.WashedAt.From >= p.when.end && r.WashedAt.From < q.when.end
	})
}

// washesIn reports whether a wash is noted for any keg of a run.
func (e *engine) washesIn(run string) bool {
	noted, ok := e.washes[run]
	if !ok {
		noted = slices.ContainsFunc(e.kegsOf(run), WashNoted)
		e.washes[run] = noted
	}
	return noted
}

// kegsOf lists the rows of a run's kegs.
func (e *engine) kegsOf(run string) (out []*lots.Packed) {
	for _, rec := range e.src.Touching(run) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == run && p.UnitKind == "keg" {
			out = append(out, p)
		}
	}
	return out
}

// keptBeer reports whether a keg filling came back with beer in it, or was still here and full by the books, when
// the keg was filled again. That it came back empty counts only if no beer can have come back after it.
func (e *engine) keptBeer(p *filling, until int64) bool {
	left, emptied, back := 0.0, int64(math.MinInt64), int64(math.MinInt64)
	for _, rec := range e.src.Touching(p.unit) {
		switch r := rec.(type) {
		case *lots.Packed:
			left += float64(r.Quantity)
		case *lots.Return:
			switch {
			case r.OfGoods():
				back = max(back, r.At.To)
			case !r.Unit.OneOf() && r.At.From < until && r.At.To >= p.when.start:
				emptied = max(emptied, r.At.From)
			}
		default:
			left -= e.leftHere(rec, p.unit, until)
		}
	}
	if emptied == math.MinInt64 {
		return left > eps || back > math.MinInt64
	}
	return back >= emptied
}

// leftHere is how much of a unit a record takes away, for certain and perhaps before a moment: all of it where a
// feed says no quantity.
func (e *engine) leftHere(rec lots.Record, unit string, until int64) float64 {
	switch r := rec.(type) {
	case *lots.Shipment:
		if !r.Unit.OneOf() && r.At.From < until {
			return float64(r.Quantity)
		}
	case *lots.Removal:
		if r.At.From < until {
			return unitUse(r.Subject, r.Count)
		}
	case *lots.Addition:
		if r.At.From < until {
			return unitUse(r.From, r.Count)
		}
	case *lots.Feed:
		run, _ := e.src.Stated(r.Run)
		if x, ok := run.(*lots.Run); !ok || r.From.OneOf() || r.From.Code() != unit || fedSince(r, x) >= until {
			return 0
		}
		if r.HasQty {
			return r.Count
		}
		return math.Inf(1)
	}
	return 0
}

func fedSince(f *lots.Feed, run *lots.Run) int64 {
	since, _ := FeedSpan(f, run)
	return since
}

// followUnit marks, where a unit is a keg filling, the fillings of the keg that may have come next.
func (e *engine) followUnit(unit string) {
	number, _, ok := lots.SplitFilling(unit)
	if !ok {
		return
	}
	for _, f := range e.kegOf(number).fillings {
		if f.unit == unit {
			e.followFilling(number, f.when)
		}
	}
}

// followFilling marks the fillings of a keg that may have come next after one.
func (e *engine) followFilling(number string, at stretch) {
	next := int64(math.MaxInt64) // what began from here on came after another that came after it
	for _, f := range e.kegOf(number).fillings {
		if f.when.start >= next {
			return
		}
		if !f.when.surelyBefore(at) {
			e.units[f.unit] = true
		}
		if at.surelyBefore(f.when) {
			next = min(next, f.when.end)
		}
	}
}

// followKegs marks what comes next after every keg filled in a run as it was or is.
func (e *engine) followKegs(run *lots.Run) {
	for _, p := range e.kegsOf(run.Run) {
		number, _, _ := lots.SplitFilling(p.Unit)
		e.units[p.Unit] = true
		e.followFilling(number, filledIn(p, run))
	}
}

// followPacked marks what depends on a keg's row: what comes next and, where its note of a wash is the only one, every
// filling that is not noted as washed and must have been, if washes are noted.
func (e *engine) followPacked(p *lots.Packed) {
	number, _, ok := lots.SplitFilling(p.Unit)
	if !ok || p.UnitKind != "keg" {
		return
	}
	e.followFilling(number, e.filledIn(p))
	if !WashNoted(p) {
		return
	}
	stood := func(r *lots.Packed) bool { return WashNoted(r) && !e.changed[r.Seq] }
	k := e.kegOf(number)
	if !slices.ContainsFunc(k.fillings, func(f *filling) bool { return slices.ContainsFunc(f.rows, stood) }) {
		for _, f := range k.fillings {
			e.units[f.unit] = true
		}
	}
	if e.followed[p.Run] {
		return
	}
	e.followed[p.Run] = true
	if all := e.kegsOf(p.Run); !slices.ContainsFunc(all, stood) {
		for _, r := range all {
			e.units[r.Unit] = true
		}
	}
}
