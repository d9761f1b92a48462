package desk_test

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

const dockHouse = `
site name=Test time_zone=UTC
items item=HOP name=hops kind=hop unit=kg
items item=MALT name=malt kind=malt unit=kg
parties party=SUP name=Growers role=supplier
vessels vessel=SILO-1 kind=silo unit=kg capacity=5000
vessels vessel=YB1 kind=brink unit=L
receipts lot=L25-0001 item=HOP supplier=SUP supplier_lot=24/117 quantity=10 unit=kg received_at=2025-03-03_08:00
`

// atDock asks in a house with one lot of hops.
func atDock(t *testing.T, f func(tx *store.Tx)) {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	var rows []store.Statement
	for _, r := range histories.Entered(histories.Written(dockHouse)) {
		rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "me"})
	}
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)
		return nil
	}))
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error { f(tx); return nil }))
}

func delivered(lots ...desk.DeliveredLot) desk.Delivery {
	return desk.Delivery{Supplier: "SUP", Document: "DN-1", Lots: lots, By: "Tove"}
}

// What is wrong with a delivery is said of its lot and cell, of all lots at once; what is wrong with the whole of it once.
func TestWhatADeliveryLacks(t *testing.T) {
	good := desk.DeliveredLot{Item: "HOP", SupplierLot: "88/1", Quantity: "5"}
	for _, c := range []struct {
		name   string
		d      desk.Delivery
		faults []string // line column: part of the reason
	}{
		{"nothing", delivered(), []string{"nothing is written down yet"}},
		{"no lot", delivered(good, desk.DeliveredLot{Item: "HOP", Quantity: "5"}), []string{"2 supplier_lot: if there is none on the goods, tick that"}},
		{"a lot and none", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1", Unmarked: true, Quantity: "5"}), []string{"1 supplier_lot: which is it"}},
		{"both lots", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1"}, desk.DeliveredLot{Item: "NONE", SupplierLot: "2", Quantity: "1 kg"}), []string{"1 quantity: ", "2 item: "}},
		{"a bar code never seen before as the item", delivered(desk.DeliveredLot{Item: "]C1010954110153300010AB", Quantity: "5"}), []string{"1 item: is needed", "1 unit: is needed"}},
		{"a bar code that cannot be read", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "]C1010954110153300110AB", Quantity: "5"}), []string{"1 supplier_lot: scan it again"}},
		{"on hold for nothing", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1", Quantity: "5", Status: "hold"}), []string{"1 waits_for: say what it waits for"}},
		{"waiting, but not on hold", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1", Quantity: "5", WaitsFor: "certificate"}), []string{"1 status: then it is on hold"}},
		{"unknown supplier", desk.Delivery{Supplier: "NOBODY", By: "Tove", Lots: []desk.DeliveredLot{good, good}}, []string{"0 supplier: "}},
		{"papers in another kind of unit", delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1", Quantity: "5", OnPapers: "5 hL"}), []string{"1 on_papers: cannot be compared"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			atDock(t, func(tx *store.Tx) {
				_, err := desk.Receive(tx, c.d)
				require.Error(t, err)
				var said []string
				if faults, ok := err.(lots.Faults); ok {
					for _, f := range faults {
						said = append(said, string(rune('0'+f.Line))+" "+f.Column+": "+f.Reason)
					}
				} else {
					said = []string{err.Error()}
				}
				require.Len(t, said, len(c.faults), "%q", said)
				for i, want := range c.faults {
					at, reason, _ := strings.Cut(want, ": ")
					require.Contains(t, said[i], at)
					require.Contains(t, said[i], reason)
				}
			})
		})
	}
}

// What is odd is asked before anything is recorded, and answered by saying that it is so all the same.
func TestWhatIsAskedAtTheDock(t *testing.T) {
	for _, c := range []struct {
		name string
		lot  desk.DeliveredLot
		asks []string
	}{
		{"a new lot", desk.DeliveredLot{Item: "HOP", SupplierLot: "XY-9", Quantity: "5", Where: "cold room"}, nil},
		{"the known lot again", desk.DeliveredLot{Item: "HOP", SupplierLot: "24/117", Quantity: "5"}, nil},
		{"nearly the known lot", desk.DeliveredLot{Item: "HOP", SupplierLot: "24/171", Quantity: "5"}, []string{"Did you mean supplier's lot 24/117? It came in on 3 March 2025 as L25-0001"}},
		{"as much as on the papers", desk.DeliveredLot{Item: "HOP", SupplierLot: "XY-9", Quantity: "5", OnPapers: "5000 g"}, nil},
		{"less than on the papers", desk.DeliveredLot{Item: "HOP", SupplierLot: "XY-9", Quantity: "5", OnPapers: "6"}, []string{"The papers say 6 kg of hops, and you counted 5 kg"}},
		{"into the silo", desk.DeliveredLot{Item: "MALT", SupplierLot: "M-1", Quantity: "500", Where: "silo-1"}, nil},
		{"nearly into the silo", desk.DeliveredLot{Item: "MALT", SupplierLot: "M-1", Quantity: "500", Where: "SILO-2"}, []string{`There is no vessel "SILO-2": was it put into SILO-1?`}},
		{"into the brink", desk.DeliveredLot{Item: "MALT", SupplierLot: "M-1", Quantity: "500", Where: "YB1"}, []string{"WRONG VESSEL? MALT is malt, and YB1 is a brink."}},
	} {
		t.Run(c.name, func(t *testing.T) {
			atDock(t, func(tx *store.Tx) {
				d := delivered(c.lot)
				done, err := desk.Receive(tx, d)
				if len(c.asks) > 0 {
					asked, ok := err.(desk.Questions)
					require.True(t, ok, "%v", err)
					require.Len(t, asked, len(c.asks))
					for i, want := range c.asks {
						require.Contains(t, asked[i].Text, want)
					}
					return
				}
				require.NoError(t, err)
				require.Len(t, done.Lots, 1)
			})
			if len(c.asks) == 0 {
				return
			}
			atDock(t, func(tx *store.Tx) {
				d := delivered(c.lot)
				d.Seen = asksOf(t, c.lot)
				done, err := desk.Receive(tx, d)
				require.NoError(t, err)
				require.Len(t, done.Lots, 1)
				require.Empty(t, done.Warnings, "what was asked is not said again")
			})
		})
	}
}

// asksOf are the questions about a lot, in a house where nothing is kept.
func asksOf(t *testing.T, lot desk.DeliveredLot) (out []string) {
	atDock(t, func(tx *store.Tx) {
		_, err := desk.Receive(tx, delivered(lot))
		for _, q := range err.(desk.Questions) {
			out = append(out, q.Text)
		}
	})
	return out
}

// The lots of a delivery carry its papers and what those said, and one on hold what it waits for.
func TestWhatADeliveryLeaves(t *testing.T) {
	atDock(t, func(tx *store.Tx) {
		note := papers.Paper{Hash: strings.Repeat("ab", 32), Name: "note.pdf", Type: "application/pdf", Size: 9}
		d := delivered(desk.DeliveredLot{Item: "HOP", SupplierLot: "1/1", Quantity: "5", OnPapers: "5", Status: "hold", WaitsFor: "certificate"},
			desk.DeliveredLot{Item: "MALT", Unmarked: true, Quantity: "500", Where: "SILO-1"})
		d.Papers = []papers.Paper{note}
		done, err := desk.Receive(tx, d)
		require.NoError(t, err)
		hops, malt := *done.Lots[0].Code, *done.Lots[1].Code
		for _, lot := range []string{hops, malt} {
			known, err := desk.PapersOf(tx, lot)
			require.NoError(t, err)
			require.Len(t, known.Attached, 1)
			require.Equal(t, note, known.Attached[0].Paper)
			require.Equal(t, "Tove", known.Attached[0].By)
			again, err := desk.Attach(tx, lot, note, "Quint")
			require.NoError(t, err)
			require.Equal(t, known.Attached[0].Entry, again, "attached twice, it is there once")
		}
		known, err := desk.PapersOf(tx, hops)
		require.NoError(t, err)
		require.Equal(t, "5 kg", known.Quantity)
		r, _ := tx.Receipt(malt)
		require.Equal(t, []string{"-", "SILO-1", ""}, []string{r.SupplierLot, r.Into, r.Place})
		dock, err := desk.AtTheDock(tx)
		require.NoError(t, err)
		require.Len(t, dock.Today, 2)
		require.Len(t, dock.Waiting, 1)
		require.Equal(t, "certificate", dock.Waiting[0].WaitsFor)
		_, err = desk.Attach(tx, "NOTHING", note, "Quint")
		require.Equal(t, lots.NotFound, lots.KindOf(err))
	})
}

// A bar code that was scanned whole is read apart wherever it stands, and kept as it came; once its GTIN was received, it
// says the item too.
func TestAWholeBarCodeIsReadApart(t *testing.T) {
	atDock(t, func(tx *store.Tx) {
		receive := func(lot desk.DeliveredLot) *lots.Receipt {
			d := delivered(lot)
			done, err := desk.Receive(tx, d)
			require.NoError(t, err)
			r, ok := tx.Receipt(*done.Lots[0].Code)
			require.True(t, ok)
			known, err := desk.PapersOf(tx, r.Lot)
			require.NoError(t, err)
			require.NotEmpty(t, known.Scan)
			return r
		}
		first := receive(desk.DeliveredLot{Item: "HOP", SupplierLot: "]C1010954110153300010QX-1", Quantity: "5"})
		require.Equal(t, "QX-1", first.SupplierLot)
		again := receive(desk.DeliveredLot{Item: "]C1010954110153300010M55", Quantity: "5"})
		require.Equal(t, [2]string{"HOP", "M55"}, [2]string{again.Item, again.SupplierLot})
	})
}
