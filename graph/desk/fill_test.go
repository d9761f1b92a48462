package desk_test

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// TestFillInFaults lists, by column, all that is wrong with what was typed, and what class of failure each is stays known.
func TestFillInFaults(t *testing.T) {
	inHouse(t, func(tx *store.Tx) {
		_, _, err := desk.FillIn(tx, act("receipts item=rost supplier=marow supplier_lot=7 quantity=1"))
		faults, ok := errors.AsType[lots.Faults](err)
		require.True(t, ok, "%v", err)
		require.Len(t, faults, 2)
		require.Equal(t, "item", faults[0].Column)
		require.Contains(t, faults[0].Reason, "did you mean Roast 1-1 (ROAST)")
		require.Equal(t, "supplier", faults[1].Column)
		require.Contains(t, faults[1].Reason, "did you mean Marrow & Thatch (S-01)")
	})
}

// TestNamesOnABrokenDatabase never calls a failure a misspelling: nobody mends a database by typing something else.
func TestNamesOnABrokenDatabase(t *testing.T) {
	for name, read := range map[string]func(tx *store.Tx) error{
		"filling in": func(tx *store.Tx) error {
			_, _, err := desk.FillIn(tx, act("receipts item=rost supplier=S-01 supplier_lot=7 quantity=1"))
			return err
		},
		"one name": func(tx *store.Tx) error { _, err := desk.CodeOf(tx, "rost", lots.KindItem); return err },
	} {
		t.Run(name, func(t *testing.T) {
			path, db := openedAt(t)
			damage(t, path, "DROP TABLE printed")
			require.NoError(t, desk.Try(context.Background(), db, func(tx *store.Tx) error {
				err := read(tx)
				require.ErrorContains(t, err, "no such table")
				_, isFaults := errors.AsType[lots.Faults](err)
				require.False(t, isFaults)
				require.NotEqual(t, lots.NotFound, lots.KindOf(err))
				return nil
			}))
		})
	}
}

// damage does something to a database file that heeltap never does.
func damage(t *testing.T, path, statement string) {
	t.Helper()
	raw, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer func() { require.NoError(t, raw.Close()) }()
	_, err = raw.Exec(statement)
	require.NoError(t, err)
}

// TestClocksDiffer allows for clocks that differ in one measure, whether the day is given or left out: what comes
// after that has not happened yet.
func TestClocksDiffer(t *testing.T) {
	db := opened(t)
	for late, said := range map[time.Duration]bool{lots.ClocksDiffer: false, lots.ClocksDiffer + time.Minute: true} {
		at := db.Now().Add(late)
		require.NoError(t, desk.Try(context.Background(), db, func(tx *store.Tx) error {
			_, err := desk.Moment(tx, at.Format("15:04"))
			require.Equal(t, said, err != nil, "without its day, %s late: %v", late, err)
			a := act("additions vessel=FV-1-1 from=L26-0001 quantity=1 unit=kg")
			a.Row["at"] = at.Format("2006-01-02 15:04")
			got, err := desk.Record(tx, a)
			require.NoError(t, err)
			require.Equal(t, said, slices.ContainsFunc(got.Warnings, func(w string) bool { return strings.Contains(w, "has not come yet") }), "with its day, %s late: %s", late, got.Warnings)
			return nil
		}))
	}
}

// TestFillIn completes what a person leaves out, says what it read as something else, and leaves the act's own row alone.
func TestFillIn(t *testing.T) {
	for _, c := range []struct {
		row    string
		filled lots.Row // some of its cells
		notes  []string
	}{
		{"receipts item=MALT supplier=S-01 supplier_lot=7 quantity=2.5_tonnes", lots.Row{"lot": "L26-0002", "quantity": "2500", "unit": "kg", "received_at": "2026-03-20 12:00", "by": "Ines"}, nil},
		{"receipts item=MALT supplier=S-01 supplier_lot=7 quantity=12", lots.Row{"unit": "kg"}, nil}, // the item's own
		{"receipts lot=OWN item=MALT supplier=S-01 supplier_lot=7 quantity=1 by=Signe received_at=2025-12-31_09:00", lots.Row{"lot": "OWN", "by": "Signe", "received_at": "2025-12-31 09:00"}, nil},
		{"receipts item=MALT supplier=S-01 supplier_lot=7 quantity=1 received_at=2025-12-31_09:00", lots.Row{"lot": "L25-0001"}, nil}, // the delivery's year
		{"receipts item=pale_malt supplier=S-01 supplier_lot=7 quantity=1", lots.Row{"item": "MALT"}, nil},                            // its name to the letter
		{"receipts item=Pale_Malt supplier=S-01 supplier_lot=7 quantity=1", lots.Row{"item": "MALT"}, []string{"Pale Malt read as pale malt (MALT)"}},
		{"cleans vessel=fv_1_1 method=cip", lots.Row{"vessel": "FV-1-1", "at": "2026-03-20 12:00"}, []string{"fv 1 1 read as FV-1-1"}},
		{"cleans vessel=http://192.168.1.5:8417/t/FV-1-1 method=cip", lots.Row{"vessel": "FV-1-1"}, nil},                                                     // a scanned tag is no surprise
		{"brew_inputs brew=B-1 from=L26-0001|silo-2 quantity=1 unit=kg", lots.Row{"from": "L26-0001|SILO 02", "at": ""}, []string{"silo-2 read as SILO 02"}}, // the brew's own time
		{"units unit=K-2 kind=keg run=R-2 quantity=1", lots.Row{"unit": "K-2/R-2"}, nil},
		{"units kind=pallet run=R-2 quantity=1", lots.Row{"unit": "P26-0001"}, nil},
	} {
		t.Run(c.row, func(t *testing.T) {
			inHouse(t, func(tx *store.Tx) {
				a := act(c.row)
				row, notes, err := desk.FillIn(tx, a)
				require.NoError(t, err)
				for column, want := range c.filled {
					require.Equal(t, want, row[column], column)
				}
				require.Equal(t, c.notes, notes)
				require.Equal(t, act(c.row), a, "the act's own row stays as it was given")
				require.Empty(t, tx.Alike("L26-0002"), "nothing is recorded")
			})
		})
	}
}
