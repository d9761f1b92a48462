package graph

import (
	"cmp"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestWhyIsTheFirstOfTheShortest lists every chain without a repeated node and picks by
// definition: in over content alone, the fewest codes, the first in order.
func TestWhyIsTheFirstOfTheShortest(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		r := d.build(t).Walk(q)
		for _, n := range d.nodes {
			steps, band := r.Why(n.ID), r.Band(n.ID)
			starts, follow := q.Starts, isAny
			if band == In {
				starts, follow = sureOf(q.Starts), isContent
			}
			require.Equal(t, bestChain(d, q.Dir, starts, n.ID, follow), codesOf(steps), "%s %s", n.Kind, n.Code)
			if band == Out {
				require.Nil(t, steps)
				continue
			}
			require.Equal(t, n, steps[len(steps)-1].Node)
			checkSteps(t, d, q.Dir, starts, steps, band)
		}
	})
}

// codesOf keeps the difference between no chain and an empty one.
func codesOf(steps []Step) []string {
	if steps == nil {
		return nil
	}
	return Codes(steps)
}

// checkSteps: a chain begins at a start, never comes back to a node, and each link is the first of
// those of the lineage that join the two nodes: content before contact, then by entry and cause.
func checkSteps(t *rapid.T, d drawn, dir Direction, starts []Start, steps []Step, band Band) {
	require.Contains(t, idsOf(starts), steps[0].Node.ID)
	require.Equal(t, Link{}, steps[0].Link)
	seen := map[int64]bool{steps[0].Node.ID: true}
	for i := 1; i < len(steps); i++ {
		a, b, l := steps[i-1].Node.ID, steps[i].Node.ID, steps[i].Link
		require.False(t, seen[b], "the chain comes back to %s", steps[i].Node.Code)
		seen[b] = true
		if dir == Back {
			a, b = b, a
		}
		joins := slices.DeleteFunc(slices.Clone(d.links), func(l Link) bool { return l.Src != a || l.Dst != b })
		require.NotEmpty(t, joins)
		first := slices.MinFunc(joins, func(x, y Link) int {
			return cmp.Or(cmp.Compare(x.Grade, y.Grade), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Cause, y.Cause))
		})
		require.Equal(t, fmt.Sprint(first), fmt.Sprint(l)) // as text, where an unknown quantity equals itself
		if band == In {
			require.Equal(t, Content, l.Grade)
		}
	}
}

// TestNearestComeFirst: every reached node stands once, and none before one with a shorter chain.
func TestNearestComeFirst(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		length, seen := 0, map[int64]bool{}
		for n := range d.build(t).Walk(q).All() {
			require.False(t, seen[n.ID])
			seen[n.ID] = true
			now := len(bestChain(d, q.Dir, q.Starts, n.ID, isAny))
			require.GreaterOrEqual(t, now, length, "%s %s", n.Kind, n.Code)
			length = now
		}
	})
}

// bestChain tries every chain without a repeated node from the starts to an aim.
func bestChain(d drawn, dir Direction, starts []Start, aim int64, follow func(Link) bool) []string {
	s := chainSearch{aim: aim, byID: map[int64]Node{}, steps: map[int64][]int64{}, seen: map[int64]bool{}}
	for _, n := range d.nodes {
		s.byID[n.ID] = n
	}
	for _, l := range d.links {
		from, to := l.Src, l.Dst
		if dir == Back {
			from, to = to, from
		}
		if follow(l) && !slices.Contains(s.steps[from], to) {
			s.steps[from] = append(s.steps[from], to)
		}
	}
	for _, start := range starts {
		if n, ok := s.byID[start.ID]; ok {
			s.follow(start.ID, []string{n.Shown()})
		}
	}
	return s.best
}

type chainSearch struct {
	aim   int64
	byID  map[int64]Node
	steps map[int64][]int64
	seen  map[int64]bool
	best  []string
}

func (s *chainSearch) follow(id int64, codes []string) {
	if s.best != nil && len(codes) > len(s.best) {
		return
	}
	if id == s.aim {
		if s.best == nil || cmp.Or(cmp.Compare(len(codes), len(s.best)), slices.Compare(codes, s.best)) < 0 {
			s.best = slices.Clone(codes)
		}
		return // coming back to it later shows no less
	}
	s.seen[id] = true
	for _, to := range s.steps[id] {
		next := codes
		if run := s.byID[to].Run; run == "" || run != s.byID[id].Run {
			next = append(slices.Clone(codes), s.byID[to].Shown())
		}
		if !s.seen[to] {
			s.follow(to, next)
		}
	}
	delete(s.seen, id)
}

// TestWhyTakesTheFirstPartOfARun: a stretch of a run comes from two segments and a pallet was filled from
// two; the chains show the same, and the step comes from the segment first in order, whichever was written first.
func TestWhyTakesTheFirstPartOfARun(t *testing.T) {
	nodes := []Node{{ID: 1, Code: "L"}, {ID: 2, Kind: Segment, Code: "R/2", Run: "R"}, {ID: 3, Kind: Segment, Code: "R/1", Run: "R"},
		{ID: 4, Kind: Unit, Code: "P"}, {ID: 5, Kind: Stretch, Code: "R/any", Run: "R"}}
	links := []Link{{Src: 1, Dst: 2, Entry: 8}, {Src: 1, Dst: 3, Entry: 8}, {Src: 2, Dst: 4, Entry: 9}, {Src: 3, Dst: 4, Entry: 9},
		{Src: 2, Dst: 5, Entry: 8, Grade: Contact}, {Src: 3, Dst: 5, Entry: 8, Grade: Contact}}
	for range 2 {
		g, err := Build(nodes, links)
		require.NoError(t, err)
		r := g.Walk(Query{Starts: []Start{{ID: 1}}})
		require.Equal(t, []string{"L", "R", "P"}, Codes(r.Why(4)))
		require.Equal(t, "R/1", r.Why(4)[1].Node.Code)
		require.Equal(t, []string{"L", "R"}, Codes(r.Why(5)))
		require.Equal(t, "R/1", r.Why(5)[1].Node.Code)
		slices.Reverse(links)
	}
}
