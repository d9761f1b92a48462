package web

import (
	"heeltap/graph/stock"
	"heeltap/graph/thing"
	"heeltap/lots"
	"heeltap/lots/store"
)

var stockRoutes = []route{
	{Method: "GET", Pattern: "/stock", Right: "look", do: (*Server).stockUnits},
	{Method: "GET", Pattern: "/stock/lots", Right: "look", do: (*Server).stockLots},
}

// unitsPage is what has not left, by product.
type unitsPage struct {
	Groups []unitGroup
	Total  string
}

type unitGroup struct {
	Product string
	Units   []stock.Unit
	Sum     lots.Packages
}

// stockUnits lists the pallets and kegs that are here by the books.
func (s *Server) stockUnits(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		units, err := stock.Units(tx, "")
		if err != nil {
			return err
		}
		page := unitsPage{}
		at := map[string]int{}
		var total lots.Packages
		for _, u := range units {
			name := "several products"
			if u.Product != nil {
				name = thing.NameOf(tx, *u.Product)
			}
			i, known := at[name]
			if !known {
				i = len(page.Groups)
				at[name] = i
				page.Groups = append(page.Groups, unitGroup{Product: name})
			}
			g := &page.Groups[i]
			g.Units = append(g.Units, u)
			g.Sum.Add(u.Each == "keg", u.OnHand)
			total.Add(u.Each == "keg", u.OnHand)
		}
		page.Total = total.String()
		return s.show(v, "stock", "Stock", page)
	})
}

type lotsPage struct{ Groups []lotGroup }

type lotGroup struct {
	Item string
	Lots []stock.Lot
}

// stockLots lists the lots of which something is left.
func (s *Server) stockLots(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		all, err := stock.Lots(tx, "")
		if err != nil {
			return err
		}
		var page lotsPage
		at := map[string]int{}
		for _, l := range all {
			i, known := at[l.Item]
			if !known {
				i = len(page.Groups)
				at[l.Item] = i
				page.Groups = append(page.Groups, lotGroup{Item: capital(thing.NameOf(tx, l.Item))})
			}
			page.Groups[i].Lots = append(page.Groups[i].Lots, l)
		}
		return s.show(v, "stocklots", "Stock of materials", page)
	})
}
