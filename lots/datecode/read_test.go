package datecode_test

import (
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
		"BB 2027-03-10": "", "bb2027 03 10": "", "BB 2O27-03-10": "O read for 0 at place 4", "B 2027-03-10": "B missing at", "BB 2027-03-1": "0 missing at the end",
		"BB 2027-10-03": "day and month exchanged", "8B 2027-03-10": "8 read for B at place 1", "BB 2072-03-10": "places 5 and 6 exchanged", "BB 2027-03-10 09:42": "",
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

// corruption is one way in which a code is misread, once.
type corruption struct {
	name string
	all  func(code string) []string
}

var looks = []string{"0O", "1I", "1L", "8B", "5S", "2Z", "6G", "69", "0Q", "17", "38", "56"}

func corruptions(swap func(string) string) []corruption {
	return []corruption{
		{"one character for one that looks alike", func(c string) (out []string) {
			for i, r := range c {
				for _, p := range looks {
					for _, way := range []string{p, p[1:] + p[:1]} {
						if rune(way[0]) == r {
							out = append(out, c[:i]+way[1:]+c[i+1:])
						}
					}
				}
			}
			return out
		}},
		{"first character missing", func(c string) []string { return []string{c[1:]} }},
		{"last character missing", func(c string) []string { return []string{c[:len(c)-1]} }},
		{"marks and blanks left out", func(c string) []string { return []string{datecode.Plain(c)} }},
		{"lower case", func(c string) []string { return []string{strings.ToLower(c)} }},
		{"day and month exchanged", func(c string) []string {
			if s := swap(c); s != c && s != "" {
				return []string{s}
			}
			return nil
		}},
		{"upside down", func(c string) []string {
			flip := map[rune]rune{'0': '0', '1': '1', '2': '2', '5': '5', '6': '9', '8': '8', '9': '6', '7': 'L', 'B': 'B', 'N': 'N', 'K': 'K'}
			r := []rune(datecode.Plain(c))
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
}

// A year of runs, each code corrupted once in each listed way: how often the true code comes
// first, and among the first three, where no other printed code is equally near. The
// figures are in the package's documentation.
func TestReadingAYear(t *testing.T) {
	swap := map[string]func(string) string{
		"BB {year}-{month}-{day}":  func(c string) string { return c[:8] + c[11:13] + c[10:11] + c[8:10] },
		"{day}{mon}{yy}":           func(string) string { return "" },
		"K{packed-yy}{packed-doy}": func(string) string { return "" },
	}
	total, first, three := 0, 0, 0
	for pattern, exchange := range swap {
		p, err := datecode.Parse(pattern)
		require.NoError(t, err)
		var codes []string
		for day := range 120 { // a run every third day
			m := datecode.Moment{Packed: time.Date(2027, 1, 4+3*day, 8, 0, 0, 0, time.UTC), ShelfLifeDays: 270}
			codes = append(codes, p.Recorded(m))
		}
		for _, way := range corruptions(exchange) {
			n, hits, among := 0, 0, 0
			for _, code := range codes {
				for _, read := range way.all(code) {
					rank, tied := rankOf(read, code, codes, p)
					if tied {
						continue // nothing that was read tells them apart
					}
					n++
					if rank == 0 {
						hits++
					}
					if rank >= 0 && rank < 3 {
						among++
					}
				}
			}
			if n > 0 {
				t.Logf("%-26s %-40s %5d read, first %6.2f %%, among three %6.2f %%", pattern, way.name, n, 100*float64(hits)/float64(n), 100*float64(among)/float64(n))
			}
			total, first, three = total+n, first+hits, three+among
		}
	}
	t.Logf("all: %d, first %.2f %%, among three %.2f %%", total, 100*float64(first)/float64(total), 100*float64(three)/float64(total))
	require.GreaterOrEqual(t, float64(first), 0.95*float64(total))
	require.GreaterOrEqual(t, float64(three), 0.99*float64(total))
}

// rankOf gives the place of the true code among all that fit, by cost, and whether another
// fits exactly as well.
func rankOf(read, code string, codes []string, p *datecode.Pattern) (rank int, tied bool) {
	mine, ok := datecode.Fit(read, code, p)
	if !ok {
		return -1, false
	}
	for _, c := range codes {
		if c == code {
			continue
		}
		m, ok := datecode.Fit(read, c, p)
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
