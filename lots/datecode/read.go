package datecode

import (
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// What people misread on packages, and what each misreading counts. The pairs are common
// practice: what looks alike in print, in dot matrix, and upside down.
const (
	costAlike   = 0.25 // one of a pair that looks alike
	costUnread  = 0.2  // a character that could not be read, written as ?
	costEnd     = 0.35 // a character lost at either end, or one too many: the rim of a can
	costMore    = 0.15 // each further one there: people read half a code
	costSwap    = 0.6  // two neighbours swapped
	costInner   = 0.8  // a character lost or added inside
	costOther   = 1.0  // another character
	costTurned  = 0.3  // the whole read upside down
	costDayMon  = 0.4  // day and month swapped
	costSaid    = 0.15 // the same date said in another order, or with its month's name
	costNoYear  = 0.45 // and without its year
	mostPerRune = 0.34 // what costs more for each character is no reading any more
	mostCost    = 2.2  // nor what costs more in all
)

// MostRead bounds what is taken for a code that somebody read, in characters.
const MostRead = 200

// alike are the characters taken for each other.
var alike = pairs("0O", "0Q", "OQ", "0D", "OD", "1I", "1L", "IL", "8B", "5S", "2Z", "6G", "69", "17", "38", "56", "VU", "1T", "4A", "4H", "3E", "7T", "0C", "OC", "GC", "MN")

// looks is a table of pairs of ASCII characters.
type looks [128][128]bool

func pairs(list ...string) *looks {
	var out looks
	for _, p := range list {
		out[p[0]][p[1]], out[p[1]][p[0]] = true, true
	}
	return &out
}

func (l *looks) like(a, b rune) bool { return a < 128 && b < 128 && l[a][b] }

// turned is what a character reads as upside down; what is missing cannot be read so.
var turned = map[rune]rune{'0': '0', 'O': 'O', '1': '1', 'I': 'I', 'L': '7', '7': 'L', '2': '2', 'Z': 'Z', '5': '5', 'S': 'S', '6': '9', '9': '6', '8': '8', 'H': 'H', '4': 'H', '3': 'E', 'E': '3',
	'N': 'N', 'X': 'X', 'M': 'W', 'W': 'M', 'A': 'V', 'V': 'A', 'U': 'N', 'B': 'B', 'K': 'K', 'C': 'C', 'D': 'D', '?': '?'}

// glyph is a character that was read, and what stood before it: 0 where nothing, a colon, a
// blank, or another mark.
type glyph struct{ char, gap rune }

// glyphs takes a text apart into letters, digits and question marks, which stand for what could not be read.
func glyphs(text string) []glyph {
	var out []glyph
	gap := rune(0)
	for _, r := range strings.ToUpper(text) {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '?':
			out = append(out, glyph{r, gap})
			gap = 0
		case r == ':':
			gap = ':'
		case unicode.IsSpace(r):
			if gap != ':' {
				gap = ' '
			}
		case gap == 0:
			gap = r
		}
	}
	if gap == ':' && len(out) > 0 { // "09:" is a time of which the rest was not read
		out = append(out, glyph{'?', ':'})
	}
	return out
}

func plainOf(g []glyph) []rune {
	out := make([]rune, len(g))
	for i, x := range g {
		out[i] = x.char
	}
	return out
}

// Plain is a code with what readers leave out or add: case, blanks and marks.
func Plain(text string) string {
	var b strings.Builder
	for _, r := range strings.ToUpper(text) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Match is how well a text that a person read fits a code that was printed.
type Match struct {
	Cost  float64  // 0 where it reads exactly so
	How   []string // what has to be taken for granted, in words; empty where exact
	Time  string   // time of day read behind it or before it, hh:mm, with ? for digits not read; empty where none
	Clock Clock    // the minutes that this time may mean

	fits int // characters that read as they are, or alike
}

// Score is a match between 0 and 100.
func (m Match) Score() int { return int(math.Round(100 * math.Exp(-m.Cost))) }

// fitting is one code that a text is tried against.
type fitting struct {
	code    string
	want    []rune
	pattern *Pattern
	swapped []rune    // with day and month swapped; nil where that is no other code
	date    time.Time // the one that it shows; zero where it shows none
	best    Match
	found   bool
	table   []cellOf // of the alignments, one after the other
}

// Fit says how well what was read fits a printed code of a pattern, which may be nil where
// the code follows none. A time of day may have been read with it. False where it does not,
// and where either is longer than [MostRead].
func Fit(read, code string, p *Pattern) (Match, bool) {
	if utf8.RuneCountInString(read) > MostRead || utf8.RuneCountInString(code) > MostRead {
		return Match{}, false
	}
	text := glyphs(read)
	if strings.Contains(code, "?") { // printed so: a mark like others
		text = slices.DeleteFunc(text, func(g glyph) bool { return g.char == '?' })
	}
	f := &fitting{code: code, want: []rune(Plain(code)), pattern: p, best: Match{Cost: math.Inf(1)}}
	if len(text) == 0 || len(f.want) == 0 {
		return Match{}, false
	}
	if p != nil {
		at := p.fieldsOf(code)
		if other, ok := exchanged(code, at); ok && other != code {
			f.swapped = []rune(Plain(other))
		}
		f.date, _ = dateOf(code, at)
	}
	f.readDay(text)
	if len(text) < min(3, len(f.want)) {
		return f.best, f.found
	}
	f.read(text, 0)
	if last := len(text) - 1; last > 0 && text[last] == (glyph{'?', ':'}) { // or the colon is the code's own
		f.read(text[:last], 0)
	}
	if flipped, ok := upsideDown(text); ok && !slices.Equal(plainOf(flipped), plainOf(text)) {
		f.read(flipped, costTurned, "read upside down")
	}
	return f.best, f.found
}

// FitAny takes the best fit by any of the patterns that a product has or had.
func FitAny(read, code string, patterns []*Pattern) (Match, bool) {
	if len(patterns) == 0 {
		return Fit(read, code, nil)
	}
	var best Match
	found := false
	for _, p := range patterns {
		if m, ok := Fit(read, code, p); ok && (!found || m.Cost < best.Cost) {
			best, found = m, true
		}
	}
	return best, found
}

// MayShow reports whether a text can be a code with a time of day somewhere in it, and nothing else: quickly,
// so that not every code has to be fitted.
func MayShow(text, code string) bool {
	read, want := Plain(text), Plain(code)
	more := len(read) - len(want)
	if want == "" || more <= 0 || more > len("101112PM") {
		return false
	}
	front := 0
	for front < len(want) && read[front] == want[front] {
		front++
	}
	back := 0
	for back < len(want) && read[len(read)-1-back] == want[len(want)-1-back] {
		back++
	}
	return front+back >= len(want)
}

// SameNumbers reports whether two texts that are plainly equal part their digits alike, or one of them not
// at all: 1-12 is not 11-2, and 112 may be either.
func SameNumbers(a, b string) bool {
	x, y := numberGaps(a), numberGaps(b)
	within := func(some, all []int) bool {
		return !slices.ContainsFunc(some, func(at int) bool { return !slices.Contains(all, at) })
	}
	return within(x, y) || within(y, x)
}

// Parted is a code as [Plain] gives it, with a blank wherever marks part a digit from a digit: FV-1-1 is FV1 1, and FV11 is not.
func Parted(text string) string {
	plain := []rune(Plain(text))
	for i, at := range numberGaps(text) {
		plain = slices.Insert(plain, at+i, ' ')
	}
	return string(plain)
}

// numberGaps lists where marks part a digit from a digit, counted in letters and digits.
func numberGaps(text string) []int {
	var out []int
	text = strings.ToUpper(text)
	n, gap, last := 0, false, false
	for _, r := range text {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			gap = true
			continue
		}
		digit := unicode.IsDigit(r)
		if gap && digit && last {
			out = append(out, n)
		}
		n, gap, last = n+1, false, digit
	}
	return out
}

// readDay takes a text for the day and the month of the code's date, with a time of day or without.
func (f *fitting) readDay(text []glyph) {
	if f.date.IsZero() || len(text) > len("THE10THOFSEPTEMBER1042PM") {
		return
	}
	for _, s := range splits(text, f.pattern, len("1003")) {
		if saysDay(s.rest, f.date) {
			f.take(Match{Cost: s.cost + costSaid + costNoYear, How: append(slices.Clone(s.how), "its day and month, without the year"), Time: s.clock.Text, Clock: s.clock})
		}
	}
}

// read tries a text, with each way to split a time of day off it.
func (f *fitting) read(text []glyph, extra float64, how ...string) {
	for _, s := range splits(text, f.pattern, len(f.want)) {
		cost, taken := extra+s.cost, slices.Concat(how, s.how)
		f.try(s, f.want, cost, taken...)
		if f.swapped != nil {
			f.try(s, f.swapped, cost+costDayMon, append(taken, "day and month swapped")...)
		}
		if f.date.IsZero() || len(s.rest) > len("BESTBEFOREEND01SEPTEMBER2027") {
			continue
		}
		if text, ok := plainDate(string(plainOf(s.rest))); ok && says(text, f.date) {
			f.take(Match{Cost: cost + costSaid, How: append(taken, "the same date, written another way"), Time: s.clock.Text, Clock: s.clock})
		}
	}
}

// try aligns what is left of a text with a code.
func (f *fitting) try(s split, want []rune, extra float64, how ...string) {
	text := plainOf(s.rest)
	if float64(len(text)-len(want))*costEnd > mostCost {
		return // so many too much are no reading
	}
	most := min(mostCost, mostPerRune*float64(len(want)))
	m := f.align(text, want, min(most, f.best.Cost-extra)) // what costs more than the best is of no use
	if m.Cost > most || m.fits*5 < len(text)*3 {
		return
	}
	m.Cost += extra
	m.How = append(slices.Clone(how), m.How...)
	m.Time, m.Clock = s.clock.Text, s.clock
	if m.Cost <= most+costEnd*float64(min(1, len(s.how))) { // a time half read leaves the code what it is
		f.take(m)
	}
}

func (f *fitting) take(m Match) {
	if m.Cost < f.best.Cost-1e-9 {
		f.best, f.found = m, true
	}
}

// upsideDown turns a text over: its last character is read first, with the marks between them where they were.
func upsideDown(text []glyph) ([]glyph, bool) {
	n := len(text)
	out := make([]glyph, n)
	for i, g := range text {
		t, ok := turned[g.char]
		if !ok {
			return nil, false
		}
		out[n-1-i].char = t
		if i > 0 {
			out[n-i].gap = g.gap
		}
	}
	return out, true
}
