package trace

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// FillBooks is one fill of a vessel with what was drawn of it by the books.
type FillBooks struct {
	lineage.Node
	Draws []lineage.Draw
}

// FillsOf gives a vessel's fills in order of time, each with what was drawn of it: what is one of
// several, or was drawn when nothing was there, draws on no fill's books.
func FillsOf(tx *store.Tx, vessel string) []FillBooks {
	drawn := map[int64][]lineage.Draw{}
	for _, d := range DrawsOf(tx, vessel) {
		if d.State == lineage.Drew && !d.OneOf {
			drawn[d.Fill] = append(drawn[d.Fill], d)
		}
	}
	var out []FillBooks
	for _, n := range tx.NodesOf(vessel) {
		if n.Kind == graph.Fill {
			out = append(out, FillBooks{n.Node, drawn[n.Since]})
		}
	}
	return out
}

// DrawnBefore is what was drawn of a fill before a moment, in mL; a flow over that moment by its part.
func (f *FillBooks) DrawnBefore(t int64) float64 {
	sum := 0.0
	for _, d := range f.Draws {
		sum += d.Qty * DrawnPart(d, t)
	}
	return sum
}

// Left is what is left of a fill in the end, in mL: now, or when it ended; never below zero, for
// nobody can draw what is not there.
func (f *FillBooks) Left() float64 { return f.LeftAt(math.MaxInt64) }

// LeftAt is what is left of a fill just before a moment, in mL, never below zero.
func (f *FillBooks) LeftAt(t int64) float64 { return max(0, f.Total-f.DrawnBefore(t)) }

// HeldAt is what a vessel of these fills holds by the books just before a moment, in mL; false where
// it was never filled, or was cleaned or emptied and not filled since.
func HeldAt(fills []FillBooks, t int64) (float64, bool) {
	for i := len(fills) - 1; i >= 0; i-- {
		f := &fills[i]
		if f.Since >= t {
			continue
		}
		if f.Until != 0 && f.Until < t {
			return 0, false
		}
		return f.LeftAt(t), true
	}
	return 0, false
}

// DrawnPart is the part of a draw that lies before a moment.
func DrawnPart(d lineage.Draw, t int64) float64 {
	switch {
	case d.Start >= t:
		return 0
	case d.End <= t || d.End <= d.Start:
		return 1
	}
	return float64(t-d.Start) / float64(d.End-d.Start)
}

// DrawsOf lists what was drawn from a vessel. Circulations of one instant join with each other, so
// that the content goes through them once; a flow that goes on when its fill has ended, by a clean of
// uncertain time, drew it until then.
func DrawsOf(tx *store.Tx, vessel string) []lineage.Draw {
	until := map[int64]int64{}
	for _, n := range tx.NodesOf(vessel) {
		until[n.Since] = n.Until
	}
	return joinedDraws(tx, tx.VesselDraws(vessel), until)
}

// joinedDraws is DrawsOf for some draws, with all that start together with one of them; until says when their fills ended.
func joinedDraws(tx *store.Tx, draws []lineage.Draw, until map[int64]int64) []lineage.Draw {
	together := map[int64]int{} // draws by their start: only those that start together can be of circulations of one instant
	for _, d := range draws {
		together[d.Start]++
	}
	joined := map[int64]bool{}
	var out []lineage.Draw
	for _, d := range draws {
		if together[d.Start] > 1 {
			circulation := Circulates(tx, d.Entry)
			if circulation && joined[d.Start] {
				continue
			}
			joined[d.Start] = joined[d.Start] || circulation
		}
		if end := until[d.Fill]; d.State == lineage.Drew && end != 0 && end < d.End {
			d.End = max(d.Start, end)
		}
		out = append(out, d)
	}
	return out
}

// InflowsOf lists what came into a vessel, without what its cleans may have left in a fill.
func InflowsOf(tx *store.Tx, vessel string) []lineage.Arrival {
	return slices.DeleteFunc(tx.VesselArrivals(vessel), func(a lineage.Arrival) bool {
		rec, _ := tx.Record(a.Entry)
		_, clean := rec.(*lots.Clean)
		return clean
	})
}

// Circulates reports whether an entry joined the contents of vessels.
func Circulates(tx *store.Tx, entry int64) bool {
	rec, _ := tx.Record(entry)
	_, ok := rec.(*lots.Circulation)
	return ok
}

// LastCount finds the last count of a lot, vessel or unit that was made at or after a moment; false where there is none.
func LastCount(tx *store.Tx, code string, since int64) (*lots.StockCount, bool) {
	return tx.LastCount(code, since)
}
