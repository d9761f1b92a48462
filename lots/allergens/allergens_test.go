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
	for _, nut := range []string{"almond", "hazelnut", "walnut", "cashew", "pecan", "Brazil nut", "pistachio", "macadamia", "macadamia nuts", "Cashew nuts"} {
		require.Equal(t, []string{"nuts"}, names(allergens.Of(allergens.EU(), nut)), nut)
	}
	// Annex II(1): wheat, among it spelt and khorasan, rye, barley, oats. Of these US law names wheat alone.
	for _, cereal := range []string{"wheat", "spelt", "khorasan", "rye", "barley", "oats", "barley malt", "Malted Oats", "malt"} {
		require.Equal(t, []string{"gluten"}, names(allergens.Of(allergens.EU(), cereal)), cereal)
	}
	require.Empty(t, allergens.Of(allergens.US(), "barley"))
	require.Empty(t, allergens.Of(allergens.US(), "rye"))
	require.Equal(t, []string{"wheat"}, names(allergens.Of(allergens.US(), "Spelt")))
	require.Equal(t, []string{"milk"}, names(allergens.Of(allergens.EU(), "lactose")))
}

// Words that stand in no law, and have a word of it in them, or are its plural.
func TestWhatPeopleWrite(t *testing.T) {
	for word, group := range map[string]string{"tree nut": "nuts", "crustacean": "crustaceans", "shellfish": "crustaceans", "soy lecithin": "soybeans", "wheat malt": "wheat", "sesame seeds": "sesame",
		"Milk Powder": "milk", "egg white": "eggs", "fish gelatine": "fish", "peanut butter": "peanuts"} {
		require.Equal(t, []string{group}, names(allergens.Of(allergens.US(), word)), word)
	}
	for word, group := range map[string]string{"lupine": "lupin", "mussels": "molluscs", "sodium metabisulphite": "sulphites", "barley malt": "gluten"} {
		require.Equal(t, []string{group}, names(allergens.Of(allergens.EU(), word)), word)
	}
	require.Empty(t, allergens.Of(allergens.US(), "cocoa butter"), "no milk in it")
	require.Empty(t, allergens.Of(allergens.EU(), "buckwheat"))
	require.False(t, allergens.Known("moonlight"))
	require.True(t, allergens.Known("SO2"))
	require.NoError(t, allergens.Check("Milk"))
	require.ErrorContains(t, allergens.Check("mlik"), "did you mean milk")
	require.ErrorContains(t, allergens.Check("moonlight"), "exactly the same word")
}

func TestDeclared(t *testing.T) {
	for _, x := range []struct {
		label string
		word  string
		want  bool
	}{
		{"milk", "lactose", true}, {"Milk", "milk", true}, {"milk", "milk sugar", true}, {"gluten", "milk", false}, {"lactose", "milk", false},
		{"lactose", "lactose", false}, // US law asks for the food that it comes from
		{"gluten", "barley", true}, {"gluten", "malt", true}, {"barley", "malt", true}, {"barley malt", "barley", true},
		{"gluten", "wheat", false}, {"wheat", "spelt", true}, {"wheat", "wheat malt", true}, {"spelt", "spelt", false},
		{"fish", "isinglass", true}, {"", "isinglass", false}, // fish to US law, whatever EU law leaves out
		{"nuts", "almond", false}, {"almonds", "almond", true}, {"almonds", "Almond", true}, {"pine nut", "pine nuts", true}, {"nuts", "nuts", false},
		{"crab", "crab", false}, {"crab and crustaceans", "crab", true}, {"contains milk", "milk", true}, {"soy", "soy lecithin", true},
		{"gluten-free", "barley", false}, {"no milk", "milk", false}, {"almond milk", "milk", false}, {"almond milk", "almond", false},
		{"milk, wheat", "wheat", true}, {"sulphites", "sodium metabisulphite", true},
		{"", "moonlight", false}, {"Moonlight", "moonlight", true},
	} {
		require.Equal(t, x.want, allergens.Declared([]string{x.label}, x.word), "label %q, carries %q", x.label, x.word)
	}
	require.True(t, allergens.Declared([]string{"gluten", "wheat"}, "spelt"))
}

// No sort on a label covers another sort, whatever group they are of, and no group covers another.
func TestNoSiblingCoversASibling(t *testing.T) {
	sorts := []string{"wheat", "rye", "barley", "oats", "almond", "hazelnut", "walnut", "cashew", "pecan", "Brazil nut", "pistachio", "macadamia", "milk", "eggs", "fish", "peanuts", "soybeans", "celery",
		"mustard", "sesame", "sulphites", "lupin", "molluscs", "crustaceans"}
	for _, label := range sorts {
		for _, word := range sorts {
			want := label == word && word != "crustaceans" // of which US law asks for the sort
			require.Equal(t, want, allergens.Declared([]string{label}, word), "label %q, carries %q", label, word)
		}
	}
}

func TestJudge(t *testing.T) {
	// Annex II(4)(b) leaves isinglass in beer out, however it is written; US law does not.
	for _, word := range []string{"isinglass", "Isinglass", "fish gelatine"} {
		v := allergens.Judge(nil, word)
		require.Equal(t, []string{"US"}, v.Undeclared, word)
		require.NotEmpty(t, v.Exempt, word)
		require.True(t, v.Missing())
	}
	v := allergens.Judge([]string{"milk"}, "lactose")
	require.Equal(t, map[string][]string{"US": {"milk"}, "EU": {"milk"}}, v.Groups)
	require.Empty(t, v.Undeclared)
	require.Equal(t, []string{"EU"}, allergens.Judge([]string{"wheat"}, "barley").Undeclared)
	v = allergens.Judge([]string{"gluten"}, "moonlight")
	require.False(t, v.Known)
	require.True(t, v.Missing(), "what no law knows is for a person to judge, and never silently fine")
}
