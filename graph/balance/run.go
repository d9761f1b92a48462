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
		Formula: "drawn from tanks + repacked = good + rejects + line loss",
		Source:  "containers × what one holds; a feed without a quantity is taken to draw exactly that, so its loss is not known"}
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
			assumed = beerOf(tx, &v, f, of) || assumed
		case lots.KindUnit:
			repacked(tx, &v, f, of)
		case lots.KindLot:
			thing, _ := tx.Thing(f.From.Codes[0])
			if thing.ItemKind == "container" || thing.ItemKind == "closure" {
				partOf(parts, &order, thing.ItemKind, code, f)
			}
		}
	}
	if len(v.Terms) == 0 && !v.Open {
		v.Open = true
		v.note("no tank or unit is recorded as feeding it, so it is not known what it drew")
	}
	v.add("-", "good", fmt.Sprintf("%d good containers of %d mL", run.Good, product.ContainerML), of(float64(run.Good*product.ContainerML)), run.Seq)
	v.add("-", "rejects", fmt.Sprintf("%d rejects", run.Rejects), of(float64(run.Rejects*product.ContainerML)), run.Seq)
	if assumed {
		v.note("a tank feed has no quantity: what it drew is worked out from the containers, which is no proof")
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

// beerOf adds what a tank feed drew, and reports whether that was worked out from the containers.
func beerOf(tx *store.Tx, v *Balance, f *lots.Feed, of func(mL float64) float64) (assumed bool) {
	thing, _ := tx.Thing(f.From.Codes[0])
	if !lots.BeerVessel(thing.VesselKind) {
		return false
	}
	if f.From.OneOf() {
		v.Open = true
		v.note("one of %s (entry %d), not known which: it is in none of their books, so the balance stays open", strings.Join(f.From.Codes, ", "), f.Seq)
		return false
	}
	for _, d := range tx.DrawsOf(f.Seq) {
		v.add("+", "drawn", "from "+d.Vessel, of(d.Qty), f.Seq)
	}
	return !f.HasQty
}

// repacked adds the beer of the units that a run was fed.
func repacked(tx *store.Tx, v *Balance, f *lots.Feed, of func(mL float64) float64) {
	mL, one := containers(tx, f.From.Codes[0])
	switch {
	case f.From.OneOf():
		v.note("one of %s (entry %d), not known which: it is in none of their books, so the balance stays open", strings.Join(f.From.Codes, ", "), f.Seq)
	case !f.HasQty:
		v.note("nobody wrote down how much of %s was fed (entry %d), so the balance stays open", f.From.Code(), f.Seq)
	case !one:
		v.note("%s (entry %d) holds packages of several sizes, so the balance stays open", f.From.Code(), f.Seq)
	default:
		v.add("+", "repacked", fmt.Sprintf("%s of unit %s, %s mL each", lots.Figure(f.Count), f.From.Code(), lots.Figure(mL)), of(f.Count*mL), f.Seq)
		return
	}
	v.Open = true
}

// containers is how much beer one case or keg of a unit holds; false where its rows differ.
func containers(tx *store.Tx, unit string) (mL float64, one bool) {
	for _, rec := range tx.Touching(unit) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != unit {
			continue
		}
		_, product, ok := runOf(tx, p.Run)
		if !ok {
			return 0, false
		}
		each := float64(product.ContainerML * max(1, product.PerCase))
		if one && each != mL {
			return 0, false
		}
		mL, one = each, true
	}
	return mL, one
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
		b.Open = true
		b.note("one of %s (entry %d), not known which: it is in none of their books, so the balance stays open", strings.Join(f.From.Codes, ", "), f.Seq)
	case !f.HasQty:
		b.Open = true
		b.note("nobody wrote down how much of %s was fed (entry %d), so the balance stays open", f.From.Code(), f.Seq)
	default:
		b.add("+", "fed", "lot "+f.From.Code(), float64(f.Qty.N), f.Seq)
	}
}

func unitsOf(tx *store.Tx, code string, run *lots.Run, product *lots.Product) Balance {
	b := Balance{Kind: "run", Code: code, Title: "units of run " + code, Unit: "cases", Formula: "good = on units + unaccounted for", Source: "good containers ÷ containers to a case"}
	per := float64(max(1, product.PerCase))
	b.add("+", "good", fmt.Sprintf("%d containers ÷ %s", run.Good, lots.Figure(per)), float64(run.Good)/per, run.Seq)
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
