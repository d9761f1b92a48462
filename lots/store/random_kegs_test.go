package store

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
)

// racked is a hall with four runs of kegs.
const racked = hall + `
runs run=R1 product=K line=L2 started_at=2026-03-02T08:00:00Z ended_at=2026-03-02T12:00:00Z date_code=X good=9
runs run=R2 product=K line=L2 started_at=2026-03-03T08:00:00Z ended_at=2026-03-03T12:00:00Z date_code=X good=9
runs run=R3 product=K line=L2 started_at=2026-03-03T10:00:00Z ended_at=2026-03-03T14:00:00Z date_code=X good=9
runs run=R4 product=K line=L2 started_at=2026-03-04T08:00:00Z ended_at=2026-03-04T12:00:00Z date_code=X good=9
`

// rack draws a row about kegs: filled, washed, sent out, come back, emptied.
func rack(t *rapid.T, n int) (string, lots.Row) {
	code, unit := fmt.Sprint(n), pick(t, "K1 K1 K2")+"/"+pick(t, "R1 R2 R3 R4")
	switch rapid.IntRange(0, 6).Draw(t, "sheet") {
	case 0:
		return "shipments", lots.Row{"shipment": "S" + code, "unit": unit, "quantity": "1", "consignee": "D", "shipped_at": moment(t)}
	case 1:
		return "returns", lots.Row{"return": "B" + code, "unit": unit, "quantity": "1", "consignee": "D", "returned_at": moment(t), "state": pick(t, "full part empty empty")}
	case 2:
		return "removals", lots.Row{"subject": unit, "quantity": "1", "at": moment(t), "reason": "taproom", "ref": code}
	}
	_, run, _ := lots.SplitFilling(unit)
	row := lots.Row{"unit": unit, "kind": "keg", "run": run, "quantity": "1"}
	switch rapid.IntRange(0, 11).Draw(t, "washed") {
	case 0:
		row["washed_at"] = moment(t)
	case 1:
		row["washer"] = "L1"
	}
	if rapid.Bool().Draw(t, "window") {
		row["first_at"] = moment(t)
	}
	return "units", row
}

// TestAnyKegsEqualTheirRebuild is TestAnyHistoryEqualsItsRebuild for what becomes of kegs.
func TestAnyKegsEqualTheirRebuild(t *testing.T) { recordsAtRandom(t, racked, rack) }

// TestTheFirstNoteOfAWashReachesTheRun records two washes at once in a run of which no keg was noted
// as washed before: the keg beside them is in doubt then, and no more once both are taken back.
func TestTheFirstNoteOfAWashReachesTheRun(t *testing.T) {
	db, err := Create(context.Background(), filepath.Join(t.TempDir(), "x.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Discard()) }()
	enterText(t, db, racked+`
units unit=K1/R1 kind=keg run=R1 quantity=1
units unit=K1/R2 kind=keg run=R2 quantity=1
shipments shipment=S1 unit=K1/R1 quantity=1 consignee=D shipped_at=2026-03-02T13:00:00Z
`)
	doubts := func() (n int) {
		require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
			n = len(tx.FindingsNamed("keg-wash-in-doubt"))
			return tx.Err()
		}))
		report, err := db.Audit(context.Background(), func(string) {})
		require.NoError(t, err)
		require.Empty(t, report.Differences)
		return n
	}
	require.Zero(t, doubts())
	enterText(t, db, `
units unit=K2/R2 kind=keg run=R2 quantity=1 washed_at=2026-03-03
units unit=K3/R2 kind=keg run=R2 quantity=1 washer=L1
`)
	require.Equal(t, 1, doubts())
	for _, unit := range []string{"K2/R2", "K3/R2"} {
		require.NoError(t, db.Update(context.Background(), func(tx *Tx) error {
			entry, _, _ := tx.Introduces(unit)
			_, err := tx.Void(entry, "never filled", "test")
			return err
		}))
	}
	require.Zero(t, doubts())
}
