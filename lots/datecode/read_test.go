package datecode_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots/datecode"
)

func TestFit(t *testing.T) {
	p, err := datecode.Parse("BB {year}-{month}-{day} {hour}:{minute}")
	require.NoError(t, err)
	const code = "BB 2027-03-10"
	for read, want := range map[string]string{
		"BB 2027-03-10": "", "bb2027 03 10": "", "BB 2O27-03-10": "O read for 0 at character 4", "B 2027-03-10": "B missing at", "BB 2027-03-1": "0 missing at the end",
		"BB 2027-10-03": "day and month swapped", "8B 2027-03-10": "8 read for B at character 1", "BB 2072-03-10": "characters 5 and 6 swapped", "BB 2027-03-10 09:42": "",
	} {
		m, ok := datecode.Fit(read, code, p)
		require.True(t, ok, read)
		require.Contains(t, strings.Join(m.How, "; "), want, read)
		if want == "" {
			require.Zero(t, m.Cost, read)
			require.Equal(t, 100, m.Score())
		} else {
			require.Positive(t, m.Cost, read)
		}
		if strings.HasSuffix(read, "09:42") {
			require.Equal(t, "09:42", m.Time)
		}
	}
	m, ok := datecode.Fit("SOS-905", "506-505", nil)
	require.True(t, ok)
	require.Contains(t, strings.Join(m.How, "; "), "upside down")
	for _, read := range []string{"", "---", "XYZ", "31"} {
		_, ok := datecode.Fit(read, code, p)
		require.False(t, ok, read)
	}
}

// Readings of which part is worn off, said in another way, or turned, and the time that is left of them.
func TestFitPartly(t *testing.T) {
	p, err := datecode.Parse("BB {year}-{month}-{day} {hour}:{minute}")
	require.NoError(t, err)
	for _, x := range []struct{ read, code, time string }{
		{"07-31 09:1", "BB 2027-07-31", "09:1? or 09:?1"}, {"BB 2O27-07-O4 08:3", "BB 2027-07-04", "08:3? or 08:?3"}, {"BB 2027-03-10 10:4", "BB 2027-03-10", "10:4? or 10:?4"},
		{"BB 2027-03-10 1:42", "BB 2027-03-10", "?1:42 or 1?:42"}, {"BB 2027-03-10 10:", "BB 2027-03-10", "10:??"}, {"BB 2027-03-10 2:20 pm", "BB 2027-03-10", "14:20"},
		{"2027-03-10 104", "BB 2027-03-10", "10:4? or 10:?4 or 1?:04 or ?1:04"}, {"BB202703101042", "BB 2027-03-10", "10:42"}, {"BB 2027-03-10 23:30 X", "BB 2027-03-10", "23:30"},
		{"BB 2027-03-10 29:42", "BB 2027-03-10", ""}, {"BB 2027-03-10", "BB 2027-03-10", ""}, {"21:01 01-21-9202 BB", "BB 2026-12-10", "10:12"},
		{"10 MAR 2027", "BB 2027-03-10", ""}, {"10/03/27", "BB 2027-03-10", ""}, {"2027/3/10", "BB 2027-03-10", ""}, {"best before March 10, 2027", "BB 2027-03-10", ""},
		{"BB 20?7-03-?0 14:2?", "BB 2027-03-10", "14:2?"}, {"31 09:12", "BB 2027-07-31", "09:12"}, {"BB 2027-05-01 14:20", "BB 2027-03-10", "14:20"},
	} {
		m, ok := datecode.Fit(x.read, x.code, p)
		require.True(t, ok, x.read)
		require.Equal(t, x.time, m.Time, "%q: %v", x.read, m.How)
	}
	m, ok := datecode.Fit("BB 2027-03-10 10:4", "BB 2027-03-10", p)
	require.True(t, ok)
	require.Equal(t, [][2]string{{"10:04", "10:05"}, {"10:14", "10:15"}, {"10:24", "10:25"}, {"10:34", "10:35"}, {"10:40", "10:50"}, {"10:54", "10:55"}}, m.Clock.Spans())
	require.False(t, m.Clock.Whole())
	lined, err := datecode.Parse("L{line} {day}{month}{yy}")
	require.NoError(t, err)
	m, ok = datecode.Fit("L1 031027", "L1 100327", lined)
	require.True(t, ok)
	require.Equal(t, []string{"day and month swapped"}, m.How)
}

// A date without its year, in either order, with its month's name, with a time of day: what callers say. The
// same text fits the date with day and month the other way round as well, and no third one.
func TestFitDayAndMonth(t *testing.T) {
	p, err := datecode.Parse("BB {year}-{month}-{day} {hour}:{minute}")
	require.NoError(t, err)
	for read, time := range map[string]string{"10 03": "", "10/03": "", "10.3.": "", "10/3 09:42": "09:42", "1003": ""} {
		for _, code := range []string{"BB 2027-03-10", "BB 2026-10-03"} {
			m, ok := datecode.Fit(read, code, p)
			require.True(t, ok, "%s for %s", read, code)
			require.Equal(t, time, m.Time, read)
			require.Equal(t, []string{"its day and month, without the year"}, m.How, "%s for %s", read, code)
		}
		for _, code := range []string{"BB 2027-05-10", "BB 2027-03-20"} {
			m, _ := datecode.Fit(read, code, p)
			require.NotContains(t, m.How, "its day and month, without the year", "%s for %s", read, code)
		}
	}
	for _, read := range []string{"10 March", "March 10", "10th of march", "10MAR"} {
		m, ok := datecode.Fit(read, "BB 2027-03-10", p)
		require.True(t, ok, read)
		require.Equal(t, []string{"its day and month, without the year"}, m.How, read)
		other, ok := datecode.Fit(read, "BB 2027-10-03", p)
		require.True(t, !ok || other.Cost > m.Cost+0.5, "%s: %v", read, other)
	}
}

// What nobody can have read off a package is no reading, and costs nothing.
func TestFitIsBounded(t *testing.T) {
	_, ok := datecode.Fit(strings.Repeat("B", 120_000), "BB 2027-03-10", nil)
	require.False(t, ok)
	_, ok = datecode.Fit("BB 2027-03-10", strings.Repeat("B", 120_000), nil)
	require.False(t, ok)
}

// printing is what stands on one package: what the coder printed, and when by its clock.
type printing struct {
	moment     datecode.Moment
	code, text string // as a run records it, and as it is read: with its time of day where it has one
}

// corruption is one way in which a code is misread, once.
type corruption struct {
	name  string
	loses bool // part of the time of day, and no more: what is left of it stays true
	all   func(p *datecode.Pattern, c printing) []string
}

var looks = []string{"0O", "1I", "1L", "8B", "5S", "2Z", "6G", "69", "0Q", "17", "38", "56"}

var corruptions = []corruption{
	{"one character for one that looks alike", false, func(_ *datecode.Pattern, c printing) (out []string) {
		for i, r := range c.text {
			for _, p := range looks {
				for _, way := range []string{p, p[1:] + p[:1]} {
					if rune(way[0]) == r {
						out = append(out, c.text[:i]+way[1:]+c.text[i+1:])
					}
				}
			}
		}
		return out
	}},
	{"first character missing", false, func(_ *datecode.Pattern, c printing) []string { return []string{c.text[1:]} }},
	{"last character missing", false, func(_ *datecode.Pattern, c printing) []string { return []string{c.text[:len(c.text)-1]} }},
	{"a digit of the time missing", true, func(p *datecode.Pattern, c printing) (out []string) {
		for i := len(c.code); p.PrintsTime() && i < len(c.text); i++ {
			if c.text[i] >= '0' && c.text[i] <= '9' {
				out = append(out, c.text[:i]+c.text[i+1:])
			}
		}
		return out
	}},
	{"time of day left out", false, func(_ *datecode.Pattern, c printing) []string { return []string{c.code} }},
	{"one character not readable", true, func(_ *datecode.Pattern, c printing) (out []string) {
		for i := range c.text {
			if !strings.ContainsRune(" :.-", rune(c.text[i])) {
				out = append(out, c.text[:i]+"?"+c.text[i+1:])
			}
		}
		return out
	}},
	{"two neighbours swapped", false, func(_ *datecode.Pattern, c printing) (out []string) {
		for i := range len(c.code) - 1 {
			out = append(out, c.text[:i]+c.text[i+1:i+2]+c.text[i:i+1]+c.text[i+2:])
		}
		return out
	}},
	{"marks and blanks left out", false, func(_ *datecode.Pattern, c printing) []string { return []string{datecode.Plain(c.text)} }},
	{"lower case", false, func(_ *datecode.Pattern, c printing) []string { return []string{strings.ToLower(c.text)} }},
	{"day and month swapped", false, func(p *datecode.Pattern, c printing) []string {
		best := c.moment.Packed.AddDate(0, 0, int(c.moment.ShelfLifeDays))
		if !strings.Contains(p.String(), "{month}") || best.Day() > 12 || best.Day() == int(best.Month()) {
			return nil
		}
		other := c.moment
		other.Packed = time.Date(best.Year(), time.Month(best.Day()), int(best.Month()), best.Hour(), best.Minute(), 0, 0, time.UTC)
		other.ShelfLifeDays = 0
		return []string{p.Print(other)}
	}},
	{"upside down", false, func(_ *datecode.Pattern, c printing) []string {
		flip := map[rune]rune{'0': '0', '1': '1', '2': '2', '3': 'E', '5': '5', '6': '9', '8': '8', '9': '6', '7': 'L', 'B': 'B', 'N': 'N', 'K': 'K', 'L': '7', 'C': 'C', ' ': ' ', ':': ':', '-': '-'}
		r := []rune(c.text)
		slices.Reverse(r)
		for i := range r {
			f, ok := flip[r[i]]
			if !ok {
				return nil
			}
			r[i] = f
		}
		return []string{string(r)}
	}},
}

// yearOf prints a code every third day of a year, by a coder whose clock is off by some minutes, on two lines in turn.
func yearOf(p *datecode.Pattern) (out []printing) {
	for day := range 120 {
		at := time.Date(2027, 1, 4+3*day, 8+day%14, 7*day%60, 0, 0, time.UTC)
		offset := time.Duration(day%15-7) * time.Minute
		m := datecode.Moment{Packed: at.Add(offset), ShelfLifeDays: 270, Line: []string{"C1", "C2"}[day%2]}
		out = append(out, printing{m, p.Recorded(m), p.Print(m)})
	}
	return out
}

// tally counts the places in which true codes came.
type tally struct{ read, first, three int }

func (t *tally) add(o tally) {
	t.read, t.first, t.three = t.read+o.read, t.first+o.first, t.three+o.three
}

func (t tally) String() string {
	percent := func(n int) float64 { return 100 * float64(n) / float64(max(1, t.read)) }
	return fmt.Sprintf("%5d read, first %6.2f %%, among three %6.2f %%", t.read, percent(t.first), percent(t.three))
}

// A year of runs, each code corrupted once in each listed way: how often the true code comes
// first, and among the first three, where no other printed code is equally near. The
// figures are in the package's documentation.
func TestReadingAYear(t *testing.T) {
	patterns := []string{
		"BB {year}-{month}-{day}", "BB {year}-{month}-{day} {hour}:{minute}", "{day}{mon}{yy}", "K{packed-yy}{packed-doy}", "K{packed-yy}{packed-doy} {hour}{minute}",
		"{packed-letter}{packed-day}{packed-y} {hour}:{minute}", "L{line} {day}{month}{yy}", "{hour}:{minute} {day}.{month}.{yy}",
	}
	sums := make([]tally, len(patterns))
	t.Run("patterns", func(t *testing.T) {
		for k, pattern := range patterns {
			t.Run(pattern, func(t *testing.T) {
				t.Parallel()
				sums[k] = readYear(t, pattern)
			})
		}
	})
	total := tally{}
	for _, sum := range sums {
		total.add(sum)
	}
	t.Logf("all: %s", total)
	require.Greater(t, total.read, 8_000)
	require.GreaterOrEqual(t, float64(total.first), 0.95*float64(total.read))
	require.GreaterOrEqual(t, float64(total.three), 0.99*float64(total.read))
}

// readYear corrupts every fourth code of a pattern's year in each way.
func readYear(t *testing.T, pattern string) (total tally) {
	p, err := datecode.Parse(pattern)
	require.NoError(t, err)
	year := yearOf(p)
	for _, way := range corruptions {
		sum := tally{}
		for i := 0; i < len(year); i += 4 {
			sum.add(readAll(t, way, year[i], year, p))
		}
		if sum.read > 0 {
			t.Logf("%-40s %s", way.name, sum)
		}
		total.add(sum)
	}
	return total
}

// readAll ranks the true code of each reading, and where a time of day was lost in part looks
// whether the true one is among those that it may be.
func readAll(t *testing.T, way corruption, c printing, year []printing, p *datecode.Pattern) (sum tally) {
	for _, read := range way.all(p, c) {
		rank, tied := rankOf(read, c.code, year, p)
		if tied {
			continue // nothing that was read tells them apart
		}
		sum.read++
		if rank == 0 {
			sum.first++
		}
		if rank >= 0 && rank < 3 {
			sum.three++
		}
		m, ok := datecode.Fit(read, c.code, p)
		if ok && m.Time != "" && way.loses {
			require.True(t, m.Clock.Holds(c.moment.Packed.Hour(), c.moment.Packed.Minute()), "%q of %q: %s", read, c.text, m.Time)
		}
	}
	return sum
}

// rankOf gives the place of the true code among all that fit, by cost, and whether another
// fits exactly as well.
func rankOf(read, code string, year []printing, p *datecode.Pattern) (rank int, tied bool) {
	mine, ok := datecode.Fit(read, code, p)
	if !ok {
		return -1, false
	}
	for _, c := range year {
		if c.code == code {
			continue
		}
		m, ok := datecode.Fit(read, c.code, p)
		switch {
		case !ok:
		case m.Cost < mine.Cost-1e-9:
			rank++
		case m.Cost < mine.Cost+1e-9:
			tied = true
		}
	}
	return rank, tied
}

func FuzzFit(f *testing.F) {
	f.Add("BB 2O27", "BB 2027-03-10", "BB {year}-{month}-{day} {hour}:{minute}")
	f.Add("00", "?00", "{year}")
	f.Add("0", "00:", "{hour}{day}")
	f.Add("", "x", "{")
	f.Add("\xff\u0130", "69", "{y}{y}")
	f.Fuzz(func(t *testing.T, read, code, pattern string) {
		if len(read)+len(code) > 200 {
			return
		}
		p, err := datecode.Parse(pattern)
		if err != nil {
			p = nil
		}
		if m, ok := datecode.Fit(code, code, p); ok && m.Cost > 0 {
			t.Fatalf("%q does not read as itself: %v", code, m)
		}
		datecode.Fit(read, code, p)
	})
}

// Marks and case are left out, but what parts a number from a number is kept.
func TestParted(t *testing.T) {
	for text, want := range map[string]string{"FV-1-1": "FV1 1", "fv 11": "FV11", "SILO 02": "SILO02", "K-1-1/R26-0031": "K1 1R26 0031", "1--2. 3": "1 2 3", "-": ""} {
		require.Equal(t, want, datecode.Parted(text))
	}
}
