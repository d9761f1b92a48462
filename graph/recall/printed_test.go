package recall_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/recall/printed"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// No affected package is missed by the printed rules, and what they cover besides is counted: each
// rule is read, as a person would, against every tenth second of random runs that share codes, cross
// midnight, have coders that are off, margins, and codes with and without a date or a time of day.
func TestPrintedRulesMissNothing(t *testing.T) {
	db := open(t, "printed")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		enter(t, tx, statements(`
site name=Test time_zone=UTC
items item=END name=end kind=closure unit=each
parties party=SUP name=s role=supplier
vessels vessel=FV kind=fermenter unit=L
receipts lot=GOOD item=END supplier=SUP supplier_lot=g quantity=900000 unit=each received_at=2026-01-02_08:00
receipts lot=BAD item=END supplier=SUP supplier_lot=b quantity=900000 unit=each received_at=2026-01-02_08:00
brews brew=B beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=900000 unit=L
`)...)
		return tx.Err()
	}))
	patterns := []string{"C_{hour}:{minute}", "C_{hour}h", "C_{minute}", "C", "BB_{year}-{month}-{day}_{hour}:{minute}", "BB_{year}-{month}-{day}"}
	rapid.Check(t, func(rt *rapid.T) {
		pattern := rapid.SampledFrom(patterns).Draw(rt, "pattern")
		margin := rapid.SampledFrom([]int{0, 3}).Draw(rt, "margin")
		offset := rapid.SampledFrom([]int{0, 4, -7}).Draw(rt, "offset")
		text := fmt.Sprintf("products product=PALE name=Pale container_ml=440 per_case=1 date_code=%s\nlines line=L margin_min=%d\n", pattern, margin)
		code := func(at time.Time) string {
			if pattern[0] == 'C' {
				return "C"
			}
			return "BB_" + at.Add(time.Duration(offset)*time.Minute).Format(time.DateOnly)
		}
		stamp := func(at time.Time) string { return at.Format("2006-01-02_15:04") }
		type made struct{ start, end, bad, until time.Time }
		var runs []made
		for i := range rapid.IntRange(1, 3).Draw(rt, "runs") {
			start := time.Date(2026, 2, 2+i, rapid.SampledFrom([]int{8, 9, 22}).Draw(rt, "hour"), rapid.IntRange(0, 59).Draw(rt, "minute"), 0, 0, time.UTC)
			end := start.Add(time.Duration(rapid.IntRange(20, 180).Draw(rt, "minutes")) * time.Minute)
			r := made{start: start, end: end}
			text += fmt.Sprintf("runs run=R%d product=PALE line=L started_at=%s ended_at=%s date_code=%s good=%d clock_offset_min=%d\nfeeds run=R%d from=FV\n", i, stamp(start), stamp(end), code(start), int(end.Sub(start).Minutes())*30, offset, i)
			midnight := time.Date(start.Year(), start.Month(), start.Day()+1, 0, 0, 0, 0, time.UTC).Add(-time.Duration(offset) * time.Minute)
			if pattern[0] == 'B' && midnight.Before(end) && midnight.After(start) {
				text += fmt.Sprintf("codes run=R%d date_code=%s since=%s\n", i, code(midnight), stamp(midnight))
			}
			if i == 0 || rapid.Bool().Draw(rt, "has bad ends") {
				total := int(end.Sub(start).Minutes())
				from := rapid.IntRange(0, total-2).Draw(rt, "bad from")
				r.bad = start.Add(time.Duration(from) * time.Minute)
				r.until = r.bad.Add(time.Duration(rapid.IntRange(1, total-from).Draw(rt, "bad for")) * time.Minute)
				text += fmt.Sprintf("feeds run=R%d from=BAD since=%s until=%s\n", i, stamp(r.bad), stamp(r.until))
			}
			text += fmt.Sprintf("feeds run=R%d from=GOOD\n", i)
			runs = append(runs, r)
		}
		undone := fmt.Errorf("undone")
		require.ErrorIs(rt, db.Update(ctx, func(tx *store.Tx) error {
			enter(rt, tx, statements(text)...)
			a, err := trace.Trace(tx, 0, "BAD")
			require.NoError(rt, err)
			rules := printed.Rules(tx, a)
			require.NotEmpty(rt, rules)
			affected, covered, claimed, innocent := 0.0, 0.0, int64(0), int64(0)
			const step = 10
			for _, r := range runs {
				for at := r.start; at.Before(r.end); at = at.Add(step * time.Second) {
					wide := time.Duration(margin) * time.Minute
					hit := !r.bad.IsZero() && !at.Before(r.bad.Add(-wide)) && at.Before(r.until.Add(wide))
					shown := at.Add(time.Duration(offset) * time.Minute)
					match := slices.ContainsFunc(rules, func(x printed.Rule) bool { return reads(x, shown, code(at)) })
					if hit {
						require.True(rt, match, "printed at %s: %+v", shown, rules)
						affected += step
					}
					if match {
						covered += step
					}
				}
			}
			for _, x := range rules {
				claimed += x.Covered
				innocent += x.Innocent
				require.Equal(rt, x.Innocent == 0 || x.Spared != "", true)
				// what a rule covers for want of finer print by more than its edges is a loud failure
				require.False(rt, x.Separates && x.Innocent > int64(60*len(runs)), "%+v", x)
			}
			// 30 a minute; a rule's edges lie within a minute, and each is rounded up.
			slack := float64(len(rules)*len(runs))*31 + 10
			require.InDelta(rt, covered/60*30, float64(claimed), slack)
			require.InDelta(rt, (covered-affected)/60*30, float64(innocent), 2*slack)
			return undone
		}), undone)
	})
}

// A range of dates is in the order that a reader sees: of the dates as printed. A coder set to the wrong
// year prints a date out of order, which is found by its own code; no date is joined over one that was
// printed between, also where the coder was changed in mid-run.
func TestRangesAreOfPrintedDates(t *testing.T) {
	db := open(t, "ranges")
	base := `
site name=Test time_zone=UTC
items item=END name=end kind=closure unit=each
parties party=SUP name=s role=supplier
vessels vessel=FV kind=fermenter unit=L
products product=PALE name=Pale container_ml=440 per_case=1 date_code=BB_{year}-{month}-{day}
receipts lot=GOOD item=END supplier=SUP supplier_lot=g quantity=900000 unit=each received_at=2026-01-02_08:00
receipts lot=BAD item=END supplier=SUP supplier_lot=b quantity=900000 unit=each received_at=2026-01-02_08:00
brews brew=B beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=900000 unit=L
`
	run := func(n int, lot, code string) string {
		return fmt.Sprintf("runs run=R%d product=PALE started_at=2026-02-%02d_08:00 ended_at=2026-02-%02d_09:00 date_code=%s good=960\nfeeds run=R%d from=FV\nfeeds run=R%d from=%s\n", n, n, n, code, n, n, lot)
	}
	for name, x := range map[string]struct {
		rows string
		want []string
	}{
		"in order": {run(1, "BAD", "BB_2026-09-16") + run(2, "BAD", "BB_2026-09-17") + run(3, "BAD", "BB_2026-09-18") + run(4, "GOOD", "BB_2026-09-19"),
			[]string{"all date codes from BB 2026-09-16 to BB 2026-09-18"}},
		"wrong year": {run(1, "BAD", "BB_2026-09-16") + run(2, "BAD", "BB_2027-09-17") + run(3, "BAD", "BB_2026-09-18"),
			[]string{"all date codes from BB 2026-09-16 to BB 2027-09-17"}},
		"wrong year, and more in between": {run(1, "BAD", "BB_2026-09-16") + run(2, "BAD", "BB_2027-09-17") + run(3, "BAD", "BB_2026-09-18") + run(4, "GOOD", "BB_2026-10-01"),
			[]string{"date code BB 2026-09-16", "date code BB 2026-09-18", "date code BB 2027-09-17"}},
		"out of order": {run(1, "BAD", "BB_2026-09-18") + run(2, "BAD", "BB_2026-09-16") + run(3, "GOOD", "BB_2026-09-20") + run(4, "BAD", "BB_2026-09-17"),
			[]string{"all date codes from BB 2026-09-16 to BB 2026-09-18"}},
		"changed in mid-run": {run(1, "BAD", "BB_2026-09-16") + run(2, "BAD", "BB_2026-09-18") + run(3, "BAD", "BB_2026-09-20") + run(4, "GOOD", "BB_2026-09-25") +
			"codes run=R4 date_code=BB_2026-09-17 since=2026-02-04_08:30\n",
			[]string{"date code BB 2026-09-16", "date code BB 2026-09-18", "date code BB 2026-09-20"}},
	} {
		undone := fmt.Errorf("undone")
		require.ErrorIs(t, db.Update(ctx, func(tx *store.Tx) error {
			enter(t, tx, statements(base+x.rows)...)
			a, err := trace.Trace(tx, 0, "BAD")
			require.NoError(t, err)
			var got []string
			for _, r := range printed.Rules(tx, a) {
				got = append(got, strings.TrimPrefix(r.Text(), "Pale, 440 mL, "))
				require.True(t, r.Separates)
			}
			require.Equal(t, x.want, got, name)
			return undone
		}), undone)
	}
}

// Where the hour alone is printed a reader cannot tell half of it: that is a loud failure, and the window
// is in whole hours. A size that the name says already is not said twice.
func TestHoursAreWholeHours(t *testing.T) {
	db := open(t, "hours")
	require.NoError(t, db.Update(ctx, func(tx *store.Tx) error {
		enter(t, tx, statements(`
site name=Test time_zone=UTC
items item=END name=end kind=closure unit=each
parties party=SUP name=s role=supplier
vessels vessel=FV kind=fermenter unit=L
products product=PALE name=Pale_440_mL container_ml=440 per_case=24 date_code=BB_{year}-{month}-{day}_{hour}h
receipts lot=GOOD item=END supplier=SUP supplier_lot=g quantity=900000 unit=each received_at=2026-01-02_08:00
receipts lot=BAD item=END supplier=SUP supplier_lot=b quantity=900000 unit=each received_at=2026-01-02_08:00
brews brew=B beer=Pale started_at=2026-01-05_08:00 cast_out_at=2026-01-05_14:00 into=FV volume=900000 unit=L
runs run=R product=PALE started_at=2026-02-02_08:00 ended_at=2026-02-02_12:00 date_code=BB_2026-09-16 good=2400 clock_offset_min=0
feeds run=R from=FV
feeds run=R from=BAD until=2026-02-02_09:20
feeds run=R from=GOOD since=2026-02-02_09:20
`)...)
		a, err := trace.Trace(tx, 0, "BAD")
		require.NoError(t, err)
		rules := printed.Rules(tx, a)
		require.Len(t, rules, 1)
		require.Equal(t, "Pale 440 mL, 24 to a case, date code BB 2026-09-16, times 08:00 to 09:59", rules[0].Text())
		require.Equal(t, int64(800), rules[0].Affected)
		require.Equal(t, int64(1200), rules[0].Covered)
		require.False(t, rules[0].Separates)
		require.Contains(t, rules[0].Spared, "minutes")
		return nil
	}))
}

// reads applies a rule as somebody with the package in hand does.
func reads(r printed.Rule, shown time.Time, code string) bool {
	in := false
	for _, c := range r.Codes {
		in = in || c == written(code)
	}
	if r.Range {
		in = in || written(code) >= r.Codes[0] && written(code) <= r.Codes[len(r.Codes)-1]
	}
	clock := shown.Format("15:04")
	return in && (r.FromTime == "" || clock >= r.FromTime && clock <= r.ToTime)
}

func written(code string) string {
	out := []byte(code)
	for i, c := range out {
		if c == '_' {
			out[i] = ' '
		}
	}
	return string(out)
}
