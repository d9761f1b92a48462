package inquiry_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
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
	db := recorded(t, text)
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		for i, r := range runs {
			read := p.Print(datecode.Moment{Packed: r.middle.Add(offset).In(zone), ShelfLifeDays: 270})
			a, err := inquiry.Ask(tx, inquiry.Question{Read: read})
			require.NoError(t, err, read)
			require.Equal(t, 100, a.Candidates[0].Score, read)
			require.Contains(t, a.Candidates[0].Runs, r.code, read)
			require.Contains(t, a.Candidates[0].Units, r.pallet, read)
			if i%8 == 0 { // the last digit of the time worn off: any minute that it may be
				a, err = inquiry.Ask(tx, inquiry.Question{Read: read[:len(read)-1]})
				require.NoError(t, err, read)
				require.Contains(t, a.Candidates[0].Units, r.pallet, read)
				a, err = inquiry.Ask(tx, inquiry.Question{Read: strings.ReplaceAll(read[len("BB 2027"):], "0", "O")})
				require.NoError(t, err, read)
				require.Contains(t, a.Candidates[0].Units, r.pallet, read)
				continue
			}
			require.LessOrEqual(t, len(slices.DeleteFunc(a.Candidates, func(c inquiry.Candidate) bool { return c.Score < 100 || len(c.Against) > 0 })), 2, read)
		}
		return tx.Err()
	}))
}

// recorded makes a database of a history.
func recorded(t *testing.T, text string) *store.DB {
	t.Helper()
	db, err := store.Create(context.Background(), filepath.Join(t.TempDir(), "i.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
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
	return db
}

func ask(t *testing.T, db *store.DB, q inquiry.Question) (a *inquiry.Answer) {
	t.Helper()
	require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
		var err error
		a, err = inquiry.Ask(tx, q)
		return err
	}))
	return a
}

// Two products printed one code on one day, at other hours; that of the second is on hold. And
// hundreds of runs later the code of a run that is on hold is as near as all others.
func TestHeldIsNeverUnmentioned(t *testing.T) {
	text := `
site name=Test time_zone=UTC
products product=P name=P container_ml=440 per_case=24 date_code=BB_{year}-{month}-{day}_{hour}:{minute}
products product=Q name=Q container_ml=440 per_case=24 date_code=BB_{year}-{month}-{day}_{hour}:{minute}
vessels vessel=FV kind=fermenter unit=L
brews brew=B beer=Pale started_at=2026-01-01_06:00 cast_out_at=2026-01-01_12:00 into=FV volume=900000 unit=L
runs run=RP product=P started_at=2026-05-01_08:00 ended_at=2026-05-01_09:00 date_code=BB_2027-05-01 good=960
runs run=RQ product=Q started_at=2026-05-01_14:00 ended_at=2026-05-01_15:00 date_code=BB_2027-05-01 good=960
feeds run=RP from=FV
feeds run=RQ from=FV
units unit=PP kind=pallet run=RP quantity=40
units unit=PQ kind=pallet run=RQ quantity=40
holds subject=RQ at=2026-05-02_08:00 reason=glass by=me
`
	for i := range 30 {
		day := time.Date(2026, 6, 1+i, 8, 0, 0, 0, time.UTC)
		text += fmt.Sprintf("runs run=R%d product=P started_at=%s ended_at=%s date_code=BB_%s good=960\nfeeds run=R%d from=FV\n", i, day.Format(time.RFC3339), day.Add(time.Hour).Format(time.RFC3339), day.AddDate(1, 0, 0).Format(time.DateOnly), i)
	}
	text += "holds subject=R3 at=2026-06-06_08:00 reason=glass by=me\n"
	db := recorded(t, text)

	a := ask(t, db, inquiry.Question{Read: "BB 2027-05-01 14:20"})
	require.Equal(t, "Q", a.Candidates[0].Product, "the only one that printed at that time")
	require.Equal(t, []string{"PQ"}, a.Candidates[0].Units)
	require.Equal(t, "in", a.Candidates[0].Held)
	require.Contains(t, a.Says, "on hold")
	require.Equal(t, "in", a.Card.Held)

	a = ask(t, db, inquiry.Question{Read: "BB 2027-05-01"})
	require.Contains(t, a.Ask, "Which beer is it: P or Q?")
	require.Contains(t, a.Says, "BB 2027-05-01 Q, which is on hold")

	a = ask(t, db, inquiry.Question{Read: "BB 2027-06"})
	require.Len(t, a.Candidates, 8)
	require.NotEmpty(t, a.Equal)
	require.Contains(t, a.Says, "BB 2027-06-04 P")
	named := func(s inquiry.Stopped) bool { return s.Printed == "BB 2027-06-04" && s.Held == "in" }
	require.True(t, slices.ContainsFunc(a.Stopped, named), "held, and not among the eight shown or last of them")

	for _, q := range []inquiry.Question{{Read: strings.Repeat("B", 500)}, {Read: "BB 2027", Note: strings.Repeat("x", 5000)}, {Read: "BB 2027", Bought: "garbage"}} {
		require.NoError(t, db.View(context.Background(), func(tx *store.Tx) error {
			_, err := inquiry.Ask(tx, q)
			require.Equal(t, lots.Invalid, lots.KindOf(err))
			return nil
		}))
	}
}

// A code that was printed in a part of a run leads to the pallets of that part.
func TestACodeOfPartOfARun(t *testing.T) {
	db := recorded(t, `
site name=Test time_zone=UTC
parties party=D name=Depot role=consignee
products product=P name=P container_ml=440 per_case=24 date_code=BB_{year}-{month}-{day}
vessels vessel=FV kind=fermenter unit=L
brews brew=B beer=Pale started_at=2026-01-01_06:00 cast_out_at=2026-01-01_12:00 into=FV volume=900000 unit=L
runs run=R product=P started_at=2026-03-09_22:00 ended_at=2026-03-10_02:00 date_code=BB_2027-03-09 good=3840
codes run=R date_code=BB_2027-03-10 since=2026-03-10_00:00
feeds run=R from=FV
units unit=PA1 kind=pallet run=R quantity=40 first_at=2026-03-09_22:00 last_at=2026-03-09_23:00
units unit=PA2 kind=pallet run=R quantity=40 first_at=2026-03-10_00:30 last_at=2026-03-10_01:00
units unit=PA3 kind=pallet run=R quantity=40 first_at=2026-03-10_01:00 last_at=2026-03-10_01:30
shipments shipment=S unit=PA2|PA3 quantity=40 consignee=D shipped_at=2026-03-11_08:00
`)
	a := ask(t, db, inquiry.Question{Read: "BB 2027-03-10", Place: "depot"})
	require.Equal(t, []string{"PA2", "PA3"}, a.Candidates[0].Units)
	require.Equal(t, []inquiry.Sent{{Consignee: "D", Possible: lots.Packages{Cases: 40}, First: "2026-03-11", Last: "2026-03-11"}}, a.Card.Shipped, "one of two is shipped once")
	require.Contains(t, a.Card.Place, "may fit")
	require.Equal(t, []string{"PA1"}, ask(t, db, inquiry.Question{Read: "BB 2027-03-09"}).Candidates[0].Units)
}

// However many units there are, each is found by its number.
func TestEveryUnitIsACandidate(t *testing.T) {
	text := `
site name=Test time_zone=UTC
products product=P name=P container_ml=440 per_case=24
vessels vessel=FV kind=fermenter unit=L
brews brew=B beer=Pale started_at=2026-01-01_06:00 cast_out_at=2026-01-01_12:00 into=FV volume=900000 unit=L
runs run=R product=P started_at=2026-05-01_08:00 ended_at=2026-05-01_18:00 date_code=X good=28800
feeds run=R from=FV
`
	for i := range 1100 {
		text += fmt.Sprintf("units unit=P26-%04d kind=stack run=R quantity=1\n", i)
	}
	db := recorded(t, text)
	for _, unit := range []string{"P26-0000", "P26-0499", "P26-0500", "P26-1099"} {
		a := ask(t, db, inquiry.Question{Read: strings.ToLower(unit)})
		require.Equal(t, unit, a.Candidates[0].Printed)
		require.Equal(t, []string{unit}, a.Candidates[0].Units)
		require.Equal(t, 100, a.Candidates[0].Score)
	}
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
