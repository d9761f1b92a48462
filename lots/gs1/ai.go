package gs1

import (
	_ "embed"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed ais.tsv
var aisText string

// The sorts of data a part of an element may hold.
const (
	digitsOnly = "digits" // 0 to 9
	anyText    = "text"   // the 82 characters that every label may use
	capsText   = "caps"   // the 39 of component numbers
	base64Text = "base64" // of digital signatures
)

// part is one piece of what an element holds.
type part struct {
	kind     string
	min, max int
	optional bool
	tests    []string // names in [tests]
}

// AI is what an application identifier says of the data behind it.
type AI struct {
	ID    string
	Title string
	Fixed bool // of a length that is known from its first digits: no separator stands behind it
	Query bool // may stand behind the ? of a Digital Link
	Key   bool // may be the key of a Digital Link
	// Qualifiers may follow the key in a Digital Link, in this order; where there are several lists, one of them.
	Qualifiers [][]string

	parts []part
	needs [][]string // one of these groups must stand beside it; nil: nothing need
	bars  []string   // none of these may
}

// idRule is a row of the table, for one identifier or several that differ in their last digits.
type idRule struct {
	first, last string
	ai          AI
}

// table is by the first two digits, which tell how long an identifier is.
var table = sync.OnceValue(func() map[string][]idRule {
	out := map[string][]idRule{}
	rows := strings.Split(strings.TrimSpace(aisText), "\n")
	rows = slices.DeleteFunc(rows, func(r string) bool { return strings.HasPrefix(r, "#") })
	for _, row := range rows[1:] {
		cells := strings.Split(row, "\t")
		first, last, several := strings.Cut(cells[0], "-")
		if !several {
			last = first
		}
		x := AI{Title: blankDash(cells[6]), Fixed: strings.Contains(cells[2], "fixed"), Query: strings.Contains(cells[2], "query"), Key: cells[5] != "no"}
		for _, text := range strings.Fields(cells[1]) {
			x.parts = append(x.parts, partOf(text))
		}
		for group := range strings.SplitSeq(blankDash(cells[3]), " | ") {
			if group != "" {
				x.needs = append(x.needs, strings.Split(group, " & "))
			}
		}
		x.bars = strings.Fields(blankDash(cells[4]))
		if x.Key && cells[5] != "-" {
			for list := range strings.SplitSeq(cells[5], " or ") {
				x.Qualifiers = append(x.Qualifiers, strings.Split(list, " > "))
			}
		}
		out[first[:2]] = append(out[first[:2]], idRule{first, last, x})
		if last[:2] != first[:2] { // 91-99: every one of them begins otherwise
			for n, end := number(first)+1, number(last); n <= end; n++ {
				id := strconv.Itoa(n)
				out[id] = append(out[id], idRule{id, id, x})
			}
		}
	}
	return out
})

func blankDash(s string) string { return strings.TrimPrefix(strings.TrimSpace(s), "-") }

// number is digits as a number; the table holds no others.
func number(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}

// partOf reads one part as the table writes it: kind:length:tests, in brackets where it may be missing.
func partOf(text string) part {
	bare := strings.Trim(text, "()")
	cells := append(strings.Split(bare, ":"), "")
	p := part{kind: cells[0], optional: bare != text}
	low, high, ranged := strings.Cut(cells[1], "-")
	p.min, p.max = number(low), number(low)
	if ranged {
		p.max = number(high)
	}
	if cells[2] != "" {
		p.tests = strings.Split(cells[2], "+")
	}
	return p
}

// Find is the application identifier that a text begins with.
func Find(text string) (AI, bool) {
	if len(text) < 2 {
		return AI{}, false
	}
	for _, r := range table()[text[:2]] {
		n := len(r.first)
		if len(text) >= n && text[:n] >= r.first && text[:n] <= r.last {
			ai := r.ai
			ai.ID = text[:n]
			return ai, true
		}
	}
	return AI{}, false
}

// named is the identifier that is exactly id.
func named(id string) (AI, bool) {
	ai, ok := Find(id)
	return ai, ok && ai.ID == id
}

// longest is how many characters its data may have.
func (ai AI) longest() (n int) {
	for _, p := range ai.parts {
		n += p.max
	}
	return n
}

// like reports whether an identifier is meant by a pattern such as 310n or 31nn.
func like(id, pattern string) bool {
	if len(id) != len(pattern) {
		return false
	}
	for i := range len(id) {
		if pattern[i] != 'n' && pattern[i] != id[i] {
			return false
		}
	}
	return true
}
