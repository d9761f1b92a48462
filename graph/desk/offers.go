package desk

import (
	"cmp"
	"slices"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Offer is one code that somebody may mean, with what it is called.
type Offer struct{ Code, Name string }

// mostOffers is how many codes of a kind are offered to be picked from: the newest of the many.
const mostOffers = 120

// Offers lists what a cell that names something is likely to name, by its kind and by what fits it: all vessels, lines,
// products, items and parties, and the newest lots, brews, runs and units. It is a help in typing, not a rule: any code may be given.
func Offers(tx *store.Tx, s *lots.Sheet, c lots.Column) ([]Offer, error) {
	var out []Offer
	for _, kind := range c.Kinds {
		switch {
		case sheetOf[kind] != "":
			names, err := fitting(c.Name, thingsNamed(tx, []lots.Kind{kind})), tx.Err()
			if err != nil {
				return nil, err
			}
			for _, n := range names {
				out = append(out, Offer{n.code, n.name})
			}
		default:
			codes := tx.CodesOf(kind)
			if kind != lots.KindVessel && kind != lots.KindLine {
				codes = codes[max(0, len(codes)-mostOffers):]
				slices.Reverse(codes) // the newest first
			}
			for _, code := range codes {
				out = append(out, Offer{Code: code})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Offer) int { return cmp.Compare(cmp.Or(a.Name, "~"), cmp.Or(b.Name, "~")) })
	return out, tx.Err()
}
