package mapping

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"heeltap/lots"
	"heeltap/lots/sheet"
)

// Days as people write them. ISO 8601 for the answer; that 03/04 is 3 April in Britain and 4 March in the United States, and
// that with points the day comes first, is common practice.
func TestDay(t *testing.T) {
	for _, c := range []struct{ text, order, want string }{
		{"2026-03-04", DayFirst, "2026-03-04"},
		{"2026-03-04 9:05", DayFirst, "2026-03-04 09:05"},
		{"03/04/2026", DayFirst, "2026-04-03"},
		{"03/04/2026", MonthFst, "2026-03-04"},
		{"3.4.26", MonthFst, "2026-04-03"},
		{"4 March 2026", "", "2026-03-04"},
		{"Wed, 4-Mar-26 14:30", "", "2026-03-04 14:30"},
		{"March 4th, 2026 2:30 pm", "", "2026-03-04 14:30"},
		{"31/02/2026", DayFirst, ""},
		{"3-11", DayFirst, ""},
		{"26A0417", DayFirst, ""},
		{"4 March 2026 noon", DayFirst, ""},
	} {
		got, ok := day(c.text, c.order)
		require.Equal(t, c.want != "", ok, c.text)
		if ok {
			require.Equal(t, c.want, got, c.text)
		}
	}
}

func TestHeadingOf(t *testing.T) {
	for text, want := range map[string][2]string{
		"Weight (kg)": {"weight", "kg"}, "Volume [hL]": {"volume", "hL"}, "Qty in kg": {"qty", "kg"}, "kg": {"quantity", "kg"},
		"Lot No.": {"lot no", ""}, "Supplier (see list)": {"supplier", ""}, "": {"", ""}, "Volume in / hL": {"volume in", "hL"},
	} {
		words, unit := headingOf(text)
		require.Equal(t, want, [2]string{words, unit}, text)
	}
}

// understand reads a CSV file by a map.
func understand(t *testing.T, m *Map, name, text string) Understood {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	tables, err := sheet.ReadTables(path)
	require.NoError(t, err)
	return m.Read(tables, sheet.Options{})
}

// means tells what a map says, by what and written.
func means(m *Map) map[string]string {
	out := map[string]string{}
	for _, r := range m.Rules {
		out[r.What+" "+r.Written] = r.Means
	}
	return out
}

func rowsOf(u Understood) (out []lots.Row) {
	for _, r := range u.Rows {
		out = append(out, r.Row)
	}
	return out
}

// One invented goods-in book with what such books have: a title, a unit in a heading, decimal commas, several lots in a
// cell, a title between, a row of totals, and texts that a spreadsheet has changed.
const goodsIn = `Goods in 2026;;;;
Date;Supplier;Material;Lot No.;Weight (kg);Remarks
02/03/2026;S-04;MALT-PALE;26A0417;1.250,5;dry
13/03/2026;S-05;HOP-A;FH12/FH13;20 / 25;
14/03/2026;S-05;HOP-A;11-Mar;40,0;
Week 12;;;;;
;;;Total;1335,5;
Date;Supplier;Material;Lot No.;Weight (kg);Remarks
15/03/2026;S-05;HOP-A;FH14/FH15;40;
`

func TestWhatABookMeans(t *testing.T) {
	m := &Map{}
	u := understand(t, m, "march.csv", goodsIn)
	require.Empty(t, u.Faults)
	said := means(m)
	for key, want := range map[string]string{
		"sheet ": "receipts", "column Date": "received_at", "column Supplier": "supplier", "column Material": "item", "column Lot No.": "supplier_lot",
		"column Weight (kg)": "quantity kg", "column Remarks": LeftOut, "always lot": Numbered, "days ": DayFirst, "decimal ": ",",
		"split Lot No.": asks, "value 11-Mar": asks,
	} {
		require.Equal(t, want, said[key], key)
	}
	require.Len(t, m.Open(), 2)
	require.Equal(t, []string{"Remarks"}, u.Pages[0].Unread)

	for i := range m.Rules {
		switch m.Rules[i].What {
		case Split:
			m.Rules[i].Means = "/"
		case Value:
			m.Rules[i].Means = "3-11"
		}
	}
	u = understand(t, m, "march.csv", goodsIn)
	require.Empty(t, m.Open())
	require.Equal(t, []lots.Row{
		{"received_at": "2026-03-02", "supplier": "S-04", "item": "MALT-PALE", "supplier_lot": "26A0417", "quantity": "1250.5", "unit": "kg"},
		{"received_at": "2026-03-13", "supplier": "S-05", "item": "HOP-A", "supplier_lot": "FH12", "quantity": "20", "unit": "kg"},
		{"received_at": "2026-03-13", "supplier": "S-05", "item": "HOP-A", "supplier_lot": "FH13", "quantity": "25", "unit": "kg"},
		{"received_at": "2026-03-14", "supplier": "S-05", "item": "HOP-A", "supplier_lot": "3-11", "quantity": "40.0", "unit": "kg"},
	}, rowsOf(u))
	require.Len(t, u.Faults, 1, "40 kg of two lots are nobody's to divide")
	require.Equal(t, 9, u.Faults[0].Line)
	require.Contains(t, u.Faults[0].Reason, "for 2 codes (FH14/FH15)")
	var left []int
	for _, l := range u.Left {
		left = append(left, l.Line)
	}
	require.Equal(t, []int{1, 2, 6, 7, 8}, left)
	require.Empty(t, u.Warnings, "what was asked is not doubted again")

	// Next month's file has another name and the same headings, in another order, and one more.
	u = understand(t, m, "april.csv", "Supplier;Date;Material;Weight (kg);Lot No.;Remarks;Price\nS-04;01/04/2026;MALT-PALE;10;26A0500;;\n")
	require.Equal(t, []lots.Row{{"received_at": "2026-04-01", "supplier": "S-04", "item": "MALT-PALE", "supplier_lot": "26A0500", "quantity": "10", "unit": "kg"}}, rowsOf(u))
	require.Equal(t, []Rule{{"march", Column, "Price", asks, "new; nothing is below it"}}, m.Open())
}

func TestDaysThatCanBeMonths(t *testing.T) {
	m := &Map{}
	understand(t, m, "in.csv", "Date,Supplier,Material,Lot No.,Weight (kg)\n03/04/2026,S-04,MALT-PALE,A1,10\n")
	require.Equal(t, asks, means(m)["days "])
	m = &Map{}
	u := understand(t, m, "in.csv", "Date,Supplier,Material,Lot No.,Weight (kg)\n03/04/2026,S-04,MALT-PALE,A1,10\n03/14/2026,S-04,MALT-PALE,A2,10\n")
	require.Equal(t, MonthFst, means(m)["days "])
	require.Equal(t, "2026-03-04", u.Rows[0].Row["received_at"])
}

// A workbook with merged cells, headings on two lines, and cells that are days and times to the spreadsheet.
func TestAWorkbook(t *testing.T) {
	f := excelize.NewFile()
	require.NoError(t, f.SetSheetName("Sheet1", "Deliveries"))
	put := func(cell string, v any) { require.NoError(t, f.SetCellValue("Deliveries", cell, v)) }
	put("A1", "Delivery")
	require.NoError(t, f.MergeCell("Deliveries", "A1", "B1"))
	put("C1", "Goods")
	require.NoError(t, f.MergeCell("Deliveries", "C1", "E1"))
	for i, text := range []string{"Date", "Supplier", "Material", "Lot", "kg"} {
		put(string(rune('A'+i))+"2", text)
	}
	put("A3", 46085) // 2026-03-04 in the calendar of 1900 (ECMA-376-1 18.17.4.1)
	style, err := f.NewStyle(&excelize.Style{NumFmt: 14})
	require.NoError(t, err)
	require.NoError(t, f.SetCellStyle("Deliveries", "A3", "A3", style))
	put("B3", "S-04")
	require.NoError(t, f.MergeCell("Deliveries", "A3", "A4"))
	require.NoError(t, f.MergeCell("Deliveries", "B3", "B4"))
	put("C3", "MALT-PALE")
	put("D3", "A1")
	put("E3", 12.5)
	put("C4", "MALT-PALE")
	put("D4", 46085)
	require.NoError(t, f.SetCellStyle("Deliveries", "D4", "D4", style))
	put("E4", 7)
	path := filepath.Join(t.TempDir(), "book.xlsx")
	require.NoError(t, f.SaveAs(path))
	tables, err := sheet.ReadTables(path)
	require.NoError(t, err)
	require.Equal(t, []string{"A1:B1", "C1:E1", "A3:A4", "B3:B4"}, tables[0].Merged)
	m := &Map{}
	u := m.Read(tables, sheet.Options{})
	require.Empty(t, u.Faults)
	require.Equal(t, lots.Row{"received_at": "2026-03-04", "supplier": "S-04", "item": "MALT-PALE", "supplier_lot": "A1", "quantity": "12.5", "unit": "kg"}, u.Rows[0].Row)
	require.Equal(t, "2026-03-04", u.Rows[1].Row["received_at"], "a merged cell says the same in each line")
	require.Equal(t, []string{"2026-03-04"}, []string{m.Open()[0].Written}, "a lot that became a day is asked for")
	require.Equal(t, Value, m.Open()[0].What)
}

func TestMapsAreReadBack(t *testing.T) {
	m := &Map{}
	understand(t, m, "march.csv", goodsIn)
	var b bytes.Buffer
	require.NoError(t, m.Write(&b))
	back, err := Read(&b)
	require.NoError(t, err)
	require.Equal(t, m, back)
}

func TestFaultyMaps(t *testing.T) {
	for text, want := range map[string]string{
		"":      "is empty",
		"a,b\n": "must begin with the headings",
		"page,what,written,means,note\nx,sheets,,receipts\n":                   "line 2: there is no rule",
		"page,what,written,means,note\nx,sheet,,reciepts\n":                    "there is no record sheet",
		"page,what,written,means,note\nx,days,,european\n":                     "day first",
		"page,what,written,means,note\nx,column,Lot\n":                         "says nothing",
		"page,what,written,means,note\nx,column,Lot,lot\nx,column,LOT,unit,\n": "says twice",
	} {
		_, err := Read(strings.NewReader(text))
		require.ErrorContains(t, err, want, text)
	}
}

// A page whose headings have changed is refused, and so is a map that speaks of columns that there are not.
func TestHeadingsThatAreNotThere(t *testing.T) {
	m, err := Read(strings.NewReader("page,what,written,means,note\nin,sheet,,receipts,\nin,column,Charge,supplier_lot,\nin,column,Mass,quantity kg,\n"))
	require.NoError(t, err)
	u := understand(t, m, "in.csv", "Date,Charge\n2026-03-04,A1\n")
	require.ErrorContains(t, u.Faults, "has not the headings that the map knows: Mass")
	m.Rules[2].Means = "quantity pallets"
	u = understand(t, m, "in.csv", "Charge,Mass\nA1,4\n")
	require.ErrorContains(t, u.Faults, "cannot be pallets")
}

func FuzzRead(f *testing.F) {
	f.Add("page,what,written,means,note\nx,sheet,,receipts,\nx,column,Lot,lot,\n")
	f.Add("page,what,written,means,note\n,name,\"A, B\",S-04 ?,supplier\n")
	f.Fuzz(func(t *testing.T, text string) {
		m, err := Read(strings.NewReader(text))
		if err != nil {
			return
		}
		var b bytes.Buffer
		require.NoError(t, m.Write(&b))
		back, err := Read(&b)
		require.NoError(t, err)
		require.Equal(t, m, back)
	})
}

// Whatever a file holds, a map proposed for it reads it without a panic, and the same again the second time.
func FuzzUnderstand(f *testing.F) {
	f.Add([]byte(goodsIn))
	f.Add([]byte("Pallet\tCases\tCustomer\tDate\nP26-0001\t60\tD-11\t3/4/26\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "x.csv")
		require.NoError(t, os.WriteFile(path, text, 0o600))
		tables, err := sheet.ReadTables(path)
		if err != nil {
			return
		}
		m := &Map{}
		m.Read(tables, sheet.Options{})
		first := append([]Rule{}, m.Rules...)
		m.Read(tables, sheet.Options{})
		require.Equal(t, first, m.Rules)
	})
}
