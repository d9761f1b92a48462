package lots

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A column is read by its type even where the sheet's decoder never looks at it.
func TestEveryColumnIsCheckedByItsType(t *testing.T) {
	l := brewery(t)
	brews, _ := SheetNamed("brews")
	for _, c := range []struct {
		column Column
		bad    string
		want   string
		good   []string
	}{
		{number("ph", ""), "sour", `ph: "sour" is not a number: write digits with a decimal point, such as 12.5`, []string{"5.2", "0"}},
		{number("ph", ""), "-1", `ph: "-1" is below zero: write zero or more`, nil},
		{number("ph", ""), "99999999999999999999", `ph: "99999999999999999999" is more than any brewery holds`, nil},
		{count("kettles", ""), "1.5", `kettles: "1.5" is not a whole number`, []string{"2", "2.0"}},
		{Column{Name: "slip_min", Type: Offset}, "a lot", `slip_min: "a lot" is not a number of minutes: write digits, with - in front where the coder was behind`, []string{"-3", "+2"}},
		{at("knocked_at", ""), "noon", `knocked_at: "noon" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`, []string{"2026-03-02"}},
		{unitCol("other_unit", ""), "stone", `other_unit: "stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`, []string{"hL", "litres"}},
		{ref("also", "", KindVessel), "FV9", `also: there is no vessel "FV9"; did you mean FV1, FV2?`, []string{"FV1"}},
		{ref("also", "", KindVessel), "M-1", `also: M-1 is a lot; this needs a vessel`, nil},
		{anyOf("also", "", KindVessel), "FV1|FV1", `also: FV1 is named twice`, []string{"FV1|FV2"}},
		{Column{Name: "also", Type: ListOf, Kinds: []Kind{KindVessel}}, ";", `also: ";" does not name anything`, []string{"FV1;FV2"}},
		{Column{Name: "done", Type: YesNo}, "maybe", `done: "maybe" is neither yes nor no`, []string{"yes", "no"}},
		{choice("mood", "good bad", ""), "odd", `mood: "odd" is not one of good, bad`, []string{"good"}},
		{Column{Name: "drained", Type: Amount, Values: []string{"all"}}, "some", `drained: "some" is not a number: write digits with a decimal point, such as 12.5`, []string{"all", "3"}},
		{Column{Name: "again", Type: NewCode, Kinds: []Kind{KindBrew}}, "A;B", `again: "A;B": a code cannot contain | ; or @, which mean something in questions`, []string{"A-B"}},
	} {
		wider := *brews
		wider.Columns = append(append([]Column{}, brews.Columns...), c.column)
		row := sheetRow(goodRows["brews"])
		row[c.column.Name] = c.bad
		rec, _, faults := Decode(&wider, row, l)
		require.Equal(t, c.want, faults.Error())
		require.Nil(t, rec)
		for _, good := range c.good {
			row[c.column.Name] = good
			_, _, faults := Decode(&wider, row, l)
			require.Empty(t, faults, good)
		}
	}
}

func TestAllThatIsWrongWithCellsIsSaidAtOnce(t *testing.T) {
	row := sheetRow(goodRows["brews"])
	row["volume"], row["into"] = "much", "FV9"
	delete(row, "beer")
	_, faults := decode(t, brewery(t), "brews", row)
	require.Len(t, faults, 3)
}
