package recall_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
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
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
			codes := slices.Clone(r.Holds)
			r, err := r.LetGoAll(tx, "cleared", "Quint")
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
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		_, err := r.Take(tx, &recall.Decided{Choice: scope.Include, Codes: []string{"P-9"}, Reason: "beside it"}, recall.At{}, "Quint")
		return err
	})
	f.freeze(code)
	f.void("H-3")
	f.void("P-9")
	f.void("P-2")
	f.with(code, func(tx *store.Tx, r *recall.Recall, s *scope.Scope) error {
		require.Len(t, s.Lost, 2)
		require.Equal(t, "H-3", s.Lost[0].Code)
		require.Equal(t, "P-9", s.Lost[1].Code)
		balances, err := account.LotBalances(tx, r.Traced(tx))
		require.NoError(t, err)
		require.Len(t, balances, 1)
		suppliers, err := deliveries.Suppliers(tx, r.Traced(tx))
		require.Len(t, suppliers, 1)
		return err
	})
	require.Equal(t, []string{"lot H-3", "unit P-2", "unit P-9"}, f.kept(code))
	require.Contains(t, strings.Join(f.openLines(code), "\n"), "suspect H-3 is not traced")
	f.signOff(code, "P-2", "P-9", "H-3")
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		r, err := r.Take(tx, &recall.Unsuspected{Suspects: []string{"H-3"}, Reason: "typed twice"}, recall.At{}, "Quint")
		require.NoError(t, err)
		r, err = r.Take(tx, &recall.Decided{Choice: scope.Records, Codes: []string{"P-9"}, Reason: "typed twice"}, recall.At{}, "Quint")
		require.NoError(t, err)
		_, err = r.Take(tx, &recall.Unsuspected{Suspects: []string{"H-1"}, Reason: "the last one"}, recall.At{}, "Quint")
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

// What of a kept run is on no unit stays in the house's list and in the printed rules.
func TestKeptLooseCases(t *testing.T) {
	f := newFloor(t, strings.Replace(cellar, "units unit=P-3 kind=pallet run=R-3 quantity=80", "units unit=P-3 kind=pallet run=R-3 quantity=40 first_at=2026-03-18_08:00 last_at=2026-03-18_09:00", 1))
	code := f.begin("H-1")
	f.freeze(code)
	f.void("use-2")
	require.Contains(t, f.kept(code), "run R-3")
	x, ok := f.stock(code, "R-3")
	require.True(t, ok)
	require.InDelta(t, 40, x.Quantity, 0)
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		i := slices.IndexFunc(printed.Rules(tx, s.Answer), func(r printed.Rule) bool { return r.Codes[0] == "THREE" })
		require.GreaterOrEqual(t, i, 0)
		require.Equal(t, int64(1920), printed.Rules(tx, s.Answer)[i].Affected)
		return nil
	})
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
	require.Equal(t, scope.HeldOn, changes[0].What)
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
	require.Equal(t, "in, 160 cases received", changes[0].Was)
	require.Equal(t, "in, 167 cases received", changes[0].State())
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
		f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
			_, err := r.Take(tx, &recall.Decided{Choice: choice, Codes: codes, Reason: "x"}, recall.At{}, "Quint")
			return err
		})
	}
	f.freeze(code)
	decide(scope.Include, "P-9")
	decide(scope.Exclude, "unit:P-9", "p-9")
	f.with(code, func(_ *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		require.Equal(t, []string{"H-1"}, r.Suspects)
		require.Len(t, r.Decisions, 1)
		require.Equal(t, "P-9", r.Decisions[0].Code)
		require.Equal(t, scope.Exclude, r.Decisions[0].Choice)
		return nil
	})
	decide(scope.Records, "p-9")
	decide(scope.Include, "P-9")
	decide(scope.Exclude, "P-3")
	changes, err := recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	for _, c := range changes {
		if c.Kind == "unit" && c.Code == "P-3" {
			require.Len(t, c.Entries, 1, "the exclusion, and no other step")
		}
	}
}

// A suspect named by what is printed on it still means what it meant when that print is corrected, and
// takes in what is typed in late; a bare vessel means what it held when it was named.
func TestSuspectsMeanWhatTheyMeant(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	code := f.begin("h1", "TWO", "BT-1")
	suspects := func() (out []string, lost []scope.Lost) {
		f.with(code, func(_ *store.Tx, r *recall.Recall, s *scope.Scope) error {
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

// Steps written before they said what consignees received, what codes meant and which holds were whose
// still load, and nothing changes by it alone.
func TestOlderJournals(t *testing.T) {
	f := newFloor(t, cellar+shipped)
	f.do(func(tx *store.Tx) error {
		_, err := tx.Act("RC26-01", map[string]any{"step": "open", "with": map[string]any{"mock": false, "suspects": []string{"H-1"}, "hazard": "foreign-body", "reason": "glass", "lead": "Quint"}}, "me")
		return err
	})
	const code = "RC26-01"
	f.with(code, func(tx *store.Tx, _ *recall.Recall, s *scope.Scope) error {
		items := s.Items()
		for i := range items {
			items[i].Received = ""
		}
		head, err := tx.Head()
		require.NoError(t, err)
		_, err = tx.Act(code, map[string]any{"step": "freeze", "with": map[string]any{"version": 1, "head": head, "items": items}}, "me")
		require.NoError(t, err)
		_, err = tx.Act(code, map[string]any{"step": "hold", "with": map[string]any{"subjects": []string{"P-2"}}}, "me")
		require.NoError(t, err)
		_, err = tx.Act(code, map[string]any{"step": "reconciled", "with": map[string]any{"accounted": 99.5, "unaccounted": 1}}, "me")
		return err
	})
	changes, err := recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	require.Empty(t, changes)
	f.amend("S-1", map[string]string{"consignee": "D-2"})
	f.amend("S-3", map[string]string{"consignee": "D-2"})
	require.Equal(t, []string{"consignee D-1"}, f.kept(code))
	c, ok := f.consignee(code, "D-1")
	require.True(t, ok)
	require.Empty(t, c.Lines)
	changes, err = recall.Changes(ctx, f.db, code)
	require.NoError(t, err)
	require.Len(t, changes, 2)
	f.with(code, func(tx *store.Tx, r *recall.Recall, _ *scope.Scope) error {
		require.Equal(t, []string{"P-2"}, r.Holds)
		_, err := r.LetGoAll(tx, "over", "Quint")
		return err
	})
}
