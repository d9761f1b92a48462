package house_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

var ctx = context.Background()

// brewed is hops H-1 in a brew of which some is in tank BT-1, some in FV-1, and some packed: pallets P-1 and P-2, a
// keg, and what is on no unit. H-2 went into nothing.
const brewed = `
site name=Test time_zone=UTC
items item=HOP name=hop kind=hop unit=kg
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee
products product=PALE name=Pale container_ml=500 per_case=20
products product=KEG name=Keg container_ml=30000 per_case=1
vessels vessel=FV-1 kind=fermenter unit=L site=cellar
vessels vessel=FV-2 kind=fermenter unit=L
vessels vessel=BT-1 kind=bright unit=L
receipts lot=H-1 item=HOP supplier=SUP supplier_lot=h1 quantity=10 unit=kg received_at=2026-02-01_09:00 place=shelf
receipts lot=H-2 item=HOP supplier=SUP supplier_lot=h2 quantity=10 unit=kg received_at=2026-02-01_09:00
brews brew=B-1 beer=Pale started_at=2026-03-01_07:00 cast_out_at=2026-03-01_13:00 into=FV-1 volume=9000 unit=L
brews brew=B-2 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV-2 volume=2000 unit=L
brew_inputs brew=B-1 from=H-1 quantity=4 unit=kg
transfers transfer=T-1 from=FV-1 to=BT-1 out=6000 in=6000 unit=L started_at=2026-03-15_08:00 ended_at=2026-03-15_09:00
runs run=R-1 product=PALE started_at=2026-03-16_08:00 ended_at=2026-03-16_10:00 date_code=ONE good=3440
runs run=R-2 product=KEG started_at=2026-03-16_11:00 ended_at=2026-03-16_12:00 date_code=TWO good=3
feeds run=R-1 from=BT-1
feeds run=R-2 from=BT-1
units unit=P-1 kind=pallet run=R-1 quantity=80
units unit=P-2 kind=pallet run=R-1 quantity=80 place=store
units unit=K-1/R-2 kind=keg run=R-2 quantity=1
`

// listed gives what is in the house of the scope of H-1, in a new database with that history and what else happened.
func listed(t *testing.T, more string, own map[string][]int64) (list []house.Stock) {
	t.Helper()
	db, err := store.Create(ctx, filepath.Join(t.TempDir(), "house.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Written(brewed + more) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	require.NoError(t, db.View(ctx, func(tx *store.Tx) error {
		s, err := (&scope.Basis{Suspects: []string{"H-1"}, Hazard: graph.Anything}).Scope(tx)
		require.NoError(t, err)
		list, err = house.InScope(tx, s, own)
		return err
	}))
	return list
}

func codes(list []house.Stock) (out []string) {
	for _, x := range list {
		out = append(out, x.Kind+" "+x.Code)
	}
	return out
}

func find(t *testing.T, list []house.Stock, code string) house.Stock {
	t.Helper()
	for _, x := range list {
		if x.Code == code {
			return x
		}
	}
	require.Fail(t, "not listed", code)
	return house.Stock{}
}

// What leaves first comes first: tanks, then lots, then units, then what is on no unit. What is out of scope is not listed.
func TestOrder(t *testing.T) {
	list := listed(t, "", nil)
	require.Equal(t, []string{"tank BT-1", "tank FV-1", "lot H-1", "unit K-1/R-2", "unit P-1", "unit P-2", "loose R-1", "loose R-2"}, codes(list))
	tank, lot, pallet := find(t, list, "FV-1"), find(t, list, "H-1"), find(t, list, "P-2")
	require.InDelta(t, 3000, tank.Quantity, 0)
	require.Equal(t, "cellar", tank.Place)
	require.Equal(t, []any{6.0, "kg", "shelf"}, []any{lot.Quantity, lot.Unit, lot.Place})
	require.Equal(t, []any{80.0, "case", "store"}, []any{pallet.Quantity, pallet.Unit, pallet.Place})
	require.Equal(t, "keg", find(t, list, "K-1/R-2").Unit)
}

// What is gone by the books is not listed, unless somebody counted some of it; a count stands beside the books and gives its place.
func TestGoneAndCounted(t *testing.T) {
	const gone = `
removals subject=H-1 quantity=6 unit=kg at=2026-03-05_08:00 reason=dumped
removals subject=BT-1 quantity=all at=2026-03-17_08:00 reason=dumped
shipments shipment=S-1 unit=P-1 quantity=80 consignee=D-1 shipped_at=2026-03-20_08:00
shipments shipment=S-2 unit=P-2 quantity=30 consignee=D-1 shipped_at=2026-03-20_08:00
`
	list := listed(t, gone, nil)
	require.Equal(t, []string{"tank FV-1", "unit K-1/R-2", "unit P-2", "loose R-1", "loose R-2"}, codes(list))
	require.InDelta(t, 50, find(t, list, "P-2").Quantity, 0)
	require.Nil(t, find(t, list, "P-2").Counted)

	list = listed(t, gone+`
counts subject=P-1 quantity=4 at=2026-03-21_08:00 place=dock
counts subject=H-1 quantity=2 unit=kg at=2026-03-21_08:00
`, nil)
	x := find(t, list, "P-1")
	require.InDelta(t, 0, x.Quantity, 0)
	require.InDelta(t, 4, *x.Counted, 0)
	require.Equal(t, "dock", x.Place)
	require.InDelta(t, 2, *find(t, list, "H-1").Counted, 0)
}

// A tank is listed for what it holds now: not when it was emptied, cleaned and filled with other beer.
func TestATankHoldsOtherBeer(t *testing.T) {
	list := listed(t, `
removals subject=BT-1 quantity=all at=2026-03-17_08:00 reason=dumped
cleans vessel=BT-1 at=2026-03-17_10:00 method=cip verified=yes
transfers transfer=T-2 from=FV-2 to=BT-1 out=500 in=500 unit=L started_at=2026-03-18_08:00 ended_at=2026-03-18_09:00
`, nil)
	require.NotContains(t, codes(list), "tank BT-1")
}

// A pallet that may have left, as one of several, stays on the list and says so; beer that only may hold it is possible.
func TestWhatIsNotSure(t *testing.T) {
	list := listed(t, `
brew_inputs brew=B-2 from=H-1|H-2 quantity=1 unit=kg
shipments shipment=S-1 unit=P-1|P-2 quantity=80 consignee=D-1 shipped_at=2026-03-20_08:00
`, nil)
	require.Contains(t, find(t, list, "P-1").What, "may have left")
	require.Contains(t, find(t, list, "P-2").What, "may have left")
	require.NotContains(t, find(t, list, "K-1/R-2").What, "may have left")
	require.Equal(t, "possible", find(t, list, "FV-2").Band)
}

// Held says that somebody holds it, held here that this recall does.
func TestHeld(t *testing.T) {
	const held = "holds subject=P-1 at=2026-03-17_08:00 reason=seam by=QA\n"
	x := find(t, listed(t, held, nil), "P-1")
	require.True(t, x.Held)
	require.False(t, x.HeldHere)
	entry := int64(len(histories.Written(brewed + held)))
	x = find(t, listed(t, held, map[string][]int64{"P-1": {entry}}), "P-1")
	require.True(t, x.HeldHere)
	require.False(t, find(t, listed(t, held, nil), "P-2").Held)
}

// What is on no unit cannot be held: it is named with how to enter it, a keg by its number and cases as a stack.
func TestLoose(t *testing.T) {
	list := listed(t, "", nil)
	loose := house.Loose(list)
	require.Equal(t, []string{"loose R-1", "loose R-2"}, codes(loose))
	require.Equal(t, "12 cases of R-1", loose[0].Amount())
	require.Equal(t, "2 kegs of R-2", loose[1].Amount())
	require.Equal(t, "heeltap pack --kind stack --run R-1 --quantity N --place WHERE", loose[0].Enter())
	require.Equal(t, "heeltap pack KEG --kind keg --run R-2 --quantity 1", loose[1].Enter())
	text := house.Unheld(list)
	require.Contains(t, text, "12 cases of R-1 (heeltap pack --kind stack")
	require.Contains(t, text, "2 kegs of R-2")
	require.Contains(t, text, "heeltap label")

	packed := listed(t, "units unit=ST-1 kind=stack run=R-1 quantity=12\nunits unit=K-2/R-2 kind=keg run=R-2 quantity=1\nunits unit=K-3/R-2 kind=keg run=R-2 quantity=1\n", nil)
	require.Empty(t, house.Loose(packed))
	require.Empty(t, house.Unheld(packed))
	require.Contains(t, codes(packed), "unit ST-1")
}
