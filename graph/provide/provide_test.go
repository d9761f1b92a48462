package provide_test

import (
	"context"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph"
	"heeltap/graph/provide"
	"heeltap/graph/trace"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const house = `
site name=House time_zone=UTC volume_unit=hL
items item=HOPS name=Hops kind=hop unit=kg
items item=MALT name=Malt kind=malt unit=kg
parties party=S-1 name=Grower role=supplier phone=555-0100 address=Field
parties party=S-2 name=Maltings role=supplier
parties party=D-1 name=Quayside role=consignee phone=555-0101 address=Quay gln=9521101530001
parties party=HAUL name=Haulier role=both phone=555-0102 address=Yard
vessels vessel=FV-1 kind=fermenter capacity=50 unit=hL
lines line=L-1
products product=CAN name=Pale container_ml=500 per_case=24 shelf_life_days=90 gtin=9520000000004
receipts lot=L-1A item=HOPS supplier=S-1 supplier_lot=H/1 quantity=10 unit=kg received_at=2026-03-01_09:00 carrier=HAUL
receipts lot=L-2A item=MALT supplier=S-2 supplier_lot=M/1 quantity=500 unit=kg received_at=2026-03-01_10:00
receipts lot=L-3A item=MALT supplier=S-2 supplier_lot=- quantity=500 unit=kg received_at=2026-03-20_10:00 carrier=Rail
brews brew=B-1 beer=Pale started_at=2026-03-02_06:00 cast_out_at=2026-03-02_12:00 into=FV-1 volume=20 unit=hL
brew_inputs brew=B-1 from=L-1A quantity=5 unit=kg
brew_inputs brew=B-1 from=L-2A quantity=300 unit=kg
runs run=R-1 product=CAN line=L-1 started_at=2026-03-10_08:00 ended_at=2026-03-10_12:00 date_code=ONE good=2400
feeds run=R-1 from=FV-1
units unit=P-1 kind=pallet run=R-1 quantity=50 sscc=095200000000000004
shipments shipment=S-A unit=P-1 quantity=50 consignee=D-1 shipped_at=2026-03-12_09:00 carrier=haulier document=N-1
shipments shipment=S-B unit=B-1 quantity=100 quantity_unit=kg consignee=D-1 shipped_at=2026-03-13_09:00
`

func opened(t *testing.T) *store.DB {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "t.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	db.Now = func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) }
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Entered(histories.Written(strings.TrimSpace(house) + "\n")) {
			rows = append(rows, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	return db
}

// cell is what stands under a heading in the row of a code.
func cell(t *testing.T, rows [][]string, code, head string) string {
	t.Helper()
	at := slices.Index(rows[0], head)
	require.GreaterOrEqual(t, at, 0, head)
	for _, r := range rows[1:] {
		if r[1] == code || r[2] == code && len(r) < 12 {
			return r[at]
		}
	}
	require.Fail(t, "no row", code)
	return ""
}

// TestWhatTheRulesAsk holds each row against the six items of 21 CFR 1.337(a) and 1.345(a), and what leaves against 1.345(b): who,
// what, when, lot, quantity and how packaged, transporter.
func TestWhatTheRulesAsk(t *testing.T) {
	require.NoError(t, opened(t).View(context.Background(), func(tx *store.Tx) error {
		scope, err := provide.Days(tx, "2026-03-01", "2026-03-15")
		require.NoError(t, err)
		p, err := provide.Of(tx, scope)
		require.NoError(t, err)
		in, out, from, keep := p.Sheets[0].Rows, p.Sheets[1].Rows, p.Sheets[2].Rows, p.Sheets[3].Rows
		require.Len(t, in, 3, "the delivery of the 20th is none of these days")
		for head, want := range map[string]string{"date received": "2026-03-01", "description": "Hops", "supplier's lot": "H/1", "quantity": "10", "unit": "kg", "source's name": "Grower", "source's address": "Field",
			"source's telephone": "555-0100", "transporter": "Haulier", "transporter's address": "Yard", "transporter's telephone": "555-0102", "missing": ""} {
			require.Equal(t, want, cell(t, in, "L-1A", head), head)
		}
		require.Equal(t, "source's address; source's telephone; transporter", cell(t, in, "L-2A", "missing"))
		for head, want := range map[string]string{"date released": "2026-03-12", "description": "Pale", "lot": "R-1", "date codes": "ONE", "SSCC": "095200000000000004", "quantity": "50", "how packaged": "cases of 24 × 500 mL",
			"recipient's name": "Quayside", "recipient's address": "Quay", "recipient's telephone": "555-0101", "transporter": "Haulier", "document": "N-1", "missing": ""} {
			require.Equal(t, want, cell(t, out, "S-A", head), head)
		}
		require.Equal(t, "description; transporter", cell(t, out, "S-B", "missing"))
		require.Len(t, from, 3, "both ingredients of the run that left")
		require.Equal(t, "in", cell(t, from, "L-1A", "certain"))
		require.Equal(t, 2, p.Incomplete)
		for _, sheet := range p.Sheets {
			for _, r := range sheet.Rows {
				require.Len(t, r, len(sheet.Rows[0]), "every row has every column, so that it sorts")
			}
		}
		// 21 CFR 1.360: 1 year for what keeps 60 days to 6 months, from the last of these records, of 13 March 2026.
		require.Equal(t, "2027-03-13", keep[1][3])
		require.Equal(t, "2029-03-13", keep[2][3])
		for _, bad := range [][2]string{{"x", ""}, {"2026-03-02", "2026-03-01"}, {"2026-03-01", "y"}} {
			_, err := provide.Days(tx, bad[0], bad[1])
			require.Error(t, err)
		}
		return nil
	}))
}

// TestOfAScope has what an answer reaches, with the sources of all of it, whenever they came.
func TestOfAScope(t *testing.T) {
	require.NoError(t, opened(t).View(context.Background(), func(tx *store.Tx) error {
		a, err := trace.Trace(tx, graph.Forward, "L-1A")
		require.NoError(t, err)
		p, err := provide.Of(tx, provide.Scope{Answer: a})
		require.NoError(t, err)
		require.Equal(t, "in", cell(t, p.Sheets[1].Rows, "S-A", "certain"))
		require.Equal(t, "Maltings", cell(t, p.Sheets[0].Rows, "L-2A", "source's name"))
		require.Equal(t, 2, p.Received, "the lot that went nowhere is none of it")
		a, err = trace.Trace(tx, graph.Forward, "L-3A")
		require.NoError(t, err)
		p, err = provide.Of(tx, provide.Scope{Answer: a})
		require.NoError(t, err)
		require.Equal(t, []int{1, 0}, []int{p.Received, p.Released})
		return nil
	}))
}
