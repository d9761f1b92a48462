package graph

import (
	"cmp"
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

// checkSteps: a chain begins at a start, never comes back to a node, and each link is one of the
// lineage that really joins the two nodes, of content where the chain is sure.
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
		require.Equal(t, []int64{a, b}, []int64{l.Src, l.Dst})
		recorded := d.links[l.Entry-1]
		require.Equal(t, []any{recorded.Src, recorded.Dst, recorded.Grade}, []any{l.Src, l.Dst, l.Grade})
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
