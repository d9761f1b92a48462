package inquiry_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/graph/inquiry"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/lineage/histories"
	"heeltap/lots/store"
)

const pattern = "BB {year}-{month}-{day} {hour}:{minute}"

// Every can of a year of runs, read as the coder printed it, leads to its run and to its pallet: over
// the nights when clocks change, over midnight, and with a coder that is three minutes fast.
func TestPrintedAndReadAgree(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Copenhagen")
	require.NoError(t, err)
	p, err := datecode.Parse(pattern)
	require.NoError(t, err)
	text := `
site name=Test time_zone=Europe/Copenhagen
products product=PALE name=Pale container_ml=440 per_case=24 shelf_life_days=270 date_code=` + "BB_{year}-{month}-{day}_{hour}:{minute}" + `
vessels vessel=FV kind=fermenter unit=L
brews brew=B beer=Pale started_at=2026-01-01_06:00 cast_out_at=2026-01-01_12:00 into=FV volume=900000 unit=L
`
	const offset = 3 * time.Minute
	type run struct {
		code   string
		middle time.Time // of its first pallet
		pallet string
	}
	var runs []run
	code := func(at time.Time) string {
		return p.Recorded(datecode.Moment{Packed: at.Add(offset).In(zone), ShelfLifeDays: 270})
	}
	stamp := func(at time.Time) string { return at.In(zone).Format(time.RFC3339) }
	for i := range 60 {
		start := time.Date(2026, 1, 5+6*i, []int{8, 22, 1}[i%3], 7, 0, 0, zone)
		if i == 48 {
			start = time.Date(2026, 10, 25, 1, 7, 0, 0, zone) // the hour that clocks show twice lies in it
		}
		end, half := start.Add(3*time.Hour), start.Add(90*time.Minute)
		text += fmt.Sprintf("runs run=R%d product=PALE started_at=%s ended_at=%s date_code=%s good=3840 clock_offset_min=3\nfeeds run=R%d from=FV\n", i, stamp(start), stamp(end), written(code(start)), i)
		text += fmt.Sprintf("units unit=P%da kind=pallet run=R%d quantity=80 first_at=%s last_at=%s\nunits unit=P%db kind=pallet run=R%d quantity=80 first_at=%s last_at=%s\n", i, i, stamp(start), stamp(half), i, i, stamp(half), stamp(end))
		midnight := time.Date(start.Year(), start.Month(), start.Day()+1, 0, 0, 0, 0, zone).Add(-offset)
		if midnight.Before(end) {
			text += fmt.Sprintf("codes run=R%d date_code=%s since=%s\n", i, written(code(midnight)), stamp(midnight))
		}
		runs = append(runs, run{fmt.Sprintf("R%d", i), start.Add(20 * time.Minute), fmt.Sprintf("P%da", i)}, run{fmt.Sprintf("R%d", i), end.Add(-20 * time.Minute), fmt.Sprintf("P%db", i)})
	}
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "i.db"))
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.Update(context.Background(), func(tx *store.Tx) error {
		var rows []store.Statement
		for _, r := range histories.Written(text) {
			sheet, ok := lots.SheetNamed(r.Sheet)
			require.True(t, ok)
			rows = append(rows, store.Statement{Sheet: sheet, Row: r.Row, By: "me"})
		}
		_, _, faults, err := tx.RecordRows(rows)
		require.Empty(t, faults)
		return err
	}))
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		for _, r := range runs {
			read := p.Print(datecode.Moment{Packed: r.middle.Add(offset).In(zone), ShelfLifeDays: 270})
			a, err := inquiry.Ask(tx, inquiry.Question{Read: read})
			require.NoError(t, err, read)
			require.Equal(t, 100, a.Candidates[0].Score, read)
			require.Contains(t, a.Candidates[0].Runs, r.code, read)
			require.Contains(t, a.Candidates[0].Units, r.pallet, read)
			require.LessOrEqual(t, len(slices.DeleteFunc(a.Candidates, func(c inquiry.Candidate) bool { return c.Score < 100 || len(c.Against) > 0 })), 2, read)
		}
		return tx.Err()
	}))
}

// written puts a code into a row of a test: _ stands for a blank there.
func written(code string) string {
	out := []byte(code)
	for i, c := range out {
		if c == ' ' {
			out[i] = '_'
		}
	}
	return string(out)
}
