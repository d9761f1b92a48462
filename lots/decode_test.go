package lots

import (
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// sheetRow reads a row written as column=value with " / " between.
func sheetRow(text string) Row {
	row := Row{}
	for cell := range strings.SplitSeq(text, " / ") {
		name, v, _ := strings.Cut(cell, "=")
		row[name] = v
	}
	return row
}

// brewery is what the rows of the tables below may name.
func brewery(t testing.TB) *Ledger {
	t.Helper()
	var rows []Entered
	for _, r := range []struct{ sheet, row string }{
		{"site", "name=Sample / time_zone=Europe/Berlin / volume_unit=hL"},
		{"items", "item=MALT / name=Malt / kind=malt / unit=kg"},
		{"items", "item=CAN / name=Can / kind=container / unit=each"},
		{"items", "item=YEAST / name=Yeast / kind=yeast / unit=L"},
		{"parties", "party=S-1 / name=Supplier / role=supplier"},
		{"vessels", "vessel=FV1 / kind=fermenter / unit=hL"},
		{"vessels", "vessel=FV2 / kind=fermenter"},
		{"vessels", "vessel=SILO / kind=silo / unit=kg"},
		{"vessels", "vessel=HOSE / kind=path"},
		{"lines", "line=LINE"},
		{"products", "product=PALE / name=Pale / container_ml=500 / per_case=24"},
		{"products", "product=KEG / name=Keg / container_ml=30000 / per_case=1"},
		{"receipts", "lot=M-1 / item=MALT / supplier=S-1 / supplier_lot=x / quantity=1000 / unit=kg / received_at=2026-03-01"},
		{"receipts", "lot=M-2 / item=MALT / supplier=S-1 / supplier_lot=y / quantity=1000 / unit=kg / received_at=2026-03-01 / into=SILO"},
		{"receipts", "lot=C-1 / item=CAN / supplier=S-1 / supplier_lot=z / quantity=1000 / unit=each / received_at=2026-03-01"},
		{"receipts", "lot=C-2 / item=CAN / supplier=S-1 / supplier_lot=z2 / quantity=1000 / unit=each / received_at=2026-03-01"},
		{"brews", "brew=B-1 / beer=Pale / started_at=2026-03-02 06:00 / cast_out_at=2026-03-02 14:00 / into=FV1 / volume=50 / unit=hL"},
		{"runs", "run=R-1 / product=PALE / started_at=2026-03-18 08:00 / ended_at=2026-03-18 10:00 / date_code=L1 / good=9000"},
		{"runs", "run=R-2 / product=KEG / started_at=2026-03-18 08:00 / ended_at=2026-03-18 10:00 / date_code=L1 / good=9"},
		{"units", "unit=P-1 / kind=pallet / run=R-1 / quantity=80"},
		{"units", "unit=K1/R-2 / kind=keg / run=R-2 / quantity=1"},
	} {
		s, ok := SheetNamed(r.sheet)
		require.True(t, ok)
		rows = append(rows, Entered{Seq: int64(len(rows) + 1), Sheet: s, Row: sheetRow(r.row)})
	}
	l, faults := NewLedger(rows)
	require.Empty(t, faults)
	return l
}

// good rows, one a sheet, which the tables of faults change one cell at a time.
var goodRows = map[string]string{
	"site":         "name=Sample / time_zone=Europe/Berlin / volume_unit=hL / mass_unit=lb",
	"items":        "item=HOP / name=Hop / kind=hop / unit=kg / allergens=sulphite; gluten / extract_pct=80.5",
	"parties":      "party=C-1 / name=Depot / role=consignee / channel=distributor",
	"vessels":      "vessel=BT1 / kind=bright / capacity=60 / unit=hL",
	"lines":        "line=L2 / rate_per_min=60 / margin_min=3 / overlap_min=1.5 / residue=yes",
	"products":     "product=P2 / name=Pale / container_ml=440 / per_case=24 / cases_per_pallet=80 / declares=gluten / shelf_life_days=180",
	"receipts":     "lot=M-9 / item=MALT / supplier=S-1 / supplier_lot==1+1 / quantity=20.25 / unit=kg / received_at=2026-03-01 / into=SILO / status=hold / by=kim",
	"brews":        "brew=B-2 / beer=Pale / started_at=2026-03-02 06:00 / cast_out_at=2026-03-02 14:00 / into=FV2 / volume=50 / unit=hL / plato=12.1",
	"brew_inputs":  "brew=B-1 / from=M-1 / quantity=800 / unit=kg / stage=pitch",
	"additions":    "vessel=FV1 / from=M-1|M-2 / quantity=5 / unit=kg / at=2026-03-06 10:00 / volume=2 / volume_unit=L",
	"transfers":    "transfer=T-1 / from=FV1 / to=FV2 / out=49 / in=48.5 / unit=hL / started_at=2026-03-16 08:00 / ended_at=2026-03-16 09:30 / via=HOSE;LINE",
	"circulations": "vessels=FV1; FV2 / started_at=2026-03-16 10:00 / ended_at=2026-03-16 11:00",
	"crops":        "lot=Y-1 / item=YEAST / vessel=FV1 / quantity=15 / unit=L / at=2026-03-12 / into=SILO",
	"cleans":       "vessel=LINE / at=2026-03-17 / method=cip / verified=no / from=M-1|M-2",
	"clearances":   "line=LINE / at=2026-03-18 07:40 / ref=x",
	"tippings":     "from=C-1 / into=C-2 / quantity=400 / at=2026-03-18 12:00 / ref=x",
	"runs":         "run=R-9 / product=PALE / line=LINE / started_at=2026-03-18 08:00 / ended_at=2026-03-18 10:30 / date_code=L9 / good=9000 / rejects=12 / clock_offset_min=-1.5",
	"codes":        "run=R-1 / date_code=L2 / since=2026-03-18 09:00 / until=2026-03-18 09:30",
	"feeds":        "run=R-1 / from=C-1 / quantity=500 / unit=each / since=2026-03-18 08:00 / until=2026-03-18 09:00 / overlap_min=0",
	"units":        "unit=K2/R-2 / kind=keg / run=R-2 / quantity=1 / first_at=2026-03-18 08:00 / last_at=2026-03-18 08:01 / washed_at=2026-03-17 / washer=LINE",
	"shipments":    "shipment=SH-1 / unit=P-1 / quantity=80 / consignee=S-1 / shipped_at=2026-03-20 07:00",
	"returns":      "return=RT-1 / unit=K1/R-2 / quantity=1 / consignee=S-1 / returned_at=2026-03-25 / state=part / left=5 / left_unit=L",
	"removals":     "subject=P-1 / quantity=12 / unit=each / at=2026-03-19 / reason=sample",
	"counts":       "subject=FV1 / quantity=3 / at=2026-03-26",
	"holds":        "subject=R-1 / at=2026-03-26 08:00 / reason=label / by=kim / released_at=2026-03-27 / released_by=lee / release_reason=ok",
}

func decode(t testing.TB, l Lookup, sheet string, row Row) (Record, Faults) {
	t.Helper()
	s, ok := SheetNamed(sheet)
	require.True(t, ok)
	rec, _, faults := Decode(s, row, l)
	return rec, faults
}

func TestDecodeGoodRows(t *testing.T) {
	l := brewery(t)
	berlin := l.Site().Zone
	day := func(s string) When { w, _, err := ParseWhen(s, berlin); require.NoError(t, err); return w }
	lot := func(codes ...string) Ref { return Ref{KindLot, codes} }
	want := map[string]Record{
		"site":    &Site{Name: "Sample", Zone: berlin, VolumeUnit: "hL", MassUnit: "lb"},
		"items":   &Item{Code: "HOP", Name: "Hop", Kind: "hop", Unit: "kg", Allergens: []string{"sulphite", "gluten"}, ExtractPct: 80.5},
		"parties": &Party{Code: "C-1", Name: "Depot", Role: "consignee", Channel: "distributor"},
		"vessels": &Vessel{Code: "BT1", Kind: "bright", Capacity: 60, Unit: "hL"},
		"lines":   &Line{Code: "L2", RatePerMin: 60, Margin: 180, Overlap: 90, Residue: true, HasResidue: true},
		"products": &Product{Code: "P2", Name: "Pale", ContainerML: 440, PerCase: 24, CasesPerPallet: 80, Declares: []string{"gluten"},
			ShelfLifeDays: 180},
		"receipts": &Receipt{Meta: Meta{By: "kim"}, Lot: "M-9", Item: "MALT", Supplier: "S-1", SupplierLot: "=1+1", Qty: Quantity{20_250_000, Mass}, Unit: "kg",
			At: day("2026-03-01"), Into: "SILO", Status: "hold"},
		"brews":       &Brew{Brew: "B-2", Beer: "Pale", Into: "FV2", Started: day("2026-03-02 06:00"), CastOut: day("2026-03-02 14:00"), Volume: 5_000_000, Unit: "hL", Plato: 12.1},
		"brew_inputs": &BrewInput{Brew: "B-1", From: lot("M-1"), Qty: Quantity{800_000_000, Mass}, AtCast: true, Stage: "pitch"},
		"additions":   &Addition{Vessel: "FV1", From: lot("M-1", "M-2"), Qty: Quantity{5_000_000, Mass}, At: day("2026-03-06 10:00"), Volume: 2_000, HasVolume: true},
		"transfers": &Transfer{Transfer: "T-1", From: Ref{KindVessel, []string{"FV1"}}, To: "FV2", Out: 4_900_000, In: 4_850_000,
			Started: day("2026-03-16 08:00"), Ended: day("2026-03-16 09:30"), Via: []string{"HOSE", "LINE"}},
		"circulations": &Circulation{Vessels: []string{"FV1", "FV2"}, Started: day("2026-03-16 10:00"), Ended: day("2026-03-16 11:00")},
		"crops":        &Crop{Lot: "Y-1", Item: "YEAST", Vessel: "FV1", Into: "SILO", Qty: Quantity{15_000, Volume}, Unit: "L", At: day("2026-03-12")},
		"cleans":       &Clean{Subject: Ref{KindLine, []string{"LINE"}}, At: day("2026-03-17"), Method: "cip", From: lot("M-1", "M-2")},
		"clearances":   &Clearance{Line: "LINE", At: day("2026-03-18 07:40")},
		"tippings":     &Tipping{From: lot("C-1"), Into: "C-2", Qty: Quantity{400, Pieces}, At: day("2026-03-18 12:00")},
		"runs": &Run{Run: "R-9", Product: "PALE", Line: "LINE", DateCode: "L9", Started: day("2026-03-18 08:00"), Ended: day("2026-03-18 10:30"),
			Good: 9000, Rejects: 12, ClockOffset: -90, ClockChecked: true},
		"codes": &CodeChange{Run: "R-1", DateCode: "L2", Since: day("2026-03-18 09:00"), Until: day("2026-03-18 09:30"), HasUntil: true},
		"feeds": &Feed{Run: "R-1", From: lot("C-1"), Qty: Quantity{500, Pieces}, HasQty: true, Since: day("2026-03-18 08:00"), Until: day("2026-03-18 09:00"),
			HasSince: true, HasUntil: true, HasOverlap: true},
		"units": &Packed{Unit: "K2/R-2", UnitKind: "keg", Run: "R-2", Quantity: 1, First: day("2026-03-18 08:00"), Last: day("2026-03-18 08:01"),
			HasFirst: true, HasLast: true, Washed: true, WashedAt: day("2026-03-17"), Washer: "LINE"},
		"shipments": &Shipment{Shipment: "SH-1", Unit: Ref{KindUnit, []string{"P-1"}}, Quantity: 80, Consignee: "S-1", At: day("2026-03-20 07:00")},
		"returns": &Return{Return: "RT-1", Unit: Ref{KindUnit, []string{"K1/R-2"}}, Quantity: 1, Consignee: "S-1", State: "part", At: day("2026-03-25"),
			LeftML: 5_000, HasLeft: true},
		"removals": &Removal{Subject: Ref{KindUnit, []string{"P-1"}}, Qty: Quantity{12, Pieces}, Count: 0.5, At: day("2026-03-19"), Reason: "sample"},
		"counts":   &StockCount{Subject: Ref{KindVessel, []string{"FV1"}}, Qty: Quantity{300_000, Volume}, At: day("2026-03-26")},
		"holds": &Hold{Meta: Meta{By: "kim"}, Subject: Ref{KindRun, []string{"R-1"}}, At: day("2026-03-26 08:00"), Reason: "label", Released: true, ReleasedAt: day("2026-03-27"),
			ReleasedBy: "lee", ReleaseReason: "ok"},
	}
	require.Len(t, want, len(Sheets))
	for _, s := range Sheets {
		rec, faults := decode(t, l, s.Name, sheetRow(goodRows[s.Name]))
		require.Empty(t, faults, s.Name)
		require.Equal(t, want[s.Name], rec, s.Name)
	}
}

// What leaves in bulk is a record of its own: a unit's cases are never added to litres or kilograms.
func TestDecodeShipmentsInBulk(t *testing.T) {
	l := brewery(t)
	for _, c := range []struct {
		row  string
		want *Bulk
		bad  string
	}{
		{row: "unit=FV1 / quantity=20 / quantity_unit=L", want: &Bulk{From: Ref{KindVessel, []string{"FV1"}}, Qty: Quantity{20_000, Volume}, Unit: "L"}},
		{row: "unit=FV1|FV2 / quantity=20", want: &Bulk{From: Ref{KindVessel, []string{"FV1", "FV2"}}, Qty: Quantity{2_000_000, Volume}, Unit: "hL"}},
		{row: "unit=M-1 / quantity=25", want: &Bulk{From: Ref{KindLot, []string{"M-1"}}, Qty: Quantity{25_000_000, Mass}, Unit: "kg"}},
		{row: "unit=B-1 / quantity=400 / quantity_unit=lb / goods=spent grain", want: &Bulk{From: Ref{KindBrew, []string{"B-1"}}, Qty: Quantity{181_436_948, Mass}, Unit: "lb", Goods: "spent grain"}},
		{row: "unit=B-1 / quantity=400", want: &Bulk{From: Ref{KindBrew, []string{"B-1"}}, Qty: Quantity{400_000_000, Mass}, Unit: "kg"}},
		{row: "unit=B-1 / quantity=4 / quantity_unit=each", bad: "quantity_unit: what is left of a brew is weighed or measured in volume, not in each"},
		{row: "unit=M-1 / quantity=4 / quantity_unit=L", bad: "quantity_unit: lot M-1 is kept in kg (mass); L is a unit of volume"},
		{row: "unit=FV1 / quantity=0", bad: "quantity: must be more than zero"},
		{row: "unit=FV1|M-1 / quantity=1", bad: "unit: FV1 is a vessel and M-1 a lot: name alternatives of one kind"},
	} {
		row := sheetRow("shipment=SH-2 / consignee=S-1 / shipped_at=2026-03-20 07:00 / " + c.row)
		rec, faults := decode(t, l, "shipments", row)
		require.Equal(t, c.bad, faults.Error(), c.row)
		if c.want == nil {
			require.Nil(t, rec)
			continue
		}
		c.want.Shipment, c.want.Consignee, c.want.At = "SH-2", "S-1", rec.(*Bulk).At
		require.Equal(t, c.want, rec, c.row)
	}
}

// Rejects are counted in containers: they never stood in cases.
func TestDecodeRejects(t *testing.T) {
	l := brewery(t)
	for _, c := range []struct {
		row   string
		qty   Quantity
		count float64
	}{
		{"from=R-1 / quantity=121 / unit=each", Quantity{121, Pieces}, 121},
		{"from=R-1 / quantity=2 / unit=case", Quantity{2, Cases}, 48},
		{"from=R-1|R-2 / quantity=5 / unit=L", Quantity{5_000, Volume}, 10},
	} {
		rec, faults := decode(t, l, "additions", sheetRow("vessel=FV1 / at=2026-03-20 07:00 / "+c.row))
		require.Empty(t, faults, c.row)
		require.Equal(t, KindRun, rec.(*Addition).From.Kind)
		require.Equal(t, c.qty, rec.(*Addition).Qty, c.row)
		require.InDelta(t, c.count, rec.(*Addition).Count, 1e-12, c.row)
	}
}

func TestDecodeBadRows(t *testing.T) {
	l := brewery(t)
	for _, c := range []struct{ sheet, change, want string }{
		{"site", "time_zone=Berlin", `time_zone: "Berlin" is not a known time zone: write one such as Europe/Berlin`},
		{"site", "time_zone=Local", `time_zone: "Local" is not a known time zone: write one such as Europe/Berlin`},
		{"site", "volume_unit=kg", "volume_unit: kg is not a unit of volume"},
		{"site", "mass_unit=L", "mass_unit: L is not a unit of mass"},
		{"items", "kind=malts", `kind: "malts" is not one of malt, hop, yeast, adjunct, fruit, sugar, finings, salt, enzyme, acid, gas, water, container, closure, label, carrier, carton, chemical, other`},
		{"items", "extract_pct=101", "extract_pct: is more than 100"},
		{"items", "colour=red", "colour: items has no such column"},
		{"items", "item=A;B", `item: "A;B": a code cannot contain | ; or @, which mean something in questions`},
		{"items", "name=a\x00b", "name: is not readable text (UTF-8)"},
		{"items", "name=\xff", "name: is not readable text (UTF-8)"},
		{"items", "name=" + strings.Repeat("x", 32_768), "name: is longer than 32767 characters"},
		{"parties", "name=", "name: is needed"},
		{"parties", "role=boss", `role: "boss" is not one of supplier, consignee, both, own`},
		{"vessels", "unit=case", "unit: a vessel holds kilograms or litres, not case"},
		{"vessels", "capacity=" + strings.Repeat("9", 20), `capacity: "99999999999999999999" is more than any brewery holds`},
		{"lines", "residue=maybe", `residue: "maybe" is neither yes nor no`},
		{"lines", "margin_min=99999999999999999999", `margin_min: "99999999999999999999" is more than any brewery holds`},
		{"lines", "overlap_min=-1", `overlap_min: "-1" is below zero: write zero or more`},
		{"products", "container_ml=0", "container_ml: must be more than zero"},
		{"products", "per_case=x", `per_case: "x" is not a number: write digits with a decimal point, such as 12.5`},
		{"products", "shelf_life_days=1.5", `shelf_life_days: "1.5" is not a whole number`},
		{"receipts", "item=MALD", `item: there is no item "MALD"; did you mean MALT?`},
		{"receipts", "item=QUINCES", `item: there is no item "QUINCES": record it first`},
		{"receipts", "supplier=FV1", "supplier: FV1 is a vessel; this needs a party"},
		{"receipts", "quantity=0", "quantity: must be more than zero"},
		{"receipts", "unit=each", "quantity: \"20.25\" is not a whole number of pieces\nunit: SILO holds kilograms or litres, not each"},
		{"receipts", "into=HOSE", "into: HOSE is a path: beer passes through it and nothing stays in it; name it in via or as a feed"},
		{"receipts", "received_at=yesterday", `received_at: "yesterday" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`},
		{"receipts", "unit=stone", `unit: "stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`},
		{"brews", "cast_out_at=2026-03-02 05:00", "cast_out_at: ends before it starts"},
		{"brews", "unit=stone", `unit: "stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`},
		{"brews", "unit=each", "unit: each is not a unit of volume"},
		{"brew_inputs", "brew=B-9", `brew: there is no brew "B-9"; did you mean B-1?`},
		{"brew_inputs", "from=HOSE", "from: HOSE is a path: beer passes through it and nothing stays in it; name it in via or as a feed"},
		{"brew_inputs", "from=M-1|FV1", "from: M-1 is a lot and FV1 a vessel: name alternatives of one kind"},
		{"brew_inputs", "from=M-1|M-1", "from: M-1 is named twice"},
		{"brew_inputs", "from=|", `from: "|" does not name anything`},
		{"brew_inputs", "unit=L", "unit: lot M-1 is kept in kg (mass); L is a unit of volume"},
		{"feeds", "from=R-1", "from: R-1 cannot be fed with its own rejects: name the tank they were emptied into"},
		{"additions", "volume=", "volume_unit: is given without a volume: give both"},
		{"additions", "from=FV1", "from: FV1 cannot be added to itself"},
		{"additions", "unit=each", "unit: lot M-1 is kept in kg (mass); each is a unit of pieces\nunit: M-2 holds kilograms or litres, not each"},
		{"transfers", "to=FV1", "to: FV1 cannot be transferred into itself"},
		{"transfers", "via=SILO", "via: SILO is a silo: via names what the beer passes through (a vessel of kind path, or a line); record two transfers instead"},
		{"transfers", "out=-1", `out: "-1" is below zero: write zero or more`},
		{"transfers", "unit=stone", `unit: "stone" is not a unit: use one of kg g lb oz hL L mL bbl gal each case`},
		{"transfers", "transfer=A/B", `transfer: "A/B": a / belongs only in a keg filling, such as K0417/R2031`},
		{"circulations", "vessels=FV1", "vessels: name two or more vessels, with ; between"},
		{"circulations", "vessels=FV1;FV1", "vessels: FV1 is named twice"},
		{"circulations", "vessels=FV1;HOSE", "vessels: HOSE is a path: beer passes through it and nothing stays in it; name it in via or as a feed"},
		{"circulations", "ended_at=2026-03-15", "ended_at: ends before it starts"},
		{"crops", "unit=each", "unit: yeast is cropped in kilograms or litres, not each"},
		{"crops", "into=FV1", "into: a crop cannot go back into the vessel it was taken from"},
		{"crops", "quantity=0.0000001", "quantity: must be more than zero"},
		{"cleans", "method=hope", `method: "hope" is not one of cip, manual, rinse, purge`},
		{"tippings", "into=C-1", `into: C-1 cannot be tipped into itself`},
		{"tippings", "into=M-1", `into: M-1 is counted in kg and cannot take what is counted otherwise`},
		{"tippings", "into=P-1", `into: P-1 is a unit; this needs a lot`},
		{"tippings", "quantity=", `quantity: is needed`},
		{"cleans", "from=P-1", `from: P-1 is a unit; this needs a lot or vessel`},
		{"cleans", "from=HOSE", `from: HOSE is a path: beer passes through it and nothing stays in it; name it in via or as a feed`},
		{"cleans", "vessel=M-1", "vessel: M-1 is a lot; this needs a vessel or line"},
		{"runs", "ended_at=2026-03-18 08:00", "ended_at: ends before it starts"},
		{"runs", "clock_offset_min=NaN", `clock_offset_min: "NaN" is not a number of minutes: write digits, with - in front where the coder was behind`},
		{"runs", "clock_offset_min=1e3", `clock_offset_min: "1e3" is not a number of minutes: write digits, with - in front where the coder was behind`},
		{"runs", "good=9,000", `good: "9,000" has a comma: write a decimal point, as in 12.5, and thousands without a separator`},
		{"codes", "until=2026-03-18 08:59", "until: ends before it starts"},
		{"feeds", "quantity=", "unit: is given without a quantity: give both"},
		{"feeds", "unit=kg", "unit: lot C-1 is kept in each (pieces); kg is a unit of mass"},
		{"feeds", "until=2026-03-18 08:00", "until: ends before it starts"},
		{"units", "unit=K2", "unit: write a keg filling as its keg and its run: K2/R-2"},
		{"units", "unit=K2/R-1", "unit: write a keg filling as its keg and its run: K2/R-2"},
		{"units", "kind=pallet", `unit: "K2/R-2": a / belongs only in a keg filling, such as K0417/R2031`},
		{"units", "quantity=0", "quantity: must be more than zero"},
		{"units", "last_at=2026-03-18 07:59", "last_at: ends before it starts"},
		{"shipments", "quantity=79.5", `quantity: "79.5" is not a whole number`},
		{"shipments", "unit=P-2", `unit: there is no unit, vessel, lot or brew "P-2"; did you mean C-2, M-2, P-1?`},
		{"shipments", "quantity_unit=L", "quantity_unit: a pallet is shipped in whole cases or kegs: leave the unit out"},
		{"shipments", "goods=spent grain", "goods: is for what leaves in bulk: what is on a unit is told by its runs"},
		{"shipments", "unit=HOSE", "unit: HOSE is a path: beer passes through it and nothing stays in it; name it in via or as a feed"},
		{"returns", "unit=FV1", "unit: FV1 is a vessel; this needs a unit: what comes back of goods shipped in bulk is a delivery of its own (heeltap receive), with the shipment as its document"},
		{"returns", "state=odd", `state: "odd" is not one of full, part, empty`},
		{"returns", "left=", "left_unit: is given without what is left: give both"},
		{"returns", "left_unit=each", "left_unit: each is not a unit of volume"},
		{"removals", "quantity=all", "quantity: all empties one vessel; give a quantity for a unit"},
		{"removals", "quantity=0.5", `quantity: "0.5" is not a whole number of pieces`},
		{"removals", "reason=", "reason: is needed"},
		{"counts", "unit=case", "unit: FV1 holds kilograms or litres, not case"},
		{"holds", "released_at=", "released_at: is needed with a release"},
		{"holds", "released_at=2026-03-25", "released_at: ends before it starts"},
		{"holds", "subject=S-1", "subject: S-1 is a party; this needs a lot, brew, vessel, run or unit"},
	} {
		t.Run(c.sheet+" "+c.change[:min(len(c.change), 40)], func(t *testing.T) {
			row := sheetRow(goodRows[c.sheet])
			name, v, _ := strings.Cut(c.change, "=")
			if row[name] = v; v == "" {
				delete(row, name)
			}
			rec, faults := decode(t, l, c.sheet, row)
			require.Equal(t, c.want, faults.Error())
			require.Nil(t, rec)
		})
	}
}

func TestEveryColumnThatIsNeededIsAskedFor(t *testing.T) {
	l := brewery(t)
	for _, s := range Sheets {
		for _, c := range s.Columns {
			row := sheetRow(goodRows[s.Name])
			delete(row, c.Name)
			_, faults := decode(t, l, s.Name, row)
			asked := slices.Contains(faults, Fault{Column: c.Name, Reason: "is needed"})
			require.Equal(t, c.Need, asked, "%s %s", s.Name, c.Name)
		}
	}
}

func TestATimeThatOccursTwiceIsAWarning(t *testing.T) {
	s, _ := SheetNamed("cleans")
	rec, warnings, faults := Decode(s, Row{"vessel": "FV1", "at": "2026-10-25 02:30", "method": "cip"}, brewery(t))
	require.Empty(t, faults)
	require.Equal(t, Faults{{Column: "at", Reason: `"2026-10-25 02:30" happens twice in Europe/Berlin: read as the first; add its offset to mean the second`}}, warnings)
	require.Equal(t, time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC).Unix(), rec.(*Clean).At.From)
}

// Whatever stands in a row: no panic; either faults that name a column of the
// row's sheet (or the one that is not) or a record within bounds.
func FuzzDecode(f *testing.F) {
	for i, s := range Sheets {
		row := sheetRow(goodRows[s.Name])
		for _, name := range slices.Sorted(maps.Keys(row)) {
			c := slices.IndexFunc(s.Columns, func(c Column) bool { return c.Name == name })
			f.Add(uint8(i), uint8(c), row[name], uint8(0), "")
			f.Add(uint8(i), uint8(c), "99999999999999999999", uint8(0), "bbl")
		}
	}
	l := brewery(f)
	f.Fuzz(func(t *testing.T, sheet, first uint8, a string, second uint8, b string) {
		s := Sheets[int(sheet)%len(Sheets)]
		row := sheetRow(goodRows[s.Name])
		set := func(column uint8, v string) {
			name := s.Columns[int(column)%len(s.Columns)].Name
			if row[name] = v; v == "" {
				delete(row, name)
			}
		}
		set(first, a)
		set(second, b)
		rec, _, faults := Decode(s, row, l)
		if len(faults) > 0 {
			require.Nil(t, rec)
			for _, bad := range faults {
				require.True(t, s.Has(bad.Column), bad.Column)
				require.NotEmpty(t, bad.Reason)
			}
			return
		}
		bounded(t, reflect.ValueOf(rec))
	})
}

// bounded checks every number of a record.
func bounded(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Pointer:
		if _, zone := v.Interface().(*time.Location); !zone {
			bounded(t, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			bounded(t, v.Field(i))
		}
	case reflect.Int64:
		require.LessOrEqual(t, max(v.Int(), -v.Int()), maxBase)
	case reflect.Float64:
		require.False(t, math.IsNaN(v.Float()))
		require.GreaterOrEqual(t, v.Float(), 0.0)
		require.LessOrEqual(t, v.Float(), float64(maxBase))
	}
}

func TestNothingIsCleanedWithWhatIsInIt(t *testing.T) {
	_, faults := decode(t, brewery(t), "cleans", Row{"vessel": "FV1", "at": "2026-03-17", "method": "rinse", "from": "FV1|FV2"})
	require.EqualError(t, faults, "from: FV1 cannot be cleaned with what is in it: name the lot or the tank of the chemical")
}
