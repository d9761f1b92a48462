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
