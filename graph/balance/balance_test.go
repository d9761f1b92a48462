package balance_test

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph"
	"heeltap/graph/balance"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// The cubic at points computed from its published coefficients, and the hyperbola's inverse;
// 1.048 is about 12 °P by a brewing dictionary (the tolerance is what "about" allows).
func TestPlato(t *testing.T) {
	for sg, want := range map[float64]float64{1.010: 2.561, 1.030: 7.558, 1.040: 9.994, 1.048: 11.912, 1.060: 14.741, 1.080: 19.331} {
		require.InDelta(t, want, balance.PlatoOf(sg), 0.0006, "SG %g", sg)
	}
	require.Zero(t, balance.PlatoOf(1), "the cubic gives -0.003 for water")
	for plato, want := range map[float64]float64{0: 1, 5: 1.01967, 10: 1.04003, 12: 1.04838, 15: 1.06112, 20: 1.08298} {
		require.InDelta(t, want, balance.GravityOf(plato), 0.000006, "%g °P", plato)
	}
	require.InDelta(t, 12, balance.PlatoOf(1.048), 0.1, "the dictionary's point")
	for p := 1.0; p < 25; p++ { // the two fits are of one table
		require.InDelta(t, p, balance.PlatoOf(balance.GravityOf(p)), 0.06, "%g °P", p)
	}
	// 1000 L at 12 °P: 125.58 kg, worked by hand; 100 L hold about 12.6 kg, common practice.
	require.InDelta(t, 125.58, balance.ExtractKg(1000, 12), 0.005)
	require.InDelta(t, 12.6, balance.ExtractKg(100, 12), 0.05)
}

const house = `
site name=Test time_zone=UTC
items item=MALT name=malt kind=malt unit=kg extract_pct=77.5
items item=PALE name=pale kind=malt unit=kg
items item=CAN name=can kind=container unit=each
parties party=SUP name=s role=supplier
products product=P name=p container_ml=440 per_case=24
vessels vessel=FV kind=fermenter unit=L
vessels vessel=BT kind=bright unit=L
receipts lot=M item=MALT supplier=SUP supplier_lot=m quantity=5000 unit=kg received_at=2026-01-02_08:00
receipts lot=M2 item=PALE supplier=SUP supplier_lot=m2 quantity=5000 unit=kg received_at=2026-01-02_08:00
receipts lot=C item=CAN supplier=SUP supplier_lot=c quantity=20000 unit=each received_at=2026-01-02_08:00
`

func with(t *testing.T, text string, f func(tx *store.Tx)) {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "b.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Written(house + text) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)
		f(tx)
		return tx.Err()
	}))
}

func of(t *testing.T, tx *store.Tx, code string, p balance.Period) []balance.Balance {
	t.Helper()
	list, err := balance.Of(tx, code, p)
	require.NoError(t, err)
	return list
}

// A malt lot of 5,000 kg: three brews, a torn bag, a sample, 56 bags counted. One bag is missing.
func TestLot(t *testing.T) {
	with(t, `
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=6000 unit=L
brew_inputs brew=B1 from=M quantity=1200 unit=kg
brew_inputs brew=B1 from=M quantity=1200 unit=kg ref=2
brew_inputs brew=B1 from=M quantity=1150 unit=kg
brew_inputs brew=B1 from=M|M2 quantity=10 unit=kg
removals subject=M quantity=25 unit=kg at=2026-02-02_08:00 reason=dumped
removals subject=M quantity=1 unit=kg at=2026-02-02_08:00 reason=sample
counts subject=M quantity=1400 unit=kg at=2026-02-03_08:00
`, func(tx *store.Tx) {
		b := of(t, tx, "M", balance.Period{})[0]
		require.InDelta(t, 4976, b.Accounted, 1e-9)
		require.InDelta(t, 24, b.Unaccounted, 1e-9)
		require.InDelta(t, 99.52, b.Percent, 1e-9)
		require.Len(t, b.Notes, 1, "one of several is in nobody's books, and said so")
		b = of(t, tx, "M2", balance.Period{})[0]
		require.InDelta(t, 5000, b.Unaccounted, 1e-9, "what the books say is here is unaccounted for until it is counted")
		items := of(t, tx, "MALT", balance.Period{})[0]
		require.InDelta(t, 24, items.Unaccounted, 1e-9)
		feb := of(t, tx, "MALT", balance.Period{From: 1769904000, Until: 1772323200})[0] // February 2026, UTC
		require.InDelta(t, 5000, feb.Terms[0].Amount, 1e-9, "opening")
		require.Zero(t, feb.Terms[1].Amount, "received")
		require.InDelta(t, 3550, feb.Terms[2].Amount, 1e-9, "used")
		require.InDelta(t, 24, feb.Unaccounted, 1e-9, "the count of February finds the gap")
		require.InDelta(t, 1400, amountOf(feb, "closing"), 1e-9)
		march := of(t, tx, "MALT", balance.Period{From: 1772323200, Until: 1775001600})[0]
		require.InDelta(t, 1400, amountOf(march, "opening"), 1e-9)
		require.Zero(t, march.Unaccounted)
		require.Len(t, items.Notes, 1, "one of several lots of one item is told once")
	})
}

// The same wort from 200 kg of a malt of 77.5 % is possible, from 150 kg it is not.
func TestExtract(t *testing.T) {
	for kg, want := range map[string]string{"200": "brewhouse yield 81", "150": "a lot, a weight or a volume is missing", "400": "a weight is too high"} {
		with(t, `
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=1000 unit=L plato=12
brew_inputs brew=B1 from=M quantity=`+kg+` unit=kg
`, func(tx *store.Tx) {
			b := of(t, tx, "B1", balance.Period{})[1]
			require.Equal(t, "extract", b.Kind)
			require.InDelta(t, 125.58, b.Accounted, 0.005)
			require.Contains(t, strings.Join(b.Notes, "; "), want, kg)
		})
	}
}

// What an input can yield may be unknown; then so is the most, and the answer says which were left out.
func TestExtractOfTheUnknown(t *testing.T) {
	brew := "brews brew=B beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=1000 unit=L plato=12\n"
	for inputs, want := range map[string]string{
		"brew_inputs brew=B from=M quantity=100 unit=kg\nbrew_inputs brew=B from=M|M2 quantity=100 unit=kg\n": "brewhouse yield 78",
		"brew_inputs brew=B from=M quantity=120 unit=kg\nbrew_inputs brew=B from=SY quantity=100 unit=L\n":    "left out, because its yield is not known: 100 L of SY",
		"brew_inputs brew=B from=M quantity=100 unit=kg\nbrew_inputs brew=B from=BT quantity=100 unit=L\n":    "100 L of BT",
		"brew_inputs brew=B from=M quantity=300 unit=kg\nbrew_inputs brew=B from=SY quantity=100 unit=L\n":    "a weight is too high",
		"": "not known where the extract came from",
	} {
		with(t, "items item=SYRUP name=s kind=sugar unit=L\nreceipts lot=SY item=SYRUP supplier=SUP supplier_lot=s quantity=500 unit=L received_at=2026-01-02_08:00\n"+brew+inputs, func(tx *store.Tx) {
			b := of(t, tx, "B", balance.Period{})[1]
			require.Contains(t, strings.Join(b.Notes, "; "), want)
			require.Equal(t, strings.Contains(want, "too high"), b.Wrong, want)
			require.Equal(t, !strings.Contains(want, "brewhouse"), b.Open, want)
			require.NotContains(t, strings.Join(b.Notes, "; "), "more is accounted for")
		})
	}
}

// A brew split in gravity: 500 L at 18 °P and 500 L at 8 °P hold 137.69 kg, worked by hand from
// SG 1.07413 and 1.03175, not the 193 kg of 1,000 L at 18.
func TestExtractOfPartsOfOneBrew(t *testing.T) {
	with(t, `
brews brew=B beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=500 unit=L plato=18
brews brew=B beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=BT volume=500 unit=L plato=8
brew_inputs brew=B from=M2 quantity=210 unit=kg
`, func(tx *store.Tx) {
		b := of(t, tx, "B", balance.Period{})[1]
		require.InDelta(t, 500*1.07413*0.9982*0.18+500*1.03175*0.9982*0.08, b.Accounted, 0.01)
		require.False(t, b.Wrong, b.Notes)
		require.Contains(t, strings.Join(b.Notes, "; "), "brewhouse yield 80.0 %")
	})
}

// A run fed from units, from one of several tanks, or with a part in no known quantity: nothing is wrong.
func TestRunOfTheUnknown(t *testing.T) {
	with(t, `
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=BT volume=5000 unit=L
brews brew=B2 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=5000 unit=L
runs run=R product=P started_at=2026-02-10_08:00 ended_at=2026-02-10_12:00 date_code=X good=2400
feeds run=R from=FV|BT
feeds run=R from=C
units unit=P-1 kind=pallet run=R quantity=100
runs run=R2 product=P started_at=2026-02-11_08:00 ended_at=2026-02-11_12:00 date_code=Y good=1200
feeds run=R2 from=P-1 quantity=50 unit=case
`, func(tx *store.Tx) {
		list := of(t, tx, "R", balance.Period{})
		for _, b := range list[:2] {
			require.True(t, b.Open, b.Title)
			require.False(t, b.Wrong, b.Title)
			require.Contains(t, strings.Join(b.Notes, "; "), "the balance stays open")
		}
		b := of(t, tx, "R2", balance.Period{})[0]
		require.InDelta(t, 50*24*0.44, amountOf(b, "repacked")*litresIn(b.Unit), 1e-6)
		require.Zero(t, b.Unaccounted)
		require.False(t, b.Open || b.Wrong)
	})
}

// A vessel over months: what is there at the end of one is there at the start of the next; a
// dump is no loss, a clean with beer in it is one, and what was drawn from nothing is missing.
func TestVesselByMonths(t *testing.T) {
	with(t, `
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=1000 unit=L
transfers transfer=T1 from=FV to=BT out=400 in=390 unit=L started_at=2026-02-10_08:00 ended_at=2026-02-10_09:00
removals subject=FV quantity=all at=2026-03-10_08:00 reason=dumped
brews brew=B2 beer=x started_at=2026-03-12_08:00 cast_out_at=2026-03-12_14:00 into=FV volume=1000 unit=L
cleans vessel=FV at=2026-03-20_08:00 method=cip
vessels vessel=FV9 kind=fermenter unit=L
transfers transfer=T2 from=FV9 to=BT out=500 in=500 unit=L started_at=2026-02-12_08:00 ended_at=2026-02-12_09:00
`, func(tx *store.Tx) {
		months := []int64{1769904000, 1772323200, 1775001600, 1777593600} // 1 February to 1 May 2026, UTC
		var got [][]float64
		for i := range 3 {
			b := of(t, tx, "FV", balance.Period{From: months[i], Until: months[i+1]})[0]
			l := litresIn(b.Unit)
			require.Zero(t, b.Unaccounted)
			got = append(got, []float64{amountOf(b, "opening") * l, amountOf(b, "in") * l, amountOf(b, "out") * l, amountOf(b, "removed") * l, amountOf(b, "lost") * l, amountOf(b, "closing") * l})
		}
		require.Equal(t, [][]float64{{0, 1000, 400, 0, 0, 600}, {600, 1000, 0, 600, 1000, 0}, {0, 0, 0, 0, 0, 0}}, got)
		b := of(t, tx, "FV9", balance.Period{})[0]
		require.InDelta(t, -500, b.Unaccounted*litresIn(b.Unit), 1e-6)
		require.True(t, b.Wrong)
	})
}

// A malt in a silo of its own is used when it is drawn; lots in another measure are left out, and said so.
func TestItemInASilo(t *testing.T) {
	with(t, `
vessels vessel=S kind=silo unit=kg
items item=BULK name=bulk kind=malt unit=kg
receipts lot=L1 item=BULK supplier=SUP supplier_lot=l1 quantity=2000 unit=kg received_at=2026-01-05_08:00 into=S
receipts lot=L2 item=BULK supplier=SUP supplier_lot=l2 quantity=30 unit=L received_at=2026-01-05_08:00
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=1000 unit=L
brew_inputs brew=B1 from=S quantity=300 unit=kg
`, func(tx *store.Tx) {
		b := of(t, tx, "BULK", balance.Period{From: 1769904000, Until: 1772323200})[0]
		require.InDelta(t, 2000, amountOf(b, "opening"), 1e-6)
		require.InDelta(t, 300, amountOf(b, "used"), 1e-6)
		require.InDelta(t, 1700, amountOf(b, "closing"), 1e-6)
		require.Zero(t, b.Unaccounted)
		require.Contains(t, strings.Join(b.Notes, "; "), "lot L2 is kept in L and cannot be balanced in kg")
	})
}

// 4,300 L metered: 9,600 good, 134 rejects of 0.44 L, the rest lost in the line; 6 cans are open.
func TestRun(t *testing.T) {
	with(t, `
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=BT volume=5000 unit=L
runs run=R product=P started_at=2026-02-10_08:00 ended_at=2026-02-10_12:00 date_code=X good=9600 rejects=134
feeds run=R from=BT quantity=4300 unit=L
feeds run=R from=C quantity=9740 unit=each
units unit=P-1 kind=stack run=R quantity=399
`, func(tx *store.Tx) {
		list := of(t, tx, "R", balance.Period{})
		require.InDelta(t, 17.04, list[0].Unaccounted*litresIn(list[0].Unit), 1e-6)
		require.InDelta(t, 6, list[1].Unaccounted, 1e-9)
		require.InDelta(t, 1, list[2].Unaccounted, 1e-9)
		require.InDelta(t, 99.75, list[2].Percent, 1e-9)
	})
}

func litresIn(unit string) float64 {
	if unit == "hL" {
		return 100
	}
	return 1
}

// On random histories a lot's uses are what its content links carry off and what was tipped into other lots, and a vessel whose
// books are not broken balances to nothing: whatever came in went somewhere.
func TestBalancesOfRandomHistories(t *testing.T) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		db, err := store.Create(context.Background(), filepath.Join(dir, strings.Repeat("x", n%50+1)+".db"))
		require.NoError(rt, err)
		defer func() { require.NoError(rt, db.Discard()) }()
		err = db.Update(context.Background(), func(tx *store.Tx) error {
			var rows []store.Statement
			for _, r := range histories.Draw(rt) {
				sheet, _ := lots.SheetNamed(r.Sheet)
				rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
			}
			_, _, faults, err := tx.RecordRows(rows)
			if err != nil || len(faults) > 0 {
				return errors.Join(err, faults)
			}
			for _, code := range tx.CodesFrom("", lots.KindLot) {
				list, err := balance.Of(tx, code, balance.Period{})
				require.NoError(rt, err)
				used := 0.0
				for _, x := range list[0].Terms {
					if x.Name == "used" {
						used += x.Amount
					}
				}
				thing, _ := tx.Thing(code)
				_, tipped := trace.TippedOf(tx, code) // moves in the books, and over no content link
				used -= thing.Unit.Of(tipped)
				for _, node := range tx.NodesNamed(code) {
					sum, known := tx.PassedOn(node.ID)
					switch {
					case !known || node.Kind != graph.Lot || thing.ItemKind == "gas":
					case fed(tx, code): // what a feed outside its run used is written down, and went nowhere
						require.GreaterOrEqual(rt, used, thing.Unit.Of(sum)-1e-6, code)
					default:
						require.InDelta(rt, thing.Unit.Of(sum), used, 1e-6, code)
					}
				}
			}
			for _, code := range tx.CodesFrom("", lots.KindVessel) {
				checkVessel(rt, tx, code)
			}
			for _, code := range tx.CodesFrom("", lots.KindItem) {
				checkItem(rt, tx, code)
			}
			return tx.Err()
		})
		if lots.KindOf(err) == lots.Conflict { // rings are refused
			return
		}
		require.NoError(rt, err)
	})
}

// amountOf sums a balance's terms of a name.
func amountOf(b balance.Balance, name string) (sum float64) {
	for _, x := range b.Terms {
		if x.Name == name {
			sum += x.Amount
		}
	}
	return sum
}

// checkVessel looks at a vessel's balance over all time, and over periods that follow each other, cut
// also where its fills start and end: what was there at the end of one is there at the start of
// the next, and nothing is unaccounted for but what was drawn without being there.
func checkVessel(rt *rapid.T, tx *store.Tx, code string) {
	list, err := balance.Of(tx, code, balance.Period{})
	if thing, _ := tx.Thing(code); thing.VesselKind == "path" {
		require.Error(rt, err)
		return
	}
	require.NoError(rt, err)
	unit := lots.Unit(list[0].Unit)
	perBase := 1 / unit.Of(1)
	if unit.Dim() == lots.Mass {
		perBase = 1 / unit.Of(1000)
	}
	broken := 0.0 // what was drawn above what there was, mL
	cuts := []int64{1774700000, 1774800000, 1774900000}
	for _, node := range tx.NodesOf(code) {
		if node.Den > max(1, node.Total) { // solids that wait in an empty tank are shared out of 1
			broken += node.Den - node.Total
		}
		cuts = append(cuts, node.Since, max(node.Until, node.Since))
	}
	for _, d := range tx.VesselDraws(code) {
		if d.State != lineage.Drew && !d.OneOf {
			broken += d.Qty
		}
	}
	require.InDelta(rt, -broken, list[0].Unaccounted*perBase, 1, code)
	slices.Sort(cuts)
	cuts = append(append([]int64{-1 << 40}, slices.Compact(cuts)...), 1<<40)
	before, sum := 0.0, 0.0
	for i := 0; i+1 < len(cuts); i++ {
		list, err := balance.Of(tx, code, balance.Period{From: cuts[i], Until: cuts[i+1]})
		require.NoError(rt, err)
		require.InDelta(rt, before, amountOf(list[0], "opening")*perBase, 1, "%s from %d", code, cuts[i])
		require.LessOrEqual(rt, list[0].Unaccounted*perBase, 1.0, "%s from %d", code, cuts[i])
		before, sum = amountOf(list[0], "closing")*perBase, sum+list[0].Unaccounted*perBase
	}
	require.InDelta(rt, -broken, sum, 1, code)
}

// checkItem looks at an item's balance over periods that follow each other: they chain, and what
// is unaccounted for in them adds up to what is unaccounted for over all time.
func checkItem(rt *rapid.T, tx *store.Tx, code string) {
	whole, err := balance.Of(tx, code, balance.Period{})
	require.NoError(rt, err)
	unit := lots.Unit(whole[0].Unit)
	before, sum := 0.0, 0.0
	cuts := []int64{-1 << 40, 1774700000, 1774800000, 1774900000, 1 << 40}
	for i := 0; i+1 < len(cuts); i++ {
		list, err := balance.Of(tx, code, balance.Period{From: cuts[i], Until: cuts[i+1]})
		require.NoError(rt, err)
		require.InDelta(rt, before, amountOf(list[0], "opening"), unit.Of(1), "%s from %d", code, cuts[i])
		before, sum = amountOf(list[0], "closing"), sum+list[0].Unaccounted
	}
	require.InDelta(rt, whole[0].Unaccounted, sum, unit.Of(10), code)
}

func fed(tx *store.Tx, lot string) bool {
	for _, rec := range tx.Touching(lot) {
		if _, ok := rec.(*lots.Feed); ok {
			return true
		}
	}
	return false
}
