package stock_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/stock"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const house = `
site name=Test time_zone=Europe/Copenhagen volume_unit=hL
items item=HOP name=hops kind=hop unit=kg
items item=MALT name=malt kind=malt unit=kg
items item=CAN name=cans kind=container unit=each
items item=YST name=yeast kind=yeast unit=L
parties party=SUP name=s role=supplier
parties party=D-1 name=One role=consignee
vessels vessel=SILO kind=silo unit=kg
vessels vessel=FV kind=fermenter unit=hL
vessels vessel=BT kind=bright
vessels vessel=HOSE kind=path
products product=PALE name=Pale container_ml=440 per_case=24
products product=KEG name=Dark container_ml=30000 per_case=1
receipts lot=H-1 item=HOP supplier=SUP supplier_lot=A/1 quantity=10 unit=kg received_at=2026-02-01_08:00 best_by=2027-02-01 place=bay
receipts lot=H-2 item=HOP supplier=SUP supplier_lot=A/2 quantity=5 unit=kg received_at=2026-02-02_08:00
receipts lot=M-1 item=MALT supplier=SUP supplier_lot=B quantity=600 unit=kg received_at=2026-02-01_08:00 into=SILO
receipts lot=C-1 item=CAN supplier=SUP supplier_lot=- quantity=9000 unit=each received_at=2026-02-01_08:00
brews brew=B-1 beer=Pale started_at=2026-03-01_07:00 cast_out_at=2026-03-01_13:00 into=FV volume=30 unit=hL
brew_inputs brew=B-1 from=H-1 quantity=4 unit=kg
brew_inputs brew=B-1 from=H-2 quantity=5 unit=kg
brew_inputs brew=B-1 from=SILO quantity=400 unit=kg
crops lot=Y-1 item=YST vessel=FV quantity=20 unit=L at=2026-03-08_10:00
transfers transfer=T-1 from=FV to=BT out=29 in=29 unit=hL started_at=2026-03-10_08:00 ended_at=2026-03-10_09:00 via=HOSE
runs run=R-1 product=PALE started_at=2026-03-16_08:00 ended_at=2026-03-16_10:00 date_code=ONE good=3840
runs run=R-2 product=KEG started_at=2026-03-17_08:00 ended_at=2026-03-17_09:00 date_code=TWO good=5
feeds run=R-1 from=BT
feeds run=R-1 from=C-1
feeds run=R-2 from=BT
units unit=P-1 kind=pallet run=R-1 quantity=80 place=row_1
units unit=P-2 kind=pallet run=R-1 quantity=80
units unit=K-1/R-2 kind=keg run=R-2 quantity=1
units unit=K-2/R-2 kind=keg run=R-2 quantity=1
shipments shipment=S-1 unit=P-1 quantity=50 consignee=D-1 shipped_at=2026-03-18_08:00
shipments shipment=S-2 unit=P-2 quantity=80 consignee=D-1 shipped_at=2026-03-18_08:00
shipments shipment=S-3 unit=K-1/R-2|K-2/R-2 quantity=1 consignee=D-1 shipped_at=2026-03-18_08:00
returns return=U-1 unit=P-2 quantity=3 consignee=D-1 returned_at=2026-03-19_08:00
`

// A tank is listed with what it holds in its own unit, until it is empty; a hose holds nothing.
func TestTanks(t *testing.T) {
	tanks := func(more string) map[string]stock.Tank {
		return listed(t, more, stock.Tanks, func(x stock.Tank) string { return x.Vessel })
	}
	now := tanks("")
	require.Len(t, now, 3)
	require.Equal(t, stock.Left{Quantity: 200, Unit: "kg"}, now["SILO"].Left)
	require.InDelta(t, 0.8, now["FV"].Left.Quantity, 0.001, "30 hL, less 29 transferred and 20 L of yeast")
	require.Equal(t, "hL", now["FV"].Left.Unit)
	require.InDelta(t, 29-3840*0.0044-5*0.3, now["BT"].Left.Quantity, 0.001)
	require.Equal(t, "out", now["BT"].Held)
	require.Nil(t, now["BT"].Counted)
	require.Equal(t, "2026-03-01T13:00:00+01:00", now["FV"].Since)

	require.NotContains(t, tanks("removals subject=FV quantity=all at=2026-03-20_08:00 reason=dumped"), "FV")
	require.NotContains(t, tanks("cleans vessel=FV method=cip at=2026-03-20_08:00"), "FV")
	counted := tanks("counts subject=FV quantity=0.7 unit=hL at=2026-03-20_08:00\nremovals subject=FV quantity=0.2 unit=hL at=2026-03-20_09:00 reason=sample")["FV"]
	require.InDelta(t, 0.5, *counted.Counted, 1e-9, "the count, less what was drawn since")
	held := tanks("holds subject=H-1 at=2026-03-20_08:00 reason=smell by=Q")
	require.Equal(t, "in", held["BT"].Held)
	require.Equal(t, "out", held["SILO"].Held)
}

// A lot is listed with what is left of it, of one item or of all, unless it lies in a vessel or nothing is left.
func TestLots(t *testing.T) {
	all := func(item, more string) map[string]stock.Lot {
		return listed(t, more, func(tx *store.Tx) ([]stock.Lot, error) { return stock.Lots(tx, item) }, func(x stock.Lot) string { return x.Lot })
	}
	now := all("", "")
	require.ElementsMatch(t, []string{"H-1", "C-1", "Y-1"}, keys(now), "H-2 is used up, M-1 is in the silo")
	hop := now["H-1"]
	require.Equal(t, stock.Left{Quantity: 6, Unit: "kg"}, hop.Left)
	require.True(t, hop.Sure)
	require.Equal(t, []string{"A/1", "2027-02-01", "bay", "accepted", "out"}, []string{*hop.SupplierLot, *hop.BestBy, *hop.Place, hop.Status, hop.Held})
	require.False(t, now["C-1"].Sure, "nobody wrote down how many cans the run took")
	require.Nil(t, now["Y-1"].SupplierLot)
	require.Equal(t, "cropped", now["Y-1"].Status)
	require.ElementsMatch(t, []string{"H-1"}, keys(all("HOP", "")))
	require.Equal(t, stock.Left{Quantity: 5, Unit: "kg"}, all("", "removals subject=H-1 quantity=1 unit=kg at=2026-03-20_08:00 reason=sample")["H-1"].Left)
	found := all("", "counts subject=H-2 quantity=3 unit=kg at=2026-03-20_08:00")["H-2"]
	require.Zero(t, found.Left.Quantity)
	require.Equal(t, 3.0, *found.Counted, "what the books have not, a count has")
	require.Equal(t, "in", all("", "holds subject=H-1 at=2026-03-20_08:00 reason=smell by=Q")["H-1"].Held)
}

// Units are listed until they have left whole; after them what of the last runs is on none. What left as one of several
// is in the books of each, and counted once.
func TestUnits(t *testing.T) {
	var list []stock.Unit
	all := func(product, more string) map[string]stock.Unit {
		return listed(t, more, func(tx *store.Tx) (out []stock.Unit, err error) {
			list, err = stock.Units(tx, product)
			return list, err
		}, func(x stock.Unit) string { return x.Kind + " " + x.Unit })
	}
	now := all("", "")
	require.ElementsMatch(t, []string{"pallet P-1", "pallet P-2", "keg K-1/R-2", "keg K-2/R-2", "loose R-2"}, keys(now))
	require.Equal(t, 30.0, now["pallet P-1"].OnHand)
	require.Equal(t, "case", now["pallet P-1"].Each)
	require.Equal(t, "row 1", *now["pallet P-1"].Place)
	require.Equal(t, []string{"ONE"}, now["pallet P-1"].DateCodes)
	require.Equal(t, 3.0, now["pallet P-2"].OnHand, "what came back is here")
	require.Equal(t, 3.0, now["loose R-2"].OnHand, "5 kegs were filled, and 2 have numbers")
	require.Equal(t, "keg", now["loose R-2"].Each)
	for _, keg := range []string{"keg K-1/R-2", "keg K-2/R-2"} {
		require.Equal(t, 1.0, now[keg].OnHand)
		require.Equal(t, 1.0, now[keg].MayHaveLeft)
		require.Equal(t, []string{"K-1/R-2", "K-2/R-2"}, now[keg].OneOfSeveral[0].Units)
	}
	cases, kegs := stock.OneOfSeveral(list)
	require.Equal(t, []float64{0, 1}, []float64{cases, kegs})
	require.ElementsMatch(t, []string{"pallet P-1", "pallet P-2"}, keys(all("PALE", "")))
	require.NotContains(t, all("", "shipments shipment=S-9 unit=P-1 quantity=30 consignee=D-1 shipped_at=2026-03-19_08:00"), "pallet P-1")
	counted := all("", "counts subject=P-1 quantity=28 at=2026-03-19_08:00 place=row_4\nremovals subject=P-1 quantity=2 at=2026-03-20_08:00 reason=sample")["pallet P-1"]
	require.Equal(t, []float64{28, 26}, []float64{counted.OnHand, *counted.Counted})
	require.Equal(t, "row 4", *counted.Place, "where it was counted last")
	require.Equal(t, "in", all("", "holds subject=H-1 at=2026-03-20_08:00 reason=smell by=Q")["pallet P-1"].Held)
}

// A lot that came in on hold waits until that hold is let go, or nothing of it is left; why is what its hold says.
func TestWaitingLots(t *testing.T) {
	const (
		papers = "receipts lot=W-1 item=HOP supplier=SUP supplier_lot=W/1 quantity=10 unit=kg received_at=2026-03-02_08:00 status=hold place=bay\n"
		silo   = "receipts lot=W-2 item=MALT supplier=SUP supplier_lot=- quantity=10 unit=kg received_at=2026-03-01 status=hold into=SILO\n"
		why    = "holds subject=W-1 at=2026-03-02_08:00 reason=papers by=Q"
		letGo  = " released_at=2026-03-03_08:00 released_by=Q release_reason=came\n"
		later  = "\nholds subject=W-1 at=2026-03-04_08:00 reason=mould by=Q\n"
	)
	for _, c := range []struct {
		name, rows string
		want       []stock.Waiting
	}{
		{"nothing", "", []stock.Waiting{}},
		{"held, but not at receipt", "holds subject=H-1 at=2026-03-02_08:00 reason=smell by=Q", []stock.Waiting{}},
		{"rejected", "receipts lot=W-1 item=HOP supplier=SUP supplier_lot=W/1 quantity=10 unit=kg received_at=2026-03-02_08:00 status=rejected", []stock.Waiting{}},
		{"the longest first", papers + silo, []stock.Waiting{
			{"W-2", "MALT", "SUP", "-", "2026-03-01", stock.NoReason, ptr("SILO")},
			{"W-1", "HOP", "SUP", "W/1", "2026-03-02T08:00:00+01:00", stock.NoReason, ptr("bay")},
		}},
		{"with its reason", papers + why, []stock.Waiting{{"W-1", "HOP", "SUP", "W/1", "2026-03-02T08:00:00+01:00", "papers", ptr("bay")}}},
		{"also held later", papers + why + later, []stock.Waiting{{"W-1", "HOP", "SUP", "W/1", "2026-03-02T08:00:00+01:00", "papers", ptr("bay")}}},
		{"let go", papers + why + letGo, []stock.Waiting{}},
		{"let go, and held later for something else", papers + why + letGo + later, []stock.Waiting{}},
		{"sent back", papers + why + "\nremovals subject=W-1 quantity=10 unit=kg at=2026-03-03_08:00 reason=supplier-return", []stock.Waiting{}},
		{"part of it sent back", papers + why + "\nremovals subject=W-1 quantity=9 unit=kg at=2026-03-03_08:00 reason=supplier-return", []stock.Waiting{{"W-1", "HOP", "SUP", "W/1", "2026-03-02T08:00:00+01:00", "papers", ptr("bay")}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []stock.Waiting
			asked(t, house+c.rows, func(tx *store.Tx) (err error) { got, err = stock.WaitingLots(tx); return err })
			require.Equal(t, c.want, got)
		})
	}
}

func TestHeldInWords(t *testing.T) {
	for band, want := range map[string]string{"in": "held", "possible": "possibly", "out": ""} {
		require.Equal(t, want, stock.Held(band))
	}
}

func ptr(s string) *string { return &s }

func keys[V any](m map[string]V) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	return out
}

// listed asks for a list on top of the history and more, and gives it by name.
func listed[T any](t *testing.T, more string, list func(*store.Tx) ([]T, error), name func(T) string) map[string]T {
	t.Helper()
	out := map[string]T{}
	asked(t, house+more, func(tx *store.Tx) error {
		found, err := list(tx)
		for _, x := range found {
			out[name(x)] = x
		}
		return err
	})
	return out
}

// asked records a history and asks about it on the 24th of March.
func asked(t *testing.T, history string, ask func(tx *store.Tx) error) {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	db.Now = func() time.Time { return time.Date(2026, 3, 24, 12, 0, 0, 0, time.UTC) }
	var rows []store.Statement
	for _, r := range histories.Entered(histories.Written(history)) {
		rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
	}
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	require.NoError(t, db.View(context.Background(), ask))
}
