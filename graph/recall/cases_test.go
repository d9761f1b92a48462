package recall_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/lots/store"
)

// A recall's release ends its own holds: those of others and of other recalls stand, and are told of.
func TestReleaseEndsOwnHoldsOnly(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	first := f.begin("H-1")
	require.Contains(t, f.hold(first), "P-2")
	second := f.begin("M-1")
	require.Contains(t, f.hold(second), "P-2", "it places its own, though another holds it")
	f.write("holds subject=P-2 at=2026-04-01_12:01 reason=seam by=QA")
	const ship = "shipments shipment=S-8 unit=P-2 quantity=1 consignee=D-1 shipped_at=2026-04-02_08:00"
	release := func(code string) (still []string) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
			codes := slices.Clone(r.Holds)
			r, err := r.LetGo(tx, nil, "cleared", "Quint")
			require.NoError(t, err)
			require.Empty(t, r.Holds)
			still, err = r.StillStopped(tx, codes)
			return err
		})
		return still
	}
	told := strings.Join(release(first), "\n")
	require.Contains(t, told, "P-2 stays on hold: "+second)
	require.Contains(t, told, "seam, by QA")
	require.True(t, f.stopped(ship), "the other recall and QA hold it")
	x, _ := f.stock(first, "BT-1")
	require.True(t, x.Held)
	require.False(t, x.HeldHere)
	release(second)
	require.True(t, f.stopped(ship), "QA holds it")
	f.do(func(tx *store.Tx) error {
		_, err := recall.Release(tx, "P-2", "", "resealed", "QA")
		return err
	})
	require.False(t, f.stopped(ship))
}

// A hold stops what a vessel held then: when that is gone and other beer came in, it shows as not held.
func TestHeldIsWhatTheVesselHolds(t *testing.T) {
	f := newFloor(t, cellar)
	code := f.begin("B-2")
	f.write("holds subject=BT-1 at=2026-03-19_08:00 reason=smell by=QA")
	f.write(`
removals subject=BT-1 quantity=all at=2026-03-20_08:00 reason=destroyed witness=Ines
cleans vessel=BT-1 at=2026-03-20_10:00 method=cip verified=yes
transfers transfer=T-2 from=FV-2 to=BT-1 out=500 in=500 unit=L started_at=2026-03-21_08:00 ended_at=2026-03-21_09:00
`)
	const draw = "transfers transfer=T-3 from=BT-1 to=SV-1 out=100 in=100 unit=L started_at=2026-04-02_08:00 ended_at=2026-04-02_09:00"
	require.False(t, f.stopped(draw))
	x, ok := f.stock(code, "BT-1")
	require.True(t, ok)
	require.False(t, x.Held)
	require.Contains(t, f.hold(code), "BT-1")
	x, _ = f.stock(code, "BT-1")
	require.True(t, x.HeldHere)
	require.True(t, f.stopped(draw))
	// What came on top of it does not make it another.
	f.write("additions vessel=BT-1 from=H-2 quantity=1 unit=kg at=2026-03-22_08:00")
	x, _ = f.stock(code, "BT-1")
	require.True(t, x.HeldHere)
	// Emptied, it is not held any more; the pallet still is.
	f.write("removals subject=BT-1 quantity=all at=2026-04-01_13:30 reason=destroyed witness=Ines ref=second")
	lines := strings.Join(f.openLines(code), "\n")
	require.NotContains(t, lines, "BT-1")
	require.Regexp(t, `held and neither released nor destroyed: .*P-9`, lines)
}

// A suspect whose row is taken back, and a decision or a unit, do not stop the recall: it says so.
func TestWhatIsTakenBackStopsNoRecall(t *testing.T) {
	f := newFloor(t, cellar+shipped+"receipts lot=H-3 item=HOP supplier=SUP supplier_lot=h3 quantity=10 unit=kg received_at=2026-02-01_09:00\n")
	code := f.begin("H-1", "H-3")
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		d, err := r.Decide(tx, recall.Include, []string{"P-9"}, "beside it")
		require.NoError(t, err)
		_, err = r.Take(tx, d, recall.At{}, "Quint")
		return err
	})
	f.freeze(code)
	f.void("H-3")
	f.void("P-9")
	f.void("P-2")
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *recall.Scope) error {
		require.Len(t, s.Lost, 2)
		require.Equal(t, "H-3", s.Lost[0].Code)
		require.Equal(t, "P-9", s.Lost[1].Code)
		balances, err := r.LotBalances(tx)
		require.NoError(t, err)
		require.Len(t, balances, 1)
		suppliers, err := r.Suppliers(tx)
		require.Len(t, suppliers, 1)
		return err
	})
	require.Equal(t, []string{"lot H-3", "unit P-2", "unit P-9"}, f.kept(code))
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "suspect H-3 is not traced")
	f.signOff(code, "P-2", "P-9", "H-3")
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		u, err := r.Unsuspect(tx, []string{"H-3"}, "typed twice")
		require.NoError(t, err)
		r, err = r.Take(tx, u, recall.At{}, "Quint")
		require.NoError(t, err)
		d, err := r.Decide(tx, recall.Records, []string{"P-9"}, "typed twice")
		require.NoError(t, err)
		r, err = r.Take(tx, d, recall.At{}, "Quint")
		require.NoError(t, err)
		_, err = r.Unsuspect(tx, []string{"H-1"}, "the last one")
		require.ErrorContains(t, err, "no suspect left")
		s, err := r.Scope(tx)
		require.Empty(t, s.Lost)
		return err
	})
	changes := f.freeze(code)
	require.NotEmpty(t, changes)
	require.Empty(t, f.kept(code))
}

// A vessel that a correction takes out of scope stays in, and on the list of what to hold, until the
// lead signs for it; a fill that only changed its name by its time does not wait for a signature.
func TestKeptVesselIsHeld(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("T-1", map[string]string{"started_at": "2026-03-15 08:05"})
	require.Empty(t, f.kept(code))
	f.freeze(code)
	f.void("use-2")
	require.Equal(t, []string{"brew B-3", "fill FV-3@2026-03-03T13:00", "run R-3", "unit P-3"}, f.kept(code))
	_, ok := f.stock(code, "FV-3")
	require.True(t, ok)
	f.write("additions vessel=FV-3 from=H-2 quantity=1 unit=kg at=2026-03-22_08:00")
	require.Contains(t, f.hold(code), "FV-3")
	require.True(t, f.stopped("transfers transfer=T-3 from=FV-3 to=SV-1 out=100 in=100 unit=L started_at=2026-04-02_08:00 ended_at=2026-04-02_09:00"))
	f.signOff(code, "FV-3")
	require.Equal(t, []string{"brew B-3", "run R-3", "unit P-3"}, f.kept(code))
	_, ok = f.stock(code, "FV-3")
	require.False(t, ok)
}

// A lot that a correction takes out stays on the list of what to hold, too.
func TestKeptLotIsHeld(t *testing.T) {
	f := newFloor(t, cellar+"crops lot=Y-1 item=HOP vessel=FV-3 quantity=5 unit=kg at=2026-03-10_08:00\n")
	code := f.begin("H-1")
	f.freeze(code)
	f.void("use-2")
	require.Contains(t, f.kept(code), "lot Y-1")
	_, ok := f.stock(code, "Y-1")
	require.True(t, ok)
}

// A consignee whose delivery notes were corrected away may have been told: it stays, with what the
// last version says it received, until it is signed off. One whose goods are signed off goes with them.
func TestKeptConsignee(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	f.amend("S-3", map[string]string{"consignee": "D-3"})
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("S-1", map[string]string{"consignee": "D-2"})
	require.Equal(t, []string{"consignee D-1"}, f.kept(code))
	c, ok := f.consignee(code, "D-1")
	require.True(t, ok)
	require.True(t, c.Kept)
	require.InDelta(t, 80, c.Cases.Shipped, 0)
	require.Equal(t, "P-1", c.Lines[0].Unit)
	require.Equal(t, "PALE", c.Lines[0].Product)
	changes := f.freeze(code)
	require.Equal(t, recall.HeldOn, changes[0].What)
	f.signOff(code, "D-1")
	require.Empty(t, f.kept(code))
	_, ok = f.consignee(code, "D-1")
	require.False(t, ok)

	f.freeze(code)
	f.void("use-2")
	require.NotContains(t, f.kept(code), "consignee D-3", "it has what is kept")
	f.signOff(code, "B-3", "R-3", "P-3", "FV-3")
	require.Empty(t, f.kept(code))
}

// A signature is for one correction: when a later version has the thing again, the next one is signed anew.
func TestSignatureLapses(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.amend("use-2", map[string]string{"from": "H-2"})
	f.signOff(code, "B-3", "R-3", "P-3", "FV-3")
	require.Empty(t, f.kept(code))
	f.freeze(code)
	f.amend("use-2", map[string]string{"from": "H-1"})
	f.freeze(code)
	require.Empty(t, f.kept(code))
	f.amend("use-2", map[string]string{"from": "H-2"})
	require.Equal(t, []string{"brew B-3", "fill FV-3@2026-03-03T13:00", "run R-3", "unit P-3"}, f.kept(code))
}

// 21 CFR 7.3(k): a stock recovery is of product no portion of which was released for sale or use.
// What was drawn in the taproom straight from a tank was used, and so was what was sold as a unit.
func TestTaproomBeerHasLeft(t *testing.T) {
	f := newFloor(t, cellar+`
transfers transfer=T-2 from=FV-2 to=SV-1 out=1000 in=1000 unit=L started_at=2026-03-20_08:00 ended_at=2026-03-20_09:00
`)
	code := f.begin("H-2")
	left := func() (out bool) {
		f.with(code, func(tx *store.Tx, _ *recall.Recall, s *recall.Scope) error {
			out = s.HasLeft(tx)
			return nil
		})
		return out
	}
	require.False(t, left())
	f.write("removals subject=SV-1 quantity=20 unit=L at=2026-03-19_08:00 reason=taproom ref=before")
	require.False(t, left(), "what was drawn before it came in was other beer")
	f.write("removals subject=SV-1 quantity=500 unit=L at=2026-03-21_08:00 reason=taproom")
	require.True(t, left())
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *recall.Scope) error {
		served := s.Served(tx)
		require.Len(t, served, 1)
		require.Equal(t, "SV-1", served[0].Code)
		n, err := r.Notify(tx, s)
		require.False(t, n.Recovery)
		require.Contains(t, n.First[4].Answer, "served here: 500 L of SV-1")
		return err
	})
}

// What a consignee may have received as one of several is its to answer for: it is settled only when
// nothing of it stands there any more.
func TestOneOfSeveralIsAnsweredFor(t *testing.T) {
	f := newFloor(t, cellar+shipped+"shipments shipment=S-7 unit=P-2|P-9 quantity=80 consignee=D-3 shipped_at=2026-03-21_08:00\n")
	code := f.begin("H-1")
	answer := func(a recall.AnswerLine) {
		f.take(code, &recall.Answered{Party: "D-3", Lines: []recall.AnswerLine{a}}, time.Time{})
	}
	answer(recall.AnswerLine{OnHand: 80})
	x := f.recovery(code, "D-3", false)
	require.InDelta(t, 80, x.MayBe, 0)
	require.InDelta(t, 80, x.OnHand, 0)
	require.InDelta(t, 0, x.Unexplained, 0)
	require.Equal(t, "answered", f.standing(code, "D-3").State)
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "D-3 Three: answered, 80 still on hand there")
	answer(recall.AnswerLine{OnHand: 90})
	require.InDelta(t, -10, f.recovery(code, "D-3", false).Unexplained, 0, "more than it can have")
	answer(recall.AnswerLine{OnHand: 0})
	require.Equal(t, "settled", f.standing(code, "D-3").State, "it got the other one")
	require.InDelta(t, 80, f.account(code).Cases.OneOf, 0)
	c, _ := f.consignee(code, "D-3")
	require.Equal(t, "possible", c.Band)
	require.InDelta(t, 0, c.Cases.Affected, 0)
	// Both of them in scope: the row is one row, and whichever it was is affected.
	f.take(code, &recall.Suspected{Suspects: []string{"H-2"}, Reason: "too"}, time.Time{})
	require.InDelta(t, 80, f.account(code).Cases.OneOf, 0)
	c, _ = f.consignee(code, "D-3")
	require.Equal(t, "in", c.Band)
	require.InDelta(t, 80, c.Cases.Affected, 0)
}

// Only a keg comes back empty. An empty return of a pallet brings no goods back.
func TestEmptyPallet(t *testing.T) {
	f := newFloor(t, cellar+shipped+`
runs run=K-1 product=KEG started_at=2026-03-19_08:00 ended_at=2026-03-19_09:00 date_code=K good=2
feeds run=K-1 from=BT-1
units unit=K001/K-1 kind=keg run=K-1 quantity=1
units unit=K002/K-1 kind=keg run=K-1 quantity=1
shipments shipment=S-5 unit=K001/K-1 quantity=1 consignee=D-3 shipped_at=2026-03-20_08:00
returns return=U-2 unit=K001/K-1 quantity=1 consignee=D-3 returned_at=2026-03-25_08:00 state=empty
`)
	f.write("returns return=U-1 unit=P-1 quantity=2 consignee=D-1 returned_at=2026-03-25_08:00 state=empty")
	code := f.begin("H-1")
	c, _ := f.consignee(code, "D-1")
	require.InDelta(t, 160, c.Cases.Affected, 0)
	require.False(t, c.Lines[0].Emptied)
	c, _ = f.consignee(code, "D-3")
	require.True(t, c.Lines[0].Emptied)
	require.InDelta(t, 0, c.Kegs.Affected, 0)
	require.Empty(t, c.KegsOut)
}

// A retailer brings back what a distributor had: it counts for the only one that can have passed it on,
// so that the consignees add up to the units' books; where several had the unit it is told of and counts for nobody.
func TestReturnsByOthers(t *testing.T) {
	f := newFloor(t, cellar+shipped+"returns return=U-1 unit=P-1 quantity=30 consignee=D-3 returned_at=2026-03-28_08:00 state=full\n")
	code := f.begin("H-1")
	a := f.account(code)
	require.Len(t, a.Others, 1)
	require.Equal(t, []string{"D-1"}, a.Others[0].Of)
	c, _ := f.consignee(code, "D-1")
	require.InDelta(t, a.Cases.Shipped-a.Cases.Returned, c.Cases.Net, 0)
	require.InDelta(t, 130, f.recovery(code, "D-1", false).Unexplained, 0)
	f.take(code, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: 50, Sold: 80}}}, time.Time{})
	require.InDelta(t, 0, f.recovery(code, "D-1", false).Unexplained, 0)
	f.write("shipments shipment=S-6 unit=P-1 quantity=1 consignee=D-2 shipped_at=2026-03-29_08:00")
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "30 of P-1 came back from D-3, to which we shipped none of it: it counts for nobody (received by D-1, D-2)")
}

// What a consignee says it sent back is neither on hand there nor here yet, and what came back before
// the notice was not recovered by it.
func TestOnTheWayBack(t *testing.T) {
	f := newFloor(t, cellar+shipped+"returns return=U-1 unit=P-1 quantity=20 consignee=D-1 returned_at=2026-03-28_08:00 state=full\n")
	code := f.begin("H-1")
	f.take(code, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: 100, Returned: 10, Destroyed: 5, Sold: 40}}}, time.Time{})
	x := f.recovery(code, "D-1", false)
	require.InDelta(t, 85, x.OnHand, 0)
	require.InDelta(t, 10, x.OnTheWay, 0)
	require.InDelta(t, 0, x.Since, 0)
	require.InDelta(t, 0, x.Unexplained, 0)
	require.InDelta(t, 25./160*100, x.Percent, 1e-6, "of all that was distributed")
	require.InDelta(t, 5./140*100, x.PercentSince, 1e-6, "of what was there when the notice came")
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "85 still on hand there, neither sent back nor destroyed, 10 said to be sent back and not arrived")
	f.write("returns return=U-2 unit=P-1 quantity=10 consignee=D-1 returned_at=2026-04-02_08:00 state=full")
	x = f.recovery(code, "D-1", false)
	require.InDelta(t, 85, x.OnHand, 0)
	require.InDelta(t, 0, x.OnTheWay, 0)
}

// Answers and calls count in the order of their own times, whenever they were typed in.
func TestLateAnswers(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	at := func(hour int) time.Time { return time.Date(2026, 4, 1, hour, 0, 0, 0, time.UTC) }
	f.clock = at(23)
	f.take(code, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: 10, Sold: 150}}}, at(15))
	f.take(code, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: 100}}}, at(9))
	x := f.standing(code, "D-1")
	require.Equal(t, "2026-04-01T15:00:00Z", x.Answered)
	require.Equal(t, "2026-04-01T09:00:00Z", x.Notified)
	require.Equal(t, "its own answer", x.How)
	f.take(code, &recall.Told{Party: "D-1", How: "phone", Reached: true}, at(8))
	f.take(code, &recall.Told{Party: "D-1", How: "letter"}, at(7))
	x = f.standing(code, "D-1")
	require.Equal(t, "2026-04-01T08:00:00Z", x.Notified)
	require.Equal(t, "phone", x.How)
	require.InDelta(t, 10, x.OnHand, 0)
	f.write("returns return=U-1 unit=P-1 quantity=10 consignee=D-1 returned_at=2026-04-01_10:00 state=full")
	require.InDelta(t, 0, f.recovery(code, "D-1", false).Unexplained, 0, "it came back after the notice of 08:00")
	// 21 CFR 1.361: the records were asked for and given, whatever the case of the name.
	f.take(code, &recall.Spoke{Authority: "FDA", Asked: true}, at(13))
	f.take(code, &recall.Spoke{Authority: "fda", Text: "again"}, at(16))
	f.take(code, &recall.Spoke{Authority: "fda", Text: "sent"}, at(14))
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		targets := r.Timeline(tx).Targets
		require.Equal(t, "1:00", targets[len(targets)-1].Took)
		_, err := r.Take(tx, &recall.Told{Party: "D-1"}, at(1).AddDate(0, -3, 0), "me")
		require.ErrorContains(t, err, "more than a day before")
		return nil
	})
}

// What one unit has too much does not make up for what another lacks.
func TestSurplusHidesNoShortage(t *testing.T) {
	f := newFloor(t, cellar+shipped+`
counts subject=P-1 quantity=5 at=2026-04-01_08:00
counts subject=P-2 quantity=75 at=2026-04-01_08:00
counts subject=P-3 quantity=0 at=2026-04-01_08:00
`)
	a := f.account(f.begin("H-1"))
	require.InDelta(t, 240, a.Cases.Produced, 0)
	require.InDelta(t, 0, a.Cases.Unaccounted, 0)
	require.InDelta(t, 5, a.Cases.Missing, 0)
	require.InDelta(t, 5, a.Cases.Over, 0)
	require.InDelta(t, 235./240*100, a.Cases.Percent, 1e-6)
	i := slices.IndexFunc(a.Groups, func(g recall.GroupAccount) bool { return slices.Contains(g.DateCodes, "ONE") })
	require.InDelta(t, 5, a.Groups[i].Missing, 0)
	require.InDelta(t, 5, a.Groups[i].Over, 0)
}

// Kegs that hang on no number are kegs in every sum, and a rule that names numbers says there are more.
func TestLooseKegs(t *testing.T) {
	f := newFloor(t, cellar+`
runs run=K-1 product=KEG started_at=2026-03-19_08:00 ended_at=2026-03-19_09:00 date_code=K26078 good=10
feeds run=K-1 from=BT-1
units unit=K001/K-1 kind=keg run=K-1 quantity=1
units unit=K002/K-1 kind=keg run=K-1 quantity=1
shipments shipment=S-5 unit=K001/K-1|K002/K-1 quantity=1 consignee=D-3 shipped_at=2026-03-20_08:00
`)
	code := f.begin("BT-1@2026-03-16T09:00")
	a := f.account(code)
	require.InDelta(t, 10, a.Kegs.Produced, 0)
	require.InDelta(t, 160, a.Cases.Produced, 0)
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *recall.Scope) error {
		for _, x := range s.PrintedScope(tx) {
			if x.Product == "KEG" {
				require.Equal(t, int64(8), x.KegsMore)
				require.Contains(t, x.Text(), "keg numbers K001, K002, and 8 more kegs whose number nobody wrote down")
			}
		}
		n, err := r.Notify(tx, s) // 21 CFR 7.46(a): total produced, amount distributed
		require.Contains(t, n.First[3].Answer, "160 cases and 10 kegs in scope")
		require.Contains(t, n.First[4].Answer, "no cases and no kegs, and up to 1 keg besides")
		return err
	})
	x, _ := f.stock(code, "K-1")
	require.Equal(t, "keg", x.Unit)
}

// A pallet that was topped up carried nothing of the later run when it was shipped before that.
func TestShippedBeforeItWasToppedUp(t *testing.T) {
	f := newFloor(t, cellar+`
shipments shipment=S-1 unit=P-9 quantity=40 consignee=D-1 shipped_at=2026-03-17_16:00
shipments shipment=S-2 unit=P-9 quantity=30 consignee=D-3 shipped_at=2026-03-17_17:00
returns return=U-1 unit=P-9 quantity=10 consignee=D-1 returned_at=2026-03-17_18:00 state=full
units unit=P-9 kind=pallet run=R-3 quantity=20 first_at=2026-03-18_09:50 last_at=2026-03-18_10:00
shipments shipment=S-4 unit=P-9 quantity=25 consignee=D-3 shipped_at=2026-03-19_08:00
`)
	code := f.begin("B-3")
	_, ok := f.consignee(code, "D-1")
	require.False(t, ok, "its cases were packed before")
	c, _ := f.consignee(code, "D-3")
	require.InDelta(t, 25, c.Cases.Shipped, 0)
	require.InDelta(t, 20, c.Cases.Affected, 0)
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *recall.Scope) error {
		require.Len(t, s.LeftOut, 2)
		require.Equal(t, "2026-03-18T09:50:00Z", s.LeftOut[0].ToppedUp)
		require.Len(t, s.Shipments(), 1)
		require.Len(t, s.Answer.Shipments, 3, "the trace itself says what moved the unit")
		_, err := r.Answerable(tx, &recall.Answered{Party: "D-1"})
		require.ErrorContains(t, err, "its 40 of P-9 left before anything affected stood on it")
		return nil
	})
	// What the books can not explain so is not left out.
	f.write("shipments shipment=S-5 unit=P-9 quantity=70 consignee=D-2 shipped_at=2026-03-17_19:00")
	_, ok = f.consignee(code, "D-2")
	require.True(t, ok)
}

// A later delivery to a consignee that is known already is a change, with the entry that made it.
func TestMoreToAKnownConsignee(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	f.freeze(code)
	f.write("counts subject=P-2 quantity=80 at=2026-04-01_12:10")
	f.write("additions vessel=FV-2 from=H-2 quantity=1 unit=kg at=2026-03-20_08:00")
	f.write("shipments shipment=S-7 unit=P-2 quantity=7 consignee=D-1 shipped_at=2026-04-01_12:20")
	f.write("additions vessel=FV-2 from=H-2 quantity=1 unit=kg at=2026-03-21_08:00")
	changes, err := recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	require.Len(t, changes, 1)
	require.Equal(t, "D-1", changes[0].Code)
	require.Equal(t, "in, 160 received", changes[0].Was)
	require.Equal(t, "in, 167 received", changes[0].State())
	require.Equal(t, "+7 of P-2", changes[0].Detail)
	f.do(func(tx *store.Tx) error {
		rows, err := tx.RowsOf("S-7")
		require.Equal(t, []int64{rows[0].Seq}, changes[0].Entries)
		return err
	})
	require.Len(t, f.freeze(code), 1)
}

// An entry that names nothing in scope can change it all the same: it is found out.
func TestBlameFindsWhatNamesNothingInScope(t *testing.T) {
	f := newFloor(t, cellar+`
vessels vessel=FV-8 kind=fermenter unit=L
vessels vessel=FV-9 kind=fermenter unit=L
brews brew=B-8 beer=Pale started_at=2026-03-04_07:00 cast_out_at=2026-03-04_13:00 into=FV-8 volume=1000 unit=L
brews brew=B-9 beer=Pale started_at=2026-03-04_07:00 cast_out_at=2026-03-04_13:00 into=FV-9 volume=1000 unit=L
transfers transfer=T-8 from=FV-8 to=FV-3 out=500 in=500 unit=L started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00
`)
	code := f.begin("H-1")
	f.freeze(code)
	f.write("additions vessel=FV-2 from=H-2 quantity=1 unit=kg at=2026-03-20_08:00")
	// While FV-8 is being emptied into FV-3 more comes into FV-8: FV-3 gets a fill more, and nothing in scope is named.
	f.write("transfers transfer=T-9 from=FV-9 to=FV-8 out=100 in=100 unit=L started_at=2026-03-10_09:00 ended_at=2026-03-10_09:01")
	f.write("shipments shipment=S-7 unit=P-2 quantity=7 consignee=D-1 shipped_at=2026-04-01_12:20")
	changes, err := recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	entries := map[string]int64{}
	f.do(func(tx *store.Tx) error {
		for _, name := range []string{"T-9", "S-7"} {
			rows, err := tx.RowsOf(name)
			require.NoError(t, err)
			entries[name] = rows[0].Seq
		}
		return nil
	})
	fills := 0
	for _, c := range changes {
		switch c.Kind {
		case "fill":
			fills++
			require.Equal(t, []int64{entries["T-9"]}, c.Entries, c.Code)
		case "consignee":
			require.Equal(t, []int64{entries["S-7"]}, c.Entries)
		}
	}
	require.Positive(t, fills)
}

// A thing is decided on under one name, however it is typed, and a step of the scope is told by what it did.
func TestDecisionsHaveOneName(t *testing.T) {
	f := newFloor(t, cellar)
	code := f.begin("h-1")
	decide := func(choice string, codes ...string) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
			d, err := r.Decide(tx, choice, codes, "x")
			require.NoError(t, err)
			_, err = r.Take(tx, d, recall.At{}, "Quint")
			return err
		})
	}
	f.freeze(code)
	decide(recall.Include, "P-9")
	decide(recall.Exclude, "unit:P-9", "p-9")
	f.with(code, func(_ *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		require.Equal(t, []string{"H-1"}, r.Suspects)
		require.Len(t, r.Decisions, 1)
		require.Equal(t, "P-9", r.Decisions[0].Code)
		require.Equal(t, recall.Exclude, r.Decisions[0].Choice)
		return nil
	})
	decide(recall.Records, "p-9")
	decide(recall.Include, "P-9")
	decide(recall.Exclude, "P-3")
	changes, err := recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	for _, c := range changes {
		if c.Kind == "unit" && c.Code == "P-3" {
			require.Len(t, c.Entries, 1, "the exclusion, and no other step")
		}
	}
}

// A list that is read twice does not count twice.
func TestListReadTwice(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("H-1")
	list := []recall.SubAccount{{Name: "a", Quantity: 4}, {Name: "b", Quantity: 6}}
	gave := func(list []recall.SubAccount, replace bool) (err error) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
			var s *recall.PassedOn
			if s, err = r.GaveList("D-1", list, replace); err == nil {
				_, err = r.Take(tx, s, recall.At{}, "me")
			}
			return nil
		})
		return err
	}
	require.NoError(t, gave(list, false))
	require.ErrorContains(t, gave(list, false), "2 of the 2 rows are recorded already, the first is a")
	require.NoError(t, gave([]recall.SubAccount{{Name: "c", Quantity: 1}}, false))
	f.with(code, func(_ *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		require.Len(t, r.Contacts["D-1"].Accounts, 3)
		return nil
	})
	f.take(code, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{PassedOn: 12}}}, time.Time{})
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "D-1 says it passed on 12, and its own list adds up to 11")
	require.NoError(t, gave(list, true))
	f.with(code, func(_ *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		require.Len(t, r.Contacts["D-1"].Accounts, 2)
		return nil
	})
}

// No more is destroyed than is here, unless it is said that it was; what is no number is no quantity.
func TestDestroyedIsWhatWasHere(t *testing.T) {
	f := newFloor(t, cellar+shipped+"counts subject=P-2 quantity=24 at=2026-04-01_08:00\n")
	code := f.begin("H-1")
	destroy := func(d recall.Destroyed) (err error) {
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
			d.Unit, d.Method, d.Witness = "P-2", "crushed", "Ines"
			_, err = r.Destroy(tx, d, recall.At{}, "me")
			return nil
		})
		return err
	}
	require.ErrorContains(t, destroy(recall.Destroyed{Quantity: 500}), "500 of P-2 are more than are here: 80 by the books, 24 by the last count")
	require.Error(t, destroy(recall.Destroyed{Quantity: math.NaN()}))
	require.NoError(t, destroy(recall.Destroyed{Quantity: 50}))
	a := f.account(code)
	i := slices.IndexFunc(a.Units, func(u recall.UnitAccount) bool { return u.Unit == "P-2" })
	require.InDelta(t, 0, a.Units[i].Counted, 0, "there is never less than nothing")
	require.NoError(t, destroy(recall.Destroyed{Quantity: 40, Surplus: true}))

	_, _, err := recall.SampleSize("B", math.NaN(), 9)
	require.Error(t, err)
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *recall.Scope) error {
		for _, q := range []float64{math.NaN(), math.Inf(1), -1, 2e9} {
			_, err := r.Answerable(tx, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: q}}})
			require.ErrorContains(t, err, "is no quantity", q)
			require.ErrorContains(t, r.Checkable(tx, &recall.Checked{Party: "D-1", OnSale: q}), "is no quantity", q)
		}
		require.ErrorContains(t, r.Checkable(tx, &recall.Checked{Party: "D-2"}), "received nothing in scope")
		odd, err := r.Answerable(tx, &recall.Answered{Party: "D-1", Lines: []recall.AnswerLine{{OnHand: 500}}})
		require.Len(t, odd, 1)
		return err
	})
	_, err = recall.ReadAccounts(strings.NewReader("name,quantity\na,NaN\n"))
	require.Error(t, err)
	f.take(code, &recall.Sampled{Level: "A", Percent: 100, Of: 2, Parties: []string{"D-1"}}, time.Time{})
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "drawn among 2 consignees, and there are 1 now: draw again")
}

// A suspect named by what is printed on it still means what it meant when that print is corrected, and
// takes in what is typed in late; a bare vessel means what it held when it was named.
func TestSuspectsMeanWhatTheyMeant(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("h1", "TWO", "BT-1")
	suspects := func() (out []string, lost []recall.Lost) {
		f.with(code, func(_ *store.Tx, r *recall.Recall, s *recall.Scope) error {
			out, lost = r.Suspects, s.Lost
			return nil
		})
		return out, lost
	}
	got, lost := suspects()
	require.Equal(t, []string{"h1", "TWO", "BT-1@2026-03-15T08:00"}, got)
	require.Empty(t, lost)
	f.freeze(code)
	f.write(`
removals subject=BT-1 quantity=all at=2026-03-20_08:00 reason=destroyed witness=Ines
cleans vessel=BT-1 at=2026-03-20_10:00 method=cip verified=yes
transfers transfer=T-2 from=FV-2 to=BT-1 out=500 in=500 unit=L started_at=2026-03-21_08:00 ended_at=2026-03-21_09:00
`)
	f.amend("H-1", map[string]string{"supplier_lot": "h7"})
	f.amend("R-2", map[string]string{"date_code": "TW0"})
	_, lost = suspects()
	require.Len(t, lost, 2)
	require.Equal(t, []string{"lot:H-1"}, lost[0].StandsIn)
	require.Contains(t, lost[1].StandsIn[0], "R-2")
	require.Empty(t, f.kept(code))
	_, ok := f.stock(code, "P-9")
	require.True(t, ok)
	_, ok = f.stock(code, "BT-1")
	require.False(t, ok, "it holds other beer now")
	f.write("receipts lot=H-8 item=HOP supplier=SUP supplier_lot=h1 quantity=10 unit=kg received_at=2026-02-03_09:00")
	_, lost = suspects()
	require.Len(t, lost, 1, "the other delivery of that lot is meant too")
	_, ok = f.stock(code, "H-8")
	require.True(t, ok)
	require.Contains(t, f.kept(code), "lot H-1", "no printed lot leads to it any more: that is for the lead to sign")
}

// What a mock recall destroys is rehearsed, says so, and is no more than is here.
func TestRehearsedDestruction(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	f.do(func(tx *store.Tx) error {
		r, err := recall.Begin(tx, recall.Opened{Mock: true, Suspects: []string{"H-1"}, Hazard: "foreign-body", Reason: "exercise"}, recall.At{}, "Quint")
		require.NoError(t, err)
		r, err = r.Destroy(tx, recall.Destroyed{Unit: "P-2", Quantity: 75, Method: "crushed", Witness: "Ines"}, recall.At{}, "me")
		require.NoError(t, err)
		require.Equal(t, "Destruction rehearsed: 75 of P-2, crushed, witness Ines; nothing was removed", r.Log[1].Text())
		_, err = r.Destroy(tx, recall.Destroyed{Unit: "P-2", Quantity: 75, Method: "crushed", Witness: "Ines"}, recall.At{}, "me")
		require.ErrorContains(t, err, "5 by the books")
		return nil
	})
}
