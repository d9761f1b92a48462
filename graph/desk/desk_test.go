package desk_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// house is invented. FV-1-1 is the only fermenter; P-1-1, R-1-1 and K-1-1/R-1-1 came from it.
const house = `
site name=Test time_zone=UTC volume_unit=hL
items item=MALT name=pale_malt kind=malt unit=kg
items item=ROAST name=Roast_1-1 kind=malt unit=kg
parties party=S-01 name=Marrow_&_Thatch role=supplier
parties party=D-01 name=Quillback_Taverns role=consignee
vessels vessel=FV-1-1 kind=fermenter
vessels vessel=SILO_02 kind=silo
products product=PALE name=Pale container_ml=440 per_case=24
products product=KEG name=Keg container_ml=30000 per_case=1
receipts lot=L26-0001 item=MALT supplier=S-01 supplier_lot=WH_24/117 quantity=500 unit=kg received_at=2026-03-01_08:00
brews brew=B-1 beer=Pale started_at=2026-03-02_07:00 cast_out_at=2026-03-02_13:00 into=FV-1-1 volume=19 unit=hL
runs run=R-1-1 product=PALE started_at=2026-03-10_08:00 ended_at=2026-03-10_10:00 date_code=BB_2027-03-10 good=3840
runs run=R-2 product=KEG started_at=2026-03-10_11:00 ended_at=2026-03-10_12:00 date_code=TWO good=2
feeds run=R-1-1 from=FV-1-1
units unit=P-1-1 kind=pallet run=R-1-1 quantity=80
units unit=K-1-1/R-2 kind=keg run=R-2 quantity=1
`

func statements(text string) (out []store.Statement) {
	for _, r := range histories.Entered(histories.Written(text)) {
		out = append(out, store.Statement{Sheet: r.Sheet, Row: r.Row, By: "test"})
	}
	return out
}

// act is one row as a person gives it.
func act(text string) desk.Act {
	s := statements(text)[0]
	return desk.Act{Sheet: s.Sheet, Row: s.Row, By: "Ines"}
}

// opened is the house in a database of its own, at noon on 20 March 2026.
func opened(t *testing.T) *store.DB {
	t.Helper()
	_, db := openedAt(t)
	return db
}

// openedAt is opened, and the path of its file.
func openedAt(t *testing.T) (string, *store.DB) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "t.db")
	db, err := store.Create(context.Background(), path)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	db.Now = func() time.Time { return time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC) }
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		_, _, faults, err := tx.RecordRows(statements(house))
		require.Empty(t, faults)
		return err
	}))
	return path, db
}

// inHouse runs f in the house and keeps nothing.
func inHouse(t *testing.T, f func(tx *store.Tx)) {
	t.Helper()
	require.NoError(t, desk.Try(context.Background(), opened(t), func(tx *store.Tx) error { f(tx); return nil }))
}
