package stock

import (
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
	"math"
)

// countedIn is what a vessel holds by the last count of its fill, less what was drawn since.
func countedIn(tx *store.Tx, vessel string, fill int64, unit lots.Unit) *float64 {
	c, ok := trace.LastCount(tx, vessel, fill)
	if !ok {
		return nil
	}
	ml := c.Qty.Millilitres()
	for _, d := range trace.DrawsOf(tx, vessel) {
		if d.Fill != fill || d.State != lineage.Drew || d.OneOf || d.End <= c.At.To && (d.Start < d.End || d.Start < c.At.To || d.Entry < c.Seq) {
			continue
		}
		ml -= d.Qty * (1 - trace.DrawnPart(d, c.At.To))
	}
	n := lots.Nine(max(0, amountOf(ml, unit)))
	return &n
}

// countedOf is what is left of a lot by the last count of it, less what was used since.
func countedOf(tx *store.Tx, lot string, unit lots.Unit) *float64 {
	c, ok := trace.LastCount(tx, lot, math.MinInt64)
	if !ok {
		return nil
	}
	base := float64(c.Qty.N)
	for _, rec := range tx.Touching(lot) {
		used, at, known := usedOf(tx, rec, lot)
		if used == 0 && known || at.To < c.At.From || at.From <= c.At.To && rec.Entry() < c.Seq {
			continue // nothing of it, or it was seen
		}
		if !known {
			return nil
		}
		base -= used
	}
	n := lots.Nine(max(0, unit.Of(base)))
	return &n
}

// usedOf is how much of a lot a record used, in base units, and when; known is false where it says no quantity.
func usedOf(tx *store.Tx, rec lots.Record, lot string) (used float64, at lots.When, known bool) {
	whole := func(from lots.Ref, q lots.Quantity, when lots.When) (float64, lots.When, bool) {
		if from.Kind != lots.KindLot || from.OneOf() || from.Code() != lot {
			return 0, when, true
		}
		return float64(q.N), when, true
	}
	switch x := rec.(type) {
	case *lots.BrewInput:
		return whole(x.From, x.Qty, trace.InputAt(tx, x))
	case *lots.Addition:
		return whole(x.From, x.Qty, x.At)
	case *lots.Removal:
		return whole(x.Subject, x.Qty, x.At)
	case *lots.Tipping:
		if x.Into == lot {
			return -float64(x.Qty.N), x.At, true
		}
		return whole(x.From, x.Qty, x.At)
	case *lots.Bulk:
		return whole(x.From, x.Qty, x.At)
	case *lots.Feed:
		used, at, known = whole(x.From, x.Qty, trace.FedAt(tx, x))
		return used, at, known && (x.HasQty || x.From.OneOf() || x.From.Code() != lot)
	}
	return 0, at, true
}
