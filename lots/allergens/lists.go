package allergens

// Group is one allergen as a law names it.
type Group struct {
	Name   string // our word for it, the same for both laws where they mean the same
	Source string
	// Names stand for it on a label. Words are what comes from it and does not name it
	// there, and what tells of no sort. Either, in what a lot carries, means the group.
	Names, Words []string
	Sorts        []Sort
	// Apart says that a label has to name the sort: the group's own name covers none of them.
	Apart bool
	// Not are phrases that have one of the words in them and are something else.
	Not []string
}

// Sort is a sort of a group that a label may, or has to, name by itself.
type Sort struct {
	Names, Words []string
	Loose        []string // means this sort where nothing nearer is said
	Own          bool     // the group's name does not cover this sort
	Except       string   // on which ground the law leaves it out
}

func sorts(names ...string) []Sort {
	var out []Sort
	for _, n := range names {
		out = append(out, Sort{Names: []string{n}})
	}
	return out
}

var (
	milkWords  = []string{"lactose", "milk sugar", "whey", "casein", "caseinate", "lactalbumin", "dairy", "cream", "butter", "buttermilk", "cheese", "yoghurt", "yogurt", "ghee"}
	noMilk     = []string{"almond milk", "oat milk", "soy milk", "soya milk", "coconut milk", "rice milk", "milk thistle", "cocoa butter", "peanut butter", "nut butter", "almond butter", "shea butter", "coconut cream"}
	eggWords   = []string{"albumen", "ovalbumin", "lysozyme"}
	wheatWords = []string{"spelt", "khorasan", "kamut", "emmer", "einkorn", "durum", "farro", "semolina", "bulgur", "triticale"}
	soyNames   = []string{"soy", "soya", "soybean", "soyabean", "soya bean", "soy bean"}
	fishWords  = []string{"cod", "bass", "flounder", "salmon", "tuna", "anchovy", "sturgeon"}
	fishGlue   = []string{"isinglass", "fish gelatine", "fish gelatin"}
	shellWords = []string{"crustacean shellfish", "shellfish"}
)

var nuts = []Sort{
	{Names: []string{"almond"}, Words: []string{"marzipan"}}, {Names: []string{"hazelnut"}}, {Names: []string{"walnut"}}, {Names: []string{"cashew", "cashew nut"}},
	{Names: []string{"pecan", "pecan nut"}}, {Names: []string{"brazil nut", "brazil"}}, {Names: []string{"pistachio", "pistachio nut"}}, {Names: []string{"macadamia", "macadamia nut", "queensland nut"}},
}

const us = "21 U.S.C. 321(qq) and 343(w), sesame by the FASTER Act of 2021"

// US lists the nine major food allergens of the United States. Barley and rye are none of them.
// A label names the food that it comes from; of nuts and crustaceans the very sort (343(w)(2),
// and 27 CFR 7.82 for malt beverages, to which "fish" is enough).
func US() []Group {
	return []Group{
		{Name: "milk", Source: us, Names: []string{"milk"}, Words: milkWords, Not: noMilk},
		{Name: "eggs", Source: us, Names: []string{"egg"}, Words: eggWords},
		{Name: "fish", Source: us, Names: []string{"fish"}, Words: append(fishGlue, fishWords...)},
		{Name: "crustaceans", Source: us, Names: []string{"crustacean"}, Words: shellWords, Sorts: sorts("crab", "lobster", "shrimp", "prawn", "crayfish"), Apart: true},
		{Name: "nuts", Source: us, Names: []string{"nut", "tree nut"}, Sorts: nuts, Apart: true},
		{Name: "peanuts", Source: us, Names: []string{"peanut"}, Words: []string{"groundnut"}},
		{Name: "wheat", Source: us, Names: []string{"wheat"}, Words: wheatWords},
		{Name: "soybeans", Source: us, Names: soyNames},
		{Name: "sesame", Source: us, Names: []string{"sesame"}, Words: []string{"tahini"}},
	}
}

const eu = "Regulation (EU) 1169/2011, Annex II"

// EU lists the fourteen substances and products of Annex II, in its order. A label refers to the
// name in the annex (Article 21(1)(a)). Of cereals and nuts that is the sort (Commission Notice
// 2017/C 428/01); "gluten" is taken here to tell of barley, rye and oats, which it warns of, and
// never of wheat, which makes people ill by itself.
func EU() []Group {
	return []Group{
		{Name: "gluten", Source: eu + "(1)", Names: []string{"gluten"}, Words: []string{"cereal containing gluten"}, Sorts: []Sort{
			{Names: []string{"wheat"}, Words: wheatWords, Own: true},
			{Names: []string{"rye"}, Words: []string{"triticale"}}, {Names: []string{"barley"}, Loose: []string{"malt", "malt extract"}}, {Names: []string{"oat"}}}},
		{Name: "crustaceans", Source: eu + "(2)", Names: []string{"crustacean"}, Words: append([]string{"crab", "lobster", "shrimp", "prawn", "crayfish"}, shellWords...)},
		{Name: "eggs", Source: eu + "(3)", Names: []string{"egg"}, Words: eggWords},
		{Name: "fish", Source: eu + "(4)", Names: []string{"fish"}, Words: fishWords, Sorts: []Sort{{Words: fishGlue, Except: "fish gelatine or isinglass used as fining agent in beer and wine"}}},
		{Name: "peanuts", Source: eu + "(5)", Names: []string{"peanut"}, Words: []string{"groundnut"}},
		{Name: "soybeans", Source: eu + "(6)", Names: soyNames},
		{Name: "milk", Source: eu + "(7)", Names: []string{"milk"}, Words: milkWords, Sorts: []Sort{{Names: []string{"lactose"}, Words: []string{"milk sugar"}}}, Not: noMilk},
		{Name: "nuts", Source: eu + "(8)", Names: []string{"nut", "tree nut"}, Sorts: nuts, Apart: true},
		{Name: "celery", Source: eu + "(9)", Names: []string{"celery"}, Words: []string{"celeriac"}},
		{Name: "mustard", Source: eu + "(10)", Names: []string{"mustard"}},
		{Name: "sesame", Source: eu + "(11)", Names: []string{"sesame"}, Words: []string{"tahini"}},
		{Name: "sulphites", Source: eu + "(12), above 10 mg/kg or mg/L as total SO2", Names: []string{"sulphite", "sulfite", "sulphur dioxide", "sulfur dioxide", "so2"}, Words: []string{"metabisulphite", "metabisulfite", "bisulphite", "bisulfite"}},
		{Name: "lupin", Source: eu + "(13)", Names: []string{"lupin", "lupine"}},
		{Name: "molluscs", Source: eu + "(14)", Names: []string{"mollusc", "mollusk"}, Words: []string{"oyster", "mussel", "clam", "squid", "scallop", "snail", "shellfish"}},
	}
}

// Law is a law and its list.
type Law struct {
	Name   string
	Groups []Group
}

var laws = []Law{{"US", US()}, {"EU", EU()}}

// Laws lists both by the names that answers use.
func Laws() []Law { return laws }

// besides are words that stand beside a name on a label and change nothing about it.
var besides = map[string]bool{}

func init() {
	for _, w := range []string{"malt", "malted", "flour", "starch", "protein", "lecithin", "flake", "flaked", "powder", "roasted", "raw", "whole", "white", "red", "torrified", "rolled", "unmalted", "extract",
		"seed", "kernel", "organic", "cow", "s", "contain", "containing", "skimmed", "dried", "product", "sodium", "potassium", "of"} {
		besides[w] = true
	}
}
