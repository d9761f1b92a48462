package desk_test

import (
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots/store"
)

// TestCorrectionsTried tells from the answer alone whether a correction stands: one that was only tried has no entry.
func TestCorrectionsTried(t *testing.T) {
	by := desk.Change{Name: "P-1-1", Reason: "misread", By: "Ines"}
	for name, correct := range map[string]func(*store.Tx) (*desk.Corrected, error){
		"amend": func(tx *store.Tx) (*desk.Corrected, error) {
			return desk.Amend(tx, by, map[string]string{"quantity": "79"})
		},
		"void": func(tx *store.Tx) (*desk.Corrected, error) { return desk.Void(tx, by) },
	} {
		t.Run(name, func(t *testing.T) {
			db := opened(t)
			var c *desk.Corrected
			run := func(tx *store.Tx) (err error) { c, err = correct(tx); return err }
			before := quantityOf(t, db, "P-1-1")

			require.NoError(t, desk.Try(context.Background(), db, run))
			require.Equal(t, before, quantityOf(t, db, "P-1-1"), "a trial keeps nothing")
			c.Tried = true
			tried := asJSON(t, c)
			require.Equal(t, true, tried["tried"])
			require.NotContains(t, tried, "entry")
			require.Equal(t, float64(c.Pairs[0].Corrects), tried["corrects"])

			require.NoError(t, db.Update(context.Background(), run))
			require.NotEqual(t, before, quantityOf(t, db, "P-1-1"))
			kept := asJSON(t, c)
			require.Equal(t, false, kept["tried"])
			require.Equal(t, float64(c.Pairs[0].Entry), kept["entry"])
		})
	}
}

// TestCorrectionsTriedInAllRows leaves the numbers out of every row that is corrected together, too.
func TestCorrectionsTriedInAllRows(t *testing.T) {
	c := &desk.Corrected{Pairs: []desk.Pair{{Entry: 21, Corrects: 4}, {Entry: 22, Corrects: 5}}, Warnings: []string{}, Tried: true}
	got, err := json.Marshal(c)
	require.NoError(t, err)
	require.JSONEq(t, `{"corrects": 4, "all": [{"corrects": 4}, {"corrects": 5}], "warnings": [], "tried": true}`, string(got))
	require.Equal(t, int64(21), c.Pairs[0].Entry, "what is marshalled is not changed")
}

// quantityOf is what the one row of a code says; empty where it is void.
func quantityOf(t *testing.T, db *store.DB, code string) (quantity string) {
	t.Helper()
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		rows, err := tx.RowsOf(code)
		if len(rows) > 0 {
			quantity = rows[0].Row["quantity"]
		}
		return err
	}))
	return quantity
}

func asJSON(t *testing.T, x any) (out map[string]any) {
	t.Helper()
	text, err := json.Marshal(x)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &out))
	return out
}

// TestCorrections says how a row read and how it reads now, and what the correction newly touches.
func TestCorrections(t *testing.T) {
	inHouse(t, func(tx *store.Tx) {
		c, err := desk.Amend(tx, desk.Change{Name: "p 1 1", Reason: "misread", By: "Ines"}, map[string]string{"quantity": "300", "run": "r 1 1"})
		require.NoError(t, err)
		require.Len(t, c.Changes, 1)
		require.Contains(t, c.Changes[0].Was, "quantity=80")
		require.Contains(t, c.Changes[0].Now, "quantity=300")
		require.Contains(t, c.Warnings, "r 1 1 read as R-1-1")
		require.Greater(t, len(c.Warnings), 1, "300 cases are more than the run filled: %v", c.Warnings)

		c, err = desk.Void(tx, desk.Change{Name: "P-1-1", Reason: "never stood there", By: "Ines"})
		require.NoError(t, err)
		require.Empty(t, c.Changes[0].Now)
		_, err = desk.Void(tx, desk.Change{Name: "P-1-1", Reason: "again", By: "Ines"})
		require.ErrorContains(t, err, "never stood there", "a row taken back says by whom and why")
	})
	for _, x := range []struct {
		what string
		c    desk.Change
		set  map[string]string
		says string
	}{
		{"no reason", desk.Change{Name: "P-1-1", By: "Ines"}, map[string]string{"quantity": "79"}, "reason"},
		{"no such column", desk.Change{Name: "P-1-1", Reason: "x", By: "Ines"}, map[string]string{"colour": "red"}, "no column"},
		{"takes what is on hold", desk.Change{Name: "A-1", Reason: "x", By: "Ines"}, map[string]string{"from": "H-1"}, "as corrected, "},
		{"takes it by an override", desk.Change{Name: "A-1", Reason: "x", By: "Ines", Override: "tested and sound"}, map[string]string{"from": "H-1"}, ""},
	} {
		t.Run(x.what, func(t *testing.T) {
			inHouse(t, func(tx *store.Tx) {
				_, _, faults, err := tx.RecordRows(statements(`
receipts lot=H-1 item=MALT supplier=S-01 supplier_lot=8 quantity=5 unit=kg received_at=2026-03-01_08:00 status=hold
additions ref=A-1 vessel=FV-1-1 from=L26-0001 quantity=1 unit=kg at=2026-03-05_08:00`))
				require.NoError(t, err)
				require.Empty(t, faults)
				_, err = desk.Amend(tx, x.c, x.set)
				if x.says == "" {
					require.NoError(t, err)
					return
				}
				require.ErrorContains(t, err, x.says)
			})
		})
	}
}
