package lineage

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
)

// FindRing finds a ring of content links, or nil: nothing can be its own source.
func FindRing(links []Link) []Link {
	ids := map[Ref]int{}
	id := func(r Ref) int {
		i, ok := ids[r]
		if !ok {
			i = len(ids)
			ids[r] = i
		}
		return i
	}
	var out [][]int // indexes into links, by source
	var indegree []int
	grow := func(i int) {
		for len(out) <= i {
			out, indegree = append(out, nil), append(indegree, 0)
		}
	}
	ends := make([][2]int, len(links))
	for n, l := range links {
		if l.Grade != graph.Content {
			continue
		}
		s, d := id(l.Src), id(l.Dst)
		grow(max(s, d))
		ends[n] = [2]int{s, d}
		out[s] = append(out[s], n)
		indegree[d]++
	}
	left := settleOrder(out, indegree, ends)
	if left < 0 {
		return nil
	}
	return ringFrom(left, out, indegree, ends, links)
}

// settleOrder takes nodes without sources away until none is left; it returns
// a node that remains, or -1.
func settleOrder(out [][]int, indegree []int, ends [][2]int) int {
	var ready []int
	for i, n := range indegree {
		if n == 0 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := ready[len(ready)-1]
		ready = ready[:len(ready)-1]
		for _, n := range out[i] {
			d := ends[n][1]
			if indegree[d]--; indegree[d] == 0 {
				ready = append(ready, d)
			}
		}
	}
	return slices.IndexFunc(indegree, func(n int) bool { return n > 0 })
}

// ringFrom walks back from a node that remains, among those that remain, until a node repeats.
func ringFrom(start int, out [][]int, indegree []int, ends [][2]int, links []Link) []Link {
	into := map[int]int{} // node to a link that enters it from a remaining node
	for s := range out {
		if indegree[s] > 0 {
			for _, n := range out[s] {
				if indegree[ends[n][1]] > 0 {
					into[ends[n][1]] = n
				}
			}
		}
	}
	seen := map[int]int{}
	var path []Link
	for at := start; ; at = ends[into[at]][0] {
		if from, ok := seen[at]; ok {
			ring := path[from:]
			slices.Reverse(ring)
			return ring
		}
		seen[at] = len(path)
		path = append(path, links[into[at]])
	}
}

// Ring is the error that something would be its own source.
type Ring struct{ Links []Link }

func (r *Ring) Error() string {
	return r.Text(func(entry int64) string { return fmt.Sprintf("entry %d", entry) })
}

// Text says which entries make the ring, each as name tells it.
func (r *Ring) Text(name func(entry int64) string) string {
	var parts, entries []string
	for _, l := range r.Links {
		parts = append(parts, l.Src.Code)
		if e := name(l.Entry); !slices.Contains(entries, e) {
			entries = append(entries, e)
		}
	}
	parts = append(parts, r.Links[0].Src.Code)
	return fmt.Sprintf("these rows make a ring, in which something would be its own source: %s (%s); one of their times or vessels is wrong",
		strings.Join(parts, " → "), strings.Join(entries, "; "))
}
