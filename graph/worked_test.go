package graph

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// worked is a lineage small enough to reckon on paper. Each node is "kind code total", with "den"
// where more was written out of it than it held, and "run" for a part of a run. Each link is
// "source quantity product": ? is content of unknown quantity, ~ a contact.
type worked struct {
	name  string
	nodes string
	links string
	dir   Direction
	from  string // the starts; ? after a code: only possibly meant
	want  string // "code band amount", and forwards what ends there
}

// The numbers are worked by hand beside each table; ? is unknown.
var workedAmounts = []worked{
	{
		// 10 kg of hops: 4 into brew A, 5 into brew B, 1 still in the store. Both brews fill one tank, in turn:
		// 4 + 5 in 40 hL. 30 hL are packed: 30/40 of 9 = 6.75, and 200 of 300 cans on the pallet: 4.5.
		// What ends: 1 in store, 2.25 in the tank, 2.25 in rejects, 4.5 on the pallet: 10 together.
		name: "a lot through a tank onto a pallet",
		nodes: `lot H 10; brew A 20; brew B 20; fill FV@1 20; fill FV@2 40
			segment R/1 300 run=R; unit P 200`,
		links: `H 4 A; H 5 B; A 20 FV@1; FV@1 20 FV@2; B 20 FV@2; FV@2 30 R/1; R/1 200 P`,
		from:  "H",
		want: `H in 10 1; A in 4 0; B in 5 0; FV@1 in 4 0; FV@2 in 9 2.25
			R/1 in 6.75 2.25; P in 4.5 4.5`,
	},
	{
		// The same read the other way: two thirds of the cans are on the pallet, so half the tank (2/3 of 30/40) is,
		// and with it half of each brew, and of the hops half of 4 + 5. The 4.5 kg are those of the table above.
		name: "from a pallet to what went into it",
		nodes: `lot H 10; brew A 20; brew B 20; fill FV@1 20; fill FV@2 40
			segment R/1 300 run=R; unit P 200`,
		links: `H 4 A; H 5 B; A 20 FV@1; FV@1 20 FV@2; B 20 FV@2; FV@2 30 R/1; R/1 200 P`,
		dir:   Back, from: "P",
		want: `P in 200; R/1 in 200; FV@2 in 20; FV@1 in 10; A in 10; B in 10; H in 4.5`,
	},
	{
		// The tank was filled again over the heel of the first fill. 2 kg came into the second by record;
		// how much of the other 8 clung to the walls nobody knows, and no figure pretends to.
		name:  "a contact carries no amount",
		nodes: `lot H 10; fill FV@1 20; fill FV@2 20; unit P 20; unit Q 20`,
		links: `H 8 FV@1; H 2 FV@2; FV@1 ~ FV@2; FV@1 20 P; FV@2 20 Q`,
		from:  "H",
		want:  `H in 10 0; FV@1 in 8 0; FV@2 in 2 0; P in 8 8; Q in 2 2`,
	},
	{
		// Only the heel joins the lot to the second fill and its pallet: possible, of unknown amount.
		// What the pallet is repacked into stays possible, although that step was recorded.
		name:  "content from what is only possible is possible",
		nodes: `lot H 10; fill FV@1 20; fill FV@2 20; unit P 20; unit Q 20`,
		links: `H 10 FV@1; FV@1 ~ FV@2; FV@2 20 P; P 20 Q`,
		from:  "H",
		want:  `H in 10 0; FV@1 in 10 10; FV@2 possible ? ?; P possible ? ?; Q possible ? ?`,
	},
	{
		// Of the yeast cropped from the tank nobody knows how much of the hops it holds: what it is pitched into
		// holds some unknown part besides the 2 kg recorded, so its amount is unknown, but it is certainly in.
		name:  "beyond an unknown share all is unknown",
		nodes: `lot H 10; fill FV1@1 20; lot Y 1; fill FV2@1 20; unit P 20; unit Q 10`,
		links: `H 8 FV1@1; H 2 FV2@1; FV1@1 ? Y; Y 1 FV2@1; FV1@1 10 Q; FV2@1 20 P`,
		from:  "H",
		want:  `H in 10 0; FV1@1 in 8 ?; Y in ? ?; FV2@1 in ? ?; P in ? ?; Q in 4 4`,
	},
	{
		// 12 kg were written out of a lot of 10. The shares are of 12, so that they add up to one: 8/12 and 4/12 of 10.
		name:  "more written out than there was",
		nodes: `lot H 10 den=12; brew A 20; brew B 20`,
		links: `H 8 A; H 4 B`,
		from:  "H",
		want:  `H in 10 0; A in 6.666666666666667 6.666666666666667; B in 3.333333333333333 3.333333333333333`,
	},
	{
		// 100 cans with a label each: 40 went on pallet P, 20 on Q, and 20 of those on P were repacked onto Q. Asked for both,
		// P is in the starts whole: its 40 labels and the 20 that went to Q straight are 60. Adding those repacked would make 80.
		name:  "a start that went into another start counts once",
		nodes: `lot L 400; segment R/1 100 run=R; unit P 40; unit Q 40`,
		links: `L 100 R/1; R/1 40 P; R/1 20 Q; P 20 Q`,
		dir:   Back, from: "P Q",
		want: `P in 40; Q in 40; R/1 in 60; L in 60`,
	},
	{
		// P is asked for, Q only possibly meant: Q's own cans count for nothing, and what went into Q alone is possible.
		name:  "a possible start",
		nodes: `lot L 100; lot M 100; segment R/1 100 run=R; segment R/2 100 run=R; unit P 40; unit Q 40`,
		links: `L 100 R/1; M 100 R/2; R/1 40 P; R/1 20 Q; R/2 20 Q`,
		dir:   Back, from: "P Q?",
		want: `P in 40; Q possible ?; R/1 in 40; R/2 possible ?; L in 40; M possible ?`,
	},
	{
		// A whole run is asked for, and so the stretch that a pallet came from somewhere in: the labels of the run are
		// those of its segments, 50 and 50. That the stretch has them too, in unknown number, adds none and hides none.
		name:  "what a stretch holds its segments hold",
		nodes: `lot L 200; segment R/1 50 run=R; segment R/2 50 run=R; stretch R/any 100 run=R`,
		links: `L 50 R/1; L 50 R/2; L ? R/any; R/1 ~ R/any; R/2 ~ R/any`,
		dir:   Back, from: "R/1 R/2 R/any",
		want: `R/1 in 50; R/2 in 50; R/any in 100; L in 100`,
	},
	{
		// What is in a node of two suspect lots is no one number.
		name:  "several lots have no amount together",
		nodes: `lot H 10; lot M 10; brew A 20`,
		links: `H 1 A; M 1 A`,
		from:  "H M",
		want:  `H in ? ?; M in ? ?; A in ? ?`,
	},
	{
		// Forwards an amount is of a lot; a tank is none.
		name:  "from a tank forwards there is no amount",
		nodes: `fill FV@1 20; unit P 10`,
		links: `FV@1 10 P`,
		from:  "FV@1",
		want:  `FV@1 in ? ?; P in ? ?`,
	},
	{
		// A pass of a hose holds nothing, and what was written as drawn from an empty tank is a share of nothing.
		name:  "nothing of nothing",
		nodes: `lot H 10; fill HOSE@1 0; fill FV@1 0; fill FV@2 5`,
		links: `H 10 FV@1; FV@1 ~ HOSE@1; HOSE@1 ~ FV@2; FV@1 5 FV@2`,
		from:  "H",
		want:  `H in 10 0; FV@1 in 10 10; HOSE@1 possible ? ?; FV@2 in 0 0`,
	},
}

func TestWorkedAmounts(t *testing.T) {
	for _, w := range workedAmounts {
		t.Run(w.name, func(t *testing.T) {
			d, ids := w.lineage(t)
			q := Query{Dir: w.dir, Amounts: true}
			for _, code := range strings.Fields(w.from) {
				code, possible := strings.CutSuffix(code, "?")
				require.Contains(t, ids, code)
				q.Starts = append(q.Starts, Start{ID: ids[code], Possible: possible})
			}
			r := d.build(t).Walk(q)
			told := 0
			for _, f := range parts(w.want) {
				id := ids[f[0]]
				require.Equal(t, f[1], r.Band(id).String(), f[0])
				requireFigure(t, f[2], r.Amount(id), f[0])
				if w.dir == Forward {
					requireFigure(t, f[3], r.Left(id), "left of "+f[0])
				}
				told++
			}
			require.Equal(t, len(d.nodes), told, "every node is reckoned")
		})
	}
}

// workedChains are chains by hand, each with the one that must win.
var workedChains = []struct {
	name string
	worked
	chain string
}{
	{"a run stands once for its parts", worked{
		nodes: `lot L 9; stretch R/any 0 run=R; segment R/1 9 run=R; unit P 9`,
		links: `L 9 R/1; R/1 ~ R/any; R/any ? P`, from: "L",
	}, "L R P"},
	{"the shorter of two", worked{
		nodes: `lot A 9; fill C 9; fill D 9; fill E 9`,
		links: `A 1 C; C 1 D; D 1 E; A 1 D`, from: "A",
	}, "A D E"},
	{"of two as short the first in order", worked{
		nodes: `lot A 9; fill C 9; fill B 9; fill E 9`,
		links: `A 1 C; C 1 E; A 1 B; B 1 E`, from: "A",
	}, "A B E"},
	{"order is that of the first code that differs, not of the last", worked{
		nodes: `lot A 9; fill B 9; fill C 9; fill X 9; fill W 9; fill Z 9`,
		links: `A 1 B; A 1 C; B 1 X; C 1 W; X 1 Z; W 1 Z`, from: "A",
	}, "A B X Z"},
	{"a sure chain before a shorter possible one", worked{
		nodes: `lot A 9; fill C 9; fill D 9; fill E 9`,
		links: `A 1 C; C 1 D; D 1 E; A ~ E`, from: "A",
	}, "A C D E"},
	{"not from a start that is only possible where a sure one leads there", worked{
		nodes: `lot A 9; lot Z 9; fill C 9; fill E 9`,
		links: `A 1 E; Z 1 C; C 1 E`, from: "A? Z",
	}, "Z C E"},
	{"backwards from the start too", worked{
		nodes: `lot A 9; fill C 9; fill B 9; unit E 9`,
		links: `A 1 C; C 1 E; A 1 B; B 1 E`, dir: Back, from: "E",
	}, "E B A"},
}

func TestWorkedChains(t *testing.T) {
	for _, w := range workedChains {
		t.Run(w.name, func(t *testing.T) {
			d, ids := w.lineage(t)
			q := Query{Dir: w.dir}
			for _, code := range strings.Fields(w.from) {
				code, possible := strings.CutSuffix(code, "?")
				q.Starts = append(q.Starts, Start{ID: ids[code], Possible: possible})
			}
			chain := strings.Fields(w.chain)
			require.Equal(t, chain, Codes(d.build(t).Walk(q).Why(ids[chain[len(chain)-1]])))
		})
	}
}

// lineage reads a worked lineage; it gives the number of each code too.
func (w worked) lineage(t *testing.T) (d drawn, ids map[string]int64) {
	ids = map[string]int64{}
	for i, f := range parts(w.nodes) {
		n := Node{ID: int64(i + 1), Code: f[1], Total: number(t, f[2])}
		for n.Kind = Lot; n.Kind.String() != f[0]; n.Kind++ {
		}
		n.Den = n.Total
		for _, more := range f[3:] {
			if den, ok := strings.CutPrefix(more, "den="); ok {
				n.Den = number(t, den)
			}
			if run, ok := strings.CutPrefix(more, "run="); ok {
				n.Run = run
			}
		}
		ids[n.Code] = n.ID
		d.nodes = append(d.nodes, n)
	}
	for i, f := range parts(w.links) {
		require.Contains(t, ids, f[0])
		require.Contains(t, ids, f[2])
		l := Link{Src: ids[f[0]], Dst: ids[f[2]], Cause: Moved, Qty: number(t, f[1]), Entry: int64(i + 1)}
		if f[1] == "~" {
			l.Grade, l.Cause = Contact, Heel
		}
		d.links = append(d.links, l)
	}
	return d, ids
}

// parts splits at lines and semicolons, and each part at blanks.
func parts(text string) (out [][]string) {
	for part := range strings.SplitSeq(strings.ReplaceAll(text, "\n", ";"), ";") {
		if f := strings.Fields(part); len(f) > 0 {
			out = append(out, f)
		}
	}
	return out
}

// number reads a figure; ? and ~ are unknown.
func number(t *testing.T, text string) float64 {
	if text == "?" || text == "~" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return x
}

func requireFigure(t *testing.T, want string, got float64, what string) {
	if w := number(t, want); math.IsNaN(w) {
		require.True(t, math.IsNaN(got), "%s: %g should be unknown", what, got)
		return
	}
	require.InDelta(t, number(t, want), got, 1e-9, what)
}

// Where no amounts are measured, since there are two starts, nothing is said to be beyond what a link can have carried.
func TestBeyondWithoutAmounts(t *testing.T) {
	g, err := Build([]Node{{ID: 1, Kind: Lot, Code: "E-1", Total: 100, Den: 100}, {ID: 2, Kind: Lot, Code: "E-2", Total: 100, Den: 100}, {ID: 3, Kind: Segment, Code: "R-1", Total: 50, Den: 50}},
		[]Link{{Src: 1, Dst: 3, Grade: Content, Cause: Part, Qty: 80}, {Src: 2, Dst: 3, Grade: Content, Cause: Part, Qty: 20}})
	require.NoError(t, err)
	most := func(Node, Node, Link) float64 { return 40 }
	one := g.Walk(Query{Dir: Forward, Starts: []Start{{ID: 1}}, Amounts: true, Most: most})
	require.InDelta(t, 40, one.Amount(3), 1e-9)
	require.InDelta(t, 40, one.Beyond(3), 1e-9)
	two := g.Walk(Query{Dir: Forward, Starts: []Start{{ID: 1}, {ID: 2}}, Amounts: true, Most: most})
	require.Zero(t, two.Beyond(3))
	require.True(t, math.IsNaN(two.Left(3)))
}
