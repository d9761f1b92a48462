package desk

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/told"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// Expected is a delivery that its supplier told of, as the dock shows it.
type Expected struct {
	told.Shipped
	When  string         `json:"when"`  // it was shipped, for people
	Goods []ExpectedLot  `json:"goods"` // by lot and class, pallets put together
	Lots  []DeliveredLot `json:"-"`     // to fill the form with: all but what must be counted
}

// ExpectedLot is one lot of a delivery that is expected.
type ExpectedLot struct {
	Item        string   `json:"item"` // our code, where the trade item is known from earlier deliveries
	Name        string   `json:"name"` // of the item, else its GTIN, else the identifier that was told
	SupplierLot string   `json:"supplier_lot"`
	Quantity    string   `json:"quantity"` // with its unit; empty where it was not said
	On          []string `json:"on"`       // pallets, by SSCC

	qty  lots.Quantity
	said bool // how much there is
}

// recUnits are the codes of UN/ECE Recommendation 20 that goods for a brewery come in; none means pieces.
var recUnits = map[string]struct {
	unit   lots.Unit
	factor float64
}{
	"": {"each", 1}, "H87": {"each", 1}, "EA": {"each", 1}, "C62": {"each", 1}, "KGM": {"kg", 1}, "GRM": {"g", 1}, "TNE": {"kg", 1000}, "LBR": {"lb", 1}, "ONZ": {"oz", 1},
	"LTR": {"L", 1}, "MLT": {"mL", 1}, "HLT": {"hL", 1}, "GLL": {"gal", 1},
}

// ExpectedOf is a delivery that was told of as the dock shows it.
func ExpectedOf(tx *store.Tx, x told.Shipped) (*Expected, error) {
	out := &Expected{Shipped: x, When: x.At.In(tx.Site().Zone).Format("2 Jan 2006 15:04"), Goods: []ExpectedLot{}}
	for _, l := range x.Lines {
		g, err := expectedLot(tx, l)
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(out.Goods, func(o ExpectedLot) bool {
			return o.Name == g.Name && o.SupplierLot == g.SupplierLot && o.qty.Dim == g.qty.Dim
		})
		if i < 0 {
			out.Goods = append(out.Goods, g)
			continue
		}
		o := &out.Goods[i]
		o.qty.N += g.qty.N
		o.said = o.said && g.said
		for _, sscc := range g.On {
			if !slices.Contains(o.On, sscc) {
				o.On = append(o.On, sscc)
			}
		}
	}
	for i := range out.Goods {
		g := &out.Goods[i]
		if g.Quantity = ""; g.said {
			g.Quantity = quantityText(tx, g)
		}
		out.Lots = append(out.Lots, DeliveredLot{Item: g.Item, SupplierLot: g.SupplierLot})
	}
	return out, tx.Err()
}

func expectedLot(tx *store.Tx, l told.Line) (ExpectedLot, error) {
	key := told.KeyOf(l.ID)
	g := ExpectedLot{Name: l.ID, SupplierLot: key.Lot, On: []string{}}
	if l.SSCC != "" {
		g.On = append(g.On, l.SSCC)
	}
	n := l.N
	if key.Serial != "" {
		one := 1.0
		n = &one
	}
	if u, ok := recUnits[l.UOM]; ok && n != nil {
		g.said = true
		g.qty = lots.Quantity{Dim: u.unit.Dim()}
		g.qty.N = int64(*n*u.factor/u.unit.Of(1) + 0.5)
	}
	if key.GTIN == "" {
		return g, nil
	}
	g.Name = "GTIN " + key.GTIN
	known, err := knownGTIN(tx, key.GTIN)
	if err != nil || known == nil {
		return g, err
	}
	g.Item, g.Name = known.Item, nameOf(tx, known.Item)
	return g, nil
}

// quantityText writes how much of a lot was told, in the item's own unit where it is known and measures the same.
func quantityText(tx *store.Tx, g *ExpectedLot) string {
	unit := map[lots.Dim]lots.Unit{lots.Mass: "kg", lots.Volume: "L", lots.Pieces: "each"}[g.qty.Dim]
	if item, ok := tx.Item(g.Item); ok && item.Unit.Dim() == g.qty.Dim {
		unit = item.Unit
	}
	return lots.FigureOf(unit.Of(float64(g.qty.N)), string(unit)) + " " + string(unit)
}

// ExpectedAtTheDock lists the deliveries that are on their way, the oldest first.
func ExpectedAtTheDock(tx *store.Tx) ([]*Expected, error) {
	list, err := told.Deliveries(tx, false)
	if err != nil {
		return nil, err
	}
	out := []*Expected{}
	for _, x := range list {
		e, err := ExpectedOf(tx, x)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// ExpectedNamed finds a delivery that was told of by its number.
func ExpectedNamed(tx *store.Tx, number string) (*Expected, error) {
	x, err := told.Delivery(tx, number)
	if err != nil {
		return nil, err
	}
	return ExpectedOf(tx, *x)
}

// Fill is the delivery with what its supplier told filled in. What must be counted stays empty.
func (x *Expected) Fill(d Delivery) Delivery {
	d.Expected, d.Supplier, d.Document, d.Lots = fmt.Sprint(x.Entry), x.Party, x.Note, slices.Clone(x.Lots)
	if len(d.Lots) == 0 {
		d.Lots = []DeliveredLot{{}}
	}
	return d
}

// FillFromTold puts what a supplier told of a delivery into the cells of a receipt that are empty; how much came is counted. Of
// several lots the supplier's lot says which is meant.
func FillFromTold(tx *store.Tx, row lots.Row, number string) (*Expected, error) {
	x, err := ExpectedNamed(tx, number)
	if err != nil {
		return nil, err
	}
	var meant []ExpectedLot
	for _, g := range x.Goods {
		if row["supplier_lot"] == "" || row["supplier_lot"] == g.SupplierLot {
			meant = append(meant, g)
		}
	}
	cells := lots.Row{"supplier": x.Party, "document": x.Note}
	switch {
	case len(meant) == 1:
		cells["item"], cells["supplier_lot"] = meant[0].Item, meant[0].SupplierLot
	case row["supplier_lot"] == "" && len(meant) > 1:
		var names []string
		for _, g := range meant {
			names = append(names, g.SupplierLot)
		}
		return nil, lots.Errorf(lots.Invalid, "delivery %d has several lots: say with --supplier-lot which came in (%s)", x.Entry, strings.Join(names, ", "))
	}
	for column, text := range cells {
		if row[column] == "" && text != "" {
			row[column] = text
		}
	}
	return x, nil
}

// Against puts on record that lots came in against a delivery that was told of, and tells where they are not what was told:
// other lots, other quantities, other pallets.
func (x *Expected) Against(tx *store.Tx, received, scans []string, by string) (texts []string, err error) {
	came := map[string]lots.Quantity{}
	var order []string
	for _, lot := range received {
		r, ok := tx.Receipt(lot)
		if !ok {
			continue
		}
		if r.Supplier != x.Party {
			texts = append(texts, fmt.Sprintf("%s told of this delivery, and %s is from %s: is it the delivery that you think it is?", x.Name, lot, called(tx, r.Supplier)))
		}
		q, seen := came[r.SupplierLot]
		if !seen {
			order = append(order, r.SupplierLot)
		}
		came[r.SupplierLot] = lots.Quantity{N: q.N + r.Qty.N, Dim: r.Qty.Dim}
	}
	wasTold := map[string]bool{}
	for _, g := range x.Goods {
		if g.SupplierLot == "" {
			continue
		}
		wasTold[g.SupplierLot] = true
		q, ok := came[g.SupplierLot]
		switch {
		case !ok:
			texts = append(texts, fmt.Sprintf("%s told of lot %s too (%s, %s): it is not among what came in. Look once more; if it did not come, ask them.", x.Name, g.SupplierLot, g.Name, orNotSaid(g.Quantity)))
		case g.said && q.Dim == g.qty.Dim && q.N != g.qty.N:
			unit := ExpectedLot{Item: g.Item, qty: q}
			texts = append(texts, fmt.Sprintf("%s told of %s of lot %s, and %s came in. Count again; if it is so, both are kept.", x.Name, g.Quantity, g.SupplierLot, quantityText(tx, &unit)))
		}
	}
	for _, lot := range order {
		if len(wasTold) > 0 && !wasTold[lot] {
			texts = append(texts, fmt.Sprintf("%s did not tell of lot %s. Look at the label again; if it is so, it is kept as it came.", x.Name, lot))
		}
	}
	for _, scan := range scans {
		if m, err := gs1.Scan(scan); err == nil {
			if sscc, ok := m.Value("00"); ok && len(x.SSCCs) > 0 && !slices.Contains(x.SSCCs, sscc) {
				texts = append(texts, fmt.Sprintf("%s did not tell of pallet %s: is it of another delivery?", x.Name, sscc))
			}
		}
	}
	return texts, told.Received(tx, &x.Shipped, received, by)
}

func orNotSaid(text string) string {
	if text == "" {
		return "how much was not said"
	}
	return text
}
