package common_test

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"heeltap/graph/common"
)

// atLeast is the upper tail of the hypergeometric distribution: of n drawn k or more are marked.
func atLeast(k, marked, n, population int) *big.Rat {
	return common.Chance(k, 0, marked, n, 0, population)
}

// Fisher's exact test against published tables, a b / c d: the tea tasting (R manual and Fisher 1935:
// one-sided 17/70, two-sided 17/35 = 0.485714), the example of the SciPy manual (two-sided 0.034965) and
// the convictions of like-sex twins in the R manual (lower tail 0.000465181).
func TestFisherAgainstPublishedTables(t *testing.T) {
	tail := func(a, b, c, d, k int) *big.Rat { return atLeast(k, a+c, a+b, a+b+c+d) }
	twoSided := func(a, b, c, d int) float64 {
		point := func(k int) *big.Rat { return new(big.Rat).Sub(tail(a, b, c, d, k), tail(a, b, c, d, k+1)) }
		seen, sum := point(a), new(big.Rat)
		for k := range min(a+b, a+c) + 1 {
			if p := point(k); p.Cmp(seen) <= 0 {
				sum.Add(sum, p)
			}
		}
		p, _ := sum.Float64()
		return p
	}
	require.Zero(t, tail(3, 1, 1, 3, 3).Cmp(big.NewRat(17, 70)), "exactly 17/70")
	require.Zero(t, tail(4, 0, 0, 4, 4).Cmp(big.NewRat(1, 70)), "all four right")
	require.InDelta(t, 0.485714, twoSided(3, 1, 1, 3), 5e-7)
	require.InDelta(t, 0.034965, twoSided(8, 2, 1, 5), 5e-7)
	less, _ := new(big.Rat).Sub(big.NewRat(1, 1), tail(2, 10, 15, 3, 3)).Float64()
	require.InDelta(t, 0.000465181, less, 5e-10)
	// P(4) + P(5) of N=50, K=5, n=10: 0.0039646 and 0.00011894, worked out exactly.
	five, _ := atLeast(4, 5, 10, 50).Float64()
	require.InDelta(t, 0.0039646+0.00011894, five, 1e-7)
	// Where every unit is either complained of or found clean, clean samples make it the test of these two.
	require.Zero(t, common.Chance(3, 1, 4, 4, 4, 8).Cmp(big.NewRat(17, 70)))
}

// The chance is what counting every way to lay out complaints and clean samples gives, exactly, and
// never 0 for what can be seen.
func TestChanceAgainstCounting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		population := rapid.IntRange(1, 8).Draw(t, "population")
		marked := rapid.IntRange(0, population).Draw(t, "marked")
		bad := rapid.IntRange(0, population).Draw(t, "bad")
		clean := rapid.IntRange(0, population-bad).Draw(t, "clean")
		k := rapid.IntRange(max(0, bad-(population-marked)), min(bad, marked)).Draw(t, "k")
		g := rapid.IntRange(max(0, clean-(population-marked-(bad-k))), min(clean, marked-k)).Draw(t, "g")
		hits, all := int64(0), int64(0)
		var lay func(i, b, c, x, y int)
		lay = func(i, b, c, x, y int) { // unit i is complained of, found clean, or neither
			if i == population {
				if b == bad && c == clean {
					if all++; x-y >= k-g {
						hits++
					}
				}
				return
			}
			of := 0
			if i < marked {
				of = 1
			}
			lay(i+1, b, c, x, y)
			lay(i+1, b+1, c, x+of, y)
			lay(i+1, b, c+1, x, y+of)
		}
		lay(0, 0, 0, 0, 0)
		got := common.Chance(k, g, marked, bad, clean, population)
		require.Zero(t, got.Cmp(big.NewRat(hits, all)), "%v against %d/%d", got, hits, all)
		require.Positive(t, got.Sign())
	})
}

// A quarter of 60 runs, five complaints: the malt covers all and says nothing; the crop that six
// runs came from stands out; a tank is weak; the distributor of three is weaker.
func TestWorkedExample(t *testing.T) {
	upTo := func(n int) (out []int) {
		for i := range n {
			out = append(out, i)
		}
		return out
	}
	suspects := []common.Suspect{{Kind: "lot", Code: "M-1", Units: upTo(50)}, {Kind: "crop", Code: "C-7", Units: []int{0, 1, 2, 3, 4, 5}},
		{Kind: "fill", Code: "BT-3", Units: []int{0, 1, 2, 20, 21, 22, 23, 24, 25, 26, 27, 28}}, {Kind: "consignee", Code: "D-4", Units: append([]int{0, 1, 2}, upTo(57)[40:]...)}}
	groups := common.Rank(60, suspects, []common.Case{{0}, {1}, {1}, {3}, {4}}, nil)
	require.Equal(t, "C-7", groups[0].Suspects[0].Code)
	by := map[string]common.Group{}
	for _, g := range groups {
		by[g.Suspects[0].Code] = g
	}
	require.InDelta(t, 10, by["C-7"].Lift, 1e-9)
	require.InDelta(t, 1.2, by["M-1"].Lift, 1e-9)
	require.InDelta(t, 3, by["BT-3"].Lift, 1e-9)
	require.Greater(t, by["M-1"].Corrected, 0.3)
}

// What no unit tells apart is one group; a clean sample that surely comes from it counts against it.
func TestGroupsAndCleanSamples(t *testing.T) {
	suspects := []common.Suspect{{Kind: "lot", Code: "A", Units: []int{0, 1, 2}}, {Kind: "fill", Code: "B", Units: []int{0, 1, 2}}, {Kind: "lot", Code: "C", Units: []int{0, 1, 2, 3}}}
	bad := []common.Case{{0}, {1}, {2, 9}}
	groups := common.Rank(10, suspects, bad, []common.Case{{3}})
	require.Len(t, groups, 2)
	require.Len(t, groups[0].Suspects, 2)
	require.InDelta(t, 2.5/3, groups[0].Cover, 1e-9, "a complaint that may be of another unit counts half")
	require.Equal(t, 1, groups[1].Good)
	without := common.Rank(10, suspects, bad, nil)
	require.Greater(t, groups[1].P, without[1].P, "the clean sample of 3 speaks against C")
	require.LessOrEqual(t, groups[0].P, without[0].P, "and not against A")
}

// One clean sample does not push what explains three complaints of four behind what explains one.
func TestOneCleanSampleDoesNotOutweighThreeComplaints(t *testing.T) {
	suspects := []common.Suspect{{Kind: "brew", Code: "B", Units: []int{0, 1, 2, 3, 4, 5}}, {Kind: "unit", Code: "P7", Units: []int{40}}, {Kind: "consignee", Code: "D", Units: []int{0, 10, 20, 30, 40, 50}}}
	groups := common.Rank(80, suspects, []common.Case{{0}, {1}, {2}, {40}}, []common.Case{{3}})
	require.Equal(t, "B", groups[0].Suspects[0].Code)
	require.Equal(t, 1, groups[0].Good)
}

// Complaints of one unit are one piece of evidence, however often they are given, and a clean sample
// of it clears nothing; nothing that was seen has a chance of 0.
func TestComplaintsOfOneUnitCountOnce(t *testing.T) {
	suspects := []common.Suspect{{Kind: "unit", Code: "P", Units: []int{0}}, {Kind: "brew", Code: "B", Units: []int{0, 1}}, {Kind: "lot", Code: "M", Units: []int{0, 1, 2, 3}}}
	once := common.Rank(80, suspects, []common.Case{{0}}, nil)
	require.Equal(t, once, common.Rank(80, suspects, []common.Case{{0}, {0}, {0}}, nil))
	require.Equal(t, 1, common.Distinct([]common.Case{{0}, {0}, {0}}))
	sampled := common.Rank(80, suspects, []common.Case{{0}, {0}}, []common.Case{{0}})
	require.Equal(t, once[0].P, sampled[0].P)
	// Three complaints that can be of two units only are two: 0; 1; 0 or 1.
	require.Equal(t, 2, common.Distinct([]common.Case{{0}, {1}, {0, 1}}))
	for _, g := range common.Rank(80, suspects, []common.Case{{0}, {1}, {0, 1}, {7}}, nil) {
		want, _ := atLeast(min(2, len(g.Units)), len(g.Units), 3, 80).Float64()
		require.InDelta(t, want, g.P, 1e-15, g.Suspects[0].Code)
		require.Positive(t, g.P)
	}
}

// Whatever is complained of and sampled, no group's chance is 0 or above 1.
func TestChancesAreChances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		some := rapid.Custom(func(t *rapid.T) []int {
			units := rapid.SliceOfN(rapid.IntRange(0, 11), 1, 6).Draw(t, "units")
			slices.Sort(units)
			return slices.Compact(units)
		})
		var suspects []common.Suspect
		for i, units := range rapid.SliceOfN(some, 1, 8).Draw(t, "suspects") {
			suspects = append(suspects, common.Suspect{Kind: "lot", Code: fmt.Sprint(i), Units: units})
		}
		cases := func(name string) (out []common.Case) {
			for _, units := range rapid.SliceOfN(some, 0, 8).Draw(t, name) {
				out = append(out, units)
			}
			return out
		}
		for _, g := range common.Rank(12, suspects, cases("bad"), cases("good")) {
			require.Positive(t, g.P)
			require.LessOrEqual(t, g.P, 1.0)
			require.LessOrEqual(t, g.P, g.Corrected)
		}
	})
}

// Without a cause, complaints of any units at all, something is corrected below 0.05 in at most 5 %
// of trials: whether units are complained of once each or again and again, and with clean samples.
func TestWithoutACauseNothingStandsOut(t *testing.T) {
	trials := 600
	if testing.Short() {
		trials = 200
	}
	for _, how := range []struct {
		name   string
		bad    int
		again  bool
		clean  int
		spread int // units that a complaint may be of
	}{{"three", 3, false, 0, 1}, {"five, some of one unit", 5, true, 0, 1}, {"ten with six clean", 10, false, 6, 1}, {"six of two units each", 6, false, 0, 2}} {
		found := 0
		for seed := range uint64(trials) {
			r := rand.New(rand.NewPCG(seed, 11))
			suspects := grow(r)
			order := r.Perm(200)
			var bad, good []common.Case
			for i := range how.bad {
				at := order[i]
				if how.again {
					at = r.IntN(200)
				}
				c := common.Case{at}
				if how.spread == 2 {
					c = common.Case{at / 2 * 2, at/2*2 + 1}
				}
				bad = append(bad, c)
			}
			for i := range how.clean {
				good = append(good, common.Case{order[how.bad+i]})
			}
			groups := common.Rank(200, suspects, bad, good)
			if slices.ContainsFunc(groups, func(g common.Group) bool { return g.Corrected < 0.05 }) {
				found++
			}
		}
		t.Logf("%s: corrected p below 0.05 in %.1f %% of %d trials without a cause", how.name, 100*float64(found)/float64(trials), trials)
		require.LessOrEqual(t, float64(found), 0.05*float64(trials), how.name)
	}
}

// Planted causes: of 200 units in a tree of lots, brews, tanks and runs with heels between, 3 to 10
// complaints from one of them. How often the cause, or what cannot be told from it, comes first.
func TestPlantedCauses(t *testing.T) {
	hits, three, trials, none := 0, 0, 0, 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 7))
		suspects := grow(r)
		cause := suspects[r.IntN(len(suspects))]
		if len(cause.Units) < 2 || len(cause.Units) > 60 {
			continue
		}
		trials++
		var bad []common.Case
		for range 3 + r.IntN(8) {
			bad = append(bad, common.Case{cause.Units[r.IntN(len(cause.Units))]})
		}
		for i, g := range common.Rank(200, suspects, bad, nil) {
			if g.P == 0 {
				none++
			}
			if slices.ContainsFunc(g.Suspects, func(s common.Suspect) bool { return s.Code == cause.Code }) {
				if i == 0 {
					hits++
				}
				if i < 3 {
					three++
				}
			}
		}
	}
	t.Logf("%d planted causes: first %.1f %%, among three %.1f %%", trials, 100*float64(hits)/float64(trials), 100*float64(three)/float64(trials))
	require.Zero(t, none, "what was seen has a chance of 0")
	require.Greater(t, trials, 200)
	require.GreaterOrEqual(t, float64(hits), 0.88*float64(trials))
	require.GreaterOrEqual(t, float64(three), 0.97*float64(trials))
}

// grow makes what 200 units can have in common: runs of units, tanks of runs, brews of tanks, and
// lots used in several brews.
func grow(r *rand.Rand) []common.Suspect {
	var out []common.Suspect
	add := func(kind string, n int, units []int) {
		slices.Sort(units)
		out = append(out, common.Suspect{Kind: kind, Code: fmt.Sprintf("%s-%d", kind, n), Units: slices.Compact(units)})
	}
	var runs, tanks [][]int
	for at := 0; at < 200; {
		n := min(200-at, 2+r.IntN(8))
		var u []int
		for range n {
			u = append(u, at)
			at++
		}
		runs = append(runs, u)
		add("run", len(runs), u)
	}
	for i := 0; i < len(runs); i += 2 {
		u := slices.Concat(runs[i], runs[min(i+1, len(runs)-1)])
		if r.IntN(4) == 0 && len(tanks) > 0 { // a heel
			u = append(u, tanks[len(tanks)-1]...)
		}
		tanks = append(tanks, u)
		add("fill", len(tanks), u)
	}
	for k := range 25 {
		var u []int
		for range 1 + r.IntN(4) {
			u = append(u, tanks[r.IntN(len(tanks))]...)
		}
		add("lot", k, u)
	}
	for k := range 10 { // who had it
		var u []int
		for range 20 {
			u = append(u, r.IntN(200))
		}
		add("consignee", k, u)
	}
	return out
}
