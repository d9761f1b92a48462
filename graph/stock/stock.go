// Package stock tells what is in the house by the books: what every tank holds, what is left
// of every lot, and which pallets and kegs have not left; each beside the last count of it.
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
}

// Unit is a pallet, stack or keg filling that has not left, or not whole.
type Unit struct {
	Unit      string   `json:"unit"`
	Kind      string   `json:"kind"`
	Product   *string  `json:"product"`
	DateCodes []string `json:"date_codes"`
	OnHand    float64  `json:"on_hand"`
	Counted   *float64 `json:"counted"` // the last count and what moved since; null where nobody counted
	Place     *string  `json:"place"`
	Held      string   `json:"held"`
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
		if !ok || v.Kind == "path" || c.Left < 1 {
			continue
		}
		unit := cmp.Or(v.Unit, site.VolumeUnit)
		ml := c.Left
		if unit.Dim() == lots.Mass { // a silo's kilograms count as litres
			ml *= 1000
		}
		band, err := holds.On(lots.KindVessel, v.Code)
		if err != nil {
			return nil, err
		}
		out = append(out, Tank{v.Code, v.Kind, c.Fill.Code, lots.RFC3339(c.Fill.Since, site.Zone), Left{lots.Nine(unit.Of(ml)), string(unit)}, band.String()})
	}
	slices.SortFunc(out, func(a, b Tank) int { return cmp.Compare(a.Vessel, b.Vessel) })
	return out, tx.Err()
}

// Lots lists the lots of which something is left; of one item, or of all.
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
			if base < 1 || stored || item != "" && l.Item != item {
				continue
			}
			l.Left = Left{lots.Nine(unit.Of(base)), string(unit)}
			band, err := holds.On(lots.KindLot, l.Lot)
			if err != nil {
				return nil, err
			}
			l.Held = band.String()
			out = append(out, l)
		}
	}
	slices.SortFunc(out, func(a, b Lot) int { return cmp.Or(cmp.Compare(a.Item, b.Item), cmp.Compare(a.Lot, b.Lot)) })
	return out, tx.Err()
}

// lotOf tells of a lot and what is left of it, in base units; stored is whether it lies in a vessel instead.
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

// Units lists the pallets, stacks and kegs of which something is here; of one product, or of all.
func Units(tx *store.Tx, product string) ([]Unit, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
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
			u = &Unit{Unit: p.Unit, Kind: p.UnitKind, DateCodes: []string{}}
			byUnit[p.Unit] = u
		}
		if p.Place != "" {
			u.Place = &p.Place
		}
		if run != nil {
			u.Product = &run.Product
			if !slices.Contains(u.DateCodes, run.DateCode) {
				u.DateCodes = append(u.DateCodes, run.DateCode)
			}
		}
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
		out = append(out, *u)
	}
	slices.SortFunc(out, func(a, b Unit) int {
		return cmp.Or(cmp.Compare(deref(a.Product), deref(b.Product)), cmp.Compare(a.Unit, b.Unit))
	})
	return out, tx.Err()
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
