package trace

import (
	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
	"math"
)

// LotLeft is what is left of a lot by the books, in base units of its quantity, never
// below zero. Sure is false where some of it was used in a quantity nobody wrote down.
func LotLeft(tx *store.Tx, lot string) (left float64, sure bool) {
	for _, n := range tx.NodesNamed(lot) {
		if n.Kind != graph.Lot {
			continue
		}
		used, known := tx.PassedOn(n.ID)
		in, out := TippedOf(tx, lot)
		return max(0, n.Total+in-out-used-RemovedOf(tx, lot)-ShippedOf(tx, lot)), known
	}
	return 0, true
}

// TippedOf sums what was tipped into a lot and out of it into others, in base units.
func TippedOf(tx *store.Tx, lot string) (in, out float64) {
	for _, rec := range tx.Touching(lot) {
		t, ok := rec.(*lots.Tipping)
		switch {
		case !ok:
		case t.Into == lot:
			in += float64(t.Qty.N)
		case !t.From.OneOf():
			out += float64(t.Qty.N)
		}
	}
	return in, out
}

// RemovedOf sums the removals of a lot, in base units.
func RemovedOf(tx *store.Tx, lot string) float64 {
	sum := 0.0
	for _, rec := range tx.Touching(lot) {
		if r, ok := rec.(*lots.Removal); ok && r.Subject.Kind == lots.KindLot && !r.Subject.OneOf() && r.Subject.Code() == lot {
			sum += float64(r.Qty.N)
		}
	}
	return sum
}

// ShippedOf sums what was shipped of a lot, in base units.
func ShippedOf(tx *store.Tx, lot string) float64 {
	sum := 0.0
	if thing, _ := tx.Thing(lot); thing.Into != "" {
		return 0 // it was drawn through the vessel that it went into
	}
	for _, rec := range tx.Touching(lot) {
		if x, ok := rec.(*lots.Bulk); ok && x.From.Kind == lots.KindLot && !x.From.OneOf() && x.From.Code() == lot {
			sum += float64(x.Qty.N)
		}
	}
	return sum
}

// Content is what a vessel holds now, by the books.
type Content struct {
	Fill lineage.Node
	Left float64 // mL
}

// ContentOf finds what a vessel holds now; false where its last fill ended, or it was never filled.
func ContentOf(tx *store.Tx, vessel string) (Content, bool) {
	last, ok := tx.LastFill(vessel)
	if !ok || last.Until != 0 {
		return Content{}, false
	}
	books := FillBooks{Node: last.Node}
	for _, d := range joinedDraws(tx, tx.DrawsAround(vessel, last.Since), map[int64]int64{last.Since: last.Until}) {
		if d.Fill == last.Since && d.State == lineage.Drew && !d.OneOf {
			books.Draws = append(books.Draws, d)
		}
	}
	return Content{Fill: last.Node, Left: books.Left()}, true
}

// Counted is what a count says is here now: the count, and what moved since.
type Counted struct {
	Now   float64 // cases or kegs
	Said  float64 // as counted
	Place string
	Entry int64
	At    lots.When
}

// CountOf rolls the last count of a unit forward by what was entered as having happened after it.
func CountOf(tx *store.Tx, unit string) (Counted, bool) {
	last, ok := LastCount(tx, unit, math.MinInt64)
	if !ok {
		return Counted{}, false
	}
	c := Counted{Said: last.Count, Place: last.Place, Entry: last.Seq, At: last.At}
	until := booksOf(tx, unit, func(at lots.When, entry int64) bool {
		return at.From <= last.At.To || entry < last.Seq && at.From-at.From%60 == last.At.To // counts are written to the minute: what was entered before it within that minute was seen
	})
	c.Now = lots.Nine(last.Count + BooksOf(tx, unit).OnHand() - until.OnHand())
	return c, true
}

// booksUntil are the books of a unit with only what happened up to a moment.
func booksUntil(tx *store.Tx, unit string, until int64) Books {
	return booksOf(tx, unit, func(at lots.When, _ int64) bool { return at.From <= until })
}
