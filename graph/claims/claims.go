// Package claims compares the allergens of all lots in a lineage, certain and possible, with
// what the product's label declares.
package claims

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/allergens"
	"heeltap/lots/store"
)

// Carried is one allergen that a lot in the lineage carries, by the surest and shortest chain.
type Carried struct {
	Word     string   `json:"word"` // as the item has it
	Lot      string   `json:"lot"`
	Item     string   `json:"item"`
	Band     string   `json:"band"`
	Why      []string `json:"why"`
	US       []string `json:"us"`       // the US major allergens it is, by name
	EU       []string `json:"eu"`       // the groups of Annex II
	Declared []string `json:"declared"` // the laws, of US and EU, to which the label names it
	Exempt   string   `json:"exempt"`   // what EU law leaves out, and why
	Known    bool     `json:"known"`    // false where neither law has the word: it is for a person to judge
}

// Undeclared reports whether a law names it and the label does not.
func (c Carried) Undeclared(law string) bool {
	named := c.US
	if law == "EU" {
		named = c.EU
	}
	return len(named) > 0 && !slices.Contains(c.Declared, law) && (law != "EU" || c.Exempt == "")
}

// Answer is what a product of runs, units or beer carries.
type Answer struct {
	Code     string    `json:"code"`
	Products []string  `json:"products"`
	Declares []string  `json:"declares"`
	Carried  []Carried `json:"carried"`
	// UndeclaredUS and UndeclaredEU name what the label lacks under each law.
	UndeclaredUS []string `json:"undeclared_us"`
	UndeclaredEU []string `json:"undeclared_eu"`
	Unknown      []string `json:"unknown"` // words that neither law has
}

// Of traces back from a code and compares; the products are those of the runs it means. A
// dissolved trace counts as much as a spoonful: dilution takes no allergen away.
func Of(tx *store.Tx, code string) (*Answer, error) {
	back, err := trace.Ask(tx, trace.Question{Dir: graph.Back, Hazard: graph.Allergen, From: []string{code}})
	if err != nil {
		return nil, err
	}
	a := &Answer{Code: code, Products: []string{}, Declares: []string{}, Carried: []Carried{}, UndeclaredUS: []string{}, UndeclaredEU: []string{}, Unknown: []string{}}
	asked := map[string]bool{} // products asked about: those of the start itself
	for _, r := range back.Runs {
		if len(r.Why) == 1 || slices.ContainsFunc(back.Units, func(u trace.Unit) bool { return len(u.Why) == 1 && slices.Contains(u.Runs, r.Code) }) {
			asked[r.Product] = true
		}
	}
	for p := range asked {
		a.Products = append(a.Products, p)
	}
	slices.Sort(a.Products)
	a.Declares = declaredBy(tx, a.Products)
	best := map[string]Carried{}
	for _, l := range back.Lots {
		for _, word := range wordsOf(tx, l.Item) {
			had, ok := best[word]
			if !ok || l.Band == graph.In.String() && had.Band != l.Band || l.Band == had.Band && len(l.Why) < len(had.Why) {
				best[word] = a.carried(word, l)
			}
		}
	}
	for _, c := range best {
		a.Carried = append(a.Carried, c)
		if c.Undeclared("US") {
			a.UndeclaredUS = append(a.UndeclaredUS, c.Word)
		}
		if c.Undeclared("EU") {
			a.UndeclaredEU = append(a.UndeclaredEU, c.Word)
		}
		if !c.Known {
			a.Unknown = append(a.Unknown, c.Word)
		}
	}
	slices.SortFunc(a.Carried, func(x, y Carried) int { return cmp.Compare(x.Word, y.Word) })
	for _, list := range [][]string{a.UndeclaredUS, a.UndeclaredEU, a.Unknown} {
		slices.Sort(list)
	}
	return a, tx.Err()
}

func (a *Answer) carried(word string, l trace.Lot) Carried {
	c := Carried{Word: word, Lot: l.Code, Item: l.Item, Band: l.Band, Why: l.Why, US: []string{}, EU: []string{}, Declared: []string{}, Known: allergens.Known(word)}
	for _, g := range allergens.Of(allergens.US(), word) {
		c.US = append(c.US, g.Name)
	}
	for _, g := range allergens.Of(allergens.EU(), word) {
		c.EU = append(c.EU, g.Name)
		c.Exempt = cmp.Or(c.Exempt, g.Except[word])
	}
	for _, law := range []string{"US", "EU"} {
		if slices.ContainsFunc(a.Declares, func(d string) bool { return allergens.Covers(allergens.Laws()[law], d, word) }) {
			c.Declared = append(c.Declared, law)
		}
	}
	return c
}

func wordsOf(tx *store.Tx, item string) []string {
	if x, ok := tx.Item(item); ok {
		return x.Allergens
	}
	return nil
}

// declaredBy lists what every one of the products declares: a word that one of them lacks is not declared.
func declaredBy(tx *store.Tx, products []string) []string {
	var common []string
	for i, code := range products {
		p, ok := tx.Product(code)
		if !ok {
			continue
		}
		if i == 0 {
			common = slices.Clone(p.Declares)
		}
		common = slices.DeleteFunc(common, func(d string) bool { return !slices.Contains(p.Declares, d) })
	}
	if common == nil {
		common = []string{}
	}
	return common
}
