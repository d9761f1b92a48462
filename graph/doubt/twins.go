package doubt

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"heeltap/lots"
	"heeltap/lots/datecode"
)

const (
	leastTwin = 4 // characters: of shorter lots every one is near every other
	mostTwins = 3 // are named
)

// twins warns about a supplier's lot that is nearly one that came in before: one of the two is probably
// misread, and asking for the lot as printed then misses it.
func (d *doubts) twins(r *lots.Receipt, others []*lots.Receipt) {
	if r.SupplierLot == "-" {
		return
	}
	var known []string // in order of receipt
	slices.SortStableFunc(others, func(a, b *lots.Receipt) int { return cmp.Compare(a.At.From, b.At.From) })
	ours := map[string]*lots.Receipt{}
	for _, o := range others {
		if o.Supplier == r.Supplier && o.SupplierLot != "-" && ours[o.SupplierLot] == nil {
			known, ours[o.SupplierLot] = append(known, o.SupplierLot), o
		}
	}
	if ours[r.SupplierLot] != nil {
		return // more of a lot that is known
	}
	var like []Twin
	for _, k := range known {
		if how := likeness(k, r.SupplierLot, known); how != "" {
			like = append(like, Twin{k, ours[k].Lot, ours[k].At, how})
		}
	}
	if len(like) > 0 {
		more := max(0, len(like)-mostTwins)
		d.near = &Near{r.Lot, r.SupplierLot, like[more:], more}
	}
}

// Near tells of a delivery whose supplier's lot is nearly one or more that came in before.
type Near struct {
	Lot         string
	SupplierLot string
	Like        []Twin // in the order in which they first came in, the newest last
	More        int    // how many more there are
}

// Twin is a supplier's lot that came in before, under our lot, and how like another it is.
type Twin struct {
	SupplierLot, Lot string
	At               lots.When // when it first came in
	How              string
}

func (n *Near) text() string {
	var near []string
	for _, t := range n.Like {
		near = append(near, fmt.Sprintf("%s (%s, %s)", quoted(t.SupplierLot), t.Lot, t.How))
	}
	more, same := "", n.Like[len(n.Like)-1].SupplierLot
	if n.More > 0 {
		more = fmt.Sprintf(" and %d more", n.More)
	}
	return fmt.Sprintf("NEARLY A LOT WE HAVE: supplier's lot %s is close to %s%s. Read the goods again: if it is the same lot, heeltap amend %s supplier_lot=%s; if both are right, go on",
		quoted(n.SupplierLot), strings.Join(near, ", "), more, n.Lot, quoted(same))
}

func quoted(text string) string { return `"` + text + `"` }

// likeness says in what a lot differs from one of those known, where one of the two may be a misreading of
// the other; empty where it may not, and where it is just the lot that follows.
func likeness(k, lot string, known []string) string {
	a, b := []rune(strings.ToUpper(k)), []rune(strings.ToUpper(lot))
	switch {
	case string(a) == string(b):
		return "only upper and lower case differ"
	case lots.Fold(datecode.Plain(k)) == lots.Fold(datecode.Plain(lot)):
		return "they differ only in what is easily misread"
	case len(a) >= leastTwin-1 && swapped(a, b):
		return "two characters are swapped"
	case min(len(a), len(b)) < leastTwin:
		return ""
	case counts(k, lot, known):
		return ""
	case oneLost(a, b):
		return "a character may be missing"
	case oneLost(b, a):
		return "there may be one character too many"
	}
	if at, ok := oneChanged(a, b); ok && !(unicode.IsLetter(a[at]) && b[at] == a[at]+1) { // A is followed by B
		return "one character differs"
	}
	return ""
}

// swapped reports whether two texts differ in two neighbours that changed places.
func swapped(a, b []rune) bool {
	if len(a) != len(b) {
		return false
	}
	i := firstUnlike(a, b)
	return i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && slices.Equal(a[i+2:], b[i+2:])
}

// oneLost reports whether short is long without one of its characters.
func oneLost(long, short []rune) bool {
	if len(long) != len(short)+1 {
		return false
	}
	i := firstUnlike(long, short)
	return slices.Equal(long[i+1:], short[i:])
}

// oneChanged is where two texts of one length differ, if they do in one character only.
func oneChanged(a, b []rune) (at int, ok bool) {
	if len(a) != len(b) {
		return 0, false
	}
	i := firstUnlike(a, b)
	return i, i < len(a) && slices.Equal(a[i+1:], b[i+1:])
}

func firstUnlike(a, b []rune) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

// counts reports whether two lots differ in one number only, and that says nothing: it counts on from
// the lots that are known, or the numbers are so many and in such disorder that some are near each other by chance.
func counts(k, lot string, known []string) bool {
	for _, at := range numbers.FindAllStringIndex(lot, -1) {
		before, after := lot[:at[0]], lot[at[1]:]
		number := func(text string) (int, bool) {
			digits, ok := strings.CutPrefix(text, before)
			if !ok {
				return 0, false
			}
			if digits, ok = strings.CutSuffix(digits, after); !ok {
				return 0, false
			}
			n, err := strconv.Atoi(digits)
			return n, err == nil && n >= 0
		}
		if _, ok := number(k); !ok {
			continue
		}
		var row []int
		for _, o := range known {
			if n, ok := number(o); ok {
				row = append(row, n)
			}
		}
		n, ok := number(lot)
		return ok && (countsOn(n, row) || byChance(at[1]-at[0], row))
	}
	return false
}

var numbers = regexp.MustCompile(`[0-9]+`)

// countsOn reports whether a number goes on from those before it, in no larger step than they have made.
func countsOn(n int, row []int) bool {
	row = slices.Sorted(slices.Values(row))
	step := leastStep
	for i := 1; i < len(row); i++ {
		step = max(step, row[i]-row[i-1])
	}
	last := row[len(row)-1]
	return n > last && n-last <= step
}

// leastStep is how far a number may count on where no two are known yet.
const leastStep = 2

// byChance reports whether numbers of so many digits do not count on, and are so many that one
// digit differs from some other by chance alone in more than one case of ten.
func byChance(digits int, row []int) bool {
	return !slices.IsSorted(row) && float64(len(row))*9*float64(digits) > 0.1*math.Pow10(digits)
}
