package graph

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Hazard is what is wrong, and so what travels. The list is append-only; the text is stored.
type Hazard string

// The hazards. Uncertainty about what happened counts for every one of them: only what
// was recorded otherwise, or cannot carry the hazard, is left out.
const (
	Anything    Hazard = "anything"     // not known yet: every link counts
	PackagePart Hazard = "package-part" // travels with its packages, through repacks and what is left in a bin, not into beer emptied from them
	Spoiler     Hazard = "spoiler"      // lives and grows: content, heels, paths, yeast; dilution does not matter
	Dissolved   Hazard = "dissolved"    // a chemical in the beer: as a spoiler, a crop being part beer
	Allergen    Hazard = "allergen"     // as what is dissolved; what the label declares is set apart
	ForeignBody Hazard = "foreign-body" // content and heels; a step that may hold it back is named, and never cuts by itself
	Process     Hazard = "process"      // a fault of a line or a washer at a time: nobody says what it left, so it goes on with packages and beer alike
)

// hazard is what people read of one: what belongs in it, what it may do to whoever has the beer, and the words
// by which they look for it. The risk says no more than the hazard does: which part, which pressure, is not known here.
type hazard struct {
	name  Hazard
	holds string
	risk  string
	near  []string // words, or words in a row; a word may lead to several
}

// hazards stand in the order in which people hear of them. What a word of the trade leads to is common practice.
var hazards = []hazard{
	{Anything, "not known yet, or several things: every link counts",
		"The beer may not be safe to drink.",
		[]string{"unknown", "unsure", "any", "all", "several", "everything", "complaint"}},
	{PackagePart, "a faulty can, end, bottle, crown, keg, label, carrier or carton: it stays with its package",
		"The package may be faulty.",
		[]string{"package", "packaging", "packaging part", "container", "closure", "can", "end", "lid", "tab", "bottle", "crown", "cap", "cork", "keg", "label", "misprint", "sleeve", "carrier", "carton", "tray", "liner", "coating", "score", "weak glass", "seam", "leak"}},
	{Spoiler, "something alive in the beer: wild or diastatic yeast, bacteria, mould; refermentation",
		"Something alive in the beer may spoil it, and it may go on fermenting after it was packed.",
		[]string{"yeast", "wild yeast", "diastaticus", "diastatic", "brettanomyces", "brett", "bacteria", "bacterium", "lactobacillus", "lacto", "pediococcus", "pedio", "mould", "mold", "infection", "infected", "contamination", "microbe", "microbiology", "micro",
			"refermentation", "referment", "gushing", "gusher", "overcarbonation", "pressure", "swollen", "bulging", "burst", "bursting", "sour"}},
	{Dissolved, "a substance in the beer: cleaning agent, caustic, acid, coolant, lubricant, metal in solution, mycotoxin, wrong dose",
		"The beer may contain a substance that is harmful to drink.",
		[]string{"chemical", "caustic", "lye", "acid", "peracetic", "sanitiser", "sanitizer", "disinfectant", "detergent", "cleaner", "cleaning agent", "cleaning fluid", "coolant", "glycol", "refrigerant", "lubricant", "grease", "oil", "solvent", "benzene", "metal in solution", "copper", "lead", "mycotoxin",
			"toxin", "pesticide", "residue", "nitrosamine", "methanol", "taint", "dose", "overdose"}},
	{Allergen, "an allergen that the label does not declare: milk (lactose), nuts, soya, wheat, fish, sulphites",
		"The beer may contain an allergen that its label does not declare. Anyone who is allergic to it may become seriously ill.",
		[]string{"milk", "lactose", "nut", "peanut", "almond", "hazelnut", "soya", "soy", "wheat", "gluten", "barley", "oat", "rye", "fish", "isinglass", "egg", "sesame", "mustard", "celery", "lupin", "crustacean", "mollusc", "oyster", "sulphite", "sulfite", "undeclared"}},
	{ForeignBody, "pieces in the beer: glass, metal, wire, plastic, rubber, wood, stones, insects",
		"The beer may contain pieces that can injure anyone who drinks it.",
		[]string{"glass", "metal", "wire", "swarf", "shard", "splinter", "plastic", "rubber", "gasket", "wood", "stone", "insect", "pest", "rodent", "hair", "foreign object", "foreign matter", "fragment", "piece"}},
	{Process, "a machine at fault for a time: filler, seamer, crowner, rinser, washer, pasteuriser, coder",
		"A machine was at fault for a time, and the beer may not be safe to drink.",
		[]string{"line", "machine", "filler", "filling", "seamer", "seam", "seaming", "leak", "crowner", "capper", "rinser", "washer", "keg washer", "pasteuriser", "pasteurizer", "pasteurisation", "pasteurization", "underpasteurised", "heat treatment", "coder", "centrifuge", "filter", "temperature", "labeller", "labeler"}},
}

// Hazards lists them in the order in which people hear of them.
func Hazards() []Hazard {
	out := make([]Hazard, len(hazards))
	for i, h := range hazards {
		out[i] = h.name
	}
	return out
}

// Holds says in one line what belongs in a hazard.
func (h Hazard) Holds() string {
	if i := slices.IndexFunc(hazards, func(x hazard) bool { return x.name == h }); i >= 0 {
		return hazards[i].holds
	}
	return ""
}

// Risk says in plain words what a hazard may do to whoever has the beer.
func (h Hazard) Risk() string {
	if i := slices.IndexFunc(hazards, func(x hazard) bool { return x.name == h }); i >= 0 {
		return hazards[i].risk
	}
	return ""
}

// HazardsNear lists the hazards that words lead to: the longest words that are known decide.
func HazardsNear(text string) []Hazard {
	words := wordsOf(text)
	for n := min(len(words), 3); n > 0; n-- {
		var out []Hazard
		for _, h := range hazards {
			if slices.ContainsFunc(h.near, func(near string) bool { return within(words, wordsOf(near), n) }) {
				out = append(out, h.name)
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return nil
}

// wordsOf parts a text into its words, in lower case and in the singular.
func wordsOf(text string) []string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) })
	for i, w := range words {
		if len(w) > 3 && strings.HasSuffix(w, "s") && !strings.HasSuffix(w, "ss") && !strings.HasSuffix(w, "us") {
			words[i] = strings.TrimSuffix(w, "s")
		}
	}
	return words
}

// within reports whether a row of just n words stands in others.
func within(words, row []string, n int) bool {
	if len(row) != n {
		return false
	}
	for i := range len(words) - n + 1 {
		if slices.Equal(words[i:i+n], row) {
			return true
		}
	}
	return false
}

// ParseHazard reads a hazard's name; case, blanks and the hyphen are forgiven. Another word is not taken for
// one, since what is chosen decides which links count: the error names what it belongs to.
func ParseHazard(text string) (Hazard, error) {
	name := Hazard(strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) }), "-"))
	if slices.Contains(Hazards(), name) {
		return name, nil
	}
	switch near := HazardsNear(text); len(near) {
	case 0:
		return "", fmt.Errorf("%q is not a hazard; choose one: %s", text, explained(Hazards(), "; "))
	case 1:
		return "", fmt.Errorf("%q is not the name of a hazard; it belongs to %s: use %s", text, explained(near, ""), near[0])
	default:
		return "", fmt.Errorf("%q is not the name of a hazard; it may belong to %s: choose one, or %s if you do not know", text, explained(near, " or to "), Anything)
	}
}

// explained names hazards with what belongs in each.
func explained(list []Hazard, between string) string {
	parts := make([]string, len(list))
	for i, h := range list {
		parts[i] = fmt.Sprintf("%s (%s)", h, h.Holds())
	}
	return strings.Join(parts, between)
}

// Travels reports whether the hazard goes over a link. A process fault goes over all of them:
// what is left in a package by a rinser goes with the beer wherever it is emptied into. Only a
// defect of a packaging part stays with its package. What something was cleaned with is never a part of a
// package; all else it may leave behind: what was dissolved in it, what survived a weak dose of it, and
// pieces, which the rinse after it does not surely take out.
func (h Hazard) Travels(_, dst Node, l Link) bool {
	switch h {
	case PackagePart:
		return l.Cause != Path && l.Cause != CleanedWith && (l.Cause != Unpacked || dst.Kind != Fill)
	case ForeignBody:
		return l.Cause != Path
	}
	return true
}
