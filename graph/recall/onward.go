package recall

import (
	"slices"
	"strings"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/told"
	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// onUnits is what identifies the units that a consignee received, and whose goods stand on them.
type onUnits struct {
	tx    *store.Tx
	units map[string]deliveries.Line // by the identifiers that stand for the whole unit: its SSCC, and ours of it
	goods []goodsOn
	lines []deliveries.Line
}

// goodsOn is goods of one run on such units.
type goodsOn struct {
	product *lots.Product
	run     *lots.Run
	codes   []string // what may stand on them as their lot: the run, and the date codes
	line    deliveries.Line
}

// Onward is whom a consignee supplied with what it received, by its own EPCIS documents: what it says, and no records of
// ours. Goods whose lot it does not say may be of any, and are listed.
func Onward(tx *store.Tx, c *deliveries.Consignee) ([]deliveries.SubAccount, error) {
	list, err := told.PassedOn(tx, c.Party)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	o := &onUnits{tx: tx, units: map[string]deliveries.Line{}, lines: c.Lines}
	o.gather()
	var out []deliveries.SubAccount
	for _, x := range list {
		for _, a := range o.of(&x) {
			a.Name, a.Told, a.ToldAt = x.Receiver(), x.ID, lots.RFC3339(x.At.Unix(), tx.Site().Zone)
			out = append(out, a)
		}
	}
	return out, tx.Err()
}

func (o *onUnits) gather() {
	base := "urn:heeltap:" + gs1.Escape(o.tx.Site().Name) + ":"
	for _, l := range o.lines {
		for _, unit := range strings.Split(l.Unit, "|") {
			o.units[base+"unit:"+gs1.Escape(unit)] = l
			for _, rec := range o.tx.TouchingOf(unit, "units") {
				p, ok := rec.(*lots.Packed)
				if !ok || p.Unit != unit {
					continue
				}
				if n, ok := gs1.Read(p.SSCC); ok && n.Kind == gs1.SSCC {
					o.units[n.Digits] = l
				}
				run, ok := o.tx.Run(p.Run)
				if !ok {
					continue
				}
				product, ok := o.tx.Product(run.Product)
				if !ok {
					continue
				}
				o.goods = append(o.goods, goodsOn{product, run, append([]string{run.Run, run.DateCode, base + "run:" + gs1.Escape(run.Run)}, l.DateCodes...), l})
			}
		}
	}
}

// of is what of a shipment is of these units.
func (o *onUnits) of(x *told.Shipped) (out []deliveries.SubAccount) {
	seen := map[string]bool{} // whole units
	for _, sscc := range x.SSCCs {
		if l, ok := o.units[sscc]; ok && !seen[l.Unit] {
			seen[l.Unit] = true
			out = append(out, o.whole(l))
		}
	}
	for _, l := range x.Lines {
		if unit, ok := o.units[l.ID]; ok {
			if !seen[unit.Unit] {
				seen[unit.Unit] = true
				out = append(out, o.whole(unit))
			}
			continue
		}
		if on, ok := o.units[l.SSCC]; ok && seen[on.Unit] {
			continue // it is on a pallet that is listed whole
		}
		if a, ok := o.some(l); ok && !slices.Contains(out, a) {
			out = append(out, a)
		}
	}
	return out
}

// whole is a unit passed on whole.
func (o *onUnits) whole(l deliveries.Line) deliveries.SubAccount {
	return deliveries.SubAccount{Product: l.Product, DateCode: l.CodesText(), Quantity: lots.Nine(l.Net), Unit: packageOf(l)}
}

func packageOf(l deliveries.Line) string {
	if l.Kegs {
		return "keg"
	}
	return "case"
}

// some is goods by their class or instance: of a lot in scope, or of none that is said.
func (o *onUnits) some(l told.Line) (deliveries.SubAccount, bool) {
	key := told.KeyOf(l.ID)
	for _, g := range o.goods {
		gtin, ok := gs1.Read(g.product.GTIN)
		is := ok && gtin.Kind == gs1.GTIN && key.GTIN != "" && gtin.Item() == key.GTIN[1:13]
		switch {
		case slices.Contains(g.codes, l.ID):
		case !is || key.Lot != "" && !slices.Contains(g.codes, key.Lot):
			continue
		}
		a := deliveries.SubAccount{Product: g.product.Code, DateCode: g.run.DateCode, Unit: packageOf(g.line)}
		if l.N != nil {
			a.Quantity = *l.N
			if (!is || key.GTIN == gtin.Key()) && !g.line.Kegs && g.product.PerCase > 1 {
				a.Quantity = lots.Nine(*l.N / float64(g.product.PerCase)) // our own GTIN is of the container
			}
		} else if key.Serial != "" {
			a.Quantity = 1
		}
		if key.Lot == "" && is {
			a.DateCode = "" // which lot is not said
		}
		return a, true
	}
	return deliveries.SubAccount{}, false
}
