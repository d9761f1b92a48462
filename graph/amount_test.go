package graph

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// TestAmountsAheadAsMatrixSolve compares what is in each node with a dense solve of the
// equations that define it, a = e + Sᵀa with S the shares. An amount is unknown just where
// some content chain from the start to the node uses an unknown share, and none that passes nothing on.
func TestAmountsAheadAsMatrixSolve(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true).scaled()
		start := d.nodes[0]
		r := d.build(t).Walk(Query{Dir: Forward, Starts: []Start{{ID: start.ID}}, Amounts: true})
		e := mat.NewVecDense(len(d.nodes), nil)
		e.SetVec(0, start.Total)
		want := solve(t, shares(d, isContent).T(), e)
		unknown := map[int64]bool{}
		for _, l := range d.links {
			if isContent(l) && math.IsNaN(l.Qty) && start.Total > 0 && reachable(d, Forward, []int64{start.ID}, passes)[l.Src] {
				mark(unknown, reachable(d, Forward, []int64{l.Dst}, passes))
			}
		}
		for i, n := range d.nodes {
			requireAmount(t, r, n, want.AtVec(i), unknown[n.ID])
		}
	})
}

// TestAmountsBackAsMatrixSolve does the same backwards, w = s + Sw: all of a sure start is in
// the starts, so nothing that goes on from one counts again. A start that is only possible
// counts for nothing of its own; what goes into a stretch that is a start counts through the segments.
func TestAmountsBackAsMatrixSolve(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true).scaled()
		q := drawQuery(t, d)
		q.Dir = Back
		sure := map[int64]bool{}
		stretch := map[int64]bool{}
		for _, s := range sureOf(q.Starts) {
			i := slices.IndexFunc(d.nodes, func(n Node) bool { return n.ID == s.ID })
			sure[s.ID] = i >= 0
			stretch[s.ID] = i >= 0 && d.nodes[i].Kind == Stretch
		}
		counted := func(l Link) bool { return isContent(l) && !sure[l.Src] && !stretch[l.Dst] }
		flows := func(l Link) bool { return passes(l) && !stretch[l.Dst] }
		w := mat.NewVecDense(len(d.nodes), nil)
		for i, n := range d.nodes {
			if sure[n.ID] {
				w.SetVec(i, 1)
			}
		}
		want := solve(t, shares(d, counted), w)
		unknown := map[int64]bool{}
		for _, l := range d.links {
			if counted(l) && math.IsNaN(l.Qty) && reachable(d, Back, idsOf(sureOf(q.Starts)), flows)[l.Dst] {
				mark(unknown, reachable(d, Back, []int64{l.Src}, func(l Link) bool { return counted(l) && passes(l) }))
			}
		}
		r := d.build(t).Walk(q)
		for i, n := range d.nodes {
			requireAmount(t, r, n, want.AtVec(i)*n.Total, unknown[n.ID])
			require.True(t, math.IsNaN(r.Left(n.ID)), "backwards nothing is said of what is left")
		}
	})
}

// passes reports whether a content link passes something on, be it known how much or not.
func passes(l Link) bool { return isContent(l) && l.Qty != 0 }

func mark(all, more map[int64]bool) {
	for id, is := range more {
		all[id] = all[id] || is
	}
}

// requireAmount compares one amount; outside the band In it is always unknown.
func requireAmount(t *rapid.T, r *Reach, n Node, want float64, unknown bool) {
	got := r.Amount(n.ID)
	if unknown || r.Band(n.ID) != In {
		require.True(t, math.IsNaN(got), "%s %s: %g should be unknown", n.Kind, n.Code, got)
		return
	}
	require.InDelta(t, want, got, 1e-9, "%s %s", n.Kind, n.Code)
}

// shares is which part of each node goes into each other over the links that count; unknown ones
// stand as none, because what lies beyond them is not compared.
func shares(d drawn, counts func(Link) bool) *mat.Dense {
	place := map[int64]int{}
	for i, n := range d.nodes {
		place[n.ID] = i
	}
	s := mat.NewDense(len(d.nodes), len(d.nodes), nil)
	for _, l := range d.links {
		if i, j := place[l.Src], place[l.Dst]; counts(l) && l.Qty > 0 {
			s.Set(i, j, s.At(i, j)+l.Qty/d.nodes[i].Den)
		}
	}
	return s
}

// solve gives the x of x = c + Mx.
func solve(t *rapid.T, m mat.Matrix, c mat.Vector) *mat.VecDense {
	a := mat.NewDense(c.Len(), c.Len(), nil)
	for i := range c.Len() {
		a.Set(i, i, 1)
	}
	a.Sub(a, m)
	var x mat.VecDense
	require.NoError(t, x.SolveVec(a, c))
	return &x
}

// TestNothingOfALotIsLost adds up what is left of a lot in every node: it is the lot.
func TestNothingOfALotIsLost(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, false).scaled()
		r := d.build(t).Walk(Query{Dir: Forward, Starts: []Start{{ID: d.nodes[0].ID}}, Amounts: true})
		sum := 0.0
		for n, band := range r.All() {
			if band != In {
				require.True(t, math.IsNaN(r.Left(n.ID)))
				continue
			}
			require.GreaterOrEqual(t, r.Left(n.ID), -1e-9)
			sum += r.Left(n.ID)
		}
		require.InDelta(t, d.nodes[0].Total, sum, 1e-9)
	})
}

// TestAmountsAreAskedFor: none without asking, and forwards only from one start that is surely a lot.
func TestAmountsAreAskedFor(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		q.Amounts = rapid.Bool().Draw(t, "amounts")
		g := d.build(t)
		r := g.Walk(q)
		if q.Amounts && (q.Dir == Back || len(q.Starts) == 1 && g.Node(q.Starts[0].ID).Kind == Lot) {
			t.Skip("amounts to be had")
		}
		for _, n := range d.nodes {
			require.True(t, math.IsNaN(r.Amount(n.ID)))
			require.True(t, math.IsNaN(r.Left(n.ID)))
		}
	})
}
