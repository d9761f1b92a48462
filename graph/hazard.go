package graph

import "fmt"

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

// Hazards lists them in the order in which people are told of them.
func Hazards() []Hazard {
	return []Hazard{Anything, PackagePart, Spoiler, Dissolved, Allergen, ForeignBody, Process}
}

// ParseHazard reads a hazard's name.
func ParseHazard(text string) (Hazard, error) {
	for _, h := range Hazards() {
		if string(h) == text {
			return h, nil
		}
	}
	return "", fmt.Errorf("%q is no hazard: choose one of %v", text, Hazards())
}

// Travels reports whether the hazard goes over a link. A process fault goes over all of them:
// what is left in a package by a rinser goes with the beer wherever it is emptied into. Only a
// defect of a packaging part stays with its package.
func (h Hazard) Travels(_, dst Node, l Link) bool {
	switch h {
	case PackagePart:
		return l.Cause != Path && (l.Cause != Unpacked || dst.Kind != Fill)
	case ForeignBody:
		return l.Cause != Path
	}
	return true
}
