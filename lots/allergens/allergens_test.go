package allergens_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/lots/allergens"
)

func names(groups []allergens.Group) (out []string) {
	for _, g := range groups {
		out = append(out, g.Name)
	}
	return out
}

// The lists, item by item: the nine major food allergens as the US agency lists them (sesame
// since 2023), and the fourteen points of Annex II of Regulation (EU) 1169/2011 in their order.
func TestTheLawsLists(t *testing.T) {
	require.Equal(t, []string{"milk", "eggs", "fish", "crustaceans", "nuts", "peanuts", "wheat", "soybeans", "sesame"}, names(allergens.US()))
	require.Equal(t, []string{"gluten", "crustaceans", "eggs", "fish", "peanuts", "soybeans", "milk", "nuts", "celery", "mustard", "sesame", "sulphites", "lupin", "molluscs"}, names(allergens.EU()))
	// Annex II(8) names eight nuts.
	for _, nut := range []string{"almond", "hazelnut", "walnut", "cashew", "pecan", "Brazil nut", "pistachio", "macadamia"} {
		require.Equal(t, []string{"nuts"}, names(allergens.Of(allergens.EU(), nut)), nut)
	}
	// Annex II(1): wheat, among it spelt and khorasan, rye, barley, oats. Of these US law names wheat alone.
	for _, cereal := range []string{"wheat", "spelt", "khorasan", "rye", "barley", "oats"} {
		require.Equal(t, []string{"gluten"}, names(allergens.Of(allergens.EU(), cereal)), cereal)
	}
	require.Empty(t, allergens.Of(allergens.US(), "barley"))
	require.Empty(t, allergens.Of(allergens.US(), "rye"))
	require.Equal(t, []string{"wheat"}, names(allergens.Of(allergens.US(), "Spelt")))
	// Annex II(4)(b) leaves isinglass in beer out; US law does not.
	require.NotEmpty(t, allergens.Of(allergens.EU(), "isinglass")[0].Except["isinglass"])
	require.Empty(t, allergens.Of(allergens.US(), "isinglass")[0].Except)
	require.Equal(t, []string{"milk"}, names(allergens.Of(allergens.EU(), "lactose")))
}

func TestCovers(t *testing.T) {
	us, eu := allergens.US(), allergens.EU()
	require.True(t, allergens.Covers(eu, "gluten", "barley"))
	require.True(t, allergens.Covers(eu, "milk", "lactose"))
	require.True(t, allergens.Covers(eu, "Milk", "milk"))
	require.False(t, allergens.Covers(eu, "gluten", "milk"))
	require.False(t, allergens.Covers(us, "gluten", "wheat"), "US law asks for wheat by its name")
	require.True(t, allergens.Covers(us, "wheat", "spelt"))
	require.False(t, allergens.Known("moonlight"))
	require.True(t, allergens.Known("SO2"))
}

func TestDeclared(t *testing.T) {
	require.True(t, allergens.Declared([]string{"milk"}, "lactose"))
	require.True(t, allergens.Declared([]string{"gluten"}, "barley"))
	require.False(t, allergens.Declared([]string{"gluten"}, "wheat"), "US law asks for wheat by its name")
	require.True(t, allergens.Declared([]string{"gluten", "wheat"}, "spelt"))
	require.False(t, allergens.Declared(nil, "moonlight"))
	require.True(t, allergens.Declared([]string{"Moonlight"}, "moonlight"))
	require.False(t, allergens.Declared(nil, "isinglass"), "fish to US law, whatever EU law leaves out")
}
