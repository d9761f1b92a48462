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

// The tail against published tables of Fisher's exact test, a b / c d, one-sided: the tea tasting
// (0.2429 = 17/70), all four right (1/70), and values that statistics packages' manuals print.
func TestAtLeastAgainstPublishedTables(t *testing.T) {
	for _, x := range []struct {
		a, b, c, d int
		want       float64
	}{{3, 1, 1, 3, 0.2428571}, {4, 0, 0, 4, 0.0142857}, {8, 2, 1, 5, 0.0244755}, {2, 10, 15, 3, 0.9999845}, {1, 9, 11, 3, 0.9999663}} {
		p := common.AtLeast(x.a, x.a+x.c, x.a+x.b, x.a+x.b+x.c+x.d)
		got, _ := p.Float64()
		require.InDelta(t, x.want, got, 1e-7, "%v", x)
	}
	require.Zero(t, common.AtLeast(3, 4, 4, 8).Cmp(big.NewRat(17, 70)), "exactly 17/70")
	// P(4) + P(5) of N=50, K=5, n=10: 0.0039646 and 0.00011894, worked out exactly.
	tail, _ := common.AtLeast(4, 5, 10, 50).Float64()
	require.InDelta(t, 0.0039646+0.00011894, tail, 1e-7)
}

// The tail is what counting every draw gives.
func TestAtLeastAgainstCounting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		population := rapid.IntRange(1, 10).Draw(t, "population")
		marked := rapid.IntRange(0, population).Draw(t, "marked")
		n := rapid.IntRange(0, population).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		hits, all := int64(0), int64(0)
		for set := range 1 << population {
			size, with := 0, 0
			for i := range population {
				if set>>i&1 == 1 {
					if size++; i < marked {
						with++
					}
				}
			}
			if size == n {
				if all++; with >= k {
					hits++
				}
			}
		}
		require.Zero(t, common.AtLeast(k, marked, n, population).Cmp(big.NewRat(hits, all)))
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
	groups := common.Rank(10, suspects, []common.Case{{0}, {1}, {2, 9}}, []common.Case{{3}})
	require.Len(t, groups, 2)
	require.Len(t, groups[0].Suspects, 2)
	require.InDelta(t, 2.5/3, groups[0].Cover, 1e-9, "a complaint that may be of another unit counts half")
	require.Equal(t, 1, groups[1].Good)
}

// Planted causes: of 200 units in a tree of lots, brews, tanks and runs with heels between, 3 to 10
// complaints from one of them. How often the cause, or what can not be told from it, comes first.
func TestPlantedCauses(t *testing.T) {
	hits, three, trials := 0, 0, 0
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
