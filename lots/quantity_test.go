package lots

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// 27 CFR 25.11: a barrel is 31 US gallons; 27 CFR 7.10: a gallon is 231 cubic inches.
func TestBarrelIs31Gallons(t *testing.T) {
	barrel, err := ParseQuantity("1", "bbl")
	require.NoError(t, err)
	gallons, err := ParseQuantity("31", "gal")
	require.NoError(t, err)
	require.Equal(t, gallons, barrel)
	require.Equal(t, Quantity{N: 117348, Dim: Volume}, barrel)
}
