// Package common looks for what several complaints have in common: which shared lots, fills, runs,
// pallets, stores or consignees explain them, and how well. It ranks; it never says what the
// cause is. It needs complaints about three units, and says so when it has fewer.
package common

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Suspect is something that units can have in common.
type Suspect struct {
	Kind  string // lot crop brew fill pass run segment unit place consignee
	Code  string
	Units []int // the units that come from it, or were there: places in the population, in order
}

// Case is one complaint, or one clean sample: the units it may be of, unknown which, in order.
type Case []int

// Group is suspects that no unit looked at tells apart, and how well they explain the complaints.
type Group struct {
	Suspects []Suspect
	Units    []int
	Cover    float64 // share of the complaints that come from it, as they were given
	Base     float64 // share of all units that do
	Lift     float64 // cover ÷ base
	// P is the chance that complaints and clean samples speak so much for it, or more, if they fell on
	// any units (see Chance). Corrected is P corrected for every group of the population (Holm).
	P, Corrected float64
	Good         int // clean samples that surely come from it
}

// Rank orders what the complaints have in common by how well it explains them. population is the
// number of units sold in the period; suspects are all that any of them have in common, whether a
// complaint is of it or not: each is one comparison.
//
// What one unit holds shares all its causes: a second complaint of it is no further evidence. So
// complaints that may be of the same units count once, and no more complaints count than there
// are units for each to be of its own. A clean sample of a unit that is complained of clears nothing.
func Rank(population int, suspects []Suspect, bad, good []Case) []Group {
	groups := grouped(suspects)
	once := distinct(bad)
	n := matching(once, nil)
	sampled := distinct(slices.DeleteFunc(slices.Clone(good), func(c Case) bool { return complained(c, bad) }))
	clean := min(matching(sampled, nil), population-n)
	var out []Group
	for _, g := range groups {
		given, covered, cleared := parts(bad, g.Units), parts(once, g.Units), parts(sampled, g.Units)
		if covered == 0 {
			continue // as likely as not: counted, and not told
		}
		g.Cover, g.Base = given/float64(len(bad)), float64(len(g.Units))/float64(max(1, population))
		g.Lift = g.Cover / g.Base
		k := min(int(covered+1e-9), matching(once, g.Units))
		against := max(int(math.Ceil(cleared-1e-9)), k-speaks(len(g.Units), n, clean, population)) // parts are rounded against it
		g.P, _ = Chance(k, against, len(g.Units), n, clean, population).Float64()
		for _, c := range good {
			if part(c, g.Units) == 1 {
				g.Good++
			}
		}
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b Group) int {
		return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(b.Cover, a.Cover), cmp.Compare(len(a.Units), len(b.Units)), cmp.Compare(a.Suspects[0].Code, b.Suspects[0].Code))
	})
	worst := 0.0
	for i := range out { // Holm 1979: the i-th smallest is multiplied by what is left to test
		worst = max(worst, min(1, out[i].P*float64(len(groups)-i)))
		out[i].Corrected = worst
	}
	return out
}

// grouped joins suspects with the same units.
func grouped(suspects []Suspect) []*Group {
	byUnits := map[string]*Group{}
	var out []*Group
	for _, s := range suspects {
		if len(s.Units) == 0 {
			continue
		}
		k := key(s.Units)
		g := byUnits[k]
		if g == nil {
			g = &Group{Units: s.Units}
			byUnits[k] = g
			out = append(out, g)
		}
		g.Suspects = append(g.Suspects, s)
	}
	for _, g := range out {
		slices.SortFunc(g.Suspects, func(a, b Suspect) int {
			return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code))
		})
	}
	return out
}

// Distinct is how many of the complaints can each be of a unit of its own.
func Distinct(bad []Case) int { return matching(distinct(bad), nil) }

// distinct takes cases that may be of just the same units for one.
func distinct(cases []Case) []Case {
	seen := map[string]bool{}
	var out []Case
	for _, c := range cases {
		if k := key(c); len(c) > 0 && !seen[k] {
			seen[k] = true
			out = append(out, c)
		}
	}
	return out
}

// complained reports whether every unit that a sample may be of is one that a complaint may be of.
func complained(sample Case, bad []Case) bool {
	return !slices.ContainsFunc(sample, func(u int) bool {
		return !slices.ContainsFunc(bad, func(c Case) bool { return part(Case{u}, c) > 0 })
	})
}

// matching is the most cases that can each be of a unit of its own (of some units only, where
// they are given): augmenting paths, as in any text on bipartite matching.
func matching(cases []Case, among []int) int {
	taken := map[int]int{} // unit to the case it is given to
	var give func(i int, tried map[int]bool) bool
	give = func(i int, tried map[int]bool) bool {
		for _, u := range cases[i] {
			if tried[u] || among != nil && part(Case{u}, among) == 0 {
				continue
			}
			tried[u] = true
			if other, ok := taken[u]; !ok || give(other, tried) {
				taken[u] = i
				return true
			}
		}
		return false
	}
	n := 0
	for i := range cases {
		if give(i, map[int]bool{}) {
			n++
		}
	}
	return n
}

func key(units []int) string {
	var b strings.Builder
	for _, u := range units {
		b.WriteString(strconv.Itoa(u))
		b.WriteByte(' ')
	}
	return b.String()
}

// parts sums which part of each case's units is among some.
func parts(cases []Case, units []int) float64 {
	sum := 0.0
	for _, c := range cases {
		sum += part(c, units)
	}
	return sum
}

// part is which part of a case's units is among some; both are in order.
func part(c Case, units []int) float64 {
	if len(c) == 0 {
		return 0
	}
	n := 0
	for _, u := range c {
		if _, ok := slices.BinarySearch(units, u); ok {
			n++
		}
	}
	return float64(n) / float64(len(c))
}
