package lots

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
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

func TestUnitsAgainstPublishedValues(t *testing.T) {
	for _, c := range []struct {
		number string
		unit   Unit
		want   int64
		source string
	}{
		{"1000000", "gal", 3_785_411_784, "NIST Handbook 44 appendix C: 3.785411784 L (from memory)"},
		{"1000000", "bbl", 117_347_765_304, "31 gallons, 27 CFR 25.11"},
		{"1", "lb", 453_592, "NIST Handbook 44 appendix C: 453.59237 g (from memory)"},
		{"100", "lb", 45_359_237, "NIST Handbook 44 appendix C: 453.59237 g (from memory)"},
		{"16", "oz", 453_592, "16 oz to the pound"},
		{"1000000", "oz", 28_349_523_125, "NIST Handbook 44 appendix C: 28.349523125 g (from memory)"},
		{"1", "kg", 1_000_000, "SI"}, {"0.001", "g", 1, "SI"}, {"1", "hL", 100_000, "SI"}, {"1", "L", 1_000, "SI"}, {"3", "mL", 3, "SI"},
		{"7", "each", 7, "itself"}, {"7", "case", 7, "itself"},
	} {
		q, err := ParseQuantity(c.number, c.unit)
		require.NoError(t, err)
		require.Equal(t, c.want, q.N, "%s %s: %s", c.number, c.unit, c.source)
		require.Equal(t, c.unit.Dim(), q.Dim)
	}
}

// Every case and keg of the regulation's tables: per-case volume over a barrel
// of 31 gallons, rounded as printed. A fluid ounce is 1/128 gallon.
func TestBarrelEquivalents(t *testing.T) {
	table, err := os.ReadFile("testdata/barrel_equivalents.tsv")
	require.NoError(t, err)
	rows := 0
	for line := range strings.Lines(string(table)) {
		f := strings.Split(strings.TrimSpace(line), "\t")
		if strings.HasPrefix(line, "#") || f[0] == "number" {
			continue
		}
		rows++
		size, err := strconv.ParseFloat(f[0], 64)
		require.NoError(t, err)
		perCase, err := strconv.ParseFloat(f[2], 64)
		require.NoError(t, err)
		unit, parts := f[1], 1.0
		if unit == "fl oz" {
			unit, parts = "gal", 128
		}
		// a thousand cases at a time keep the rounding to whole millilitres out of the fifth decimal
		q, err := ParseQuantity(strconv.FormatFloat(1000*size*perCase/parts, 'f', -1, 64), Unit(unit))
		require.NoError(t, err)
		require.Equal(t, f[3], strconv.FormatFloat(Unit("bbl").Of(float64(q.N))/1000, 'f', 5, 64), line)
	}
	require.Equal(t, 50, rows)
}

// Common practice: a line of 60 cans a minute fills 150 cases of 24 in an hour.
func TestContainersToCases(t *testing.T) {
	f := &fields{sheet: &Sheet{Columns: []Column{number("quantity", ""), unitCol("unit", "")}}, row: Row{"quantity": strconv.Itoa(60 * 60), "unit": "each"}}
	f.read()
	_, cases := f.drawnFromUnit("quantity", "unit", Thing{UnitKind: "pallet", PerCase: 24, ContainerML: 355})
	require.Empty(t, f.faults)
	require.Equal(t, 150.0, cases)
	f.row = Row{"quantity": strconv.Itoa(150 * 24 * 355), "unit": "mL"}
	f.read()
	_, cases = f.drawnFromUnit("quantity", "unit", Thing{UnitKind: "pallet", PerCase: 24, ContainerML: 355})
	require.Equal(t, 150.0, cases)
	f.row = Row{"quantity": "2", "unit": "each"}
	f.read()
	_, kegs := f.drawnFromUnit("quantity", "unit", Thing{UnitKind: "keg", PerCase: 1, ContainerML: 50_000})
	require.Equal(t, 2.0, kegs)
}

func TestParseQuantity(t *testing.T) {
	for _, c := range []struct {
		number string
		unit   Unit
		want   int64
		fault  string
	}{
		{"0", "kg", 0, ""}, {".5", "L", 500, ""}, {"5.", "L", 5000, ""}, {"010", "each", 10, ""}, {" 1.0 ", "each", 1, ""},
		{"0.0000005", "kg", 1, ""}, {"0.0000004999", "kg", 0, ""}, {"9000000000000", "L", 9e15, ""},
		{"9000000000000.001", "L", 0, `"9000000000000.001" is more than any brewery holds`},
		{strings.Repeat("9", 40), "kg", 0, `"` + strings.Repeat("9", 40) + `" is more than any brewery holds`},
		{strings.Repeat("9", 41), "kg", 0, `"` + strings.Repeat("9", 41) + `" is not a number: write digits with a decimal point, such as 12.5`},
		{"-1", "kg", 0, `"-1" is below zero: write zero or more`},
		{"12,5", "kg", 0, `"12,5" has a comma: write a decimal point, as in 12.5, and thousands without a separator`},
		{"1e3", "kg", 0, `"1e3" is not a number: write digits with a decimal point, such as 12.5`},
		{"1.2.3", "kg", 0, `"1.2.3" is not a number: write digits with a decimal point, such as 12.5`},
		{"1 000", "kg", 0, `"1 000" is not a number: write digits with a decimal point, such as 12.5`},
		{".", "kg", 0, `"." is not a number: write digits with a decimal point, such as 12.5`},
		{"", "kg", 0, `"" is not a number: write digits with a decimal point, such as 12.5`},
		{"0x1", "kg", 0, `"0x1" is not a number: write digits with a decimal point, such as 12.5`},
		{"1/2", "kg", 0, `"1/2" is not a number: write digits with a decimal point, such as 12.5`},
		{"٣", "kg", 0, `"٣" is not a number: write digits with a decimal point, such as 12.5`},
		{"2.5", "case", 0, `"2.5" is not a whole number of cases: give part of a case in each`},
		{"0.5", "each", 0, `"0.5" is not a whole number of pieces`},
		{"1", "", 0, "a quantity needs a unit: one of kg g lb oz hL L mL bbl gal each case"},
		{"1", "stone", 0, "a quantity needs a unit: one of kg g lb oz hL L mL bbl gal each case"},
	} {
		t.Run(c.number+" "+string(c.unit), func(t *testing.T) {
			q, err := ParseQuantity(c.number, c.unit)
			if c.fault != "" {
				require.EqualError(t, err, c.fault)
				return
			}
			require.NoError(t, err)
			require.Equal(t, Quantity{c.want, c.unit.Dim()}, q)
		})
	}
}

func TestParseUnitForgivesCase(t *testing.T) {
	for text, want := range map[string]Unit{"KG": "kg", "hl": "hL", " ml ": "mL", "BBL": "bbl", "Each": "each"} {
		got, err := ParseUnit(text)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	_, err := ParseUnit("stone")
	require.EqualError(t, err, `"stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`)
}

func TestParseCount(t *testing.T) {
	n, err := ParseCount("24.0")
	require.NoError(t, err)
	require.EqualValues(t, 24, n)
	_, err = ParseCount("24.5")
	require.EqualError(t, err, `"24.5" is not a whole number`)
	_, err = ParseCount("9000000000000001")
	require.EqualError(t, err, `"9000000000000001" is more than any brewery holds`)
}

func TestNumbersAreBounded(t *testing.T) {
	_, err := ParseNumber(strings.Repeat("9", 40))
	require.ErrorContains(t, err, "is more than any brewery holds")
}

func TestMillilitres(t *testing.T) {
	require.Equal(t, 2000.0, Quantity{2_000_000, Mass}.Millilitres(), "1 kg counts as 1 L")
	require.Equal(t, 7.0, Quantity{7, Volume}.Millilitres())
	require.Zero(t, Quantity{7, Pieces}.Millilitres())
}

func TestNine(t *testing.T) {
	require.Equal(t, 0.333333333, Nine(1.0/3))
	require.Equal(t, 123456789000.0, Nine(123456789012))
	require.Zero(t, Nine(0))
	require.True(t, math.IsNaN(Nine(math.NaN())))
	require.True(t, math.IsInf(Nine(math.Inf(1)), 1))
}

// Of undoes ParseQuantity to half a base unit.
func TestUnitsThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := Unit(rapid.SampledFrom(unitNames).Draw(t, "unit"))
		n := rapid.Int64Range(0, 50_000).Draw(t, "n")
		q, err := ParseQuantity(strconv.FormatInt(n, 10), unit)
		require.NoError(t, err)
		one := unit.Of(1)
		require.InDelta(t, float64(n), unit.Of(float64(q.N)), one*0.5000001)
	})
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"12.5", "-1", "1e9", "12,5", ".", "00.000001", "9999999999999999"} {
		f.Add(s, "kg")
		f.Add(s, "bbl")
	}
	f.Fuzz(func(t *testing.T, number, unit string) {
		q, err := ParseQuantity(number, Unit(unit))
		if err == nil {
			require.GreaterOrEqual(t, q.N, int64(0))
			require.LessOrEqual(t, q.N, maxBase)
			require.NotEmpty(t, q.Dim)
		}
	})
}

func FuzzParseUnit(f *testing.F) {
	f.Add("kg")
	f.Add("ſtone")
	f.Add("\xffL")
	f.Fuzz(func(t *testing.T, text string) {
		if u, err := ParseUnit(text); err == nil {
			require.NotEmpty(t, u.Dim())
			again, err := ParseUnit(string(u))
			require.NoError(t, err)
			require.Equal(t, u, again)
		}
	})
}
