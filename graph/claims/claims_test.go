package claims_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/claims"
	"heeltap/lots"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

// A pallet of two products is declared only where both labels name it, the surest lot is told, and
// one word written in two ways is told once.
func TestOfAPalletOfTwoProducts(t *testing.T) {
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "c.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Written(`
site name=Test time_zone=UTC
items item=LAC name=lactose kind=sugar unit=kg allergens=Milk
items item=WHEY name=whey kind=sugar unit=kg allergens=milk;mlik
items item=MALT name=malt kind=malt unit=kg allergens=barley
parties party=SUP name=s role=supplier
products product=P name=p container_ml=440 per_case=24 declares=barley;milk
products product=Q name=q container_ml=440 per_case=24 declares=wheat;dary
vessels vessel=FV kind=fermenter unit=L
receipts lot=A item=LAC supplier=SUP supplier_lot=a quantity=500 unit=kg received_at=2026-01-02_08:00
receipts lot=B item=LAC supplier=SUP supplier_lot=b quantity=500 unit=kg received_at=2026-01-02_08:00
receipts lot=Z item=WHEY supplier=SUP supplier_lot=z quantity=500 unit=kg received_at=2026-01-02_08:00
receipts lot=M item=MALT supplier=SUP supplier_lot=m quantity=500 unit=kg received_at=2026-01-02_08:00
brews brew=B1 beer=x started_at=2026-02-01_08:00 cast_out_at=2026-02-01_14:00 into=FV volume=6000 unit=L
brew_inputs brew=B1 from=M quantity=100 unit=kg
brew_inputs brew=B1 from=A|B quantity=10 unit=kg
brew_inputs brew=B1 from=Z quantity=10 unit=kg
runs run=R product=P started_at=2026-02-10_08:00 ended_at=2026-02-10_12:00 date_code=X good=480
runs run=S product=Q started_at=2026-02-11_08:00 ended_at=2026-02-11_12:00 date_code=Y good=480
feeds run=R from=FV
feeds run=S from=FV
units unit=U kind=pallet run=R quantity=20
units unit=U kind=pallet run=S quantity=20
`) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok, r.Sheet)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.NoError(t, err)
		require.Empty(t, faults)

		a, err := claims.Of(tx, "run:R")
		require.NoError(t, err)
		require.Equal(t, []string{"mlik"}, a.Missing, "the label has the rest; a word of no law is missing")
		require.Equal(t, []string{"mlik"}, a.Unknown)

		a, err = claims.Of(tx, "unit:U")
		require.NoError(t, err)
		require.Equal(t, []string{"P", "Q"}, a.Products)
		require.Empty(t, a.Declares, "nothing that both labels have")
		require.Equal(t, []string{"barley", "milk", "mlik"}, a.Missing)
		require.Equal(t, []string{"milk"}, a.UndeclaredUS)
		require.Equal(t, []string{"barley", "milk"}, a.UndeclaredEU)
		require.Equal(t, []string{"dary"}, a.Strange)
		for _, c := range a.Carried {
			if c.Word == "milk" {
				require.Equal(t, []string{"Z", "in"}, []string{c.Lot, c.Band}, "the lot that is sure, not one of several")
			}
		}
		return tx.Err()
	}))
}
