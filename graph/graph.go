package graph

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"sync"
)

// Node is one node of a lineage graph.
type Node struct {
	ID    int64 // any number that tells nodes apart; links name nodes by it
	Kind  Kind
	Code  string
	Run   string  // the run a segment or stretch is part of; else empty
	Total float64 // how much of it there is: mg, mL or pieces of a lot, mL of a brew or fill, containers, cases or kegs
	Den   float64 // what a link's quantity is divided by to give its share; at least Total
}

// Shown is the code that stands for the node in a chain: a segment is shown as its run.
func (n Node) Shown() string {
	if n.Run != "" {
		return n.Run
	}
	return n.Code
}

// Link runs from a source to what it went into.
type Link struct {
	Src, Dst int64
	Grade    Grade
	Cause    Cause
	Qty      float64 // NaN where unknown, as for every contact
	Entry    int64   // journal entry it comes from
	At       int64   // Unix seconds
}

// Graph is an immutable lineage graph in memory. Several goroutines may walk it at once.
type Graph struct {
	nodes   []Node // by code, then kind: a position compares as the code does
	links   []Link
	at      map[int64]int32
	out, in adjacency
	rank    []int32   // of each node, in an order in which every node comes after all that went into it by content
	spare   sync.Pool // of lists that walks borrow
}

// adjacency is one direction of the links, packed: node i's links are
// link[first[i]:first[i+1]], and to holds the node at the other end of each.
type adjacency struct{ first, link, to []int32 }

// Build makes a graph. Links must name nodes of the list and their content must
// form no ring; the error says which does not hold.
func Build(nodes []Node, links []Link) (*Graph, error) {
	g := &Graph{nodes: slices.Clone(nodes), links: slices.Clone(links), at: make(map[int64]int32, len(nodes))}
	slices.SortFunc(g.nodes, func(a, b Node) int {
		return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
	})
	for i, n := range g.nodes {
		if _, twice := g.at[n.ID]; twice {
			return nil, fmt.Errorf("node %d stands twice", n.ID)
		}
		g.at[n.ID] = int32(i)
	}
	src, dst := make([]int32, len(links)), make([]int32, len(links))
	for i, l := range links {
		var ok, ok2 bool
		src[i], ok = g.at[l.Src]
		dst[i], ok2 = g.at[l.Dst]
		if !ok || !ok2 {
			return nil, fmt.Errorf("the link from node %d to node %d names a node that is not there", l.Src, l.Dst)
		}
	}
	g.out, g.in = pack(len(nodes), src, dst), pack(len(nodes), dst, src)
	return g, g.sort()
}

// pack sorts links by the node at one end.
func pack(n int, from, to []int32) adjacency {
	a := adjacency{make([]int32, n+1), make([]int32, len(from)), make([]int32, len(from))}
	for _, f := range from {
		a.first[f+1]++
	}
	for i := range n {
		a.first[i+1] += a.first[i]
	}
	next := slices.Clone(a.first[:n])
	for i, f := range from {
		a.link[next[f]], a.to[next[f]] = int32(i), to[i]
		next[f]++
	}
	return a
}

// sort orders the nodes so that content only ever goes on (Kahn 1962).
func (g *Graph) sort() error {
	waiting := make([]int32, len(g.nodes))
	for i, to := range g.out.to {
		if g.links[g.out.link[i]].Grade == Content {
			waiting[to]++
		}
	}
	order := make([]int32, 0, len(g.nodes))
	for i := range g.nodes {
		if waiting[i] == 0 {
			order = append(order, int32(i))
		}
	}
	g.rank = make([]int32, len(g.nodes))
	for k := 0; k < len(order); k++ {
		g.rank[order[k]] = int32(k)
		for j := g.out.first[order[k]]; j < g.out.first[order[k]+1]; j++ {
			if to := g.out.to[j]; g.links[g.out.link[j]].Grade == Content {
				if waiting[to]--; waiting[to] == 0 {
					order = append(order, to)
				}
			}
		}
	}
	if len(order) == len(g.nodes) {
		return nil
	}
	for i, w := range waiting {
		if w > 0 {
			return fmt.Errorf("%s %s went into itself: content forms a ring", g.nodes[i].Kind, g.nodes[i].Code)
		}
	}
	return nil
}

// Len is the number of nodes.
func (g *Graph) Len() int { return len(g.nodes) }

// Node finds a node by its ID; the zero Node where there is none.
func (g *Graph) Node(id int64) Node {
	if i, ok := g.at[id]; ok {
		return g.nodes[i]
	}
	return Node{}
}

// Nodes gives every node.
func (g *Graph) Nodes() iter.Seq[Node] { return slices.Values(g.nodes) }

// Rank is a node's place in the order of content: no content link goes from a higher to a lower one.
func (g *Graph) Rank(id int64) int { return int(g.rank[g.at[id]]) }

// Links gives every link.
func (g *Graph) Links() iter.Seq[Link] { return slices.Values(g.links) }

// share is which part of the link's source went through it; NaN where unknown.
func (g *Graph) share(src, link int32) float64 {
	qty, den := g.links[link].Qty, g.nodes[src].Den
	if den == 0 && !math.IsNaN(qty) {
		return 0 // of nothing, nothing
	}
	return qty / den
}
