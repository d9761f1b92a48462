package gs1

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/language"
)

// Every identifier says what GS1's own dictionary says of it, read here from the official file in its own notation.
func TestTableIsTheDictionary(t *testing.T) {
	folder := os.Getenv("HEELTAP_STANDARDS")
	if folder == "" {
		if os.Getenv("HEELTAP_CI") != "" {
			t.Fatal("HEELTAP_STANDARDS names no folder with the official files")
		}
		t.Skip("HEELTAP_STANDARDS names no folder with the official files: the table is not compared with them")
	}
	text, err := os.ReadFile(filepath.Join(folder, "gs1", "gs1-syntax-dictionary.txt"))
	require.NoError(t, err)
	ids := map[string]bool{}
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		head, title, _ := strings.Cut(line, "#")
		cells := strings.Fields(head)
		first, last, several := strings.Cut(cells[0], "-")
		if !several {
			last = first
		}
		for n := number(first); n <= number(last); n++ {
			id := padded(n, len(first))
			ids[id] = true
			ai, ok := named(id)
			require.True(t, ok, id)
			require.Equal(t, strings.TrimSpace(title), ai.Title, id)
			require.Equal(t, official(cells[1:]), written(ai), id)
		}
	}
	for n := range 10000 { // and there are no others
		for width := 2; width <= 4; width++ {
			if id := padded(n, width); len(id) == width {
				_, ok := named(id)
				require.Equal(t, ids[id], ok, id)
			}
		}
	}
	t.Logf("%d identifiers compared", len(ids))
}

func padded(n, width int) string {
	s := "0000" + strings.TrimLeft(strings.Repeat("0", 4)+itoa(n), "0")
	if n == 0 {
		s = "0000"
	}
	if len(itoa(n)) > width {
		return itoa(n)
	}
	return s[len(s)-width:]
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + itoa(n%10)
}

var component = regexp.MustCompile(`^\[?([NXYZ])(\.\.)?(\d+)\]?((?:,[a-z0-9]+)*)$`)

// names are the dictionary's names of our tests.
var names = map[string]string{"csum": "check", "yymmd0": "month-or-day", "yymmdd": "day", "hhmi": "time", "hh": "hour", "mi": "minute", "ss": "second", "iso3166": "country", "iso3166999": "country-or-999",
	"iso3166alpha2": "country-letters", "iso4217": "currency", "pcenc": "percent", "yesno": "0-or-1", "hyphen": "minus", "nonzero": "not-0", "zero": "0", "nozeroprefix": "no-leading-0", "yyyymmdd": "long-day",
	"pieceoftotal": "piece-of-total", "iso5218": "sex", "csumalpha": "check-pair", "hasnondigit": "not-only-digits", "mediatype": "medium", "posinseqslash": "place-in-row", "couponcode": "coupon",
	"couponposoffer": "coupon-offer", "importeridx": "importer", "packagetype": "package", "gcppos1": "prefix-1", "gcppos2": "prefix-2", "latitude": "latitude", "longitude": "longitude", "winding": "winding", "iban": "iban"}

// entry is an identifier as it is compared.
type entry struct {
	parts              []part
	fixed, query, key  bool
	needs, bars, links string
}

func official(cells []string) entry {
	e := entry{}
	if strings.Trim(cells[0], "*?") == "" {
		e.fixed, e.query = strings.Contains(cells[0], "*"), strings.Contains(cells[0], "?")
		cells = cells[1:]
	}
	for _, c := range cells {
		switch name, value, _ := strings.Cut(c, "="); {
		case name == "req":
			e.needs = value
		case name == "ex":
			e.bars = value
		case name == "dlpkey":
			e.key, e.links = true, value
		default:
			m := component.FindStringSubmatch(c)
			p := part{kind: map[string]string{"N": digitsOnly, "X": anyText, "Y": capsText, "Z": base64Text}[m[1]], max: number(m[3]), optional: c[0] == '['}
			if p.min = p.max; m[2] != "" {
				p.min = 1
			}
			for _, linter := range strings.FieldsFunc(m[4], func(r rune) bool { return r == ',' }) {
				p.tests = append(p.tests, names[linter])
			}
			e.parts = append(e.parts, p)
		}
	}
	return e
}

func written(ai AI) entry {
	e := entry{parts: ai.parts, fixed: ai.Fixed, query: ai.Query, key: ai.Key, bars: strings.Join(ai.bars, ",")}
	var needs, links []string
	for _, g := range ai.needs {
		needs = append(needs, strings.Join(g, "+"))
	}
	for _, l := range ai.Qualifiers {
		links = append(links, strings.Join(l, ","))
	}
	e.needs, e.links = strings.Join(needs, ","), strings.Join(links, "|")
	return e
}

// Every test that the table names is judged, or said not to be.
func TestEveryTestIsKnown(t *testing.T) {
	for _, rules := range table() {
		for _, r := range rules {
			for _, p := range r.ai.parts {
				for _, name := range p.tests {
					_, judged := tests[name]
					require.True(t, judged != contains(unjudged, name), name)
				}
			}
		}
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// The countries are those of another list, but for what ISO has withdrawn.
func TestCountries(t *testing.T) {
	for _, c := range strings.Fields(countries) {
		r, err := language.ParseRegion(c[:2])
		require.NoError(t, err, c)
		require.Equal(t, number(c[2:]), r.M49(), c)
	}
	require.Len(t, strings.Fields(countries), 249)
}
