package doubt_test

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/doubt"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const house = `
site name=Test time_zone=UTC volume_unit=hL
items item=MALT name=malt kind=malt unit=kg
items item=YST name=yeast kind=yeast unit=L
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee
parties party=D-2 name=Two role=consignee
vessels vessel=FV kind=fermenter capacity=20 unit=hL
vessels vessel=BT kind=bright
lines line=CANS
products product=PALE name=Pale container_ml=440 per_case=24 shelf_life_days=270 date_code=BB_{year}-{month}-{day}
products product=BAD name=Bad container_ml=440 per_case=24 date_code=BB_{year}-{dd}
products product=KEG name=Keg container_ml=30000 per_case=1
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=A1 quantity=500 unit=kg received_at=2026-03-01_08:00
brews brew=B-1 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV volume=19 unit=hL plato=12
transfers transfer=T-1 from=FV to=BT out=17 in=17 unit=hL started_at=2026-03-09_08:00 ended_at=2026-03-09_09:00
runs run=R-1 product=PALE line=CANS started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00 date_code=ONE good=3840
runs run=R-2 product=KEG started_at=2026-03-10_11:00 ended_at=2026-03-10_12:00 date_code=TWO good=2
units unit=P-1 kind=pallet run=R-1 quantity=80 first_at=2026-03-10_08:00 last_at=2026-03-10_09:00
units unit=P-2 kind=pallet run=R-1 quantity=80
units unit=K-1/R-2 kind=keg run=R-2 quantity=1
shipments shipment=S-1 unit=P-1 quantity=50 consignee=D-1 shipped_at=2026-03-11_08:00
returns return=U-1 unit=P-1 quantity=10 consignee=D-1 returned_at=2026-03-12_08:00
`

// TestDoubts records one row on top of a plausible history: sound ones are met with silence.
func TestDoubts(t *testing.T) {
	doubted(t, [][2]string{
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=500 unit=kg received_at=2026-03-01_08:00", ""},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A1 quantity=500 unit=kg received_at=2026-03-01_17:00", "M-1 is the same delivery to the letter"},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A1 quantity=500 unit=kg received_at=2026-03-02_08:00", ""},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=- quantity=500 unit=kg received_at=2026-03-01_08:00", ""},
		{"receipts lot=M-2 item=MALT supplier=D-1 supplier_lot=A2 quantity=500 unit=kg received_at=2026-03-01_08:00", "D-1 is recorded as a consignee"},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=500 unit=kg received_at=2027-03-01_08:00", "received_at 2027-03-01 08:00 has not come yet"},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=500 unit=kg received_at=2026-03-20", ""},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=500 unit=kg received_at=2026-03-21", "has not come yet"},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=5 unit=hL received_at=2026-03-01_08:00 status=rejected", ""},
		{"receipts lot=M-2 item=MALT supplier=SUP supplier_lot=A2 quantity=5 unit=hL received_at=2026-03-01_08:00 into=BT status=rejected", "M-2 is recorded as rejected and as put into BT"},
		{"brews brew=B-2 beer=Pale started_at=2026-03-12_07:00 cast_out_at=2026-03-12_13:00 into=FV volume=180 unit=hL", "180 hL went into FV, which holds 20 hL"},
		{"brews brew=B-2 beer=Pale started_at=2026-03-12_07:00 cast_out_at=2026-03-12_13:00 into=FV volume=10 unit=hL plato=120", "120 °P is stronger than any wort"},
		{"brews brew=B-2 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV volume=20 unit=hL", "by the books FV now has 22 hL in it and holds 20 hL"},
		{"transfers transfer=T-2 from=FV to=BT out=1 in=1.1 unit=hL started_at=2026-03-12_08:00 ended_at=2026-03-12_09:00", "more came in (1.1 hL) than went out (1 hL)"},
		{"brew_inputs brew=B-1 from=M-1 quantity=0 unit=kg ref=z", "0 of M-1: it counts as used, but every amount after it reads 0"},
		{"crops lot=Y-1 item=YST vessel=FV quantity=10 unit=L at=2026-03-12_08:00", ""},
		{"crops lot=Y-1 item=MALT vessel=FV quantity=10 unit=L at=2026-03-12_08:00", "a crop of MALT, which is a malt"},
		{"runs run=R-3 product=PALE line=CANS started_at=2026-03-10_09:00 ended_at=2026-03-10_11:00 date_code=BB_2026-12-05 good=24", "run R-1 was on CANS at the same time"},
		{"runs run=R-3 product=PALE line=CANS started_at=2026-03-10_10:00 ended_at=2026-03-10_11:00 date_code=BB_2026-12-05 good=24", ""},
		{"units unit=K-1/R-2 kind=keg run=R-2 quantity=1 place=dock", "keg filling K-1/R-2 has 2 kegs now"},
		{"shipments shipment=S-2 unit=P-1 quantity=40 consignee=D-2 shipped_at=2026-03-13_08:00", ""},
		{"shipments shipment=S-2 unit=P-1 quantity=41 consignee=D-2 shipped_at=2026-03-13_08:00", "more has left P-1 than was on it: 80 packed, 91 shipped, 10 returned"},
		{"shipments shipment=S-2 unit=P-1 quantity=10 consignee=SUP shipped_at=2026-03-13_08:00", "SUP is recorded as a supplier"},
		{"shipments shipment=S-2 unit=P-1 quantity=10 consignee=D-2 shipped_at=2026-03-09_08:00", "P-1 was not packed before 2026-03-10 08:00"},
		{"shipments shipment=S-2 unit=P-2 quantity=10 consignee=D-2 shipped_at=2026-03-09_08:00", "P-2 was not packed before 2026-03-10 08:00"},
		{"shipments shipment=S-2 unit=P-1|P-2 quantity=120 consignee=D-2 shipped_at=2026-03-13_08:00", ""},
		{"shipments shipment=S-2 unit=P-1|P-2 quantity=121 consignee=D-2 shipped_at=2026-03-13_08:00", "121 were shipped of P-1 or P-2, which had 120 between them"},
		{"returns return=U-2 unit=P-1 quantity=40 consignee=D-1 returned_at=2026-03-13_08:00", ""},
		{"returns return=U-2 unit=P-1 quantity=41 consignee=D-1 returned_at=2026-03-13_08:00", "D-1 got 50 of P-1 and has sent back 51"},
		{"returns return=U-2 unit=P-1 quantity=41 consignee=D-1 returned_at=2026-03-13_08:00", "MORE CAME BACK THAN WENT OUT: D-1 got 50"},
		{"returns return=U-2 unit=P-1|P-2 quantity=41 consignee=D-1 returned_at=2026-03-13_08:00", "MORE CAME BACK THAN WENT OUT: D-1 got 50 of P-1 or P-2"},
		{"returns return=U-2 unit=P-1|P-2 quantity=40 consignee=D-1 returned_at=2026-03-13_08:00", ""},
		{"returns return=U-2 unit=P-1 quantity=41 consignee=D-2 returned_at=2026-03-13_08:00", "P-1 was never shipped to D-2|MORE CAME BACK THAN WENT OUT: 50 of P-1 were shipped in all, and 51 have come back"},
		{"returns return=U-2 unit=P-1 quantity=1 consignee=D-2 returned_at=2026-03-13_08:00", "P-1 was never shipped to D-2"},
		{"returns return=U-2 unit=P-1 quantity=1 consignee=D-1 returned_at=2026-03-13_08:00 state=empty", "only kegs come back empty"},
		{"removals subject=P-1 quantity=40 at=2026-03-13_08:00 reason=taproom", ""},
		{"removals subject=P-1 quantity=2000 at=2026-03-13_08:00 reason=sample", "more has left P-1 than was on it"},
		{"products product=X name=X container_ml=440 per_case=24 date_code=BB_{year}-{mon}-{dd}", "the date-code pattern cannot be used"},
		{"products product=X name=X container_ml=440 per_case=24 declares=gluten;mlik", "mlik"},
		{"items item=X name=X kind=sugar unit=kg allergens=mlik", "mlik"},
		{"items item=X name=X kind=sugar unit=kg allergens=milk", ""},
	})
}

// TestPrintedCodes records runs and changes of the code: what the pattern would not print is told of, and a pattern that cannot be used.
func TestPrintedCodes(t *testing.T) {
	doubted(t, [][2]string{
		{"runs run=R-3 product=PALE started_at=2026-03-10_23:00 ended_at=2026-03-11_01:00 date_code=BB_2026-12-06 good=24", ""},
		{"runs run=R-3 product=PALE started_at=2026-03-10_22:00 ended_at=2026-03-10_23:00 date_code=BB_2026-12-O5 good=24", `the pattern of PALE gives "BB 2026-12-05" for that day, and not "BB 2026-12-O5"`},
		{"runs run=R-3 product=PALE started_at=2026-03-10 ended_at=2026-03-10 date_code=BB_2026 good=24", ""},
		{"runs run=R-3 product=BAD started_at=2026-03-10_22:00 ended_at=2026-03-10_23:00 date_code=BB_2027-O5-2O good=24", `"BB 2027-O5-2O" is checked against nothing, for the date-code pattern of BAD cannot be used: {dd} is not a field`},
		{"runs run=R-3 product=KEG started_at=2026-03-10_22:00 ended_at=2026-03-10_23:00 date_code=anything good=1", ""},
		{"codes run=R-1 date_code=BB_2026-12-05 since=2026-03-10_09:00", ""},
		{"codes run=R-1 date_code=BB_2026-12-06 since=2026-03-10_09:00", `gives "BB 2026-12-05" for that day, and not "BB 2026-12-06"`},
	})
}

// doubted records each row by itself on top of the history, and holds what is said of it against what is wanted; nothing where that is empty.
func doubted(t *testing.T, rows [][2]string) {
	t.Helper()
	doubtedAfter(t, house, rows)
}

func doubtedAfter(t *testing.T, history string, rows [][2]string) {
	t.Helper()
	for _, c := range rows {
		row, want := c[0], c[1]
		t.Run(row, func(t *testing.T) {
			db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
			require.NoError(t, err)
			defer func() { require.NoError(t, db.Close()) }()
			db.Now = func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) }
			require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
				_, _, faults, err := tx.RecordRows(statements(history))
				require.Empty(t, faults)
				require.NoError(t, err)
				seqs, _, faults, err := tx.RecordRows(statements(row))
				require.Empty(t, faults)
				require.NoError(t, err)
				got, err := doubt.Of(tx, seqs[0])
				require.NoError(t, err)
				if want == "" {
					require.Empty(t, got)
					return nil
				}
				wants := strings.Split(want, "|")
				require.Len(t, got, len(wants))
				for i, want := range wants {
					require.Contains(t, got[i], want)
				}
				return nil
			}))
		})
	}
}

func statements(text string) []store.Statement {
	var out []store.Statement
	for _, r := range histories.Entered(histories.Written(text)) {
		out = append(out, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
	}
	return out
}

// What is typed in after a clean, and by its time came in before that, is gone by the books: that is told, and not where
// it had been drawn off by then, or came in after.
func TestGoneAtAClean(t *testing.T) {
	cleaned := house + "cleans vessel=BT at=2026-03-12_23:10 method=cip\ncleans vessel=FV at=2026-03-12_23:10 method=rinse\n"
	brew := "brews brew=B-2 beer=Pale started_at=2026-03-12_15:00 volume=15 unit=hL cast_out_at=2026-03-12_"
	transfer := "transfers transfer=T-2 from=FV to=BT out=2 in=2 unit=hL started_at=2026-03-12_"
	doubtedAfter(t, cleaned, [][2]string{
		{brew + "22:40 into=BT", "this went into BT before its clean on 2026-03-12 23:10, and 32 hL went down the drain then"},
		{brew + "23:40 into=BT", ""},
		{brew + "22:40 into=FV", ""}, // a rinse is no break
		{transfer + "08:00 ended_at=2026-03-12_09:00", "heeltap amend T-2 ended_at=…, or heeltap amend 2"},
		{transfer + "23:15 ended_at=2026-03-12_23:40", ""},
	})
	drawn := "transfers transfer=T-3 from=BT to=FV out=31 in=31 unit=hL started_at=2026-03-12_22:45 ended_at=2026-03-12_23:00\n"
	doubtedAfter(t, cleaned+drawn, [][2]string{{brew + "22:40 into=BT", ""}})
}
