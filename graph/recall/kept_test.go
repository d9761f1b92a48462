package recall_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// printed lists what the public is told of a product.
func (f *floor) printed(code string) string {
	f.Helper()
	var out []string
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		for _, r := range printed.Rules(tx, s.Answer) {
			out = append(out, r.Text())
		}
		return nil
	})
	return strings.Join(out, "\n")
}

// A pallet that holds two runs and is reached by both is kept whole when a correction takes one of
// them away: with its codes, its consignees and its part of the public rule.
func TestCorrectionNarrowsNoPallet(t *testing.T) {
	f := newFloor(t, cellar+`
shipments shipment=S-5 unit=P-2 quantity=30 consignee=D-1 shipped_at=2026-03-16_15:00
units unit=P-2 kind=pallet run=R-2 quantity=20
`)
	code := f.begin("H-1", "H-2")
	f.freeze(code)
	before := f.printed(code)
	require.Contains(t, before, "ONE")
	f.amend("use-1", map[string]string{"from": "M-1"})
	require.Equal(t, []string{"brew B-1", "fill BT-1@2026-03-15T08:00", "fill FV-1@2026-03-01T13:00", "run R-1", "unit P-1", "unit P-2"}, f.kept(code))
	f.with(code, func(_ *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		require.Empty(t, s.LeftOut)
		for _, u := range s.Answer.Units {
			if u.Code == "P-2" {
				require.EqualValues(t, 100, u.Affected)
			}
		}
		return nil
	})
	require.Equal(t, before, f.printed(code))
	c, ok := f.consignee(code, "D-1")
	require.True(t, ok)
	require.InDelta(t, 30, c.Lines[0].Shipped, 0)
	require.Equal(t, []string{"ONE", "TWO"}, c.Lines[0].DateCodes)
	f.signOff(code, "P-2")
	require.NotContains(t, f.kept(code), "unit P-2")
	f.with(code, func(_ *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		for _, u := range s.Answer.Units {
			if u.Code == "P-2" {
				require.EqualValues(t, 20, u.Affected)
			}
		}
		return nil
	})
}

// Of two pallets of one run each fed by its own lot, the one that a correction takes away stays in the public rule.
func TestKeptPalletStaysPrinted(t *testing.T) {
	f := newFloor(t, cellar+`
items item=END name=end kind=closure unit=each
products product=TIMED name=Timed container_ml=440 per_case=24 date_code=BB_{year}-{month}-{day}_{hour}:{minute} shelf_life_days=180
receipts lot=E-1 item=END supplier=SUP supplier_lot=e1 quantity=9000 unit=each received_at=2026-02-01_09:00
receipts lot=E-2 item=END supplier=SUP supplier_lot=e2 quantity=9000 unit=each received_at=2026-02-01_09:00
receipts lot=E-3 item=END supplier=SUP supplier_lot=e3 quantity=9000 unit=each received_at=2026-02-01_09:00
runs run=R-5 product=TIMED started_at=2026-03-20_08:00 ended_at=2026-03-20_10:00 date_code=BB_2026-09-16 good=3840
feeds run=R-5 from=BT-1
feeds run=R-5 from=E-1 until=2026-03-20_09:00 ref=first
feeds run=R-5 from=E-2 since=2026-03-20_09:00
units unit=P-A kind=pallet run=R-5 quantity=80 first_at=2026-03-20_08:00 last_at=2026-03-20_09:00
units unit=P-B kind=pallet run=R-5 quantity=80 first_at=2026-03-20_09:00 last_at=2026-03-20_10:00
`)
	code := f.begin("E-1", "E-2")
	f.freeze(code)
	before := f.printed(code)
	f.amend("first", map[string]string{"from": "E-3"})
	require.Contains(t, f.kept(code), "unit P-A")
	require.Equal(t, before, f.printed(code))
}

// What a version knew as loose cases of a run, and was tagged since, is kept with the run.
func TestTaggedSinceIsKept(t *testing.T) {
	f := newFloor(t, cellar+`
runs run=R-4 product=PALE started_at=2026-03-19_08:00 ended_at=2026-03-19_09:00 date_code=FOUR good=480
feeds run=R-4 from=BT-1
`)
	code := f.begin("H-1")
	f.freeze(code)
	f.write("units unit=P-20 kind=pallet run=R-4 quantity=20")
	f.amend("use-1", map[string]string{"from": "H-2"})
	require.Contains(t, f.kept(code), "unit P-20")
	require.Contains(t, f.hold(code), "P-20")
}

// A signature covers the corrections before it, and none after it.
func TestSignatureIsForWhatWasSeen(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("use-2", map[string]string{"from": "H-2"})
	f.signOff(code)
	require.Empty(t, f.kept(code))
	f.amend("use-2", map[string]string{"from": "H-1"})
	require.Empty(t, f.kept(code), "it is in again")
	f.amend("use-2", map[string]string{"from": "H-2"})
	require.Equal(t, []string{"brew B-3", "fill FV-3@2026-03-03T13:00", "run R-3", "unit P-3"}, f.kept(code))
}

// A tank that was suspected by its name is followed when the time of what filled it is put right.
func TestSuspectTankIsFollowed(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("BT-1")
	f.amend("T-1", map[string]string{"started_at": "2026-03-15 08:01"})
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		require.Len(t, s.Lost, 1)
		require.Equal(t, []string{"fill:BT-1@2026-03-15T08:01"}, s.Lost[0].StandsIn)
		require.True(t, s.HasLeft(tx))
		return nil
	})
	require.Contains(t, f.hold(code), "BT-1")
	f.void("T-1") // nothing stands in any more
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		require.Empty(t, s.Lost[0].StandsIn)
		require.True(t, s.HasLeft(tx), "what cannot be traced cannot be said to be here")
		return nil
	})
}

// What is used up by the books and was counted since is here, and is held.
func TestCountedIsHeld(t *testing.T) {
	f := newFloor(t, cellar+`
counts subject=H-1 quantity=3 unit=kg at=2026-03-30_08:00
removals subject=BT-1 quantity=4310.4 unit=L at=2026-03-20_08:00 reason=loss
counts subject=BT-1 quantity=2000 unit=L at=2026-03-30_08:00
`)
	code := f.begin("H-1")
	held := f.hold(code)
	require.Contains(t, held, "H-1")
	require.Contains(t, held, "BT-1")
	f = newFloor(t, cellar+`
removals subject=BT-1 quantity=all at=2026-03-20_08:00 reason=loss
counts subject=BT-1 quantity=2000 unit=L at=2026-03-30_08:00
`)
	require.Contains(t, f.hold(f.begin("H-1")), "BT-1", "though the books say that it was emptied")
	require.True(t, f.stopped("transfers transfer=T-9 from=BT-1 to=SV-1 out=100 in=100 unit=L started_at=2026-04-02_08:00 ended_at=2026-04-02_09:00"))
	f = newFloor(t, cellar+"counts subject=H-1 quantity=5 unit=kg at=2026-03-02_08:00\n") // the rest was used after the count
	require.NotContains(t, f.hold(f.begin("H-1")), "H-1")
}

// A delivery that a correction gives to somebody else is asked for at both, until it is signed for.
func TestKeptDelivery(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("S-1", map[string]string{"consignee": "D-2"})
	require.Equal(t, []string{"consignee D-1"}, f.kept(code))
	one, _ := f.consignee(code, "D-1")
	require.Len(t, one.Lines, 2)
	require.InDelta(t, 160, one.Cases.Shipped, 0)
	two, _ := f.consignee(code, "D-2")
	require.InDelta(t, 80, two.Cases.Shipped, 0)
	f.freeze(code)
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		list, err := deliveries.Delivered(tx, s, r.Versions)
		require.NoError(t, err)
		require.Equal(t, "P-1", list[0].Lines[0].Unit)
		require.Contains(t, list[0].Lines[0].First, "2026-03-20", "its day as it read when the records still said so")
		n, err := r.Notify(tx, s)
		require.NoError(t, err)
		require.Contains(t, n.First[4].Answer, "of that 80 cases counted at two consignees")
		return err
	})
	f.signOff(code, "D-1")
	one, _ = f.consignee(code, "D-1")
	require.Len(t, one.Lines, 1)
	require.InDelta(t, 80, one.Cases.Shipped, 0)
}

// What came back of one of two pallets is taken off what was sent of one of the two.
func TestReturnOfOneOfSeveral(t *testing.T) {
	f := newFloor(t, cellar+`
shipments shipment=S-6 unit=P-1|P-2 quantity=80 consignee=D-3 shipped_at=2026-03-20_08:00
returns return=U-6 unit=P-1|P-2 quantity=70 consignee=D-3 returned_at=2026-03-22_08:00
`)
	c, ok := f.consignee(f.begin("H-1"), "D-3")
	require.True(t, ok)
	require.InDelta(t, 70, c.Lines[0].Returned, 0)
	require.InDelta(t, 10, c.Lines[0].MayBe+c.Lines[0].Shipped-c.Lines[0].Returned, 0)
}

// A recall's hold in the minute in which a lot came in on hold is not that lot's own: letting go of it leaves that.
func TestReceivedOnHoldStays(t *testing.T) {
	f := newFloor(t, cellar)
	f.write("receipts lot=H-5 item=HOP supplier=SUP supplier_lot=h5 quantity=10 unit=kg received_at=2026-04-01_12:03 status=hold")
	code := f.begin("H-5")
	f.clock = f.clock.Add(-time.Minute) // the hold is placed at 12:03 too
	f.hold(code)
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		_, err := r.LetGoAll(tx, "cleared", "Quint")
		return err
	})
	require.True(t, f.stopped("additions vessel=FV-2 from=H-5 quantity=1 unit=kg at=2026-04-02_08:00"))
}

// A recall's hold ends by the recall's own release, and not by a correction of its row while it is open.
func TestRecallHoldsStandCorrections(t *testing.T) {
	f := newFloor(t, cellar)
	code := f.begin("H-1")
	require.Contains(t, f.hold(code), "P-2")
	var entry int64
	ended := func(end func(tx *store.Tx) error) error {
		return f.try(func(tx *store.Tx) error {
			rows, err := tx.Naming("P-2")
			require.NoError(t, err)
			for _, r := range rows {
				if r.Sheet.Name == "holds" {
					entry = r.Seq
				}
			}
			require.NoError(t, end(tx))
			return recall.HoldsStand(tx, []int64{entry})
		})
	}
	require.ErrorContains(t, ended(func(tx *store.Tx) error {
		_, err := tx.Amend(entry, map[string]string{"released_at": "2026-04-01 12:30"}, "x", "me")
		return err
	}), "is a hold of recall "+code)
	require.ErrorContains(t, ended(func(tx *store.Tx) error {
		_, err := tx.Void(entry, "x", "me")
		return err
	}), "heeltap recall release --recall "+code)
	require.NoError(t, ended(func(tx *store.Tx) error {
		_, err := tx.Amend(entry, map[string]string{"by": "Vera"}, "x", "me")
		return err
	}))
}
