package lots

import (
	"fmt"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"pgregory.net/rapid"
)

func TestReadNumeral(t *testing.T) {
	for _, c := range []struct {
		text        string
		sign        Decimal
		want, other string
	}{
		{"12", Point, "12", ""}, {"12.5", Point, "12.5", ""}, {"12,5", Point, "12.5", ""}, {"12.5", Comma, "12.5", ""}, {"12,5", Comma, "12.5", ""},
		{"1.250,5", Point, "1250.5", ""}, {"1,250.5", Comma, "1250.5", ""}, {"1,250.500", Point, "1250.500", ""},
		{"1 250", Point, "1250", ""}, {"1 250,5", Point, "1250.5", ""}, {"1\u00a0250", Point, "1250", ""}, {"1\u202f250.25", Comma, "1250.25", ""},
		{"1'250.5", Point, "1250.5", ""}, {"1’250", Point, "1250", ""},
		{"1.250.000", Point, "1250000", ""}, {"1,250,000", Comma, "1250000", ""}, {"1,250,000.5", Point, "1250000.5", ""}, {"1.250.000,75", Point, "1250000.75", ""},
		{"0.500", Comma, "0.500", ""}, {"0,500", Point, "0.500", ""}, {"1234.567", Comma, "1234.567", ""}, {"12.0000", Comma, "12.0000", ""},
		{".5", Point, "0.5", ""}, {",5", Point, "0.5", ""}, {"5.", Point, "5", ""}, {"010", Point, "010", ""},
		{"12.000", Point, "12", "12000"}, {"12.000", Comma, "12000", "12"}, {"12,000", Point, "12000", "12"}, {"12,000", Comma, "12", "12000"},
		{"12.345", Point, "12.345", "12345"}, {"12.345", Comma, "12345", "12.345"}, {"1.250", "", "1.25", "1250"},
	} {
		n, err := ReadNumeral(c.text, c.sign, 0)
		require.NoError(t, err, c.text)
		require.Equal(t, []string{c.want, c.other}, []string{n.Text, n.Other}, "%s by %s", c.text, c.sign)
	}
	for _, bad := range []string{"", ".", ",", "-1", "1e3", "1.2.3", "1,2.3", "1 25", "12 5.000", "1.25,000.5", "1,250 000", "twelve", "1/2", "٣", strings.Repeat("9", 61), "0x1"} {
		_, err := ReadNumeral(bad, Point, 0)
		require.Error(t, err, bad)
	}
}

// No brewery has twelve thousand tonnes: what would be absurd the other way is plain.
func TestWhatWouldBeAbsurdIsPlain(t *testing.T) {
	n, err := ReadNumeral("12.000", Comma, mostOf("kg")/1000)
	require.NoError(t, err)
	require.Equal(t, []string{"12.000", ""}, []string{n.Text, n.Other})
	n, err = ReadNumeral("12.000", Comma, mostOf("kg"))
	require.NoError(t, err)
	require.Equal(t, []string{"12000", "12"}, []string{n.Text, n.Other})
}

func TestDoubtsAreSentences(t *testing.T) {
	for _, c := range []struct {
		text string
		sign Decimal
		unit Unit
		want string
	}{
		{"12.000", Point, "kg", "12.000 read as 12 kg; if you meant twelve thousand, write 12000"},
		{"12,000", Point, "kg", "12,000 read as 12000 kg; if you meant twelve, write 12"},
		{"1.250", Point, "", "1.250 read as 1.25; if you meant one thousand two hundred and fifty, write 1250"},
		{"12.345", Comma, "L", "12.345 read as 12345 L; if you meant 12.345, write 12.3450"},
		{"12.5", Point, "kg", ""},
	} {
		n, err := ReadNumeral(c.text, c.sign, 0)
		require.NoError(t, err)
		require.Equal(t, c.want, n.Doubt(c.unit))
	}
}

// What doubts tell people to write is no doubt itself, whatever the sign.
func TestWhatADoubtAsksForIsPlain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := fmt.Sprintf("%d%s%03d", rapid.IntRange(1, 999).Draw(t, "whole"), rapid.SampledFrom([]string{".", ","}).Draw(t, "sep"), rapid.IntRange(0, 999).Draw(t, "parts"))
		n, err := ReadNumeral(text, rapid.SampledFrom([]Decimal{Point, Comma}).Draw(t, "sign"), 0)
		require.NoError(t, err)
		require.NotEmpty(t, n.Other)
		again, err := ReadNumeral(unmistakable(n.Other), rapid.SampledFrom([]Decimal{Point, Comma}).Draw(t, "other"), 0)
		require.NoError(t, err)
		require.Empty(t, again.Other)
		require.True(t, sameDecimal(again.Text, n.Other))
	})
}

// Numbers as golang.org/x/text writes them for languages that use the two signs and the blank
// (Unicode CLDR) are read as what they are, unless exactly three digits stand behind one sign.
func TestNumbersOfOtherLanguagesAreRead(t *testing.T) {
	languages := []language.Tag{language.English, language.German, language.French, language.Italian, language.Spanish, language.MustParse("de-CH"), language.MustParse("sv"), language.MustParse("pl")}
	rapid.Check(t, func(t *rapid.T) {
		tag := rapid.SampledFrom(languages).Draw(t, "language")
		whole, cents := rapid.IntRange(0, 9_999_999).Draw(t, "whole"), rapid.IntRange(10, 99).Draw(t, "cents")
		text := message.NewPrinter(tag).Sprintf("%.2f", float64(whole)+float64(cents)/100)
		n, err := ReadNumeral(text, rapid.SampledFrom([]Decimal{Point, Comma}).Draw(t, "sign"), 0)
		require.NoError(t, err, text)
		require.Empty(t, n.Other, text)
		require.True(t, sameDecimal(n.Text, fmt.Sprintf("%d.%02d", whole, cents)), "%s: %s", text, n.Text)
	})
}

func TestCardinals(t *testing.T) {
	for text, want := range map[string]string{"0": "zero", "13": "thirteen", "40": "forty", "99": "ninety-nine", "100": "one hundred", "305": "three hundred and five",
		"12000": "twelve thousand", "12005": "twelve thousand and five", "345678": "three hundred and forty-five thousand six hundred and seventy-eight",
		"1000000": "1000000", "1.5": "1.5"} {
		require.Equal(t, want, cardinal(text))
	}
}

func TestParseDecimalSign(t *testing.T) {
	for text, want := range map[string]Decimal{"": Point, ".": Point, ",": Comma, " , ": Comma} {
		got, err := ParseDecimal(text)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	_, err := ParseDecimal("comma")
	require.EqualError(t, err, `"comma" is not a decimal sign: write . or ,`)
}

// What is read is a plain decimal; the other reading is a thousand times more or less.
func FuzzReadNumeral(f *testing.F) {
	for _, s := range []string{"12.000", "1.250,5", "1 250", "1'250.5", ",", "1,2,3", "12.345.678"} {
		f.Add(s, false, 0.0)
		f.Add(s, true, 1e6)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool, most float64) {
		sign := Point
		if comma {
			sign = Comma
		}
		n, err := ReadNumeral(text, sign, most)
		if err != nil {
			return
		}
		r, err := parseDecimal(n.Text)
		if len(n.Text) > 40 {
			return
		}
		require.NoError(t, err, n.Text)
		if n.Other != "" {
			o, err := parseDecimal(n.Other)
			require.NoError(t, err)
			thousand := big.NewRat(1000, 1)
			require.True(t, new(big.Rat).Mul(o, thousand).Cmp(r) == 0 || new(big.Rat).Mul(r, thousand).Cmp(o) == 0)
			require.NotEmpty(t, n.Doubt("kg"))
		}
	})
}
