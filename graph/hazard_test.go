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
		Path: {PackagePart, ForeignBody},
	}
	for cause := Moved; cause <= UncertainClean; cause++ {
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
	_, err := ParseHazard("rust")
	require.ErrorContains(t, err, `"rust" is no hazard: choose one of [anything package-part`)
}
