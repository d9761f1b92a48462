package doubt_test

import (
	"fmt"
	"strings"
	"testing"
)

const dock = `
site name=Test time_zone=UTC volume_unit=hL
items item=MALT name=malt kind=malt unit=kg
items item=HOP name=hops kind=hop unit=kg
items item=YST name=yeast kind=yeast unit=L
items item=CAN name=cans kind=container unit=kg
items item=CO2 name=gas kind=gas unit=kg
items item=CAUSTIC name=caustic kind=chemical unit=L
items item=MISC name=misc kind=other unit=kg
parties party=SUP name=s role=supplier
parties party=ALT name=a role=supplier
vessels vessel=SILO kind=silo capacity=12 unit=hL
vessels vessel=BIN kind=silo capacity=12000 unit=kg
vessels vessel=GAS kind=gas capacity=5000 unit=kg
vessels vessel=FV kind=fermenter capacity=20 unit=hL
vessels vessel=BT kind=bright
vessels vessel=BR kind=brink capacity=100 unit=L
vessels vessel=TK kind=tank
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=8871 quantity=9000 unit=kg received_at=2026-03-01_08:00 best_by=2027-03-01 into=BIN
receipts lot=G-1 item=CO2 supplier=SUP supplier_lot=1 quantity=4000 unit=kg received_at=2026-03-01_08:00 into=GAS
`

const malt = "receipts lot=M-2 item=MALT supplier=SUP supplier_lot=9950/7 unit=kg received_at=2026-03-10_08:00 "

// A vessel takes no more than it can hold, with what is in it, and nothing that it is not there for.
func TestWhereADeliveryWent(t *testing.T) {
	doubtedAfter(t, dock, [][2]string{
		{malt + "quantity=3000 into=BIN", ""},
		{malt + "quantity=3001 into=BIN", "MORE THAN BIN HOLDS: it takes 12000 kg, and with this delivery there would be 12001 kg in it by the books"},
		{malt + "quantity=1200 into=SILO", ""},
		{malt + "quantity=1300 into=SILO", "it takes 12 hL, and with this delivery there would be 13 hL"},
		{malt + "quantity=99000", ""},
		{"receipts lot=G-2 item=CO2 supplier=SUP supplier_lot=2 quantity=4000 unit=kg received_at=2026-03-10_08:00 into=GAS", ""}, // what was drawn since nobody wrote down
		{"receipts lot=G-2 item=CO2 supplier=SUP supplier_lot=2 quantity=5001 unit=kg received_at=2026-03-10_08:00 into=GAS", "MORE THAN GAS HOLDS: it takes 5000 kg, and with this delivery there would be 5001 kg"},
		{"receipts lot=C-2 item=CAN supplier=SUP supplier_lot=2 quantity=100 unit=kg received_at=2026-03-10_08:00 into=FV", "WRONG VESSEL? CAN is a container, and FV is a fermenter: look where it went, and if it is not in there, heeltap amend C-2 into=…"},
		{"receipts lot=Y-2 item=YST supplier=SUP supplier_lot=2 quantity=10 unit=L received_at=2026-03-10_08:00 into=BIN", "YST is yeast, and BIN is a silo"},
		{"receipts lot=Y-2 item=YST supplier=SUP supplier_lot=2 quantity=10 unit=L received_at=2026-03-10_08:00 into=BR", ""},
		{malt + "quantity=1 into=GAS", "MALT is malt, and GAS is a gas vessel"},
		{malt + "quantity=1 into=BT", "MALT is malt, and BT is a bright tank"},
		{malt + "quantity=1 into=TK", ""},
		{"receipts lot=H-2 item=HOP supplier=SUP supplier_lot=2 quantity=1 unit=kg received_at=2026-03-10_08:00 into=BR", "HOP is a hop, and BR is a brink"},
		{"receipts lot=H-2 item=HOP supplier=SUP supplier_lot=2 quantity=1 unit=kg received_at=2026-03-10_08:00 into=FV", ""},
		{"receipts lot=H-2 item=CAUSTIC supplier=SUP supplier_lot=2 quantity=1 unit=L received_at=2026-03-10_08:00 into=BT", "CAUSTIC is a chemical, and BT is a bright tank"},
		{"receipts lot=H-2 item=CO2 supplier=SUP supplier_lot=2 quantity=1 unit=kg received_at=2026-03-10_08:00 into=BIN", "CO2 is gas, and BIN is a silo"},
		{"receipts lot=H-2 item=MISC supplier=SUP supplier_lot=2 quantity=1 unit=kg received_at=2026-03-10_08:00 into=BT", ""},
		{"crops lot=Y-1 item=YST vessel=FV quantity=1 unit=L at=2026-03-12_08:00 into=SILO", "YST is yeast, and SILO is a silo"},
		{"additions vessel=FV from=M-1 quantity=1 unit=kg at=2026-03-12_08:00", "M-1 is malt, and FV is a fermenter"},
	})
}

// A best-by date is over, or a year off what the item's other lots had, or too far off for any.
func TestBestBy(t *testing.T) {
	hop := "receipts lot=H-2 item=HOP supplier=SUP supplier_lot=2 quantity=1 unit=kg received_at=2026-03-10_08:00 "
	doubtedAfter(t, dock, [][2]string{
		{malt + "quantity=1 best_by=2027-03-20", ""},
		{malt + "quantity=1 best_by=2026-03-10", "BEST-BY VERY NEAR"},
		{malt + "quantity=1 best_by=2026-03-09", "ALREADY PAST ITS BEST-BY: best_by 2026-03-09 was over when it came in on 2026-03-10"},
		{malt + "quantity=1 best_by=2025-03-20", "heeltap amend M-2 best_by=…; if it is not, heeltap hold M-2"},
		{malt + "quantity=1 best_by=2027-09-01", ""},
		{malt + "quantity=1 best_by=2028-03-20", "BEST-BY FAR OFF: best_by 2028-03-20 is 2 years away, and no other lot of MALT came in with more than 12 months: is the year right?"},
		{malt + "quantity=1 best_by=2026-04-10", "BEST-BY VERY NEAR: best_by 2026-04-10 is 32 days away, and every other lot of MALT came in with 12 months or more"},
		{malt + "quantity=1 best_by=2026-09-10", ""},
		{hop + "best_by=2030-03-10", ""},
		{hop + "best_by=2036-03-10", "BEST-BY FAR OFF: best_by 2036-03-10 is 10 years away: is the year right?"},
		{hop + "best_by=02.2026", "ALREADY PAST"},
		{hop + "best_by=03/2026", ""},
		{hop + "best_by=05/03/2026", ""}, // may be the 5th of March or the 3rd of May
		{hop + "best_by=05/02/2026", ""},
		{hop + "best_by=02/03/2026", "ALREADY PAST"},
		{hop + "best_by=see_bag", ""},
	})
}

// A supplier's lot that is nearly one that came in before is told; one that just follows is not.
func TestNearTwins(t *testing.T) {
	for _, c := range []struct{ known, lot, want string }{
		{"HD2601/538", "HD2601/583", `NEARLY A LOT WE HAVE: supplier's lot "HD2601/583" is close to "HD2601/538" (L-0, two characters are swapped). Read the goods again: if it is the same lot, heeltap amend NEW supplier_lot="HD2601/538"`},
		{"F26-118", "F26-I18", `"F26-118" (L-0, they differ only in what is easily misread)`},
		{"F26-118", "f26-118", `"F26-118" (L-0, only upper and lower case differ)`},
		{"F26-118", "F26118", "easily misread"},
		{"F26-118", "F26-18", "a character may be missing"},
		{"F26-118", "F26-1118", "there may be one character too many"},
		{"F26-118", "F26-178", "one character differs"},
		{"F26-118", "F26-113", "one character differs"},
		{"F26-118X", "F26-118K", "one character differs"},
		{"F26-118 F26-178", "F26-178", ""},
		{"F26-118", "F26-119", ""},
		{"F26-118A", "F26-118B", ""},
		{"F26-118 F26-128", "F26-138", ""},
		{"F26-99", "F26-100", ""},
		{"F26-101 F26-103 F26-104", "F26-105", ""},
		{"A1", "A2", ""},
		{"A2", "A1", ""},
		{"2026-118", "-", ""},
		{"B26 F26-118 C26-117", "F26-1I8", `close to "F26-118"`},
		{"K-501 K-220 K-873 K-114 K-632", "K-601", ""}, // in no order, a digit is the same by chance
		{"K-501 K-220 K-873 K-114 K-632", "K-510", "two characters are swapped"},
	} {
		history := dock
		for i, lot := range strings.Fields(c.known) {
			history += fmt.Sprintf("receipts lot=L-%d item=HOP supplier=SUP supplier_lot=%s quantity=1 unit=kg received_at=2026-02-0%d\n", i, lot, i+1)
		}
		doubtedAfter(t, history, [][2]string{
			{"receipts lot=NEW item=HOP supplier=SUP quantity=5 unit=kg received_at=2026-03-10 supplier_lot=" + c.lot, c.want},
			{"receipts lot=NEW item=HOP supplier=ALT quantity=5 unit=kg received_at=2026-03-10 supplier_lot=" + c.lot, ""},
		})
	}
}

// Many years of lots that count on are no news, whatever lies between: and one out of order is.
func TestLotsThatCountOn(t *testing.T) {
	history := dock
	for i := range 120 {
		history += fmt.Sprintf("receipts lot=L-%d item=HOP supplier=SUP supplier_lot=F26-%d quantity=1 unit=kg received_at=2025-%02d-%02d\n", i, 95+2*i, 1+i/28, 1+i%28)
	}
	row := "receipts lot=NEW item=HOP supplier=SUP quantity=5 unit=kg received_at=2026-03-10 supplier_lot=F26-"
	doubtedAfter(t, history, [][2]string{{row + "335", ""}, {row + "334", ""}, {row + "332", "one character differs), \"F26-333\""}, {row + "435", "one character differs"}})
}
