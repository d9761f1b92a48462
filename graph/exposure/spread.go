package exposure

import (
	"math/bits"
	"slices"

	"heeltap/graph"
)

// set is a bit set over small numbers.
type set []uint64

func newSet(n int) set { return make(set, (n+63)/64) }

func (s set) add(i int) { s[i/64] |= 1 << (i % 64) }

func (s set) has(i int) bool { return s[i/64]&(1<<(i%64)) != 0 }

func (s set) or(o set) {
	for i, w := range o {
		s[i] |= w
	}
}

func (s set) each(f func(i int)) {
	for i, w := range s {
		for w != 0 {
			f(i*64 + bits.TrailingZeros64(w))
			w &= w - 1
		}
	}
}

func (s set) without(o set) set {
	out := newSet(len(s) * 64)
	for i := range s {
		out[i] = s[i] &^ o[i]
	}
	return out
}

// web is the lineage by places instead of by numbers of nodes.
type web struct {
	nodes []graph.Node
	out   [][]int32 // where the links of a node lead
}

func newWeb(g *graph.Graph, contentOnly bool) *web {
	w := &web{nodes: slices.Collect(g.Nodes())}
	place := make(map[int64]int32, len(w.nodes))
	for i, n := range w.nodes {
		place[n.ID] = int32(i)
	}
	w.out = make([][]int32, len(w.nodes))
	for l := range g.Links() {
		if !contentOnly || l.Grade == graph.Content {
			w.out[place[l.Src]] = append(w.out[place[l.Src]], place[l.Dst])
		}
	}
	return w
}

// knots gives each node the number of its knot: the nodes that lead to each other round a ring, as
// contacts may, or a node alone. No knot leads to one of a higher number (Tarjan 1972).
func (w *web) knots() (of []int32, count int) {
	of = make([]int32, len(w.nodes))
	met, low := make([]int32, len(w.nodes)), make([]int32, len(w.nodes))
	for i := range of {
		of[i] = -1
	}
	var open []int32
	next := int32(0)
	var visit func(i int32)
	visit = func(i int32) {
		next++
		met[i], low[i] = next, next
		open = append(open, i)
		for _, j := range w.out[i] {
			switch {
			case met[j] == 0:
				visit(j)
				low[i] = min(low[i], low[j])
			case of[j] < 0: // still open
				low[i] = min(low[i], met[j])
			}
		}
		if low[i] != met[i] {
			return
		}
		for {
			j := open[len(open)-1]
			open = open[:len(open)-1]
			of[j] = int32(count)
			if j == i {
				break
			}
		}
		count++
	}
	for i := range w.nodes {
		if met[i] == 0 {
			visit(int32(i))
		}
	}
	return of, count
}

// spread tells for every node the marks that it reaches: those of all that it leads to, and its
// own. Ends come first, and what every source has taken over is let go: the set is the caller's
// only while done runs.
func (w *web) spread(marks int, mark func(graph.Node) int, done func(n graph.Node, s set)) {
	of, count := w.knots()
	members := make([][]int32, count)
	waiting := make([]int, count) // links into the knot that were not followed yet
	for i := range w.nodes {
		members[of[i]] = append(members[of[i]], int32(i))
		for _, j := range w.out[i] {
			if of[j] != of[i] {
				waiting[of[j]]++
			}
		}
	}
	sets := make([]set, count)
	var spare []set
	for k := range count {
		var s set
		if n := len(spare); n > 0 {
			s, spare = spare[n-1], spare[:n-1]
			clear(s)
		} else {
			s = newSet(marks)
		}
		for _, i := range members[k] {
			if m := mark(w.nodes[i]); m >= 0 {
				s.add(m)
			}
			for _, j := range w.out[i] {
				if of[j] == int32(k) {
					continue
				}
				s.or(sets[of[j]])
				if waiting[of[j]]--; waiting[of[j]] == 0 {
					spare, sets[of[j]] = append(spare, sets[of[j]]), nil
				}
			}
		}
		for _, i := range members[k] {
			done(w.nodes[i], s)
		}
		if sets[k] = s; waiting[k] == 0 {
			spare, sets[k] = append(spare, s), nil
		}
	}
}
