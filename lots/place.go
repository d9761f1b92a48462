package lots

import (
	"slices"
	"strings"
	"unicode"
)

// Words for parts of a brewery, and words that tell one from another: common practice.
var (
	rooms = words("cellar cellars yard hall taproom tap brewhouse brewery room store stores storage floor dock bay shed warehouse loft mezzanine " +
		"basement area corner wall row farm outside inside house")
	whichRoom = words("north south east west upper lower old new main back front inner outer left right first second third ground top bottom cold warm " +
		"wet dry packing packaging bottling canning kegging racking brewing fermentation fermenting maturation conditioning bright tank beer malt grain " +
		"hop yeast gas keg loading receiving the of and at in by no")
)

// Elsewhere reports whether a vessel belongs to another site or to somebody else: its site is given, and is neither
// this brewery's name nor a plain word for a part of it, such as cellar 2.
func (v *Vessel) Elsewhere(site Site) bool {
	place := strings.TrimSpace(v.Place)
	return place != "" && !strings.EqualFold(place, strings.TrimSpace(site.Name)) && !partOfBrewery(place)
}

func partOfBrewery(place string) bool {
	room := false
	for _, w := range strings.FieldsFunc(strings.ToLower(place), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		isRoom := slices.Contains(rooms, w)
		room = room || isRoom
		if !isRoom && !slices.Contains(whichRoom, w) && len(w) > 1 && strings.ContainsFunc(w, unicode.IsLetter) {
			return false
		}
	}
	return room
}
