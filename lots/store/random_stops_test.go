package store

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots"
)

// stopAct draws a delivery, on hold or rejected or neither, or a hold of one, of the same moment or another, let go or not.
func stopAct(t *rapid.T, n int) (string, lots.Row) {
	at := func(day int) string { // a coarse grid, dates among it: much falls together
		return fmt.Sprintf(rapid.SampledFrom([]string{"2026-03-%02d", "2026-03-%02d 08:00"}).Draw(t, "time"), day)
	}
	if rapid.IntRange(0, 2).Draw(t, "sheet") == 0 {
		row := lots.Row{"lot": pick(t, "A B C"), "item": "MALT", "supplier": "SUP", "supplier_lot": "x", "quantity": "10", "unit": "kg", "received_at": at(2)}
		row["status"] = pick(t, "hold hold accepted rejected")
		if rapid.Bool().Draw(t, "into") {
			row["into"] = "SI"
		}
		return "receipts", row
	}
	row := lots.Row{"subject": pick(t, "A B C LM"), "at": at(rapid.IntRange(2, 3).Draw(t, "day")), "reason": pick(t, "wet torn"), "by": fmt.Sprint(n)}
	if rapid.Bool().Draw(t, "released") {
		row["released_at"], row["released_by"], row["release_reason"] = at(rapid.IntRange(4, 7).Draw(t, "let go")), "x", "y"
	}
	return "holds", row
}

// TestWhatIsStoppedEqualsReadingAllHolds records holds and deliveries at random, corrects some and takes some back, and
// holds what is kept about them against what all the rows say, at several moments; then the audit compares it with a rebuild.
func TestWhatIsStoppedEqualsReadingAllHolds(t *testing.T) {
	dir := t.TempDir()
	n, stood := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		db, err := Create(context.Background(), filepath.Join(dir, fmt.Sprintf("%d.db", n)))
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Discard()) }()
		enterText(t, db, hall)
		for i := range rapid.IntRange(3, 12).Draw(t, "rows") {
			if rapid.IntRange(0, 3).Draw(t, "what") == 0 {
				correctStop(t, db)
			} else {
				sheet, row := stopAct(t, i)
				s, _ := lots.SheetNamed(sheet)
				try(t, db, func(tx *Tx) error {
					_, _, faults, err := tx.RecordRows([]Statement{{Sheet: s, Row: row, By: "test"}})
					if err == nil && len(faults) > 0 {
						return faults
					}
					return err
				})
			}
		}
		require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
			for day := 2; day < 9; day++ {
				moment := time.Date(2026, 3, day, 7, 0, 0, 0, time.UTC).Unix() // 08:00 there
				want, wantLots := allStops(t, tx, moment)
				holds, receipts := tx.Stops(moment)
				require.Equal(t, want, entriesOf(holds))
				require.Equal(t, wantLots, entriesOf(receipts))
				stood += len(want) + len(wantLots)
				for _, reason := range []string{"wet", "torn"} {
					require.Equal(t, goneBy(t, tx, reason, moment), entriesOf(tx.LetGo([]string{reason}, math.MinInt64, moment)))
				}
			}
			var rejected []*lots.Receipt
			rows, err := tx.Records("receipts")
			require.NoError(t, err)
			for _, rec := range rows {
				if r := rec.(*lots.Receipt); r.Status == "rejected" {
					rejected = append(rejected, r)
				}
			}
			require.Equal(t, len(rejected) > 0, tx.AnyRejected())
			var into []*lots.Receipt
			for _, r := range rejected {
				if r.Into == "SI" {
					into = append(into, r)
				}
			}
			require.Equal(t, entriesOf(into), entriesOf(tx.RejectedInto("SI")))
			return tx.Err()
		}))
		if n%4 > 0 {
			return // it takes long, and is asked of all else too
		}
		report, err := db.Audit(context.Background(), func(string) {})
		require.NoError(t, err)
		require.Empty(t, report.Differences)
	})
	require.Greater(t, stood, 0, "something was stopped")
}

func entriesOf[T lots.Record](recs []T) []int64 {
	out := []int64{}
	for _, r := range recs {
		out = append(out, r.Entry())
	}
	return out
}

// allStops reads all holds and receipts, and gives the entries of what is stopped at a moment.
func allStops(t require.TestingT, tx *Tx, moment int64) (holds, receipts []int64) {
	holds, receipts = []int64{}, []int64{}
	type named struct {
		code string
		at   lots.When
	}
	written := map[named]bool{}
	rows, err := tx.Records("holds")
	require.NoError(t, err)
	for _, rec := range rows {
		h := rec.(*lots.Hold)
		written[named{h.Subject.Code(), h.At}] = true
		if !h.Released || h.ReleasedAt.From > moment {
			holds = append(holds, h.Seq)
		}
	}
	rows, err = tx.Records("receipts")
	require.NoError(t, err)
	for _, rec := range rows {
		if r := rec.(*lots.Receipt); r.Status == "hold" && !written[named{r.Lot, r.At}] {
			receipts = append(receipts, r.Seq)
		}
	}
	return holds, receipts
}

// goneBy reads all holds for a reason that were let go by a moment.
func goneBy(t require.TestingT, tx *Tx, reason string, moment int64) []int64 {
	out := []int64{}
	rows, err := tx.Records("holds")
	require.NoError(t, err)
	for _, rec := range rows {
		if h := rec.(*lots.Hold); h.Reason == reason && h.Released && h.ReleasedAt.From <= moment {
			out = append(out, h.Seq)
		}
	}
	return out
}

// correctStop amends a cell of a hold or delivery that bears on what is stopped, or of the site, or takes a row back.
func correctStop(t *rapid.T, db *DB) {
	var rows []lots.Entered
	require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
		all, err := tx.Everything()
		for _, e := range all {
			if e.Sheet.Name == "holds" || e.Sheet.Name == "receipts" || e.Sheet.Name == "site" {
				rows = append(rows, e)
			}
		}
		return err
	}))
	row := rapid.SampledFrom(rows).Draw(t, "row")
	var set map[string]string
	switch row.Sheet.Name {
	case "site":
		set = map[string]string{"time_zone": pick(t, "Europe/Berlin America/Lima")}
	case "holds":
		set = rapid.SampledFrom([]map[string]string{
			{"released_at": "", "released_by": "", "release_reason": ""}, {"released_at": "2026-03-05", "released_by": "x", "release_reason": "y"},
			{"at": "2026-03-02"}, {"at": "2026-03-02 08:00"}, {"reason": "torn"}, {"subject": "LM"},
		}).Draw(t, "hold")
	case "receipts":
		set = rapid.SampledFrom([]map[string]string{{"status": "hold"}, {"status": "rejected"}, {"status": ""}, {"received_at": "2026-03-02"}, {"into": ""}}).Draw(t, "receipt")
	}
	try(t, db, func(tx *Tx) error {
		if row.Sheet.Name != "site" && rapid.IntRange(0, 2).Draw(t, "void") == 0 {
			_, err := tx.Void(row.Seq, "random", "test")
			return err
		}
		_, err := tx.Amend(row.Seq, set, "random", "test")
		return err
	})
}
