package balance

import (
	"fmt"
	"math"

	"heeltap/lots"
	"heeltap/lots/store"
)

// waterKgPerL is the density of water at 20 °C, kg/L, which the specific gravity 20/20 refers to.
const waterKgPerL = 0.9982

// The share of a malt that comes into solution at most, as is, where the item does not say:
// coarse grind as-is of North American two-row malts 77.5 to 78.7 % (brewers' technical
// association, slide of typical analyses); other malts lie lower. The bounds leave room.
const (
	maltLeast = 0.65
	maltMost  = 0.82
	sugarMost = 1.0
)

// What of the potential a brewhouse gets: common practice is 80 to 90 % for small houses,
// and 55 to 98 % the range outside of which a record is to be looked at.
const (
	yieldLeast = 0.55
	yieldMost  = 0.98
)

// PlatoOf gives the extract of wort of a specific gravity 20/20, in g to 100 g: the cubic fit
// to the tables of the American Society of Brewing Chemists (from memory), never below 0.
func PlatoOf(sg float64) float64 {
	return max(0, -616.868+1111.14*sg-630.272*sg*sg+135.997*sg*sg*sg)
}

// GravityOf gives the specific gravity 20/20 of wort of so many °P: s = 1 + P / (258.6 - 227.1 P / 258.2),
// a published brewing formula.
func GravityOf(plato float64) float64 { return 1 + plato/(258.6-227.1*plato/258.2) }

// ExtractKg is the extract in wort: litres × specific gravity × density of water × °P / 100, in kg.
func ExtractKg(litres, plato float64) float64 {
	return litres * GravityOf(plato) * waterKgPerL * plato / 100
}

// extract sets the extract in a brew's wort against what its malts and sugars can yield.
func extract(tx *store.Tx, code string) Balance {
	b := Balance{Kind: "extract", Code: code, Title: "extract of brew " + code, Unit: "kg",
		Formula: "extract that malts and sugars can yield = extract in the wort + left in the grains",
		Source:  "extract = volume × SG × 0.9982 × °P / 100; SG = 1 + P / (258.6 - 227.1 P / 258.2), a published brewing formula; malt yields as the items say, else typical analyses"}
	litres, plato := 0.0, 0.0
	var entries []int64
	for _, rec := range tx.Touching(code) {
		if x, ok := rec.(*lots.Brew); ok && x.Brew == code {
			litres += float64(x.Volume) / 1000
			plato = max(plato, x.Plato)
			entries = append(entries, x.Seq)
		}
	}
	most, drawnFromStore := 0.0, false
	for _, rec := range tx.Touching(code) {
		in, ok := rec.(*lots.BrewInput)
		if !ok || in.Brew != code {
			continue
		}
		kg, share, text, known := yieldOf(tx, in)
		if !known {
			if in.From.Kind == lots.KindVessel {
				drawnFromStore = true
			}
			continue
		}
		b.add("+", "potential", text, kg*share, in.Seq)
		most += kg * share
	}
	if plato == 0 {
		b.note("the brew has no gravity: heeltap amend %s plato=…", code)
		b.strike()
		return b
	}
	got := ExtractKg(litres, plato)
	b.add("-", "wort", fmt.Sprintf("%.4g L × %.5f × 0.9982 × %.4g / 100", litres, GravityOf(plato), plato), got, entries...)
	b.strike()
	switch {
	case most == 0 && !drawnFromStore:
		b.note("no malt and no sugar is recorded: where the extract came from is not known")
	case most == 0:
		b.note("its malt came from a vessel: what is in it decides the yield, and is not known here")
	case got > most*yieldMost:
		b.Wrong = true
		b.note("%.1f %% of what was recorded: more than can come out of it (at most %.0f %%): a lot, a weight or a volume is missing", got/most*100, yieldMost*100)
	case got < most*yieldLeast:
		b.Wrong = true
		b.note("%.1f %% of what was recorded: less than %.0f %%, which common practice reaches: a weight is too high, or the volume or the gravity too low", got/most*100, yieldLeast*100)
	default:
		b.note("brewhouse yield %.1f %% of the potential", got/most*100)
	}
	return b
}

// yieldOf says how much extract an input can give: its weight in kg, the share, and how that
// is known. False for what gives none, or of which the weight is not known.
func yieldOf(tx *store.Tx, in *lots.BrewInput) (kg, share float64, text string, ok bool) {
	if in.From.OneOf() || in.Qty.Dim != lots.Mass {
		return 0, 0, "", false
	}
	code := in.From.Code()
	thing, _ := tx.Thing(code)
	kind := thing.ItemKind
	if in.From.Kind == lots.KindVessel && thing.VesselKind == "silo" {
		kind = "malt" // a silo holds malt, whatever lots are in it
	}
	pct := 0.0
	if r, received := tx.Receipt(code); received {
		if item, known := tx.Item(r.Item); known {
			pct = item.ExtractPct
		}
	}
	kg = float64(in.Qty.N) / 1e6
	switch {
	case pct > 0:
		share, text = pct/100, fmt.Sprintf("%s: %.4g kg × %.4g %% (its item)", code, kg, pct)
	case kind == "malt" || kind == "adjunct":
		share, text = maltMost, fmt.Sprintf("%s: %.4g kg × %.0f %% (at most, typical analyses)", code, kg, maltMost*100)
	case kind == "sugar":
		share, text = sugarMost, fmt.Sprintf("%s: %.4g kg × 100 %% (a dry sugar at most)", code, kg)
	default:
		return 0, 0, "", false
	}
	return kg, share, text, !math.IsNaN(kg)
}
