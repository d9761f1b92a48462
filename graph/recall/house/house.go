package house

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Stock is something in scope that is in the house: what a hold stops and somebody has
// to find.
type Stock struct {
	Kind     string   `json:"kind"` // tank lot unit, or loose: cases that are on no unit
	Code     string   `json:"code"` // what a hold names; the run where loose
	Band     string   `json:"band"`
	What     string   `json:"what"`     // beer, item, product with date codes
	Quantity float64  `json:"quantity"` // by the books
	Unit     string   `json:"unit"`
	Counted  *float64 `json:"counted"` // by the last count, carried on by what moved since where it is a unit; null where nobody counted
	Sure     bool     `json:"sure"`    // false where use in an unknown quantity makes the books a guess
	Place    string   `json:"place"`
	Held     bool     `json:"held"`      // has a hold of its own, whoever placed it; of a tank: on what it holds now
	HeldHere bool     `json:"held_here"` // one of them is this recall's
}

// InScope lists what is in scope and in the house by the books or by a count: tanks first,
// then lots, then units. What leaves first is what a hold must stop first.
// own is what the recall holds itself, to the entries of its holds.
func InScope(tx *store.Tx, s *scope.Scope, own map[string][]int64) ([]Stock, error) {
	held, err := trace.Holdings(tx)
	if err != nil {
		return nil, err
	}
	var out []Stock
	for _, list := range [][]Stock{tanks(tx, s), lotsOf(tx, s), units(tx, s), loose(tx, s)} {
		for _, x := range list {
			x.Held = len(held[x.Code]) > 0
			x.HeldHere = slices.ContainsFunc(held[x.Code], func(entry int64) bool { return slices.Contains(own[x.Code], entry) })
			out = append(out, x)
		}
	}
	return out, tx.Err()
}

func tanks(tx *store.Tx, s *scope.Scope) []Stock {
	site := tx.Site()
	var out []Stock
	listed := map[string]bool{}
	for _, f := range s.Answer.Fills {
		thing, ok := tx.Thing(f.Vessel)
		if listed[f.Vessel] || !ok || thing.VesselKind == "path" {
			continue
		}
		c, ok := trace.ContentOf(tx, f.Vessel)
		if !ok { // emptied by the books
			last, _ := tx.LastFill(f.Vessel)
			c.Fill = last.Node
		}
		if (!ok || c.Left < 1) && !countedHere(tx, f.Vessel) {
			continue
		}
		// what came on top of a kept fill does not make it another
		if c.Fill.Code != f.Code && !(s.KeepsFill(f.Code) && trace.Carries(tx, f.Vessel, c.Fill.Code, f.Code)) {
			continue
		}
		listed[f.Vessel] = true
		out = append(out, Stock{Kind: "tank", Code: f.Vessel, Band: f.Band, What: "since " + words.Minute(f.Since), Sure: true, Counted: countedSince(tx, f.Vessel, site.VolumeUnit, c.Fill.Since),
			Quantity: lots.Nine(site.VolumeUnit.Of(c.Left)), Unit: string(site.VolumeUnit), Place: vesselPlace(tx, f.Vessel)})
	}
	return out
}

// countedHere reports whether somebody counted some of a lot or vessel after the last act that took of it.
func countedHere(tx *store.Tx, code string) bool {
	if countedSince(tx, code, "", math.MinInt64) == nil {
		return false
	}
	n := countedSince(tx, code, "", trace.LastTaken(tx, code))
	return n != nil && *n > 0
}

// countedSince is what the last count of a lot or vessel said, where it was made since a time; nil
// where there is none.
func countedSince(tx *store.Tx, code string, unit lots.Unit, since int64) *float64 {
	last, ok := trace.LastCount(tx, code, since)
	if !ok {
		return nil
	}
	n := lots.Nine(unit.Of(float64(last.Qty.N)))
	return &n
}

func vesselPlace(tx *store.Tx, vessel string) string {
	rec, _ := tx.Stated(vessel)
	if v, ok := rec.(*lots.Vessel); ok {
		return v.Place
	}
	return ""
}

func lotsOf(tx *store.Tx, s *scope.Scope) []Stock {
	var out []Stock
	for _, l := range s.Answer.Lots {
		thing, _ := tx.Thing(l.Code)
		left, sure := trace.LotLeft(tx, l.Code)
		if left <= 0 && sure && !countedHere(tx, l.Code) || thing.Into != "" {
			continue // used up; or in a tank, which stands among the tanks
		}
		x := Stock{Kind: "lot", Code: l.Code, Band: l.Band, What: l.Item, Quantity: lots.Nine(thing.Unit.Of(left)), Unit: string(thing.Unit), Sure: sure}
		if l.SupplierLot != nil {
			x.What += ", supplier's lot " + *l.SupplierLot
		}
		x.Counted = countedSince(tx, l.Code, thing.Unit, 0)
		for _, rec := range tx.Touching(l.Code) {
			switch r := rec.(type) {
			case *lots.Receipt:
				if r.Lot == l.Code {
					x.Place = cmp.Or(x.Place, r.Place)
				}
			case *lots.StockCount:
				x.Place = cmp.Or(r.Place, x.Place)
			}
		}
		out = append(out, x)
	}
	return out
}

func units(tx *store.Tx, s *scope.Scope) []Stock {
	var out []Stock
	for _, u := range s.Answer.Units {
		count, counted := trace.CountOf(tx, u.Code)
		if u.OnHand <= 0 && !(counted && count.Now > 0) {
			continue
		}
		x := Stock{Kind: "unit", Code: u.Code, Band: u.Band, Quantity: max(0, u.OnHand), Unit: words.UnitOf(u.Kind), Sure: true}
		x.What = strings.TrimSpace(words.OrMixed(u.Product) + " " + u.CodesText())
		if mayHaveLeft(tx, u.Code) {
			x.What += " (may have left: a shipment names it as one of several)"
		}
		if u.Place != nil {
			x.Place = *u.Place
		}
		if counted {
			now := max(0, count.Now)
			x.Counted, x.Place = &now, cmp.Or(count.Place, x.Place)
		}
		out = append(out, x)
	}
	return out
}

// mayHaveLeft reports whether a shipment names a unit as one of several.
func mayHaveLeft(tx *store.Tx, unit string) bool {
	return len(trace.ShippedAsOlder(tx, unit)) > 0 || slices.ContainsFunc(tx.Touching(unit), func(rec lots.Record) bool {
		s, ok := rec.(*lots.Shipment)
		return ok && s.Unit.OneOf()
	})
}
