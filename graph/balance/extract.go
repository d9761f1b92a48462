package balance

import (
	"fmt"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// waterKgPerL is the density of water at 20 °C, kg/L, which the specific gravity 20/20 refers to.
const waterKgPerL = 0.9982

// The share of a malt that comes into solution at most, as is, where the item does not say:
// coarse grind as-is of North American two-row malts 77.5 to 78.7 % (brewers' technical
// association, slide of typical analyses); other malts lie lower. The bounds leave room.
const (
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

// grist is what a brew's inputs can yield.
type grist struct {
	least, most float64  // kg of extract that is sure to be in what was recorded, and that can be at most
	unknown     []string // inputs that can yield some, nobody knows how much
	inputs      int      // that yield any
}

// extract sets the extract in a brew's wort against what its malts and sugars can yield.
func extract(tx *store.Tx, code string) Balance {
	b := Balance{Kind: "extract", Code: code, Title: "extract of brew " + code, Unit: "kg",
		Formula: "extract that malts and sugars can yield = extract in the wort + left in the grains",
		Source:  "extract = volume × SG × 0.9982 × °P / 100; SG = 1 + P / (258.6 - 227.1 P / 258.2), a published brewing formula; malt yields as the items say, else typical analyses"}
	g := gristOf(tx, &b, code)
	got, known := wort(tx, &b, code)
	b.Open = !known || len(g.unknown) > 0 || g.inputs == 0
	b.strike()
	for _, text := range g.unknown {
		b.note("left out, because its yield is not known: %s", text)
	}
	switch {
	case !known:
		b.note("the brew has no gravity: heeltap amend %s plato=…", code)
	case g.inputs == 0:
		b.note("no malt or sugar is recorded, so it is not known where the extract came from")
	case len(g.unknown) == 0 && got > g.most*yieldMost:
		b.Wrong = true
		b.note("the wort holds %.1f %% of what was recorded, more than can come out of it (at most %.0f %%): a lot, a weight or a volume is missing", got/g.most*100, yieldMost*100)
	case got < g.least*yieldLeast:
		b.Wrong = true
		b.note("the wort holds %.1f %% of what was recorded, less than the %.0f %% that common practice reaches: a weight is too high, or the volume or the gravity is too low", got/g.least*100, yieldLeast*100)
	case len(g.unknown) > 0:
		b.note("how much it could yield at most is not known, so no extract is called too high")
	default:
		b.note("brewhouse yield %.1f %% of the potential", got/g.most*100)
	}
	return b
}

// wort adds the extract in what was cast out, row by row: parts of a brew may differ in gravity. A
// row without a gravity has that of the others together. False where none has one.
func wort(tx *store.Tx, b *Balance, code string) (got float64, known bool) {
	var rows []*lots.Brew
	litres, sum := 0.0, 0.0
	for _, rec := range tx.Touching(code) {
		if x, ok := rec.(*lots.Brew); ok && x.Brew == code {
			rows = append(rows, x)
			if x.Plato > 0 {
				litres, sum = litres+float64(x.Volume), sum+float64(x.Volume)*x.Plato
			}
		}
	}
	if litres == 0 {
		return 0, false
	}
	for _, x := range rows {
		plato := x.Plato
		if plato == 0 {
			plato = sum / litres
			b.note("the part in %s has no gravity of its own: the %.4g °P of the others is used", x.Into, plato)
		}
		l := float64(x.Volume) / 1000
		kg := ExtractKg(l, plato)
		b.add("-", "wort", fmt.Sprintf("%.4g L × %.5f × 0.9982 × %.4g / 100", l, GravityOf(plato), plato), kg, x.Seq)
		got += kg
	}
	return got, true
}

// gristOf adds what each input can yield. Of one of several it is the most that any can, and none is sure.
func gristOf(tx *store.Tx, b *Balance, code string) (g grist) {
	for _, rec := range tx.Touching(code) {
		in, ok := rec.(*lots.BrewInput)
		if !ok || in.Brew != code {
			continue
		}
		best, text, some := 0.0, "", false
		for _, from := range in.From.Codes {
			share, how, yields, known := yieldOf(tx, in.From.Kind, from)
			some = some || yields
			switch {
			case !yields:
			case !known || in.Qty.Dim != lots.Mass:
				text = "?"
			case share >= best && text != "?":
				best, text = share, fmt.Sprintf("%s: %.4g kg × %.4g %% (%s)", from, float64(in.Qty.N)/1e6, share*100, how)
			}
		}
		if !some {
			continue
		}
		g.inputs++
		if text == "?" {
			g.unknown = append(g.unknown, fmt.Sprintf("%s of %s (entry %d)", quantityText(in.Qty), strings.Join(in.From.Codes, " or "), in.Seq))
			continue
		}
		kg := float64(in.Qty.N) / 1e6
		g.most += kg * best
		if in.From.OneOf() {
			text += ", the most that any of " + strings.Join(in.From.Codes, ", ") + " gives"
		} else {
			g.least += kg * best
		}
		b.add("+", "potential", text, kg*best, in.Seq)
	}
	return g
}

func quantityText(q lots.Quantity) string {
	switch q.Dim {
	case lots.Mass:
		return fmt.Sprintf("%.4g kg", float64(q.N)/1e6)
	case lots.Volume:
		return fmt.Sprintf("%.4g L", float64(q.N)/1000)
	}
	return fmt.Sprintf("%d", q.N)
}

// yieldOf says which share of its weight a lot or a vessel's content can give as extract at most, and
// how that is known. Yields is false for what gives none, known for what may give any.
func yieldOf(tx *store.Tx, kind lots.Kind, code string) (share float64, how string, yields, known bool) {
	thing, _ := tx.Thing(code)
	if kind == lots.KindVessel {
		if thing.VesselKind == "silo" { // holds malt, whatever lots are in it
			return maltMost, "at most, typical analyses", true, true
		}
		return 0, "", thing.VesselKind != "gas", false
	}
	if r, received := tx.Receipt(code); received {
		if item, ok := tx.Item(r.Item); ok && item.ExtractPct > 0 {
			return item.ExtractPct / 100, "its item", true, true
		}
	}
	switch thing.ItemKind {
	case "malt", "adjunct":
		return maltMost, "at most, typical analyses", true, true
	case "sugar":
		return sugarMost, "a dry sugar at most", true, true
	case "fruit", "other":
		return 0, "", true, false
	}
	return 0, "", false, true
}
