package scope_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

// reference is what every history here begins with: three hop lots, two consignees.
const reference = `
site name=Test time_zone=UTC
items item=HOP name=hop kind=hop unit=kg
items item=YEAST name=yeast kind=yeast unit=L
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee
parties party=D-2 name=Two role=consignee
products product=PALE name=Pale container_ml=500 per_case=20
products product=KEG name=Keg container_ml=30000 per_case=1
receipts lot=H-1 item=HOP supplier=SUP supplier_lot=h1 quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=H-2 item=HOP supplier=SUP supplier_lot=h2 quantity=10 unit=kg received_at=2026-01-02_08:00
receipts lot=H-3 item=HOP supplier=SUP supplier_lot=h3 quantity=10 unit=kg received_at=2026-01-02_08:00
`

// ask computes a scope in a new database with that history.
func ask(t *testing.T, history string, b scope.Basis, what func(tx *store.Tx, s *scope.Scope)) {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "scope.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Written(reference + history) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	require.NoError(t, db.View(ctx, func(tx *store.Tx) error {
		s, err := b.Scope(tx)
		require.NoError(t, err)
		what(tx, s)
		return tx.Err()
	}))
}

// everyWay is a brewery in which hops H-1 come to each unit in another way: P-1 by beer, K-1 by yeast cropped from
// that beer, P-2 by a heel of it, P-3 through a hose, P-4 by a lot of hops that was it or another one, and P-5 by
// a heel or by that hose, either of which is enough.
const everyWay = `
vessels vessel=FV-1 kind=fermenter unit=L
vessels vessel=FV-2 kind=fermenter unit=L
vessels vessel=FV-3 kind=fermenter unit=L
vessels vessel=FV-4 kind=fermenter unit=L
vessels vessel=BT-1 kind=bright unit=L
vessels vessel=BT-2 kind=bright unit=L
vessels vessel=BT-3 kind=bright unit=L
vessels vessel=HOSE kind=path unit=L
brews brew=B-1 beer=Pale started_at=2026-02-01_07:00 cast_out_at=2026-02-01_13:00 into=FV-1 volume=3000 unit=L
brews brew=B-2 beer=Pale started_at=2026-02-02_07:00 cast_out_at=2026-02-02_13:00 into=FV-2 volume=2000 unit=L
brews brew=B-3 beer=Pale started_at=2026-02-03_07:00 cast_out_at=2026-02-03_13:00 into=FV-3 volume=6000 unit=L
brews brew=B-4 beer=Pale started_at=2026-02-04_07:00 cast_out_at=2026-02-04_13:00 into=FV-4 volume=2000 unit=L
brew_inputs brew=B-1 from=H-1 quantity=5 unit=kg
brew_inputs brew=B-4 from=H-1|H-3 quantity=5 unit=kg
crops lot=C-1 item=YEAST vessel=FV-1 quantity=5 unit=L at=2026-02-01_18:00
brew_inputs brew=B-2 from=C-1 quantity=5 unit=L stage=pitch
transfers transfer=T-1 from=FV-1 to=BT-1 out=1000 in=1000 unit=L started_at=2026-02-10_08:00 ended_at=2026-02-10_09:00 via=HOSE
transfers transfer=T-2 from=FV-3 to=BT-2 out=1000 in=1000 unit=L started_at=2026-02-11_08:00 ended_at=2026-02-11_09:00 via=HOSE
transfers transfer=T-5 from=FV-1 to=BT-3 out=1000 in=1000 unit=L started_at=2026-02-10_10:00 ended_at=2026-02-10_11:00
runs run=R-1 product=PALE started_at=2026-02-15_08:00 ended_at=2026-02-15_10:00 date_code=ONE good=2000
runs run=R-0 product=PALE started_at=2026-02-15_11:00 ended_at=2026-02-15_12:00 date_code=NIL good=2000
feeds run=R-1 from=BT-1
feeds run=R-0 from=BT-3
transfers transfer=T-3 from=FV-3 to=BT-1 out=1000 in=1000 unit=L started_at=2026-02-16_08:00 ended_at=2026-02-16_09:00
transfers transfer=T-6 from=FV-3 to=BT-3 out=1000 in=1000 unit=L started_at=2026-02-16_10:00 ended_at=2026-02-16_11:00 via=HOSE
runs run=R-2 product=PALE started_at=2026-02-17_08:00 ended_at=2026-02-17_10:00 date_code=TWO good=2000
runs run=R-3 product=PALE started_at=2026-02-18_08:00 ended_at=2026-02-18_10:00 date_code=THREE good=2000
runs run=R-4 product=PALE started_at=2026-02-19_08:00 ended_at=2026-02-19_10:00 date_code=FOUR good=2000
runs run=R-5 product=PALE started_at=2026-02-20_08:00 ended_at=2026-02-20_10:00 date_code=FIVE good=2000
runs run=R-6 product=KEG started_at=2026-02-21_08:00 ended_at=2026-02-21_10:00 date_code=SIX good=10
feeds run=R-2 from=BT-1
feeds run=R-3 from=BT-2
feeds run=R-4 from=FV-4
feeds run=R-5 from=BT-3
feeds run=R-6 from=FV-2
units unit=P-1 kind=pallet run=R-1 quantity=100
units unit=P-2 kind=pallet run=R-2 quantity=90
units unit=P-3 kind=pallet run=R-3 quantity=80
units unit=P-4 kind=pallet run=R-4 quantity=70
units unit=P-5 kind=pallet run=R-5 quantity=60
units unit=K-1/R-6 kind=keg run=R-6 quantity=1
`

// Each unit says how it comes into the scope, and the units are counted by that, cases and kegs apart; together
// they are all that is in scope.
func TestWays(t *testing.T) {
	ask(t, everyWay, scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.Anything}, func(_ *store.Tx, s *scope.Scope) {
		way := map[string]string{}
		for _, u := range s.Answer.Units {
			way[u.Code] = u.Way
		}
		require.Equal(t, map[string]string{"P-1": "content", "K-1/R-6": "yeast", "P-2": "heel", "P-3": "path", "P-4": "uncertain", "P-5": "any-of"}, way)
		var order []string
		units, cases, kegs := 0, int64(0), int64(0)
		for _, w := range s.Ways {
			order = append(order, w.Way)
			units, cases, kegs = units+w.Units, cases+w.Cases, kegs+w.Kegs
		}
		require.Equal(t, []string{"content", "yeast", "heel", "path", "uncertain", "any-of"}, order)
		require.Equal(t, "only by yeast", s.Ways[1].Text)
		require.Equal(t, int64(0), s.Ways[1].Cases)
		require.Equal(t, int64(1), s.Ways[1].Kegs)
		in, possible := s.Answer.Totals.In, s.Answer.Totals.Possible
		require.Equal(t, in.Units+possible.Units, units)
		require.Equal(t, in.Cases+possible.Cases, cases)
		require.Equal(t, in.Kegs+possible.Kegs, kegs)
	})
}

// A hazard that does not go by a way has no unit that comes so; what stands in scope by a decision is named as such.
func TestWaysOfAHazardAndADecision(t *testing.T) {
	b := scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.ForeignBody, Decisions: []scope.Decision{
		{Code: "P-3", Choice: scope.Include}, {Code: "BT-1@2026-02-16T08:00", Choice: scope.Exclude}}}
	ask(t, everyWay, b, func(_ *store.Tx, s *scope.Scope) {
		way := map[string]string{}
		for _, u := range s.Answer.Units {
			way[u.Code] = u.Way
		}
		require.Equal(t, map[string]string{"P-1": "content", "K-1/R-6": "yeast", "P-3": "named", "P-4": "uncertain", "P-5": "heel"}, way)
	})
}

// What comes from a suspect that is only possibly meant is uncertain, whatever the link.
func TestWaysOfAPossibleSuspect(t *testing.T) {
	const repacked = `
shipments shipment=S-9 unit=P-1|P-3 quantity=5 consignee=D-1 shipped_at=2026-03-01_08:00
runs run=R-9 product=PALE started_at=2026-03-02_08:00 ended_at=2026-03-02_10:00 date_code=NINE good=200
feeds run=R-9 from=P-1 quantity=10 unit=case
units unit=P-9 kind=pallet run=R-9 quantity=10
`
	ask(t, everyWay+repacked, scope.Basis{Suspects: []string{"S-9"}, Hazard: graph.Anything}, func(_ *store.Tx, s *scope.Scope) {
		way := map[string]string{}
		for _, u := range s.Answer.Units {
			way[u.Code] = u.Way
		}
		require.Equal(t, map[string]string{"P-1": "named", "P-3": "named", "P-9": "uncertain"}, way)
	})
}

// What other decisions would change is counted before and after, each alone and then all together, and names the
// units that would come in and go out. It takes no decision: the scope that stands is as it was.
func TestWhatIf(t *testing.T) {
	const shipped = "shipments shipment=S-3 unit=P-3 quantity=80 consignee=D-1 shipped_at=2026-03-01_08:00\nshipments shipment=S-1 unit=P-1 quantity=9 consignee=D-2 shipped_at=2026-03-01_08:00\n"
	b := scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.Anything}
	ask(t, everyWay+shipped, b, func(tx *store.Tx, s *scope.Scope) {
		stands := s.Counts()
		require.Equal(t, scope.Counts{Units: 6, Cases: 400, Kegs: 1, Unassigned: lots.Packages{Cases: 200, Kegs: 9}, Consignees: 2}, stands)
		w, err := b.WhatIf(tx, s, []string{"hazard=foreign-body", "-K-1/R-6", "?H-2"})
		require.NoError(t, err)
		require.Len(t, w.Effects, 4)
		require.Equal(t, scope.Effect{If: []string{"hazard=foreign-body"}, Before: stands, After: scope.Counts{Units: 5, Cases: 320, Kegs: 1, Unassigned: lots.Packages{Cases: 180, Kegs: 9}, Consignees: 1}, Enter: []string{}, Leave: []string{"P-3"}}, w.Effects[0])
		require.Equal(t, []string{"K-1/R-6"}, w.Effects[1].Leave)
		require.Equal(t, stands, w.Effects[2].After, "H-2 was never used")
		require.Equal(t, scope.Counts{Units: 4, Cases: 320, Kegs: 0, Unassigned: lots.Packages{Cases: 180, Kegs: 9}, Consignees: 1}, w.Effects[3].After)
		require.Equal(t, w.Would.Counts(), w.Effects[3].After)
		require.Equal(t, stands, s.Counts())
		require.Empty(t, b.Decisions)

		alone, err := b.WhatIf(tx, s, []string{"+H-3"})
		require.NoError(t, err)
		require.Len(t, alone.Effects, 1, "one alone is all there is")
		_, err = b.WhatIf(tx, s, []string{"-P-77"})
		require.ErrorContains(t, err, "P-77")
		_, err = b.WhatIf(tx, s, []string{"P-3"})
		require.ErrorContains(t, err, "write +CODE")
	})
}

// Cases and kegs of a run that are on no unit count too, apart from the units.
func TestWhatIfCountsWhatIsOnNoUnit(t *testing.T) {
	const untagged = `
vessels vessel=FV-1 kind=fermenter unit=L
brews brew=B-1 beer=Pale started_at=2026-02-01_07:00 cast_out_at=2026-02-01_13:00 into=FV-1 volume=3000 unit=L
brew_inputs brew=B-1 from=H-1 quantity=5 unit=kg
runs run=R-1 product=PALE started_at=2026-02-03_08:00 ended_at=2026-02-03_10:00 date_code=ONE good=2000
runs run=R-2 product=KEG started_at=2026-02-04_08:00 ended_at=2026-02-04_10:00 date_code=TWO good=3
feeds run=R-1 from=FV-1
feeds run=R-2 from=FV-1
units unit=P-1 kind=pallet run=R-1 quantity=40
`
	b := scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.Anything}
	ask(t, untagged, b, func(tx *store.Tx, s *scope.Scope) {
		w, err := b.WhatIf(tx, s, []string{"-R-1", "-R-2", "-P-1"})
		require.NoError(t, err)
		require.Equal(t, scope.Counts{Units: 1, Cases: 40, Unassigned: lots.Packages{Cases: 60, Kegs: 3}}, w.Effects[0].Before)
		var after []lots.Packages
		for _, x := range w.Effects {
			after = append(after, x.After.Unassigned)
		}
		require.Equal(t, []lots.Packages{{Kegs: 3}, {Cases: 60}, {Cases: 60, Kegs: 3}, {}}, after)
	})
}

// To include and to exclude one thing has no answer that both are part of, whatever it is called and in whatever order.
func TestWhatIfRefusesAContradiction(t *testing.T) {
	b := scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.Anything}
	ask(t, everyWay, b, func(tx *store.Tx, s *scope.Scope) {
		for _, ifs := range [][]string{{"+P-3", "-P-3"}, {"-p-3", "?H-2", "+P-3"}, {"+unit:P-3", "-P-3"}} {
			_, err := b.WhatIf(tx, s, ifs)
			require.ErrorContains(t, err, "contradict each other", "%v", ifs)
			require.Equal(t, lots.Invalid, lots.KindOf(err))
		}
		_, err := b.WhatIf(tx, s, []string{"+P-3", "-P-1"})
		require.NoError(t, err)
	})
}

// That nothing has left is said only where every kind of link agrees: what a hazard does not count may have been
// shipped, served from a tank, or sold over the bar.
func TestNothingHasLeftWhateverTheHazard(t *testing.T) {
	const cans = `
items item=CAN name=can kind=container unit=each
vessels vessel=FV-1 kind=fermenter unit=L
vessels vessel=FV-9 kind=fermenter unit=L
receipts lot=CANS item=CAN supplier=SUP supplier_lot=c quantity=9000 unit=each received_at=2026-01-02_08:00
brews brew=B-1 beer=Pale started_at=2026-02-01_07:00 cast_out_at=2026-02-01_13:00 into=FV-1 volume=3000 unit=L
brews brew=B-9 beer=Pale started_at=2026-02-10_07:00 cast_out_at=2026-02-10_13:00 into=FV-9 volume=2000 unit=L
runs run=R-1 product=PALE started_at=2026-02-03_08:00 ended_at=2026-02-03_10:00 date_code=ONE good=2000
runs run=R-9 product=PALE started_at=2026-02-20_08:00 ended_at=2026-02-20_10:00 date_code=NINE good=2000
feeds run=R-1 from=FV-1
feeds run=R-1 from=CANS
feeds run=R-9 from=FV-9
units unit=P-1 kind=pallet run=R-1 quantity=100
units unit=P-9 kind=pallet run=R-9 quantity=100
additions vessel=FV-9 from=P-1 quantity=20 unit=case at=2026-02-11_08:00
`
	for name, c := range map[string]struct {
		row  string
		left bool
	}{
		"all here":          {"", false},
		"shipped":           {"shipments shipment=S-9 unit=P-9 quantity=1 consignee=D-1 shipped_at=2026-03-01_08:00", true},
		"served from tank":  {"removals subject=FV-9 quantity=20 unit=L at=2026-02-21_08:00 reason=taproom", true},
		"sold over the bar": {"removals subject=P-9 quantity=1 unit=case at=2026-02-21_08:00 reason=taproom", true},
		"destroyed":         {"removals subject=P-9 quantity=1 unit=case at=2026-02-21_08:00 reason=destroyed witness=Ines", false},
	} {
		t.Run(name, func(t *testing.T) {
			for _, h := range []graph.Hazard{graph.PackagePart, graph.Anything} {
				ask(t, cans+c.row+"\n", scope.Basis{Suspects: []string{"CANS"}, Hazard: h}, func(tx *store.Tx, s *scope.Scope) {
					require.Equal(t, c.left, s.HasLeft(tx), "hazard %s", h)
				})
			}
		})
	}
}

// What the last version had in scope and the records alone would let go is kept, with its band; a signature newer
// than the version and than the last correction lets it go, and so does an exclusion.
func TestKept(t *testing.T) {
	frozen := []scope.Version{{Version: 1, Suspects: []string{"H-1"}, Hazard: graph.Anything, Entry: 1000,
		Items: []scope.Item{{Kind: "unit", Code: "P-1", Band: "in", Affected: 100}, {Kind: "lot", Code: "H-2", Band: "possible"}, {Kind: "consignee", Code: "D-2", Band: "in", Received: "3 of P-1"}}}}
	for name, c := range map[string]struct {
		basis scope.Basis
		kept  []scope.Item
	}{
		"nobody signed": {scope.Basis{}, []scope.Item{{Kind: "lot", Code: "H-2", Band: "possible", Kept: true}, {Kind: "consignee", Code: "D-2", Band: "in", Received: "3 of P-1", Kept: true}}},
		"signed":        {scope.Basis{Signed: map[string]int64{"H-2": 1001, "D-2": 1001}, Corrected: 900}, nil},
		"signed before the last correction": {scope.Basis{Signed: map[string]int64{"H-2": 1001, "D-2": 1001}, Corrected: 1002},
			[]scope.Item{{Kind: "lot", Code: "H-2", Band: "possible", Kept: true}, {Kind: "consignee", Code: "D-2", Band: "in", Received: "3 of P-1", Kept: true}}},
		"excluded": {scope.Basis{Decisions: []scope.Decision{{Code: "H-2", Choice: scope.Exclude}, {Code: "D-2", Choice: scope.Exclude}}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			b := c.basis
			b.Suspects, b.Hazard, b.Versions = []string{"H-1"}, graph.Anything, frozen
			ask(t, everyWay, b, func(_ *store.Tx, s *scope.Scope) {
				require.Equal(t, c.kept, s.Kept)
			})
		})
	}
}

// A difference says what was added, removed, changed, kept and restored, and unit by unit what a consignee got more.
func TestDiff(t *testing.T) {
	unit := func(code, band string, affected int64, kept bool) scope.Item {
		return scope.Item{Kind: "unit", Code: code, Band: band, Affected: affected, Kept: kept}
	}
	was := []scope.Item{unit("A", "in", 5, false), unit("B", "in", 5, false), unit("C", "in", 5, false), unit("D", "in", 5, true), unit("E", "in", 5, false),
		{Kind: "consignee", Code: "D-1", Band: "in", Received: "5 of A; 2 of B"}}
	now := []scope.Item{unit("A", "in", 5, false), unit("B", "possible", 5, false), unit("C", "in", 5, true), unit("D", "in", 5, false), unit("F", "in", 1, false),
		{Kind: "consignee", Code: "D-1", Band: "in", Received: "7 of A"}}
	what := map[string]string{}
	for _, c := range scope.Diff(was, now) {
		what[c.Code] = c.What + " " + c.Was
		if c.Code == "D-1" {
			require.Equal(t, "+2 of A, -2 of B", c.Detail)
		}
	}
	require.Equal(t, map[string]string{"B": "changed in, 5 affected", "C": "kept in, 5 affected", "D": "restored in, 5 affected", "E": "removed in, 5 affected", "F": "added ", "D-1": "changed in, 7 cases received"}, what)
	require.Empty(t, scope.Diff(now, now))
}
