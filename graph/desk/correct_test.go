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
