package graph

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestWhatTravels says of each cause what does not go over its links: a defect of package parts
// stays with packages, a foreign body is not carried by a film in a hose, all else goes on. What a
// rinser or a washer left in packages (a process fault) goes with the beer emptied from them: a
// published recall of kegs was for cleaning solution left in them, and of cans for cleaning fluid.
func TestWhatTravels(t *testing.T) {
	stays := map[Cause][]Hazard{
		Path:        {PackagePart, ForeignBody},
		CleanedWith: {PackagePart},
	}
	for cause := Moved; cause <= Tipped; cause++ {
		for _, h := range Hazards() {
			for _, to := range []Kind{Fill, Segment, Unit} {
				stay := stays[cause]
				if cause == Unpacked && to == Fill { // emptied into a tank; into a run it is repacked
					stay = []Hazard{PackagePart}
				}
				travels := h.Travels(Node{Kind: Unit}, Node{Kind: to}, Link{Cause: cause})
				if travels {
					require.NotContains(t, stay, h, "%s by %s into a %s", h, cause, to)
				} else {
					require.Contains(t, stay, h, "%s by %s into a %s", h, cause, to)
				}
			}
		}
	}
}

func TestHazardsAreReadByName(t *testing.T) {
	for _, h := range Hazards() {
		got, err := ParseHazard(string(h))
		require.NoError(t, err)
		require.Equal(t, h, got)
	}
	for _, text := range []string{" Foreign body", "FOREIGN-BODY", "foreign_body"} {
		got, err := ParseHazard(text)
		require.NoError(t, err, text)
		require.Equal(t, ForeignBody, got)
	}
}

// A word of the trade that is no hazard's name is said to belong to one, and taken for none: the choice decides what is cut.
func TestNearWordsLeadToAHazard(t *testing.T) {
	for text, want := range map[string][]Hazard{
		"caustic": {Dissolved}, "Cleaning agents": {Dissolved}, "glycol": {Dissolved}, "glass": {ForeignBody}, "glass shards": {ForeignBody}, "weak glass": {PackagePart},
		"diastaticus": {Spoiler}, "gushing": {Spoiler}, "bacteria": {Spoiler}, "lactose": {Allergen}, "undeclared milk": {Allergen}, "tree nuts": {Allergen},
		"seamer": {Process}, "keg washer": {Process}, "keg": {PackagePart}, "metal": {ForeignBody}, "metal in solution": {Dissolved},
		"seam": {PackagePart, Process}, "crowns": {PackagePart}, "rust": nil, "": nil,
	} {
		require.Equal(t, want, HazardsNear(text), text)
		_, err := ParseHazard(text)
		require.Error(t, err, text)
	}
	_, err := ParseHazard("caustic")
	require.EqualError(t, err, `"caustic" is not the name of a hazard; it belongs to dissolved (`+Dissolved.Holds()+`): use dissolved`)
	_, err = ParseHazard("seam")
	require.ErrorContains(t, err, "it may belong to package-part (")
	require.ErrorContains(t, err, " or to process (")
	_, err = ParseHazard("rust")
	require.ErrorContains(t, err, `"rust" is not a hazard; choose one: anything (`)
	for _, h := range Hazards() {
		require.NotEmpty(t, h.Holds(), h)
		require.NotEmpty(t, h.Risk(), h)
		require.ErrorContains(t, err, string(h)+" ("+h.Holds()+")")
	}
}
