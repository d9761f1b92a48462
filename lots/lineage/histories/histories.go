// Package histories draws random records of small invented breweries for
// property tests.
//
// It knows the sheets and what a valid row is; it must not know what the rows
// mean for lineage. Every row it gives can be read, whatever was drawn: that
// books break, flows cross and windows lie outside their runs is part of it.
package histories

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"pgregory.net/rapid"

	"heeltap/lots"
)

// Row is one row and the sheet it stands in.
type Row struct {
	Sheet string
	Row   lots.Row
}

// Size bounds a history. Acts left out as it is made smaller leave fewer rows.
type Size struct {
	Acts    int // most rows that say that something happened
	Vessels int // most vessels that take part
}

// Draw draws the rows of a history of usual size: the site and its things
// first, then what happened there. A row names only what stands before it. All
// rows differ. Times stand on a coarse grid over three days, across a change of
// clocks where the zone has one, so that many fall together; one in eight is a bare date.
func Draw(t *rapid.T) []Row { return DrawSize(t, Size{Acts: 18, Vessels: 4}) }

// DrawSize draws the rows of a history of at most a size.
func DrawSize(t *rapid.T, size Size) []Row {
	h := &history{
		zone: evenFrom([]string{"UTC", "Europe/Berlin"}).Draw(t, "zone"),
		days: evenFrom(weeks).Draw(t, "days"),
	}
	h.kegs = even(4).Draw(t, "kegs") == 3
	h.sites = even(3).Draw(t, "whose hose")
	h.reference()
	kinds := vesselKinds()
	n := 2 + even(max(1, size.Vessels-1)).Draw(t, "more vessels")
	for i := range n {
		kind := evenFrom(kinds).Draw(t, "vessel kind")
		h.vessel(fmt.Sprintf("V%d", i+1), kind)
	}
	next := drawAct(actKinds())
	if h.kegs {
		next = drawAct(kegKinds())
	}
	for range size.Acts {
		h.do(next.Draw(t, "act"))
	}
	return distinct(h.rows)
}

// Entered numbers rows as the journal would, in the order in which they stand.
func Entered(rows []Row) []lots.Entered {
	out := make([]lots.Entered, 0, len(rows))
	for i, r := range rows {
		sheet, ok := lots.SheetNamed(r.Sheet)
		if !ok {
			panic("no sheet is called " + r.Sheet)
		}
		out = append(out, lots.Entered{Seq: int64(i + 1), Sheet: sheet, Row: r.Row})
	}
	return out
}

// Text shows rows as lines a person can read.
func Text(rows []Row) string {
	var b strings.Builder
	for i, r := range rows {
		fmt.Fprintf(&b, "%d %s", i+1, r.Sheet)
		for _, k := range slices.Sorted(maps.Keys(r.Row)) {
			fmt.Fprintf(&b, " %s=%s", k, strings.ReplaceAll(r.Row[k], " ", "_"))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// Clocks change on the second day of each in Europe/Berlin.
var weeks = [][]string{
	{"2026-03-28", "2026-03-29", "2026-03-30", "2026-03-31"},
	{"2026-10-24", "2026-10-25", "2026-10-26", "2026-10-27"},
}

// vesselKinds favours the kinds that beer stands in.
func vesselKinds() []string {
	return strings.Fields("fermenter bright fermenter bright serving silo tank brink gas")
}

func distinct(rows []Row) (out []Row) {
	seen := map[string]bool{}
	for _, r := range rows {
		if key := Text([]Row{r}); !seen[key] {
			seen[key] = true
			out = append(out, r)
		}
	}
	return out
}

// history collects rows and what they have named.
type history struct {
	zone    string
	days    []string
	rows    []Row
	vessels []string
	lots    []lotMade
	brews   []brewMade
	runs    []runMade
	units   []unitMade
	sites   int  // makes the hose, and every third vessel, one of ours in so many words, or somebody else's
	kegs    bool // most units are fillings of two kegs
	n       int
}

type lotMade struct{ code, unit, into string }

type brewMade struct {
	code       string
	start, end moment
}

type runMade struct {
	code       string
	start, end int // half hours
}

type unitMade struct{ code, kind string }

// put adds a row of cells given as column, value, column, value; empty values are left out.
func (h *history) put(sheet string, cells ...string) {
	row := lots.Row{}
	for i := 0; i < len(cells); i += 2 {
		if cells[i+1] != "" {
			row[cells[i]] = cells[i+1]
		}
	}
	h.rows = append(h.rows, Row{sheet, row})
}

// code makes a new code.
func (h *history) code(prefix string) string {
	h.n++
	return fmt.Sprintf("%s%d", prefix, h.n)
}

// sites are what people write for a vessel's site.
var sites = []string{"", "invented", "Quarry Haulage"}

// reference records the site and what every history has.
func (h *history) reference() {
	h.put("site", "name", "Invented", "time_zone", h.zone)
	for _, i := range items {
		h.put("items", "item", i.code, "name", i.kind, "kind", i.kind, "unit", i.unit, "allergens", i.allergens)
	}
	h.put("parties", "party", "SUP", "name", "Supplier", "role", "supplier")
	h.put("parties", "party", "CON", "name", "Consignee", "role", "consignee")
	h.put("products", "product", "CAN", "name", "Pale cans", "container_ml", "500", "per_case", "20", "declares", "gluten")
	h.put("products", "product", "STOUT", "name", "Milk stout", "container_ml", "500", "per_case", "20", "declares", "gluten;milk")
	h.put("products", "product", "KEG", "name", "Pale kegs", "container_ml", "50000", "per_case", "1")
	h.put("lines", "line", "L1")
	h.put("lines", "line", "L2", "margin_min", "30", "overlap_min", "30", "residue", "yes")
	h.put("lines", "line", "L3", "margin_min", "60", "overlap_min", "60", "residue", "no")
	h.put("vessels", "vessel", "HOSE", "kind", "path", "site", sites[h.sites])
}

func (h *history) vessel(code, kind string) {
	unit := "L"
	if kind == "silo" || kind == "brink" {
		unit = "kg"
	}
	h.put("vessels", "vessel", code, "kind", kind, "unit", unit, "site", sites[(h.sites+len(h.vessels))%3])
	h.vessels = append(h.vessels, code)
}

type itemMade struct{ code, kind, unit, allergens string }

var items = []itemMade{
	{"MALT", "malt", "kg", "gluten"}, {"HOPS", "hop", "kg", ""}, {"JUICE", "fruit", "L", "sulphites"}, {"YEAST", "yeast", "kg", ""},
	{"CANS", "container", "each", ""}, {"ENDS", "closure", "each", ""}, {"CO2", "gas", "kg", ""},
}

// Written reads rows as they stand in a test: a line each, of a sheet's name and cells like
// column=value, in which _ stands for a blank.
func Written(text string) []Row {
	var out []Row
	for line := range strings.Lines(text) {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		row := lots.Row{}
		for _, w := range words[1:] {
			name, value, _ := strings.Cut(w, "=")
			row[name] = strings.ReplaceAll(value, "_", " ")
		}
		out = append(out, Row{words[0], row})
	}
	return out
}
