package datecode_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/lots/datecode"
)

// Printing agrees with the Go library's own formatting of dates, over leap days, the turn of
// the year, midnight, and the hours that clocks show twice or not at all.
func TestPrintAgainstTheLibrary(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Copenhagen")
	require.NoError(t, err)
	for _, x := range []struct {
		pattern, recorded, timed string
		packed                   bool
	}{
		{"BB {year}-{month}-{day} {hour}:{minute}", "BB 2006-01-02", " 15:04", false}, {"{day}{mon}{yy}", "02Jan06", "", false}, {"K{packed-yy}{packed-doy}", "K06002", "", true},
		{"{packed-year}{packed-month}{packed-day} {hour}{minute}{second}", "20060102", " 150405", true},
	} {
		p, err := datecode.Parse(x.pattern)
		require.NoError(t, err)
		rapid.Check(t, func(t *rapid.T) {
			packed := time.Unix(rapid.Int64Range(1_700_000_000, 2_000_000_000).Draw(t, "packed"), 0).In(zone)
			life := rapid.Int64Range(0, 800).Draw(t, "life")
			day := packed
			if !x.packed {
				day = packed.AddDate(0, 0, int(life))
			}
			m := datecode.Moment{Packed: packed, ShelfLifeDays: life}
			want := strings.ToUpper(day.Format(x.recorded))
			require.Equal(t, want, p.Recorded(m))
			require.Equal(t, want+packed.Format(x.timed), p.Print(m), "the time is the packing's, whatever the date is of")
		})
	}
}

func TestPrint(t *testing.T) {
	m := datecode.Moment{Packed: time.Date(2028, 2, 29, 23, 59, 5, 0, time.UTC), ShelfLifeDays: 365, Line: "C2", Product: "PALE"}
	for pattern, want := range map[string][2]string{ // on a package, in the run's row
		"{packed-day}{packed-letter}{packed-y}": {"29B8", "29B8"}, "{packed-letter-no-i}{day}": {"B28", "B28"},
		"L{line} {product} {hour}{minute}": {"LC2 PALE 2359", "LC2 PALE"},
		"{hour}:{minute} {day}{month}{yy}": {"23:59 280229", "280229"}, "{{{day}}}": {"{28}", "{28}"},
		"BB{day}.{month}.{yy} L {hour}:{minute}:{second}": {"BB28.02.29 L 23:59:05", "BB28.02.29 L"},
	} {
		p, err := datecode.Parse(pattern)
		require.NoError(t, err, pattern)
		require.Equal(t, want, [2]string{p.Print(m), p.Recorded(m)}, pattern)
		require.Equal(t, pattern, p.String())
		require.Equal(t, want[0] != want[1], p.PrintsTime(), pattern)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, pattern := range []string{"{", "}", "{nothing}", "{packed-hour}", "{day", "day}", "{hour}{day}{minute}", "{hour}x{minute}"} {
		_, err := datecode.Parse(pattern)
		require.Error(t, err, pattern)
	}
}

func TestCheck(t *testing.T) {
	require.NoError(t, datecode.Check("BB {year}-{month}-{day} {hour}:{minute}"))
	require.ErrorContains(t, datecode.Check("BB {year}-{mon}-{dd}"), "{dd} is not a field of a date code: use year, yy")
	require.ErrorContains(t, datecode.Check("BB {hour}:{minute}"), "no date in it")
	require.ErrorContains(t, datecode.Check("BB {year"), "without its }")
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"BB {year}-{month}-{day} {hour}:{minute}", "{{}}", "{packed-doy}", "{hour}}", "\xff{y}"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, pattern string) {
		p, err := datecode.Parse(pattern)
		if err != nil {
			return
		}
		m := datecode.Moment{Packed: time.Unix(1_800_000_000, 0).UTC(), ShelfLifeDays: 100}
		if whole, recorded := p.Print(m), p.Recorded(m); !p.PrintsTime() && whole != recorded {
			t.Fatalf("%q prints no time, but %q is not %q", pattern, whole, recorded)
		}
	})
}
