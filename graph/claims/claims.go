// Package claims compares the allergens of all lots in a lineage, certain and possible, with
// what the product's label declares.
package claims

import (
	"cmp"
	"slices"
	"strings"

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
	Lacking  []string `json:"lacking"`  // the laws to which the label does not name it
	Missing  bool     `json:"missing"`  // the label lacks it: to a law, or a word that no law has altogether
}

// Undeclared reports whether a law names it and the label does not.
func (c Carried) Undeclared(law string) bool { return slices.Contains(c.Lacking, law) }

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
	Missing      []string `json:"missing"` // all that the label lacks: any of these is a finding
	Strange      []string `json:"strange"` // words on the label that neither law has
}

// Of traces back from a code and compares; the products are those of the runs it means. A
// dissolved trace counts as much as a spoonful: dilution takes no allergen away.
func Of(tx *store.Tx, code string) (*Answer, error) {
	back, err := trace.Ask(tx, trace.Question{Dir: graph.Back, Hazard: graph.Allergen, From: []string{code}})
	if err != nil {
		return nil, err
	}
	a := &Answer{Code: code, Products: []string{}, Declares: []string{}, Carried: []Carried{}, UndeclaredUS: []string{}, UndeclaredEU: []string{}, Unknown: []string{}, Missing: []string{}, Strange: []string{}}
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
	labels := labelsOf(tx, a.Products)
	a.Declares = common(labels)
	best := map[string]Carried{}
	for _, l := range back.Lots {
		for _, word := range wordsOf(tx, l.Item) {
			key := strings.ToLower(word)
			had, ok := best[key]
			if !ok || l.Band == graph.In.String() && had.Band != l.Band || l.Band == had.Band && len(l.Why) < len(had.Why) {
				best[key] = carried(labels, word, l)
			}
		}
	}
	for _, c := range best {
		a.Carried = append(a.Carried, c)
	}
	slices.SortFunc(a.Carried, func(x, y Carried) int { return cmp.Compare(x.Word, y.Word) })
	a.sum(labels)
	return a, tx.Err()
}

// sum lists what is wrong.
func (a *Answer) sum(labels [][]string) {
	for _, c := range a.Carried {
		if c.Undeclared("US") {
			a.UndeclaredUS = append(a.UndeclaredUS, c.Word)
		}
		if c.Undeclared("EU") {
			a.UndeclaredEU = append(a.UndeclaredEU, c.Word)
		}
		if !c.Known {
			a.Unknown = append(a.Unknown, c.Word)
		}
		if c.Missing {
			a.Missing = append(a.Missing, c.Word)
		}
	}
	for _, word := range slices.Concat(labels...) {
		if !allergens.Known(word) && !slices.Contains(a.Strange, word) {
			a.Strange = append(a.Strange, word)
		}
	}
	slices.Sort(a.Strange)
}

// carried judges a word against every label: it is declared only where each of them names it.
func carried(labels [][]string, word string, l trace.Lot) Carried {
	c := Carried{Word: word, Lot: l.Code, Item: l.Item, Band: l.Band, Why: l.Why, US: []string{}, EU: []string{}, Declared: []string{}, Lacking: []string{}}
	if len(labels) == 0 {
		labels = [][]string{nil}
	}
	onLabel := true
	for _, label := range labels {
		v := allergens.Judge(label, word)
		c.US, c.EU = append([]string{}, v.Groups["US"]...), append([]string{}, v.Groups["EU"]...)
		c.Exempt, c.Known = v.Exempt, v.Known
		c.Missing, onLabel = c.Missing || v.Missing(), onLabel && v.OnLabel
		for _, law := range v.Undeclared {
			if !slices.Contains(c.Lacking, law) {
				c.Lacking = append(c.Lacking, law)
			}
		}
	}
	for law, named := range map[string][]string{"US": c.US, "EU": c.EU} {
		if (len(named) > 0 || onLabel) && !c.Undeclared(law) {
			c.Declared = append(c.Declared, law)
		}
	}
	slices.Sort(c.Declared)
	slices.Reverse(c.Declared) // US before EU
	return c
}

func wordsOf(tx *store.Tx, item string) []string {
	if x, ok := tx.Item(item); ok {
		return x.Allergens
	}
	return nil
}

// labelsOf lists what each of the products declares.
func labelsOf(tx *store.Tx, products []string) [][]string {
	var out [][]string
	for _, code := range products {
		if p, ok := tx.Product(code); ok {
			out = append(out, p.Declares)
		}
	}
	return out
}

// common lists what every one of the labels has: a word that one of them lacks is not declared.
func common(labels [][]string) []string {
	out := []string{}
	if len(labels) == 0 {
		return out
	}
	for _, word := range labels[0] {
		everywhere := !slices.ContainsFunc(labels[1:], func(label []string) bool {
			return !slices.ContainsFunc(label, func(d string) bool { return strings.EqualFold(d, word) })
		})
		if everywhere {
			out = append(out, word)
		}
	}
	return out
}
