package lots

import (
	"maps"
	"math/big"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// NIST SP 811 (2008), table 6: 1 t = 1000 kg; table 6: L or l for the litre. NIST Handbook 44,
// appendix C, avoirdupois: 16 oz to the pound. 27 CFR 25.11: 31 gallons to the barrel. The
// abbreviations are common practice.
func TestUsualSpellingsOfUnits(t *testing.T) {
	for want, words := range map[Unit][]string{
		"kg": {"kg", "KG", "kgs", "Kilos", "kg."}, "g": {"g", "gr", "grams"}, "lb": {"lbs", "LB", "lb.", "Pounds"}, "oz": {"oz", "ounces"},
		"hL": {"hl", "HL", "hectolitres"}, "L": {"l", "ltr", "litre", "litres", "liter", "Liters"}, "mL": {"ml", "ML"},
		"bbl": {"bbls", "BBL"}, "gal": {"gallon", "gallons", "gals"}, "each": {"ea", "pc", "pcs", "PCS", "pieces", "no.", "nos"}, "case": {"cases", "Case", "cs"},
	} {
		for _, w := range words {
			got, err := ParseUnit(w)
			require.NoError(t, err, w)
			require.Equal(t, want, got, w)
		}
	}
	for word, want := range map[string]string{
		"ton":  `"ton" is not a unit here: a short ton (US) is 2000 lb, a long ton 2240 lb and a tonne 1000 kg: write lb, kg or t`,
		"kegs": `"kegs" is not a unit here: a keg of what? Write each for kegs that are counted, or L for what is in them`,
		"t":    `"t" cannot be used by itself: write the quantity in kg`,
	} {
		_, err := ParseUnit(word)
		require.EqualError(t, err, want)
	}
	tonne, err := spelledUnit("T")
	require.NoError(t, err)
	kilograms, ok := tonne.in(big.NewRat(5, 2), "kg")
	require.True(t, ok)
	require.Equal(t, "2500", kilograms)
}

func desk(t testing.TB) Manner {
	berlin := zone(t, "Europe/Berlin")
	return Manner{Now: time.Date(2026, 3, 4, 23, 30, 0, 0, time.UTC), Zone: berlin}
}

func TestPlain(t *testing.T) {
	at, file := desk(t), Manner{File: true}
	comma, commaFile := at, Manner{File: true, Decimal: Comma}
	comma.Decimal = Comma
	for _, c := range []struct {
		name, sheet, row string
		manner           Manner
		want             string
		doubt            string
	}{
		{"number and unit", "receipts", "quantity=60 kg", file, "quantity=60 / unit=kg", ""},
		{"without a blank", "receipts", "quantity=60KG", file, "quantity=60 / unit=kg", ""},
		{"unit said twice", "receipts", "quantity=60 kgs / unit=KG", file, "quantity=60 / unit=kg", ""},
		{"unit of another name", "receipts", "quantity=60 / unit=Lbs.", file, "quantity=60 / unit=lb", ""},
		{"tonnes", "receipts", "quantity=2.5 t", file, "quantity=2500 / unit=kg", ""},
		{"tonnes in their column", "receipts", "quantity=2.5 / unit=T", file, "quantity=2500 / unit=kg", ""},
		{"tonnes of two numbers", "transfers", "out=1.5 / in=1.25 / unit=t", file, "out=1500 / in=1250 / unit=kg", ""},
		{"two units of one kind", "transfers", "out=49 hL / in=4850 L", file, "out=49 / in=48.5 / unit=hL", ""},
		{"volume with a unit of its own", "additions", "quantity=5 kg / volume=2 litres", file, "quantity=5 / unit=kg / volume=2 / volume_unit=L", ""},
		{"brewed", "brews", "volume=50HL / plato=12.345", file, "volume=50 / unit=hL / plato=12.345", ""},
		{"capacity", "vessels", "capacity=3 t / kind=Silo", file, "capacity=3000 / unit=kg / kind=silo", ""},
		{"item in tonnes", "items", "unit=t", file, "unit=kg", ""},
		{"numbers", "receipts", "quantity=20000 no.", file, "quantity=20000 / unit=each", ""},
		{"kegs received", "receipts", "quantity=20 kegs", file, "quantity=20 / unit=each", ""},
		{"kegs dumped", "removals", "subject=K1/R-2 / quantity=1 keg", file, "subject=K1/R-2 / quantity=1 / unit=each", ""},
		{"cases shipped", "shipments", "unit=P-1 / quantity=80 cases", file, "unit=P-1 / quantity=80", ""},
		{"kegs on a pallet of cases", "shipments", "unit=P-1 / quantity=80 kegs", file, "unit=P-1 / quantity=80 kegs", ""},
		{"keg shipped", "shipments", "unit=K1/R-2 / quantity=1 keg", file, "unit=K1/R-2 / quantity=1", ""},
		{"beer in bulk", "shipments", "unit=BT2 / quantity=20 hl", file, "unit=BT2 / quantity=20 / quantity_unit=hL", ""},
		{"spent grain", "shipments", "unit=B-1 / quantity=1.2 t", file, "unit=B-1 / quantity=1200 / quantity_unit=kg", ""},
		{"minutes", "lines", "margin_min=5 min / residue=YES", file, "margin_min=5 / residue=yes", ""},
		{"millilitres and days", "products", "container_ml=440 ml / shelf_life_days=180 days", file, "container_ml=440 / shelf_life_days=180", ""},
		{"all of it", "removals", "quantity=ALL / reason=Dumped", file, "quantity=all / reason=dumped", ""},
		{"as recorded", "receipts", "quantity=012.50 / unit=kg / status=hold / received_at=2026-03-01", file, "quantity=012.50 / unit=kg / status=hold / received_at=2026-03-01", ""},
		{"blank between thousands", "receipts", "quantity=1 250 kg", file, "quantity=1250 / unit=kg", ""},
		{"both signs", "receipts", "quantity=1.250,5 kg", file, "quantity=1250.5 / unit=kg", ""},
		{"doubt in a file", "receipts", "quantity=12.000 / unit=kg", file, "quantity=12 / unit=kg", "quantity: 12.000 read as 12 kg; if you meant twelve thousand, write 12000"},
		{"doubt with its unit", "receipts", "quantity=12.000 kg", at, "quantity=12 / unit=kg", "quantity: 12.000 read as 12 kg; if you meant twelve thousand, write 12000"},
		{"doubt by the comma", "receipts", "quantity=12.000 kg", comma, "quantity=12000 / unit=kg", "quantity: 12.000 read as 12000 kg; if you meant twelve, write 12"},
		{"no doubt about tonnes", "receipts", "quantity=12.000 t", comma, "quantity=12000 / unit=kg", ""},
		{"doubt about a count", "runs", "good=9.000", at, "good=9", "good: 9.000 read as 9; if you meant nine thousand, write 9000"},
		{"no doubt about gravity", "brews", "plato=12,125", at, "plato=12.125", ""},
		{"comma at the desk", "receipts", "quantity=12,5 kg", at, "quantity=12.5 / unit=kg", ""},
		{"comma in a file with a point", "receipts", "quantity=12,5 / unit=kg", file, "quantity=12,5 / unit=kg", ""},
		{"thousands in a file with a point", "receipts", "quantity=12,000 kg", file, "quantity=12,000 / unit=kg", ""},
		{"comma in a file with commas", "receipts", "quantity=12,5 / unit=kg", commaFile, "quantity=12.5 / unit=kg", ""},
		{"point in a file with commas", "receipts", "quantity=12.5 / unit=kg", commaFile, "quantity=12.5 / unit=kg", ""},
		{"what export writes", "receipts", "quantity=12.3450 / unit=kg", commaFile, "quantity=12.3450 / unit=kg", ""},
		{"time of today", "cleans", "at=00:15 / method=CIP", at, "at=2026-03-05 00:15 / method=cip", ""},
		{"time in a file", "cleans", "at=14:30", file, "at=14:30", ""},
		{"unknown unit", "receipts", "quantity=5 / unit=stone", file, "quantity=5 / unit=stone", ""},
		{"no number", "receipts", "quantity=much / unit=kg", file, "quantity=much / unit=kg", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := SheetNamed(c.sheet)
			row := sheetRow(c.row)
			doubts, faults := Plain(s, row, c.manner)
			require.Empty(t, faults)
			require.Equal(t, sheetRow(c.want), row)
			require.Equal(t, c.doubt, doubts.Error())
		})
	}
}

func TestPlainRefusesWhatContradictsItself(t *testing.T) {
	for _, c := range []struct {
		sheet, row string
		manner     Manner
		want       string
	}{
		{"receipts", "quantity=60 kg / unit=lb", Manner{}, "quantity: is in kg here, but unit says lb: write it once"},
		{"receipts", "quantity=60 kg / unit=t", Manner{}, "quantity: is in kg here, but unit says t: write it once"},
		{"receipts", "quantity=6 stone", Manner{}, `quantity: "stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`},
		{"receipts", "quantity=6 tons", Manner{}, `quantity: "tons" is not a unit here: a short ton (US) is 2000 lb, a long ton 2240 lb and a tonne 1000 kg: write lb, kg or t`},
		{"cleans", "at=23:50", desk(t), "at: 23:50 has not come yet: it is 00:30 in Europe/Berlin; write the day with it, such as 2026-03-04 23:50 for yesterday or 2026-03-05 23:50 for today"},
		{"transfers", "out=49 hL / in=30 bbl / unit=", Manner{}, ""},
		{"transfers", "out=49 gal / in=100 L", Manner{}, "in: is in L and cannot be written in gal: give both in one unit"},
		{"transfers", "out=49 hL / in=100 kg", Manner{}, "in: is in kg and cannot be written in hL: give both in one unit"},
		{"receipts", "quantity=12.000 / unit=kg", Manner{File: true, Decimal: Comma}, `quantity: "12.000" can be 12 or 12000: write it without thousands separators, and with a decimal comma`},
	} {
		s, _ := SheetNamed(c.sheet)
		row := sheetRow(c.row)
		if row["unit"] == "" {
			delete(row, "unit")
		}
		_, faults := Plain(s, row, c.manner)
		require.Equal(t, c.want, faults.Error())
	}
}

// The readings of the desk become records: what Plain wrote Decode understands.
func TestWhatPlainWroteIsDecoded(t *testing.T) {
	row := sheetRow("lot=M-7 / item=MALT / supplier=S-1 / supplier_lot=x / quantity=1 250,5 lbs / received_at=00:15 / status=HOLD")
	s, _ := SheetNamed("receipts")
	_, faults := Plain(s, row, desk(t))
	require.Empty(t, faults)
	rec, faults := decode(t, brewery(t), "receipts", row)
	require.Empty(t, faults)
	r := rec.(*Receipt)
	require.Equal(t, Quantity{567_217_259, Mass}, r.Qty, "1250.5 lb of 453.59237 g (NIST Handbook 44, appendix C)")
	require.Equal(t, "hold", r.Status)
	require.Equal(t, unix(t, "2026-03-05T00:15:00+01:00"), r.At.From)
}

func TestInWords(t *testing.T) {
	l := brewery(t)
	for _, c := range []struct{ sheet, row, want string }{
		{"receipts", "lot=M-9 / item=MALT / quantity=12.0 / unit=kg", "12 kg of Malt (MALT)"},
		{"receipts", "lot=C-9 / item=CAN / quantity=1 / unit=each", "1 piece of Can (CAN)"},
		{"brew_inputs", "brew=B-1 / from=M-1 / quantity=800 / unit=kg", "800 kg of Malt (MALT), lot M-1"},
		{"brew_inputs", "brew=B-1 / from=M-1|M-2 / quantity=800", "800 kg of Malt (MALT), lot M-1 or M-2"},
		{"additions", "vessel=FV1 / from=FV2 / quantity=5 / volume=5 / volume_unit=L", "5 hL, FV2, 5 L of volume added"},
		{"brews", "into=FV1 / volume=10 / unit=bbl / plato=12", "10 US bbl into FV1"},
		{"transfers", "from=FV1 / to=FV2 / out=49 / in=48.5 / unit=hL", "49 hL out of FV1, 48.5 hL into FV2"},
		{"runs", "product=PALE / good=9000 / rejects=12", "9000 good containers of Pale (PALE), 12 rejected"},
		{"units", "unit=P-9 / kind=pallet / run=R-1 / quantity=80", "80 cases of Pale (PALE), P-9"},
		{"shipments", "unit=K1/R-2 / quantity=1", "1 keg of Keg (KEG), K1/R-2"},
		{"shipments", "unit=FV1 / quantity=20", "20 hL, FV1"},
		{"shipments", "unit=B-1 / quantity=400 / quantity_unit=kg", "400 kg, B-1"},
		{"returns", "unit=K1/R-2 / quantity=1 / left=5 / left_unit=gal", "1 keg of Keg (KEG), K1/R-2, 5 US gal still in it"},
		{"removals", "subject=FV1 / quantity=all", "all, FV1"},
		{"counts", "subject=FV1 / quantity=3", "3 hL, FV1"},
		{"cleans", "vessel=FV1 / method=cip", ""},
	} {
		s, _ := SheetNamed(c.sheet)
		require.Equal(t, c.want, InWords(s, sheetRow(c.row), l.introduced, l), c.sheet)
	}
}

// Whatever stands in a row: Plain ends, keeps to the sheet's columns, and has nothing left to
// change in what it wrote unless it refused it.
func FuzzPlain(f *testing.F) {
	f.Add(uint8(6), "60 kg", "", ".", true)
	f.Add(uint8(10), "1.250,5 t", "lbs", ",", false)
	f.Add(uint8(20), "all", "KEGS", "", false)
	f.Add(uint8(6), "12.000", "T", ",", true)
	at := desk(f)
	f.Fuzz(func(t *testing.T, sheet uint8, amount, unit, sign string, file bool) {
		s := Sheets[int(sheet)%len(Sheets)]
		row := Row{}
		for _, c := range s.Columns {
			switch c.Type {
			case Number, Amount, Count, Time, YesNo, Choice, Offset:
				row[c.Name] = amount
			case UnitOf:
				row[c.Name] = unit
			}
		}
		maps.DeleteFunc(row, func(_, v string) bool { return v == "" })
		m := at
		m.File, m.Decimal = file, Decimal(sign)
		_, faults := Plain(s, row, m)
		for name := range row {
			require.True(t, s.Has(name), name)
		}
		if len(faults) > 0 {
			return
		}
		once := maps.Clone(row)
		m.Decimal = Point // what was written has a point
		for _, c := range s.Columns {
			if n, err := ReadNumeral(once[c.Name], Point, 0); err == nil && n.Other != "" {
				return // three digits behind the point
			}
		}
		Plain(s, row, m)
		require.Equal(t, once, row)
	})
}
