// Package allergens knows the allergens that the law of the United States and of the European
// Union names, and the words by which people write them down. It is no legal advice: what has
// to stand on a label is for the responsible person to decide under the law where it is sold.
package allergens

import (
	"slices"
	"strings"
)

// Group is one allergen as a law names it.
type Group struct {
	Name   string // our word for it, the same for both laws where they mean the same
	Source string
	Words  []string // what people write
	// Except are sources that the law leaves out of it, and on which ground.
	Except map[string]string
}

const us = "21 U.S.C. 321(qq), sesame by the FASTER Act of 2021"

// US lists the nine major food allergens of the United States. Barley and rye are none of them.
func US() []Group {
	return []Group{
		{"milk", us, []string{"milk", "lactose", "whey", "casein", "dairy", "cream"}, nil},
		{"eggs", us, []string{"egg", "eggs", "albumen"}, nil},
		{"fish", us, []string{"fish", "isinglass"}, nil},
		{"crustaceans", us, []string{"crustaceans", "crustacean shellfish", "shrimp", "crab", "lobster"}, nil},
		{"nuts", us, nuts, nil},
		{"peanuts", us, []string{"peanut", "peanuts"}, nil},
		{"wheat", us, wheat, nil},
		{"soybeans", us, []string{"soy", "soya", "soybean", "soybeans"}, nil},
		{"sesame", us, []string{"sesame"}, nil},
	}
}

var (
	nuts  = []string{"nuts", "nut", "tree nuts", "almond", "almonds", "hazelnut", "hazelnuts", "walnut", "walnuts", "cashew", "cashews", "pecan", "pecans", "brazil nut", "brazil nuts", "pistachio", "pistachios", "macadamia"}
	wheat = []string{"wheat", "spelt", "khorasan", "emmer", "einkorn", "durum"}
)

const eu = "Regulation (EU) 1169/2011, Annex II"

// EU lists the fourteen substances and products of Annex II, in its order.
func EU() []Group {
	return []Group{
		{"gluten", eu + "(1)", append([]string{"gluten", "barley", "rye", "oats", "oat", "malt"}, wheat...), nil},
		{"crustaceans", eu + "(2)", []string{"crustaceans", "crustacean shellfish", "shrimp", "crab", "lobster"}, nil},
		{"eggs", eu + "(3)", []string{"egg", "eggs", "albumen"}, nil},
		{"fish", eu + "(4)", []string{"fish", "isinglass"}, map[string]string{"isinglass": "fish gelatine or isinglass used as fining agent in beer and wine"}},
		{"peanuts", eu + "(5)", []string{"peanut", "peanuts"}, nil},
		{"soybeans", eu + "(6)", []string{"soy", "soya", "soybean", "soybeans"}, nil},
		{"milk", eu + "(7)", []string{"milk", "lactose", "whey", "casein", "dairy", "cream"}, nil},
		{"nuts", eu + "(8)", nuts, nil},
		{"celery", eu + "(9)", []string{"celery"}, nil},
		{"mustard", eu + "(10)", []string{"mustard"}, nil},
		{"sesame", eu + "(11)", []string{"sesame"}, nil},
		{"sulphites", eu + "(12), above 10 mg/kg or mg/L as total SO2", []string{"sulphites", "sulfites", "sulphite", "sulfite", "sulphur dioxide", "sulfur dioxide", "so2", "metabisulphite", "metabisulfite"}, nil},
		{"lupin", eu + "(13)", []string{"lupin", "lupins"}, nil},
		{"molluscs", eu + "(14)", []string{"molluscs", "mollusc", "oyster", "oysters"}, nil},
	}
}

// Laws lists both by the names that answers use.
func Laws() map[string][]Group { return map[string][]Group{"US": US(), "EU": EU()} }

func plain(word string) string { return strings.ToLower(strings.Join(strings.Fields(word), " ")) }

// Known reports whether either law has a word.
func Known(word string) bool {
	for _, groups := range Laws() {
		if len(Of(groups, word)) > 0 {
			return true
		}
	}
	return false
}

// Of lists the groups of a law that a word belongs to.
func Of(groups []Group, word string) []Group {
	var out []Group
	for _, g := range groups {
		if slices.Contains(g.Words, plain(word)) {
			out = append(out, g)
		}
	}
	return out
}

// Covers reports whether what a label declares names what a lot carries, under a law: by the same
// word, or by one of the same group. "Gluten" on a label does not name wheat to US law.
func Covers(groups []Group, declared, carried string) bool {
	if plain(declared) == plain(carried) {
		return true
	}
	for _, g := range Of(groups, carried) {
		if slices.Contains(g.Words, plain(declared)) || g.Name == plain(declared) {
			return true
		}
	}
	return false
}

// Declared reports whether a label's words name what a lot carries under every law that names it;
// a word that no law has must stand on the label itself.
func Declared(label []string, word string) bool {
	if slices.ContainsFunc(label, func(d string) bool { return plain(d) == plain(word) }) {
		return true
	}
	named := false
	for _, groups := range Laws() {
		of := Of(groups, word)
		if len(of) == 0 || of[0].Except[plain(word)] != "" {
			continue
		}
		named = true
		if !slices.ContainsFunc(label, func(d string) bool { return Covers(groups, d, word) }) {
			return false
		}
	}
	return named
}
