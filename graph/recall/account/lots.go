package account

import (
	"fmt"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// LotBalance is the mass balance of one suspect lot, in its own unit.
//
// received = on hand + removed + shipped + in tanks + in units + served + lost + not measured
//
// It rests on perfect mixing within each fill: an estimate, never a reason to call beer safe.
type LotBalance struct {
	Lot      string  `json:"lot"`
	Unit     string  `json:"unit"`
	Received float64 `json:"received"`
	OnHand   float64 `json:"on_hand"`  // by the books
	Removed  float64 `json:"removed"`  // samples, to the supplier, destroyed …
	Shipped  float64 `json:"shipped"`  // in bulk: of the lot itself, and with the beer of tanks
	InTanks  float64 `json:"in_tanks"` // there now, by the books
	InUnits  float64 `json:"in_units"` // surely, in a measured quantity
	// Unmeasured counts the units that surely hold some of it, nobody wrote down how much: it is among what is not measured.
	Unmeasured int     `json:"units_not_measured"`
	Served     float64 `json:"served"`       // drawn or sold from tanks in the taproom
	Lost       float64 `json:"lost"`         // rejects, trub, transfers, what else was removed from tanks
	Unknown    float64 `json:"not_measured"` // used in a quantity nobody wrote down, tipped into another lot, or fed beyond what the containers took
}

// InUnitsText says how much is in units: a range where some of them hold a quantity that nobody wrote down.
func (b LotBalance) InUnitsText() string {
	if b.Unmeasured == 0 {
		return lots.Figure(b.InUnits)
	}
	units := "1 unit"
	if b.Unmeasured > 1 {
		units = lots.Figure(float64(b.Unmeasured)) + " units"
	}
	return fmt.Sprintf("%s to %s (%s, not measured)", lots.Figure(b.InUnits), lots.Figure(b.InUnits+max(0, b.Unknown)), units)
}

// LotBalances strikes the balance of each suspect that is a lot.
func LotBalances(tx *store.Tx, suspects []string) ([]LotBalance, error) {
	out := []LotBalance{}
	for _, code := range suspects {
		a, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{code}})
		if err != nil {
			return nil, err
		}
		for _, from := range a.From {
			if from.Kind != "lot" || slices.ContainsFunc(out, func(b LotBalance) bool { return b.Lot == from.Code }) {
				continue
			}
			b, err := lotBalance(tx, from.Code)
			if err != nil {
				return nil, err
			}
			out = append(out, b)
		}
	}
	return out, tx.Err()
}

func lotBalance(tx *store.Tx, lot string) (LotBalance, error) {
	b := LotBalance{Lot: lot}
	a, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{"lot:" + lot}})
	if err != nil {
		return b, err
	}
	thing, _ := tx.Thing(lot)
	of := func(base float64) float64 { return lots.Nine(thing.Unit.Of(base)) }
	b.Unit = string(thing.Unit)
	var tanks, units, served, lost, left, sent float64
	fills := map[string]trace.Fill{}
	for _, f := range a.Fills {
		fills[f.Code] = f
	}
	for _, e := range a.Ends() {
		if e.Kind == graph.Unit && e.Band == graph.In && math.IsNaN(e.Left) {
			b.Unmeasured++
		}
		switch {
		case e.Band != graph.In || math.IsNaN(e.Left):
		case e.Kind == graph.Lot && e.Code == lot:
			left = e.Left
		case e.Kind == graph.Fill:
			f := fills[e.Code]
			there, drawn, gone := 0.0, 0.0, 0.0 // of the lot
			if f.Amount.Amount != nil && f.Volume > 0 {
				each := *f.Amount.Amount / thing.Unit.Of(1) / (f.Volume * 1000) // of the lot in a mL
				there, drawn = f.Left*1000*each, drawnOf(tx, f, atTap)*each
				gone = drawnOf(tx, f, inBulkRow) * each
			}
			there = min(e.Left, there)
			drawn = max(0, min(e.Left-there, drawn))
			gone = max(0, min(e.Left-there-drawn, gone))
			tanks, served, sent, lost = tanks+there, served+drawn, sent+gone, lost+e.Left-there-drawn-gone
		case e.Kind == graph.Unit:
			units += e.Left
		default: // what was fed beyond what the containers took was measured by nobody: spoiled, put back, or in units that may have it
			lost += e.Left - e.Beyond
		}
	}
	total := 0.0
	for _, n := range tx.NodesNamed(lot) {
		if n.Kind == graph.Lot {
			total = n.Total
		}
	}
	removed, shipped := trace.RemovedOf(tx, lot), trace.ShippedOf(tx, lot)
	b.Received, b.Removed, b.InTanks, b.InUnits, b.Served, b.Lost = of(total), of(removed), of(tanks), of(units), of(served), of(lost)
	if math.IsNaN(left) {
		left = 0
	}
	_, tipped := trace.TippedOf(tx, lot) // into other lots: where it went from there nobody measured
	b.OnHand, b.Shipped = of(max(0, left-removed-shipped-tipped)), of(shipped+sent)
	b.Unknown = lots.Nine(b.Received - b.OnHand - b.Removed - b.Shipped - b.InTanks - b.InUnits - b.Served - b.Lost)
	if math.Abs(b.Unknown) < b.Received*1e-9 {
		b.Unknown = 0
	}
	return b, tx.Err()
}

// atTap reports whether a record drew beer of a known vessel in the taproom.
func atTap(rec lots.Record) bool {
	x, ok := rec.(*lots.Removal)
	return ok && x.Reason == "taproom" && x.Subject.Kind == lots.KindVessel && !x.Subject.OneOf()
}

// inBulkRow reports whether a record shipped what it drew of a known vessel or lot in bulk.
func inBulkRow(rec lots.Record) bool {
	x, ok := rec.(*lots.Bulk)
	return ok && !x.From.OneOf()
}

// drawnOf is how much of a fill records of one sort drew by the books, mL.
func drawnOf(tx *store.Tx, f trace.Fill, sort func(lots.Record) bool) (sum float64) {
	var times []int64
	for _, n := range tx.NodesNamed(f.Code) {
		if n.Kind == graph.Fill {
			times = append(times, n.Since)
		}
	}
	for _, d := range tx.DrawsOn(f.Vessel, times) {
		rec, _ := tx.Record(d.Entry)
		if d.State == lineage.Drew && sort(rec) && lineage.FillRef(f.Vessel, d.Fill, tx.Site().Zone).Code == f.Code {
			sum += d.Qty
		}
	}
	return sum
}
