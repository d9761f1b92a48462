package lots

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestElsewhereIsWhatIsNoPartOfTheBrewery(t *testing.T) {
	site := Site{Name: "Lanternfold Brewhouse"}
	for _, ours := range []string{"", "  ", "cellar", "Cellar 2", "packing hall", "yard", "taproom", "cold store B", "Lanternfold Brewhouse", " lanternfold brewhouse "} {
		require.False(t, (&Vessel{Place: ours}).Elsewhere(site), ours)
	}
	for _, other := range []string{"Quarry Haulage", "Otherfold", "Quarry Yard Brewing", "Lanternfold", "north", "2"} {
		require.True(t, (&Vessel{Place: other}).Elsewhere(site), other)
	}
}
