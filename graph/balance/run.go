package balance

import (
	"fmt"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// ofRun strikes a run's balances: volume against containers, parts against what was filled,
// units against what was good.
func ofRun(tx *store.Tx, code string) []Balance {
	run, product, ok := runOf(tx, code)
	if !ok {
		return nil
	}
	site := tx.Site()
	of := func(mL float64) float64 { return site.VolumeUnit.Of(mL) }
	v := Balance{Kind: "run", Code: code, Title: "beer of run " + code, Unit: string(site.VolumeUnit),
		Formula: "drawn from tanks = good + rejects + line loss",
		Source:  "containers times what one holds; a feed without a quantity draws just that, so that its loss is not known"}
	assumed := false
	parts := map[string]*Balance{}
	var order []string
	for _, rec := range tx.Touching(code) {
		f, ok := rec.(*lots.Feed)
		if !ok || f.Run != code {
			continue
		}
		switch f.From.Kind {
		case lots.KindVessel:
			thing, _ := tx.Thing(f.From.Code())
			if !lots.BeerVessel(thing.VesselKind) {
				continue
			}
			for _, d := range tx.DrawsOf(f.Seq) {
				if !d.OneOf {
					v.add("+", "drawn", "from "+d.Vessel, of(d.Qty), f.Seq)
				}
			}
			assumed = assumed || !f.HasQty
		case lots.KindLot:
			thing, _ := tx.Thing(f.From.Codes[0])
			if thing.ItemKind == "container" || thing.ItemKind == "closure" {
				partOf(parts, &order, thing.ItemKind, code, f)
			}
		}
	}
	v.add("-", "good", fmt.Sprintf("%d good containers of %d mL", run.Good, product.ContainerML), of(float64(run.Good*product.ContainerML)), run.Seq)
	v.add("-", "rejects", fmt.Sprintf("%d rejects", run.Rejects), of(float64(run.Rejects*product.ContainerML)), run.Seq)
	if assumed {
		v.note("a tank feed has no quantity: what it draws is worked out from the containers, and proves nothing")
	}
	v.strike()
	out := []Balance{v}
	for _, kind := range order {
		b := parts[kind]
		b.add("-", "good", "good containers", float64(run.Good), run.Seq)
		b.add("-", "rejects", "rejects", float64(run.Rejects), run.Seq)
		b.strike()
		out = append(out, *b)
	}
	return append(out, unitsOf(tx, code, run, product))
}

func partOf(parts map[string]*Balance, order *[]string, kind, code string, f *lots.Feed) {
	b := parts[kind]
	if b == nil {
		b = &Balance{Kind: "run", Code: code, Title: kind + "s of run " + code, Unit: "each",
			Formula: "fed = good + rejects + unaccounted for (spoiled, or taken back)", Source: "one " + kind + " to a container"}
		parts[kind] = b
		*order = append(*order, kind)
	}
	switch {
	case f.From.OneOf():
		b.note("one of %s (entry %d) is drawn from no book", strings.Join(f.From.Codes, ", "), f.Seq)
	case !f.HasQty:
		b.note("%s was fed in a quantity nobody wrote down (entry %d)", f.From.Code(), f.Seq)
	default:
		b.add("+", "fed", "lot "+f.From.Code(), float64(f.Qty.N), f.Seq)
	}
}

func unitsOf(tx *store.Tx, code string, run *lots.Run, product *lots.Product) Balance {
	b := Balance{Kind: "run", Code: code, Title: "units of run " + code, Unit: "cases", Formula: "good = on units + unaccounted for", Source: "good containers ÷ containers to a case"}
	per := float64(max(1, product.PerCase))
	b.add("+", "good", fmt.Sprintf("%d containers ÷ %g", run.Good, per), float64(run.Good)/per, run.Seq)
	for _, rec := range tx.Touching(code) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == code {
			b.add("-", "on-unit", p.UnitKind+" "+p.Unit, float64(p.Quantity), p.Seq)
		}
	}
	b.strike()
	return b
}

func runOf(tx *store.Tx, code string) (*lots.Run, *lots.Product, bool) {
	run, ok := tx.Run(code)
	if !ok {
		return nil, nil, false
	}
	product, ok := tx.Product(run.Product)
	return run, product, ok
}
