package lots

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func unix(t testing.TB, rfc3339 string) int64 {
	t.Helper()
	x, err := time.Parse(time.RFC3339, rfc3339)
	require.NoError(t, err)
	return x.Unix()
}

func TestParseWhen(t *testing.T) {
	const berlin, lordHowe = "Europe/Berlin", "Australia/Lord_Howe"
	for _, c := range []struct{ name, text, zone, want, warning, fault string }{
		{"local", "2026-03-04 10:00", berlin, "2026-03-04T10:00:00+01:00", "", ""},
		{"local with seconds", "2026-07-04 10:00:05", berlin, "2026-07-04T10:00:05+02:00", "", ""},
		{"local with T", "2026-03-04T10:00", berlin, "2026-03-04T10:00:00+01:00", "", ""},
		{"outer spaces", " 2026-03-04 10:00 ", berlin, "2026-03-04T10:00:00+01:00", "", ""},
		{"RFC 3339", "2026-03-04T10:00:00-05:00", berlin, "2026-03-04T15:00:00Z", "", ""},
		{"offset without seconds", "2026-10-25T02:30+01:00", berlin, "2026-10-25T01:30:00Z", "", ""},
		{"offset after a blank", "2026-10-25 02:30+02:00", berlin, "2026-10-25T00:30:00Z", "", ""},
		{"hour shown twice", "2026-10-25 02:30", berlin, "2026-10-25T00:30:00Z", `"2026-10-25 02:30" happens twice in Europe/Berlin: read as the first; add its offset to mean the second`, ""},
		{"end of the hour shown twice", "2026-10-25 03:00", berlin, "2026-10-25T02:00:00Z", "", ""},
		{"skipped hour", "2026-03-29 02:30", berlin, "", "", `"2026-03-29 02:30" does not exist in Europe/Berlin: the clocks skip that hour`},
		{"half an hour twice", "2026-04-05 01:45", lordHowe, "2026-04-04T14:45:00Z", `"2026-04-05 01:45" happens twice in Australia/Lord_Howe: read as the first; add its offset to mean the second`, ""},
		{"before that half hour", "2026-04-05 01:15", lordHowe, "2026-04-04T14:15:00Z", "", ""},
		{"half an hour skipped", "2026-10-04 02:15", lordHowe, "", "", `"2026-10-04 02:15" does not exist in Australia/Lord_Howe: the clocks skip that hour`},
		{"first hour after the gap", "2026-10-04 02:30", lordHowe, "2026-10-03T15:30:00Z", "", ""},
		{"day that the calendar skips", "2011-12-30", "Pacific/Apia", "", "", `"2011-12-30" does not exist in Pacific/Apia: the calendar skips that day`},
		{"too early", "1899-12-31", berlin, "", "", `"1899-12-31" is outside the years 1900 to 2199`},
		{"slipped digit", "20260-03-04", berlin, "", "", `"20260-03-04" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`},
		{"no such day", "2026-02-29", berlin, "", "", `"2026-02-29" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`},
		{"day before month", "04.03.2026 10:00", berlin, "", "", `"04.03.2026 10:00" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`},
		{"time without a day", "14:30", berlin, "", "", `"14:30" has no day: write it with its date, such as 2026-03-04 14:30`},
		{"a spreadsheet's day", "46085", berlin, "", "", `"46085" looks like a spreadsheet's number for 2026-03-04: check the paper and write the date itself`},
		{"empty", "", berlin, "", "", `"" is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04`},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, warning, err := ParseWhen(c.text, zone(t, c.zone))
			if c.fault != "" {
				require.EqualError(t, err, c.fault)
				return
			}
			require.NoError(t, err)
			require.Equal(t, At(unix(t, c.want)), w)
			require.Equal(t, c.warning, warning)
			require.True(t, w.Certain())
			require.Equal(t, w.To, w.End())
		})
	}
}

func TestABareDateIsTheWholeDay(t *testing.T) {
	for _, c := range []struct {
		name, text, zone, from string
		hours                  float64
	}{
		{"24 hours", "2026-03-04", "Europe/Berlin", "2026-03-03T23:00:00Z", 24},
		{"23 hours", "2026-03-29", "Europe/Berlin", "2026-03-28T23:00:00Z", 23},
		{"25 hours", "2026-10-25", "Europe/Berlin", "2026-10-24T22:00:00Z", 25},
		{"23 hours in New York", "2026-03-08", "America/New_York", "2026-03-08T05:00:00Z", 23},
		{"25 hours in New York", "2026-11-01", "America/New_York", "2026-11-01T04:00:00Z", 25},
		{"24 and a half", "2026-04-05", "Australia/Lord_Howe", "2026-04-04T13:00:00Z", 24.5},
		{"23 and a half", "2026-10-04", "Australia/Lord_Howe", "2026-10-03T13:30:00Z", 23.5},
		{"midnight skipped", "2018-11-04", "America/Sao_Paulo", "2018-11-04T03:00:00Z", 23},
		{"day before a skipped day", "2011-12-29", "Pacific/Apia", "2011-12-29T10:00:00Z", 24},
		{"clocks set back over midnight", "2005-10-29", "America/St_Johns", "2005-10-29T02:30:00Z", 25},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, warning, err := ParseWhen(c.text, zone(t, c.zone))
			require.NoError(t, err)
			require.Empty(t, warning)
			require.True(t, w.Day)
			require.False(t, w.Certain())
			require.Equal(t, unix(t, c.from), w.From)
			require.InDelta(t, c.hours*3600, w.End()-w.From, 0.5)
			require.Equal(t, c.text, w.Text(zone(t, c.zone)))
		})
	}
}

// Around every change of the clocks from 1960 to 2040, minute by minute: the
// instants of Go's time zone database at which the clocks show a time decide
// whether ParseWhen takes it, which it takes and whether it warns.
func TestParseWhenAgainstEveryMinuteAroundClockChanges(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe"} {
		t.Run(name, func(t *testing.T) {
			z := zone(t, name)
			changes := clockChanges(z, 1960, 2040)
			require.Greater(t, len(changes), 80)
			twice, skipped := 0, 0
			for _, at := range changes {
				shown := map[int64][]int64{} // wall time to the instants that show it
				for u := at - 26*3600; u < at+26*3600; u += 60 {
					_, offset := time.Unix(u, 0).In(z).Zone()
					shown[u+int64(offset)] = append(shown[u+int64(offset)], u)
				}
				_, offset := time.Unix(at, 0).In(z).Zone()
				wall := at + int64(offset)
				for w := wall - 4*3600; w < wall+4*3600; w += 60 {
					got, warning, err := ParseWhen(time.Unix(w, 0).UTC().Format("2006-01-02 15:04"), z)
					switch want := shown[w]; len(want) {
					case 0:
						skipped++
						require.ErrorContains(t, err, "the clocks skip that hour")
					default:
						require.NoError(t, err)
						require.Equal(t, At(want[0]), got)
						require.Equal(t, len(want) == 2, warning != "")
						if len(want) == 2 {
							twice++
						}
					}
				}
			}
			require.Greater(t, twice, 40*30)
			require.Greater(t, skipped, 40*30)
		})
	}
}

// clockChanges finds the instants at which a zone's offset changes.
func clockChanges(z *time.Location, from, to int) []int64 {
	var out []int64
	offset := func(u int64) int { _, o := time.Unix(u, 0).In(z).Zone(); return o }
	end := time.Date(to, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	for u := time.Date(from, 1, 1, 0, 0, 0, 0, time.UTC).Unix(); u < end; u += 86400 {
		if offset(u) == offset(u+86400) {
			continue
		}
		low, high := u, u+86400
		for high-low > 1 {
			if mid := (low + high) / 2; offset(mid) == offset(u) {
				low = mid
			} else {
				high = mid
			}
		}
		out = append(out, high)
	}
	return out
}

// Days follow each other without a gap, wherever the clocks change.
func TestDaysFollowEachOther(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "UTC"} {
		z := zone(t, name)
		last := int64(0)
		for d := time.Date(1975, 1, 1, 0, 0, 0, 0, time.UTC); d.Year() < 2040; d = d.AddDate(0, 0, 1) {
			w, _, err := ParseWhen(d.Format(time.DateOnly), z)
			require.NoError(t, err)
			if last != 0 {
				require.Equal(t, last, w.From, "%s %s", name, d)
			}
			last = w.End()
			for _, u := range []int64{w.From, w.To} {
				require.Equal(t, d.Format(time.DateOnly), time.Unix(u, 0).In(z).Format(time.DateOnly), name)
			}
		}
	}
}

// What Stamp writes ParseWhen reads as the same instant, without a warning.
func TestStampReadsBack(t *testing.T) {
	zones := []*time.Location{zone(t, "Europe/Berlin"), zone(t, "America/New_York"), zone(t, "Australia/Lord_Howe"), time.UTC}
	var near []int64
	for _, z := range zones[:3] {
		near = append(near, clockChanges(z, 1980, 2036)...)
	}
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.SampledFrom(zones).Draw(t, "zone")
		u := rapid.OneOf(
			rapid.Int64Range(time.Date(1950, 1, 1, 0, 0, 0, 0, time.UTC).Unix(), time.Date(2199, 1, 1, 0, 0, 0, 0, time.UTC).Unix()),
			rapid.Map(rapid.SampledFrom(near), func(at int64) int64 { return at + rapid.Int64Range(-7200, 7200).Draw(t, "off") }),
		).Draw(t, "instant")
		for _, text := range []string{Stamp(u, z), RFC3339(u, z), At(u).Text(z)} {
			w, warning, err := ParseWhen(text, z)
			require.NoError(t, err)
			require.Empty(t, warning)
			require.Equal(t, At(u), w)
		}
	})
}

func TestStamp(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	for at, want := range map[string]string{
		"2026-03-04T09:00:00Z": "2026-03-04T10:00", "2026-03-04T09:00:07Z": "2026-03-04T10:00:07",
		"2026-10-25T00:30:00Z": "2026-10-25T02:30+02:00", "2026-10-25T01:30:00Z": "2026-10-25T02:30+01:00",
		"2026-10-25T01:30:05Z": "2026-10-25T02:30:05+01:00", "2026-10-25T02:00:00Z": "2026-10-25T03:00",
	} {
		require.Equal(t, want, Stamp(unix(t, at), berlin))
	}
}

func FuzzParseWhen(f *testing.F) {
	for _, s := range []string{"2026-03-04", "2026-03-04 10:00", "2026-10-25T02:30+01:00", "2026-03-29 02:30", "2026-03-04T10:00:00.5Z", "9999-12-31", "2026-3-4"} {
		f.Add(s, uint8(0))
		f.Add(s, uint8(2))
	}
	zones := []*time.Location{time.UTC, zone(f, "Europe/Berlin"), zone(f, "Australia/Lord_Howe"), zone(f, "Pacific/Apia"), zone(f, "America/Havana")}
	f.Fuzz(func(t *testing.T, text string, n uint8) {
		z := zones[int(n)%len(zones)]
		w, _, err := ParseWhen(text, z)
		if err != nil {
			require.Equal(t, When{}, w)
			return
		}
		require.LessOrEqual(t, w.From, w.To)
		require.Equal(t, w.Day, !w.Certain())
		again, _, err := ParseWhen(w.Text(z), z)
		require.NoError(t, err)
		require.Equal(t, w, again)
	})
}

func TestATimeWithoutADayIsToday(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	late := time.Date(2026, 3, 5, 20, 30, 0, 0, time.UTC)
	early := time.Date(2026, 3, 4, 23, 30, 0, 0, time.UTC) // 00:30 on the 5th in Berlin
	for text, want := range map[string]string{"00:10": "2026-03-05T00:10:00+01:00", "00:40": "2026-03-05T00:40:00+01:00"} {
		w, _, err := ParseWhenAt(text, berlin, early)
		require.NoError(t, err, text)
		require.Equal(t, At(unix(t, want)), w, text)
	}
	for _, text := range []string{"23:50", "00:41", "6am"} {
		_, _, err := ParseWhenAt(text, berlin, early)
		require.ErrorContains(t, err, text+" has not come yet: it is 00:30 in Europe/Berlin; write the day with it, such as 2026-03-04 ")
	}
	_, _, err := ParseWhenAt("23:50", berlin, early)
	require.ErrorContains(t, err, "2026-03-04 23:50 for yesterday or 2026-03-05 23:50 for today")
	for text, want := range map[string]string{
		"14:30": "2026-03-05T14:30:00+01:00", " 9:05 ": "2026-03-05T09:05:00+01:00", "14:30:15": "2026-03-05T14:30:15+01:00",
		"2:30 pm": "2026-03-05T14:30:00+01:00", "2:30PM": "2026-03-05T14:30:00+01:00", "6am": "2026-03-05T06:00:00+01:00", "00:10": "2026-03-05T00:10:00+01:00",
		"2026-03-01 14:30": "2026-03-01T14:30:00+01:00",
	} {
		w, warning, err := ParseWhenAt(text, berlin, late)
		require.NoError(t, err, text)
		require.Empty(t, warning)
		require.Equal(t, At(unix(t, want)), w, text)
	}
	twice := time.Date(2026, 10, 25, 12, 0, 0, 0, time.UTC)
	_, warning, err := ParseWhenAt("02:30", berlin, twice)
	require.NoError(t, err)
	require.NotEmpty(t, warning, "an hour that clocks show twice")
	_, _, err = ParseWhenAt("02:30", berlin, time.Date(2026, 3, 29, 12, 0, 0, 0, time.UTC))
	require.ErrorContains(t, err, "the clocks skip that hour")
	for _, bad := range []string{"24:00", "14:60", "1430", "14h30", "13pm", "noon"} {
		_, _, err := ParseWhenAt(bad, berlin, late)
		require.Error(t, err, bad)
	}
}

// Days by ECMA-376-1 18.17.4.1 (from memory: 2000-01-01 is 36526).
func TestDayNumbers(t *testing.T) {
	require.Equal(t, "2000-01-01", DayNumber(36526))
	require.Equal(t, "2023-01-01", DayNumber(44927))
	for text, want := range map[string]bool{"44927": true, "36526": true, "36525": false, "73051": false, "044927": false, "+4492": false, "4492x": false} {
		_, ok := IsDayNumber(text)
		require.Equal(t, want, ok, text)
	}
}

// A time of day is read as of the day of now, or not at all.
func FuzzParseWhenAt(f *testing.F) {
	for _, s := range []string{"14:30", "2:30 pm", "6am", "24:00", "2026-03-04 10:00", "00:00:00"} {
		f.Add(s, int64(1_772_600_000))
	}
	berlin := zone(f, "Europe/Berlin")
	f.Fuzz(func(t *testing.T, text string, now int64) {
		now %= 4_000_000_000
		at := time.Unix(now, 0)
		w, _, err := ParseWhenAt(text, berlin, at)
		if err != nil {
			return
		}
		if _, ok := dated(text, berlin, at); ok {
			require.Equal(t, at.In(berlin).Format(time.DateOnly), time.Unix(w.From, 0).In(berlin).Format(time.DateOnly))
		} else {
			plain, _, err := ParseWhen(text, berlin)
			require.NoError(t, err)
			require.Equal(t, plain, w)
		}
	})
}
