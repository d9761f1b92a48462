package lots

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestValuesAreComparedAndNotSpellings(t *testing.T) {
	l := brewery(t)
	for _, c := range []struct {
		sheet, column, a, b string
		same                bool
	}{
		{"brews", "started_at", "started_at=2026-01-25 10:37", "started_at=2026-01-25T09:37:00Z", true},
		{"brews", "started_at", "started_at=2026-01-25 10:37", "started_at=2026-01-25T10:37:00+01:00", true},
		{"brews", "started_at", "started_at=2026-01-25 10:37", "started_at=2026-01-25T10:37:00Z", false},
		{"brews", "started_at", "started_at=2026-01-25", "started_at=2026-01-25 00:00", false},
		{"brews", "plato", "plato=12", "plato=12.0", true},
		{"brews", "plato", "plato=12", "plato=12.1", false},
		{"brews", "volume", "volume=20 / unit=hL", "volume=2000 / unit=L", true},
		{"brews", "volume", "volume=20 / unit=hL", "volume=20 / unit=bbl", false},
		{"brews", "volume", "volume=31 / unit=gal", "volume=1 / unit=bbl", true}, // 27 CFR 25.11
		{"brews", "volume", "volume=20.0 / unit=HL", "volume=20 / unit=hl", true},
		{"counts", "quantity", "subject=FV1 / quantity=3", "subject=FV1 / quantity=300 / unit=L", true},
		{"counts", "quantity", "subject=P-1 / quantity=3", "subject=P-1 / quantity=3 / unit=case", true},
		{"counts", "quantity", "subject=M-1 / quantity=3", "subject=M-1 / quantity=3000 / unit=g", true},
		{"counts", "quantity", "subject=M-1 / quantity=3", "subject=M-1 / quantity=3 / unit=g", false},
		{"returns", "left", "left=1", "left=100 / left_unit=L", true},
		{"removals", "quantity", "subject=FV1 / quantity=all", "subject=FV1 / quantity=3", false},
		{"runs", "clock_offset_min", "clock_offset_min=-1.5", "clock_offset_min=-1.50", true},
		{"runs", "good", "good=9000", "good=9000.0", true},
		{"additions", "from", "from=M-1|M-2", "from=M-2 | M-1", true},
		{"items", "allergens", "allergens=gluten;sulphite", "allergens=sulphite; gluten", true},
		{"items", "unit", "unit=KG", "unit=kg", true},
		{"shipments", "consignee", "consignee=S-1", "consignee=S-2", false},
		{"shipments", "document", "document=a", "document=A", false},
		{"shipments", "document", "document=a", "", false},
		{"shipments", "document", "", "", true},
		{"shipments", "quantity", "unit=FV1 / quantity=3", "unit=FV1 / quantity=300 / quantity_unit=L", true},
		{"shipments", "quantity", "unit=P-1 / quantity=3", "unit=P-1 / quantity=3 / quantity_unit=case", true},
		{"shipments", "quantity", "unit=B-1 / quantity=3", "unit=B-1 / quantity=3000 / quantity_unit=g", true},
	} {
		s, _ := SheetNamed(c.sheet)
		a, b := sheetRow(c.a), sheetRow(c.b)
		require.Equal(t, c.same, SameValue(s, c.column, a, b, l), "%s: %s, %s", c.sheet, c.a, c.b)
		require.Equal(t, c.same, SameValue(s, c.column, b, a, l), "%s: %s, %s", c.sheet, c.b, c.a)
	}
}

func TestRowsAreTheSameHoweverTheyAreSpelled(t *testing.T) {
	l := brewery(t)
	s, _ := SheetNamed("additions")
	a := sheetRow("vessel=FV1 / from=M-1|M-2 / quantity=5 / unit=kg / at=2026-03-06 10:00 / volume=2 / volume_unit=L")
	b := sheetRow("vessel=FV1 / from=M-2|M-1 / quantity=5000 / unit=g / at=2026-03-06T09:00:00Z / volume=0.02")
	require.True(t, SameRow(s, a, b, l))
	require.Equal(t, Key(s, a, l.Site()), Key(s, b, l.Site()))
	b["ref"] = "twice"
	require.False(t, SameRow(s, a, b, l))
	require.NotEqual(t, Key(s, a, l.Site()), Key(s, b, l.Site()))
}

// Rows that are the same have one key, and every row is the same as itself.
func TestSameRowsHaveOneKey(t *testing.T) {
	l := brewery(t)
	spellings := map[Type][]string{
		Time:   {"2026-03-06 10:00", "2026-03-06T09:00:00Z", "2026-03-06T10:00", "2026-03-06"},
		Number: {"20", "20.0", "2000", "0.2"}, Amount: {"20", "2000", "all"}, Count: {"20", "20.00", "21"}, Offset: {"-1", "-1.0", "1"},
		UnitOf: {"hL", "L", "HL", ""}, AnyOf: {"M-1|M-2", "M-2|M-1", "M-1"}, ListOf: {"FV1;FV2", "FV2; FV1"}, YesNo: {"yes", "no", ""},
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(Sheets).Draw(t, "sheet")
		draw := func(label string) Row {
			row := Row{}
			for _, c := range s.Columns {
				if list := spellings[c.Type]; list != nil {
					if v := rapid.SampledFrom(list).Draw(t, label+c.Name); v != "" {
						row[c.Name] = v
					}
				}
			}
			return row
		}
		a, b := draw("a"), draw("b")
		require.True(t, SameRow(s, a, a, l))
		require.Equal(t, SameRow(s, a, b, l), SameRow(s, b, a, l))
		if SameRow(s, a, b, l) {
			require.Equal(t, Key(s, a, l.Site()), Key(s, b, l.Site()))
		}
	})
}
