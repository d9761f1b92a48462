// Package common looks for what several complaints have in common: which shared lots, fills, runs,
// pallets, stores or consignees explain them, and how well. It ranks; it never says what the
// cause is. It needs three complaints, and says so when it has fewer.
package common

import (
	"cmp"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Suspect is something that units can have in common.
type Suspect struct {
	Kind  string // lot crop brew fill pass run segment unit place consignee
	Code  string
	Units []int // the units that come from it, or were there: places in the population, in order
	Sure  bool  // by content alone
}

// Case is one complaint, or one clean sample: the units it may be of, unknown which.
type Case []int

// Group is suspects that no unit looked at tells apart, and how well they explain the complaints.
type Group struct {
	Suspects []Suspect
	Units    []int
	Cover    float64 // share of the complaints that come from it
	Base     float64 // share of all units that do
	Lift     float64 // cover ÷ base
	// P is the chance that so many complaints, or more, fall on it if they fell on any units:
	// hypergeometric, one-sided (Fisher). Corrected is P corrected for all groups looked at (Holm).
	P, Corrected float64
	Good         int // clean samples that surely come from it
}

// Rank orders what the complaints have in common by how well it explains them. population is the
// number of units sold in the period.
func Rank(population int, suspects []Suspect, bad, good []Case) []Group {
	byUnits := map[string]*Group{}
	var keys []string
	for _, s := range suspects {
		k := key(s.Units)
		g := byUnits[k]
		if g == nil {
			g = &Group{Units: s.Units}
			byUnits[k] = g
			keys = append(keys, k)
		}
		g.Suspects = append(g.Suspects, s)
	}
	var out []Group
	for _, k := range keys {
		g := byUnits[k]
		covered := 0.0
		for _, c := range bad {
			covered += part(c, g.Units)
		}
		if covered == 0 {
			continue
		}
		g.Cover, g.Base = covered/float64(len(bad)), float64(len(g.Units))/float64(max(1, population))
		g.Lift = g.Cover / g.Base
		p := AtLeast(int(covered+1e-9), len(g.Units), len(bad), population)
		g.P, _ = p.Float64()
		for _, c := range good {
			if part(c, g.Units) == 1 && len(c) > 0 {
				g.Good++
			}
		}
		slices.SortFunc(g.Suspects, func(a, b Suspect) int {
			return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code))
		})
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b Group) int {
		return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(a.Suspects[0].Code, b.Suspects[0].Code))
	})
	worst := 0.0
	for i := range out { // Holm 1979: the i-th smallest is multiplied by what is left to test
		worst = max(worst, min(1, out[i].P*float64(len(out)-i)))
		out[i].Corrected = worst
	}
	slices.SortStableFunc(out, func(a, b Group) int {
		return cmp.Or(cmp.Compare(a.Good, b.Good), cmp.Compare(a.P, b.P), cmp.Compare(b.Cover, a.Cover), cmp.Compare(len(a.Units), len(b.Units)))
	})
	return out
}

func key(units []int) string {
	var b strings.Builder
	for _, u := range units {
		b.WriteString(strconv.Itoa(u))
		b.WriteByte(' ')
	}
	return b.String()
}

// part is which part of a case's units is among some; units and case are in order.
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

// AtLeast is the chance that of n drawn from a population, of which so many are marked, k or
// more are: the upper tail of the hypergeometric distribution, exactly.
func AtLeast(k, marked, n, population int) *big.Rat {
	sum := new(big.Rat)
	all := new(big.Int).Binomial(int64(population), int64(n))
	if all.Sign() == 0 {
		return big.NewRat(1, 1)
	}
	for x := max(k, 0); x <= min(n, marked); x++ {
		if n-x > population-marked {
			continue
		}
		ways := new(big.Int).Binomial(int64(marked), int64(x))
		ways.Mul(ways, new(big.Int).Binomial(int64(population-marked), int64(n-x)))
		sum.Add(sum, new(big.Rat).SetFrac(ways, all))
	}
	return sum
}
