package mapping

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/sheet"
)

// lookedAt is how many lines of a page are looked at for its headings.
const lookedAt = 25

// head is the headings of a page: their texts by column, and the first line below them.
type head struct {
	texts []string
	below int // index among the table's lines
}

// heads lists what may be the headings of a page: each of its first lines, and each two of them together, as where the upper
// one says of what and the lower one what of it.
func heads(t sheet.Table) []head {
	var out []head
	for i := range t.Lines[:min(lookedAt, len(t.Lines))] {
		out = append(out, head{numbered(texts(t.Lines[i])), i + 1})
		if i+1 < len(t.Lines) {
			out = append(out, head{numbered(joined(t.Lines[i], t.Lines[i+1])), i + 2})
		}
	}
	return out
}

func texts(l sheet.Line) []string {
	out := make([]string, len(l.Cells))
	for i, c := range l.Cells {
		out[i] = strings.Join(strings.Fields(c.Text), " ")
	}
	return out
}

// joined are two lines of headings as one; a cell that is alone stays as it is.
func joined(upper, lower sheet.Line) []string {
	a, b := texts(upper), texts(lower)
	out := make([]string, max(len(a), len(b)))
	for i := range out {
		switch {
		case i >= len(b) || b[i] == "":
			if i < len(a) {
				out[i] = a[i]
			}
		case i >= len(a) || a[i] == "" || a[i] == b[i]:
			out[i] = b[i]
		default:
			out[i] = a[i] + " " + b[i]
		}
	}
	return out
}

// numbered tells headings that say the same apart.
func numbered(list []string) []string {
	times := map[string]int{}
	for i, text := range list {
		if text == "" {
			continue
		}
		if times[folded(text)]++; times[folded(text)] > 1 {
			list[i] = fmt.Sprintf("%s #%d", text, times[folded(text)])
		}
	}
	return list
}

// match is a page as rows of a sheet.
type match struct {
	sheet   *lots.Sheet
	head    head
	columns map[int]lots.Column // by place
	units   map[int]string
	score   float64
}

// propose adds what a page probably means to a map.
func (m *Map) propose(t sheet.Table) {
	best, second := match{}, match{}
	page, sheets := m.label(t.Name), lots.Sheets
	if s, ok := m.chosen(t.Name); ok {
		page, sheets = t.Name, []*lots.Sheet{s}
	}
	known := fits{}
	for _, h := range heads(t) {
		for _, s := range sheets {
			if s.Name == "site" {
				continue
			}
			x := known.matched(s, h, t)
			switch {
			case x.score > best.score:
				if best.sheet != s {
					second = best
				}
				best = x
			case s != best.sheet && x.score > second.score:
				second = x
			}
		}
	}
	if len(best.columns) < 2 && len(sheets) > 1 || len(best.columns) == 0 {
		m.add(Rule{Page: page, What: Sheet, Means: LeftOut, Note: "no headings of a record sheet were found"})
		return
	}
	means := best.sheet.Name
	note := "its headings are in line " + fmt.Sprint(t.Lines[best.head.below-1].At)
	if second.sheet != nil && best.score-second.score < 1 {
		means += " " + asks
		note += "; it may also be " + second.sheet.Name
	}
	m.add(Rule{Page: page, What: Sheet, Means: means, Note: note})
	for i, text := range best.head.texts {
		if text == "" {
			continue
		}
		r := Rule{Page: page, What: Column, Written: text, Means: LeftOut, Note: example(t, best.head.below, i)}
		if c, ok := best.columns[i]; ok {
			r.Means = strings.TrimSpace(c.Name + " " + best.units[i])
		}
		m.add(r)
	}
	m.missing(page, best, t)
}

// chosen is the sheet that somebody has said a page is, where nothing is said of its headings yet.
func (m *Map) chosen(name string) (*lots.Sheet, bool) {
	r, ok := m.find(name, Sheet, "")
	if !ok || r.Open() || len(m.headings(name)) > 0 {
		return nil, false
	}
	return lots.SheetNamed(r.Means)
}

// label is a name for a page that no other page of the map has.
func (m *Map) label(name string) string {
	label := name
	for n := 2; ; n++ {
		if _, taken := m.find(label, Sheet, ""); !taken {
			return label
		}
		label = fmt.Sprintf("%s %d", name, n)
	}
}

// fits remembers how well words mean columns: the first lines of a page are tried many times.
type fits map[string]float64

func (k fits) fit(s *lots.Sheet, c lots.Column, words string) float64 {
	key := s.Name + "." + c.Name + " " + words
	score, ok := k[key]
	if !ok {
		score = fit(s, c, words)
		k[key] = score
	}
	return score
}

// matched takes a page's headings as those of a sheet: the best fit first, each column once but for a day and a time.
func (k fits) matched(s *lots.Sheet, h head, t sheet.Table) match {
	type fitting struct {
		at    int
		c     lots.Column
		score float64
	}
	out := match{sheet: s, head: h, columns: map[int]lots.Column{}, units: map[int]string{}}
	var all []fitting
	for i, text := range h.texts {
		words, unit := headingOf(text)
		if unit != "" {
			out.units[i] = unit
		}
		for _, c := range s.Columns {
			score := k.fit(s, c, words)
			if unit != "" && s.UnitColumn(c) == "" {
				score = min(score, 1)
			}
			if score > 0 && suits(c, t, h.below, i) {
				all = append(all, fitting{i, c, score})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b fitting) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return 0
	})
	used := map[string]int{}
	for _, f := range all {
		_, taken := out.columns[f.at]
		if taken || used[f.c.Name] > 0 && (f.c.Type != lots.Time || used[f.c.Name] > 1 || !clockOnly(t, h.below, f.at)) {
			continue
		}
		out.columns[f.at] = f.c
		used[f.c.Name]++
		out.score += f.score
	}
	for i := range out.units {
		if c, ok := out.columns[i]; !ok || s.UnitColumn(c) == "" {
			delete(out.units, i)
		}
	}
	for _, c := range s.Columns {
		if c.Need && used[c.Name] == 0 && c.Name != s.Code && c.Type != lots.UnitOf {
			out.score--
		}
	}
	if len(out.columns) > 0 {
		out.score += named(s, t.Name)
	}
	return out
}

var (
	clockText = regexp.MustCompile(`^[0-2]?[0-9][:.h][0-5][0-9](:[0-5][0-9])?( ?[AaPp][Mm])?$`)
	hasDigit  = regexp.MustCompile(`[0-9]`)
)

// clockOnly reports whether the cells below a heading are times of day.
func clockOnly(t sheet.Table, below, at int) bool {
	seen, clock := column(t, below, at), 0
	for _, c := range seen {
		if clockText.MatchString(c.Text) {
			clock++
		}
	}
	return clock > 0 && clock*2 > len(seen)
}

// suits reports whether most cells below a heading can be of a column: numbers where it has numbers, days where it has times.
func suits(c lots.Column, t sheet.Table, below, at int) bool {
	seen, good := column(t, below, at), 0
	for _, cell := range seen {
		switch c.Type {
		case lots.Time:
			_, isDay := day(cell.Text, DayFirst)
			if isDay || clockText.MatchString(cell.Text) {
				good++
			}
		case lots.Number, lots.Amount, lots.Count:
			if hasDigit.MatchString(cell.Text) && !isDate(cell.Text) {
				good++
			}
		case lots.NewCode, lots.RefTo, lots.AnyOf, lots.ListOf:
			if !isDate(cell.Text) {
				good++
			}
		default:
			good++
		}
	}
	return len(seen) == 0 || good*2 >= len(seen)
}

func isDate(text string) bool { _, ok := day(text, DayFirst); return ok }

// column lists the first cells below a heading that hold anything.
func column(t sheet.Table, below, at int) (out []sheet.Cell) {
	for _, l := range t.Lines[below:] {
		if at < len(l.Cells) && l.Cells[at].Text != "" && len(out) < 200 {
			out = append(out, l.Cells[at])
		}
	}
	return out
}

// example shows what stands below a heading.
func example(t sheet.Table, below, at int) string {
	for _, c := range column(t, below, at) {
		return "such as " + shortened(c.Text)
	}
	return "nothing is below it"
}

func shortened(text string) string {
	if r := []rune(text); len(r) > 40 {
		return string(r[:39]) + "…"
	}
	return text
}

// missing adds what a page does not say and its sheet must know.
func (m *Map) missing(page string, x match, t sheet.Table) {
	have := map[string]bool{}
	for at, c := range x.columns {
		have[c.Name] = true
		if unit := x.sheet.UnitColumn(c); unit != "" && (x.units[at] != "" || unitsInCells(t, x.head.below, at)) {
			have[unit] = true
		}
	}
	for _, c := range x.sheet.Columns {
		if !c.Need || have[c.Name] {
			continue
		}
		r := Rule{Page: page, What: Always, Written: c.Name, Means: asks, Note: c.Help}
		if c.Name == x.sheet.Code && x.sheet.When != "" { // what happened; things have names that people gave them
			r.Means, r.Note = Numbered, "each row gets the next free code of ours"
		}
		m.add(r)
	}
}

var numberThenWord = regexp.MustCompile(`^[0-9][0-9.,' ]*\s*[A-Za-z]+\.?$`)

// unitsInCells reports whether the numbers below a heading have their units with them.
func unitsInCells(t sheet.Table, below, at int) bool {
	seen, with := column(t, below, at), 0
	for _, c := range seen {
		if numberThenWord.MatchString(c.Text) {
			with++
		}
	}
	return with > 0 && with*2 > len(seen)
}
