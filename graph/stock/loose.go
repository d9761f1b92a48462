package stock

import (
	"cmp"
	"slices"
	"time"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// What is on no unit is listed for this long after its run; later it is for the readiness check.
const looseFor = 90 * 24 * time.Hour

func each(keg bool) string {
	if keg {
		return "keg"
	}
	return "case"
}

// mayHaveLeft gathers what was taken of a unit or of others named with it.
func (u *Unit) mayHaveLeft(tx *store.Tx) {
	for _, rec := range tx.Touching(u.Unit) {
		var from lots.Ref
		n := 0.0
		switch x := rec.(type) {
		case *lots.Shipment:
			from, n = x.Unit, float64(x.Quantity)
		case *lots.Removal:
			from, n = x.Subject, x.Count
		case *lots.Addition:
			from, n = x.From, x.Count
		case *lots.Feed:
			from, n = x.From, x.Count
		case *lots.Return:
			if x.OfGoods() {
				from, n = x.Unit, -float64(x.Quantity)
			}
		}
		if from.Kind == lots.KindUnit && from.OneOf() {
			u.MayHaveLeft += n
			u.OneOfSeveral = append(u.OneOfSeveral, OneOf{rec.Entry(), from.Codes, n})
		}
	}
	u.MayHaveLeft = lots.Nine(max(0, min(u.MayHaveLeft, u.OnHand))) // no more than stands there
}

// OneOfSeveral sums what was taken of one of several, over a list of units, in cases and in kegs.
func OneOfSeveral(list []Unit) (cases, kegs float64) {
	seen := map[int64]bool{}
	for _, u := range list {
		for _, x := range u.OneOfSeveral {
			switch {
			case seen[x.Entry]:
			case u.Each == "keg":
				kegs += x.Quantity
			default:
				cases += x.Quantity
			}
			seen[x.Entry] = true
		}
	}
	return lots.Nine(cases), lots.Nine(kegs)
}

// onNoUnit lists what of the runs of the last days is on no unit, by product and run.
func onNoUnit(tx *store.Tx, product string, holds *trace.Standing) ([]Unit, error) {
	rows, err := tx.Records("runs")
	if err != nil {
		return nil, err
	}
	since := tx.Recorded().Add(-looseFor).Unix()
	var out []Unit
	for _, rec := range rows {
		run := rec.(*lots.Run)
		if run.Ended.End() < since || product != "" && run.Product != product {
			continue
		}
		n := trace.OnNoUnit(tx, run)
		if n == 0 {
			continue
		}
		band, err := holds.On(lots.KindRun, run.Run)
		if err != nil {
			return nil, err
		}
		out = append(out, Unit{Unit: run.Run, Kind: "loose", Each: each(trace.OfKegs(tx, run.Run)), Product: &run.Product, DateCodes: trace.CodesOfRun(tx, run),
			OnHand: float64(n), Held: band.String(), OneOfSeveral: []OneOf{}})
	}
	slices.SortFunc(out, func(a, b Unit) int {
		return cmp.Or(cmp.Compare(*a.Product, *b.Product), cmp.Compare(a.Unit, b.Unit))
	})
	return out, nil
}
