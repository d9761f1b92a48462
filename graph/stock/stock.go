// Package stock lists what is in the house by the books: what every tank holds, what is left
// of every lot, and which pallets and kegs have not left; each beside its last count,
// updated by what moved since.
package stock

import (
	"cmp"
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Tank is what a vessel holds now.
type Tank struct {
	Vessel string `json:"vessel"`
	Kind   string `json:"kind"`
	Fill   string `json:"fill"`
	Since  string `json:"since"`
	Left   Left   `json:"left"`
	Held   string `json:"held"` // in, possible or out
	// Counted is the last count of what it holds, less what was drawn since; null where nobody counted.
	Counted *float64 `json:"counted"`
}

// Lot is what is left of a received or cropped lot outside any vessel.
type Lot struct {
	Lot         string  `json:"lot"`
	Item        string  `json:"item"`
	SupplierLot *string `json:"supplier_lot"` // null for a crop
	BestBy      *string `json:"best_by"`
	Place       *string `json:"place"`
	Left        Left    `json:"left"`
	Sure        bool    `json:"sure"` // false where some was used in a quantity nobody wrote down
	Status      string  `json:"status"`
	Held        string  `json:"held"`
	// Counted is the last count of it, less what was used since; null where nobody counted, or
	// some was used since in a quantity nobody wrote down.
	Counted *float64 `json:"counted"`
}

// Unit is a pallet, stack or keg filling that has not left, or not whole; or what of a run is on none.
type Unit struct {
	Unit      string   `json:"unit"` // the run, where it is on no unit
	Kind      string   `json:"kind"` // pallet stack keg, or loose: it is on no unit
	Each      string   `json:"each"` // what it counts in: case or keg
	Product   *string  `json:"product"`
	DateCodes []string `json:"date_codes"`
	OnHand    float64  `json:"on_hand"`
	Counted   *float64 `json:"counted"` // the last count and what moved since; null where nobody counted
	Place     *string  `json:"place"`
	Held      string   `json:"held"`
	// MayHaveLeft is how many were taken of it or of another, nobody knows which: the books have them still.
	MayHaveLeft  float64 `json:"may_have_left"`
	OneOfSeveral []OneOf `json:"one_of_several"` // what took them
}

// OneOf is an entry that took goods of one of several units.
type OneOf struct {
	Entry    int64    `json:"entry"`
	Units    []string `json:"units"`
	Quantity float64  `json:"quantity"`
}

// Left is a quantity in the unit it is kept in.
type Left struct {
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit"`
}

// Tanks lists what every vessel holds that is not empty by the books.
func Tanks(tx *store.Tx) ([]Tank, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Records("vessels")
	if err != nil {
		return nil, err
	}
	out := []Tank{}
	site := tx.Site()
	for _, rec := range rows {
		v := rec.(*lots.Vessel)
		c, ok := trace.ContentOf(tx, v.Code)
		if !ok || v.Kind == "path" {
			continue
		}
		unit := cmp.Or(v.Unit, site.VolumeUnit)
		counted := countedIn(tx, v.Code, c.Fill.Since, unit)
		if c.Left < 1 && (counted == nil || *counted <= 0) {
			continue
		}
		band, err := holds.On(lots.KindVessel, v.Code)
		if err != nil {
			return nil, err
		}
		out = append(out, Tank{v.Code, v.Kind, c.Fill.Code, lots.RFC3339(c.Fill.Since, site.Zone), Left{lots.Nine(amountOf(c.Left, unit)), string(unit)}, band.String(), counted})
	}
	slices.SortFunc(out, func(a, b Tank) int { return cmp.Compare(a.Vessel, b.Vessel) })
	return out, tx.Err()
}

// amountOf is a volume in a vessel's unit: a silo's kilograms count as litres.
func amountOf(ml float64, unit lots.Unit) float64 {
	if unit.Dim() == lots.Mass {
		ml *= 1000
	}
	return unit.Of(ml)
}

// Lots lists the lots of which something is left, by the books or by a count; of one item, or of all.
func Lots(tx *store.Tx, item string) ([]Lot, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	out := []Lot{}
	for _, sheet := range []string{"receipts", "crops"} {
		rows, err := tx.Records(sheet)
		if err != nil {
			return nil, err
		}
		for _, rec := range rows {
			l, unit, base, stored := lotOf(tx, rec)
			l.Counted = countedOf(tx, l.Lot, unit)
			here := base >= 1 || l.Counted != nil && *l.Counted > 0
			if !here || stored || item != "" && l.Item != item {
				continue
			}
			l.Left = Left{lots.Nine(unit.Of(base)), string(unit)}
			band, err := holds.On(lots.KindLot, l.Lot)
			if err != nil {
				return nil, err
			}
			if l.Held = band.String(); l.Status == "hold" && band == graph.Out {
				l.Status = "released" // it came in on hold and was released since
			}
			out = append(out, l)
		}
	}
	slices.SortFunc(out, func(a, b Lot) int { return cmp.Or(cmp.Compare(a.Item, b.Item), cmp.Compare(a.Lot, b.Lot)) })
	return out, tx.Err()
}

// lotOf says what is left of a lot, in base units; stored is whether it is in a vessel instead.
func lotOf(tx *store.Tx, rec lots.Record) (l Lot, unit lots.Unit, left float64, stored bool) {
	switch x := rec.(type) {
	case *lots.Receipt:
		l, unit, stored = Lot{Lot: x.Lot, Item: x.Item, SupplierLot: &x.SupplierLot, BestBy: given(x.BestBy), Place: given(x.Place), Status: x.Status}, x.Unit, x.Into != ""
	case *lots.Crop:
		l, unit, stored = Lot{Lot: x.Lot, Item: x.Item, Status: "cropped"}, x.Unit, x.Into != ""
	}
	left, l.Sure = trace.LotLeft(tx, l.Lot)
	return l, unit, left, stored
}

// Units lists the pallets, stacks and kegs of which something is here, and after them what of the
// runs of the last days is on none; of one product, or of all.
func Units(tx *store.Tx, product string) ([]Unit, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	byUnit, err := packed(tx)
	if err != nil {
		return nil, err
	}
	tx.Prefetch(slices.Collect(maps.Keys(byUnit)))
	out := []Unit{}
	for code, u := range byUnit {
		u.OnHand = trace.BooksOf(tx, code).OnHand()
		if c, ok := trace.CountOf(tx, code); ok {
			u.Counted, u.Place = &c.Now, cmp.Or(given(c.Place), u.Place)
		}
		here := u.OnHand > 0 || u.Counted != nil && *u.Counted > 0
		if !here || product != "" && (u.Product == nil || *u.Product != product) {
			continue
		}
		band, err := holds.On(lots.KindUnit, code)
		if err != nil {
			return nil, err
		}
		u.Held = band.String()
		u.DateCodes = append(u.DateCodes, trace.CodesOfUnit(tx, code)...)
		u.mayHaveLeft(tx)
		out = append(out, *u)
	}
	slices.SortFunc(out, func(a, b Unit) int {
		return cmp.Or(cmp.Compare(deref(a.Product), deref(b.Product)), cmp.Compare(a.Unit, b.Unit))
	})
	loose, err := onNoUnit(tx, product, holds)
	return append(out, loose...), cmp.Or(err, tx.Err())
}

// packed gathers what was ever packed, by unit.
func packed(tx *store.Tx) (map[string]*Unit, error) {
	rows, err := tx.Records("units")
	if err != nil {
		return nil, err
	}
	byUnit := map[string]*Unit{}
	for _, rec := range rows {
		p := rec.(*lots.Packed)
		run, _ := tx.Run(p.Run)
		u := byUnit[p.Unit]
		if u == nil {
			u = &Unit{Unit: p.Unit, Kind: p.UnitKind, Each: each(p.UnitKind == "keg"), DateCodes: []string{}, OneOfSeveral: []OneOf{}}
			byUnit[p.Unit] = u
		}
		if p.Place != "" {
			u.Place = &p.Place
		}
		if run != nil {
			u.Product = &run.Product
		}
	}
	return byUnit, nil
}

func given(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// Held is what a band says of a hold: held, possibly, or nothing.
func Held(band string) string {
	switch band {
	case graph.In.String():
		return "held"
	case graph.Possible.String():
		return "possibly"
	}
	return ""
}
