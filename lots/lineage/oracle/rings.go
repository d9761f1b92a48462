package oracle

import (
	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// crossing reports whether two transfers run in opposite directions at one time.
func (w *world) crossing() bool {
	for _, m := range w.moves {
		for _, n := range w.moves {
			if !m.transfer || !n.transfer || m.oneOf || n.oneOf || m.lo < m.hi || n.lo < n.hi || m.from[0].code != n.to || n.from[0].code != m.to {
				continue
			}
			ms, me := m.span()
			ns, ne := n.span()
			if ms == ns || ms < ne && ns < me {
				return true
			}
		}
	}
	return false
}

func (m *move) span() (s, e int64) {
	if m.long {
		return m.s, m.e
	}
	return m.lo, m.lo
}

// flowRing reports whether flows between vessels run in a ring at one instant. A
// flow that draws on what was there before a clean of that instant came before the others.
func (w *world) flowRing() bool {
	for _, at := range w.moves {
		if at.lo != at.hi {
			continue
		}
		t := at.lo
		if at.long {
			t = at.s
		}
		next := map[string][]string{}
		for _, m := range w.moves {
			running := m.long && m.s <= t && t < m.e || !m.long && m.lo == m.hi && m.lo == t
			if m.to == "" || m.oneOf || !running {
				continue
			}
			for _, s := range m.from {
				if s.kind == lots.KindVessel && !m.outs[s.code].pieceAt(t).early {
					next[s.code] = append(next[s.code], m.to)
				}
			}
		}
		if ring(next) {
			return true
		}
	}
	return false
}

// contentRing reports whether content links run in a ring.
func (w *world) contentRing() bool {
	next := map[lineage.Ref][]lineage.Ref{}
	for k := range w.res.Links {
		if k.Grade == graph.Content {
			next[k.Src] = append(next[k.Src], k.Dst)
		}
	}
	return ring(next)
}

func ring[K comparable](next map[K][]K) bool {
	for start := range next {
		seen := map[K]bool{}
		todo := append([]K{}, next[start]...)
		for len(todo) > 0 {
			k := todo[0]
			todo = todo[1:]
			if k == start {
				return true
			}
			if !seen[k] {
				seen[k] = true
				todo = append(todo, next[k]...)
			}
		}
	}
	return false
}
