package lots

import (
	"fmt"
	"math/big"
	"strings"
)

// spelling is what people write for a unit, and how many of the unit it is.
type spelling struct {
	unit   Unit
	factor int64
}

// spellings are the usual ways to write the units, in lower case. A tonne is 1000 kg (NIST
// SP 811, table 6; NIST Handbook 44, appendix C). gal and bbl stay the US gallon and its 31 to
// the barrel (27 CFR 25.11), a litre is one of SI (SP 811, table 6: L or l).
var spellings = spelledAs(map[string]string{
	"kg":  "kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
	"g":   "gs gm gms gr gram grams gramme grammes",
	"lb":  "lbs pound pounds",
	"oz":  "ozs ounce ounces",
	"hL":  "hls hectoliter hectoliters hectolitre hectolitres",
	"L":   "ls ltr ltrs liter liters litre litres",
	"mL":  "mls milliliter milliliters millilitre millilitres",
	"bbl": "bbls", "gal": "gals gallon gallons",
	"each": "ea pc pcs pce pces piece pieces no nos",
	"case": "cases cs",
})

func spelledAs(list map[string]string) map[string]spelling {
	out := map[string]spelling{}
	for _, name := range unitNames {
		out[strings.ToLower(name)] = spelling{Unit(name), 1}
	}
	for unit, words := range list {
		for _, w := range strings.Fields(words) {
			out[w] = spelling{Unit(unit), 1}
		}
	}
	for _, w := range strings.Fields("t tonne tonnes") {
		out[w] = spelling{"kg", 1000}
	}
	return out
}

// A short ton is 2000 lb and a long ton 2240 lb (NIST Handbook 44, appendix C).
const whichTon = "a short ton (US) is 2000 lb, a long ton 2240 lb and a tonne 1000 kg: write lb, kg or t"

// mistakable are words for units that mean different amounts in different places.
var mistakable = map[string]string{
	"ton":     whichTon,
	"tons":    whichTon,
	"barrel":  "not every barrel is the same: write bbl for the US beer barrel of 31 gallons, or give L",
	"barrels": "not every barrel is the same: write bbl for the US beer barrel of 31 gallons, or give L",
	"keg":     "a keg of what? Write each for kegs that are counted, or L for what is in them",
	"kegs":    "a keg of what? Write each for kegs that are counted, or L for what is in them",
}

// spelledUnit finds the unit that a word stands for, forgiving its case and a full stop.
func spelledUnit(text string) (spelling, error) {
	word := strings.ToLower(strings.TrimSuffix(strings.TrimSpace(text), "."))
	if s, ok := spellings[word]; ok {
		return s, nil
	}
	if why, ok := mistakable[word]; ok {
		return spelling{}, fmt.Errorf("%q is not a unit here: %s", text, why)
	}
	return spelling{}, fmt.Errorf("%q is not a unit: use one of %s", text, strings.Join(unitNames, " "))
}

// ParseUnit reads a unit, forgiving its case and the usual spellings. A tonne is none of the
// units: what stands beside it must be made kilograms first, as Plain does.
func ParseUnit(text string) (Unit, error) {
	s, err := spelledUnit(text)
	switch {
	case err != nil:
		return "", err
	case s.factor != 1:
		return "", fmt.Errorf("%q cannot be used by itself: write the quantity in %s", text, s.unit)
	}
	return s.unit, nil
}

// in converts a number of the spelled unit to another unit of its dimension, exactly or not at all.
func (s spelling) in(n *big.Rat, u Unit) (string, bool) {
	from, to := units[s.unit], units[u]
	if from.dim != to.dim {
		return "", false
	}
	r := new(big.Rat).Mul(n, new(big.Rat).SetInt64(s.factor))
	r.Mul(r, new(big.Rat).Quo(from.factor, to.factor))
	return decimalText(r)
}
