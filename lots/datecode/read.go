package datecode

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
)

// What people misread on packages, and what each misreading counts. The pairs are common
// practice: what looks alike in print, in dot matrix, and upside down.
const (
	costAlike   = 0.25 // one of a pair that looks alike
	costEnd     = 0.35 // a character lost at either end, or one too many: the rim of a can
	costMore    = 0.15 // each further one there: people read half a code
	costSwap    = 0.6  // two neighbours exchanged
	costInner   = 0.8  // a character lost or added inside
	costOther   = 1.0  // another character
	costTurned  = 0.3  // the whole read upside down
	costDayMon  = 0.4  // day and month exchanged
	mostPerRune = 0.34 // what costs more for each character is no reading any more
	mostCost    = 2.2  // nor what costs more in all
)

// alike are the characters taken for each other.
var alike = pairs("0O", "0Q", "OQ", "0D", "OD", "1I", "1L", "IL", "8B", "5S", "2Z", "6G", "69", "17", "38", "56", "VU", "1T", "4A", "3E", "7T", "0C", "OC", "GC", "MN")

func pairs(list ...string) map[[2]rune]bool {
	out := map[[2]rune]bool{}
	for _, p := range list {
		r := []rune(p)
		out[[2]rune{r[0], r[1]}], out[[2]rune{r[1], r[0]}] = true, true
	}
	return out
}

// turned is what a character reads as upside down; what is missing can not be read so.
var turned = map[rune]rune{'0': '0', 'O': 'O', '1': '1', 'I': 'I', 'L': '7', '7': 'L', '2': '2', 'Z': 'Z', '5': '5', 'S': 'S', '6': '9', '9': '6', '8': '8', 'H': 'H', 'N': 'N', 'X': 'X', 'M': 'W', 'W': 'M', 'A': 'V', 'V': 'A', 'U': 'N', 'B': 'B', 'K': 'K', 'C': 'C', 'D': 'D', 'E': 'E'}

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
	Cost float64  // 0 where it reads exactly so
	How  []string // what has to be taken for granted, in words; empty where exact
	Time string   // time of day read behind it or before it, hh:mm; empty where none

	fits int // characters that read as they are, or alike
}

// Score is a match between 0 and 100.
func (m Match) Score() int { return int(math.Round(100 * math.Exp(-m.Cost))) }

// Fit says how well what was read fits a printed code of a pattern, which may be nil where
// the code follows none. A time of day may have been read with it. False where it does not.
func Fit(read, code string, p *Pattern) (Match, bool) {
	text, want := Plain(read), Plain(code)
	if len([]rune(text)) < min(3, len([]rune(want))) || want == "" {
		return Match{}, false
	}
	best, found := Match{Cost: math.Inf(1)}, false
	try := func(text, want, clock string, extra float64, how ...string) {
		target := []rune(want)
		most := min(mostCost, mostPerRune*float64(len(target)))
		m := align([]rune(text), target, most)
		m.Cost += extra
		m.How = append(how, m.How...)
		m.Time = clock
		if m.Cost < best.Cost-1e-9 && m.Cost <= most && m.fits*5 >= len([]rune(text))*3 {
			best, found = m, true
		}
	}
	for _, t := range append([][2]string{{text, ""}}, withoutTime(text, p)...) {
		try(t[0], want, t[1], 0)
		if flipped, ok := upsideDown(t[0]); ok && flipped != t[0] {
			try(flipped, want, "", costTurned, "read upside down")
		}
		if p != nil {
			if swapped, ok := p.exchanged(want); ok && swapped != want {
				try(t[0], swapped, t[1], costDayMon, "day and month exchanged")
			}
		}
	}
	return best, found
}

// withoutTime splits a time of day off a text, at the side where the pattern prints it.
func withoutTime(text string, p *Pattern) [][2]string {
	if p == nil || !p.PrintsTime() {
		return nil
	}
	r := []rune(text)
	var out [][2]string
	for _, n := range []int{4, 6} {
		if len(r) <= n {
			continue
		}
		rest, clock := string(r[:len(r)-n]), string(r[len(r)-n:])
		if p.timed[0] == 0 {
			rest, clock = string(r[n:]), string(r[:n])
		}
		if hhmm, ok := clockOf(clock); ok {
			out = append(out, [2]string{rest, hhmm})
		}
	}
	return out
}

// clockOf reads hhmm or hhmmss, letters being taken for the digits they look like.
func clockOf(text string) (string, bool) {
	digits := strings.Map(func(r rune) rune {
		switch r {
		case 'O', 'Q', 'D':
			return '0'
		case 'I', 'L':
			return '1'
		case 'Z':
			return '2'
		case 'S':
			return '5'
		case 'G':
			return '6'
		case 'B':
			return '8'
		}
		return r
	}, text)
	for _, r := range digits {
		if r < '0' || r > '9' {
			return "", false
		}
	}
	h, m := digits[:2], digits[2:4]
	return h + ":" + m, h < "24" && m < "60"
}

func upsideDown(text string) (string, bool) {
	r := []rune(text)
	out := make([]rune, len(r))
	for i, c := range r {
		t, ok := turned[c]
		if !ok {
			return "", false
		}
		out[len(r)-1-i] = t
	}
	return string(out), true
}

// exchanged gives a plain code with its day and month exchanged, where the pattern shows both as numbers.
func (p *Pattern) exchanged(plain string) (string, bool) {
	at, day, month := 0, -1, -1
	for i, x := range p.pieces {
		if i >= p.timed[0] && i < p.timed[1] {
			continue
		}
		width := 0
		switch {
		case x.field == nil:
			width = len([]rune(Plain(x.text)))
		case x.field.name == "year":
			width = 4
		case x.field.name == "doy", x.field.name == "mon":
			width = 3
		case x.field.name == "y", x.field.name == "letter", x.field.name == "letter-no-i":
			width = 1
		case x.field.name == "line", x.field.name == "product":
			return "", false // of no fixed width
		default:
			width = 2
		}
		if x.field != nil && x.field.name == "day" {
			day = at
		}
		if x.field != nil && x.field.name == "month" {
			month = at
		}
		at += width
	}
	r := []rune(plain)
	if day < 0 || month < 0 || len(r) != at {
		return "", false
	}
	out := append([]rune(nil), r...)
	copy(out[day:day+2], r[month:month+2])
	copy(out[month:month+2], r[day:day+2])
	return string(out), true
}

// The ways on in an alignment.
const (
	opSame = iota
	opAlike
	opOther
	opSwap
	opMissing
	opExtra
)

// cellOf is how cheaply so much of what was read is taken for so much of the code, and by which last way.
type cellOf struct {
	cost float64
	op   uint8
}

// align finds the cheapest way to take what was read for a code (Damerau-Levenshtein, with
// the costs above), and says it in words. What costs more than most is not put into words.
func align(read, code []rune, most float64) Match {
	width := len(code) + 1
	table := make([]cellOf, (len(read)+1)*width)
	for i := range len(read) + 1 {
		for j := range width {
			if i+j > 0 {
				table[i*width+j] = cheapest(table, width, read, code, i, j)
			}
		}
	}
	out := Match{Cost: table[len(table)-1].cost}
	if out.Cost <= most {
		out.How, out.fits = words(table, width, read, code)
	}
	return out
}

func cheapest(table []cellOf, width int, read, code []rune, i, j int) cellOf {
	best := cellOf{cost: math.Inf(1)}
	offer := func(cost float64, fi, fj int, op uint8) {
		if c := table[fi*width+fj].cost + cost; c < best.cost {
			best = cellOf{c, op}
		}
	}
	if i > 0 && j > 0 {
		switch a, b := read[i-1], code[j-1]; {
		case a == b:
			offer(0, i-1, j-1, opSame)
		case alike[[2]rune{a, b}]:
			offer(costAlike, i-1, j-1, opAlike)
		default:
			offer(costOther, i-1, j-1, opOther)
		}
		if i > 1 && j > 1 && read[i-1] == code[j-2] && read[i-2] == code[j-1] && read[i-1] != read[i-2] {
			offer(costSwap, i-2, j-2, opSwap)
		}
	}
	if j > 0 {
		cost := costInner
		if i == 0 || i == len(read) {
			if cost = costEnd; j > 1 && table[i*width+j-1].op == opMissing {
				cost = costMore
			}
		}
		offer(cost, i, j-1, opMissing)
	}
	if i > 0 {
		cost := costInner
		if j == 0 || j == len(code) {
			cost = costEnd
		}
		offer(cost, i-1, j, opExtra)
	}
	return best
}

// words says what an alignment takes for granted, from the front, and how many characters fit.
func words(table []cellOf, width int, read, code []rune) (out []string, fits int) {
	for i, j := len(read), len(code); i > 0 || j > 0; {
		switch table[i*width+j].op {
		case opAlike:
			out = append(out, fmt.Sprintf("%c read for %c at place %d", read[i-1], code[j-1], j))
			i, j, fits = i-1, j-1, fits+1
		case opOther:
			out = append(out, fmt.Sprintf("%c instead of %c at place %d", read[i-1], code[j-1], j))
			i, j = i-1, j-1
		case opSwap:
			out = append(out, fmt.Sprintf("places %d and %d exchanged", j-1, j))
			i, j, fits = i-2, j-2, fits+2
		case opMissing:
			last := j
			for j--; j > 0 && table[i*width+j].op == opMissing && (i == 0 || i == len(read)); j-- {
			}
			where := fmt.Sprintf("at place %d", last)
			if i == 0 {
				where = "at the front"
			} else if i == len(read) {
				where = "at the end"
			}
			out = append(out, fmt.Sprintf("%s missing %s", string(code[j:last]), where))
		case opExtra:
			out = append(out, fmt.Sprintf("%c too much after place %d", read[i-1], j))
			i--
		default:
			i, j, fits = i-1, j-1, fits+1
		}
	}
	slices.Reverse(out)
	return out, fits
}
