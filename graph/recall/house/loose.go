package house

import (
	"fmt"
	"heeltap/lots"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// loose are cases or kegs of affected runs that are on no unit: no hold can name them.
func loose(tx *store.Tx, s *scope.Scope) []Stock {
	var out []Stock
	for _, r := range s.Answer.Runs {
		if r.Unassigned > 0 {
			unit, where := "case", "on no pallet: find them and tag them"
			if trace.OfKegs(tx, r.Code) {
				unit, where = "keg", "under no keg number: find them and enter them"
			}
			out = append(out, Stock{Kind: kindLoose, Code: r.Code, Band: r.Band, Quantity: float64(r.Unassigned), Unit: unit,
				What: strings.TrimSpace(r.Product+" "+strings.Join(r.DateCodes, ", ")) + ", " + where})
		}
	}
	return out
}

const kindLoose = "loose"

// Loose picks from what is in the house what is on no unit.
func Loose(stock []Stock) (out []Stock) {
	for _, x := range stock {
		if x.Kind == kindLoose {
			out = append(out, x)
		}
	}
	return out
}

// Amount is how much of it there is by the books, and of which run where it is on no unit.
func (x Stock) Amount() string {
	text := Amount(x.Quantity, x.Unit)
	if x.Kind == kindLoose {
		text += " of " + x.Code
	}
	return text
}

// Amount writes so many cases or kegs, or so much in a unit of measure.
func Amount(quantity float64, unit string) string {
	if unit == "case" || unit == "keg" {
		return words.Plural(int(quantity), unit)
	}
	return lots.FigureOf(quantity, unit) + " " + unit
}

// Enter is how what is on no unit is entered as one that a hold can name, once it is found and counted.
func (x Stock) Enter() string {
	if x.Unit == "keg" {
		return fmt.Sprintf("heeltap pack KEG --kind keg --run %s --quantity 1", x.Code)
	}
	return fmt.Sprintf("heeltap pack --kind stack --run %s --quantity N --place WHERE", x.Code)
}

// Unheld says what a hold cannot stop because it is on no unit, and what to do; empty where there is none.
func Unheld(stock []Stock) string {
	var parts []string
	for _, x := range Loose(stock) {
		parts = append(parts, x.Amount()+" ("+x.Enter()+")")
	}
	if len(parts) == 0 {
		return ""
	}
	return "on no unit, so no hold can stop them: " + strings.Join(parts, ", ") + "; find and count them, enter them, tag them (heeltap label), and hold again"
}
