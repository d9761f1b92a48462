package datecode

import (
	"fmt"
	"math"
	"slices"
)

// The ways on in an alignment.
const (
	opSame = iota
	opAlike
	opUnread
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
func (f *fitting) align(read, code []rune, most float64) Match {
	width := len(code) + 1
	f.table = slices.Grow(f.table[:0], (len(read)+1)*width)[:(len(read)+1)*width]
	table := f.table
	table[0] = cellOf{}
	for i := range len(read) + 1 {
		row := table[i*width : (i+1)*width]
		for j := range width {
			if i+j > 0 {
				row[j] = cheapest(table, width, read, code, i, j)
			}
		}
		if i > 0 && dear(row, most) && dear(table[(i-1)*width:i*width], most) { // an exchange looks back two rows
			return Match{Cost: math.Inf(1)}
		}
	}
	out := Match{Cost: table[len(table)-1].cost}
	if out.Cost <= most {
		out.How, out.fits = words(table, width, read, code)
	}
	return out
}

// dear reports whether all ways to get so far cost more than most.
func dear(row []cellOf, most float64) bool {
	return !slices.ContainsFunc(row, func(c cellOf) bool { return c.cost <= most })
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
		case a == '?':
			offer(costUnread, i-1, j-1, opUnread)
		case alike.like(a, b):
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
			out = append(out, fmt.Sprintf("%c read for %c at character %d", read[i-1], code[j-1], j))
			i, j, fits = i-1, j-1, fits+1
		case opUnread:
			out = append(out, fmt.Sprintf("%c at character %d could not be read", code[j-1], j))
			i, j = i-1, j-1
		case opOther:
			out = append(out, fmt.Sprintf("%c instead of %c at character %d", read[i-1], code[j-1], j))
			i, j = i-1, j-1
		case opSwap:
			out = append(out, fmt.Sprintf("characters %d and %d swapped", j-1, j))
			i, j, fits = i-2, j-2, fits+2
		case opMissing:
			last := j
			for j--; j > 0 && table[i*width+j].op == opMissing && (i == 0 || i == len(read)); j-- {
			}
			where := fmt.Sprintf("at character %d", last)
			if i == 0 {
				where = "at the front"
			} else if i == len(read) {
				where = "at the end"
			}
			out = append(out, fmt.Sprintf("%s missing %s", string(code[j:last]), where))
		case opExtra:
			out = append(out, fmt.Sprintf("an extra %c after character %d", read[i-1], j))
			i--
		default:
			i, j, fits = i-1, j-1, fits+1
		}
	}
	slices.Reverse(out)
	return out, fits
}
