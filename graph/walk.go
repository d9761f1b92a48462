package graph

import (
	"cmp"
	"iter"
	"math"
	"slices"
)

// Direction is which way links are followed.
type Direction uint8

// The directions.
const (
	Forward Direction = iota // from sources to what they went into
	Back                     // from products to what went into them
)

// Band says how sure it is that a walk's start and a node have to do with each other.
type Band uint8

// The bands, surer ones higher.
const (
	Out      Band = iota // not reached
	Possible             // reached, but by every chain over a contact
	In                   // reached over content alone
)

var bandNames = [...]string{"out", "possible", "in"}

func (b Band) String() string { return bandNames[b] }

// Start is a node a walk begins at.
type Start struct {
	ID       int64
	Possible bool // it is itself only possibly meant
}

// Query says what to walk. Starts that the graph does not hold are passed over.
type Query struct {
	Dir    Direction
	Starts []Start
	// Amounts asks for quantities: of the starting lot in every node forwards,
	// where there is a single start and it is a lot, and of every lot in the starts
	// together backwards.
	Amounts bool
	// Keep, where given, says which links count.
	Keep func(src, dst Node, l Link) bool
}

// Reach is what a walk reached.
type Reach struct {
	g       *Graph
	query   Query
	band    []Band
	order   []int32 // reached nodes, nearest first
	start   []bool
	sure    chains // over content alone
	any     chains // over everything
	amounts []float64
}

// chains holds, for every node, the step by which its shortest chain reaches it.
type chains struct {
	via  []int32 // position among the direction's links; -1 at a start
	from []int32 // the node before; -1 at a start and where not reached
}

// Walk follows links from the starts. It costs what it reaches, plus a byte and a few words for every node.
func (g *Graph) Walk(q Query) *Reach {
	r := &Reach{g: g, query: q, band: make([]Band, len(g.nodes)), start: make([]bool, len(g.nodes))}
	var sure, all []int32
	for _, s := range q.Starts {
		i, ok := g.at[s.ID]
		if !ok {
			continue
		}
		r.start[i] = true
		all = append(all, i)
		if !s.Possible {
			sure = append(sure, i)
		}
	}
	var reached []int32
	r.sure, reached = r.search(sure, true)
	for _, i := range reached {
		r.band[i] = In
	}
	r.any, r.order = r.search(all, false)
	for _, i := range r.order {
		r.band[i] = max(r.band[i], Possible)
	}
	if q.Amounts {
		r.measure()
	}
	return r
}

func (r *Reach) adjacency() *adjacency {
	if r.query.Dir == Back {
		return &r.g.in
	}
	return &r.g.out
}

// counts reports whether a link between two nodes is followed.
func (r *Reach) counts(link int32, onlyContent bool) bool {
	l := r.g.links[link]
	if onlyContent && l.Grade != Content {
		return false
	}
	return r.query.Keep == nil || r.query.Keep(r.g.Node(l.Src), r.g.Node(l.Dst), l)
}

// search finds the shortest chain to every node in reach, breadth first. A chain is
// the list of codes it shows, so a step between parts of one run has no length.
// Among chains of one length the one whose codes come first in order wins: that is
// decided level by level, because two chains of one length compare as the chains
// to the nodes before their ends do, and then as those ends.
func (r *Reach) search(starts []int32, onlyContent bool) (chains, []int32) {
	n := len(r.g.nodes)
	s := &searching{r: r, onlyContent: onlyContent, adj: r.adjacency(), level: make([]int32, n), rank: make([]int32, n),
		prior: make([]int32, n), chains: chains{make([]int32, n), make([]int32, n)}}
	for i := range n {
		s.level[i] = -1
	}
	for _, i := range starts {
		s.offer(i, -1, -1, 0, -1)
	}
	var order []int32
	for depth := int32(1); len(s.next) > 0; depth++ {
		level := s.settle()
		order = append(order, level...)
		for _, i := range level {
			for j := s.adj.first[i]; j < s.adj.first[i+1]; j++ {
				if r.counts(s.adj.link[j], onlyContent) {
					s.offer(s.adj.to[j], i, j, depth, s.rank[i])
				}
			}
		}
	}
	return s.chains, order
}

type searching struct {
	chains
	r           *Reach
	onlyContent bool
	adj         *adjacency
	level       []int32 // how many codes a node's chain has before its own; -1 where not reached yet
	rank        []int32 // place of a settled node's chain among those of its level; equal for equal chains
	prior       []int32 // rank of the chain up to the code before a node's own; -1 at a start
	next        []int32 // the level being collected
}

// offer proposes a step into node i, and takes it if it is the first or its chain
// comes before the one known; it reports whether it did.
func (s *searching) offer(i, from, via, level, prior int32) bool {
	known := s.level[i] >= 0
	if known && (s.level[i] != level || cmp.Or(cmp.Compare(prior, s.prior[i]), cmp.Compare(from, s.from[i])) >= 0) {
		return false
	}
	if !known {
		s.level[i] = level
		s.next = append(s.next, i)
	}
	s.from[i], s.via[i], s.prior[i] = from, via, prior
	return true
}

// settle completes the level just collected and ranks its chains.
func (s *searching) settle() []int32 {
	s.joinRuns()
	level, nodes := s.next, s.r.g.nodes
	s.next = nil
	compare := func(a, b int32) int {
		return cmp.Or(cmp.Compare(s.prior[a], s.prior[b]), cmp.Compare(nodes[a].Shown(), nodes[b].Shown()))
	}
	slices.SortFunc(level, func(a, b int32) int { return cmp.Or(compare(a, b), cmp.Compare(a, b)) })
	for k, i := range level {
		s.rank[i] = 0
		if k > 0 {
			s.rank[i] = s.rank[level[k-1]]
			if compare(level[k-1], i) != 0 {
				s.rank[i]++
			}
		}
	}
	return level
}

// joinRuns lets parts of a run pull other parts of it into their level: both show
// the run's code, so the step has no length.
func (s *searching) joinRuns() {
	todo := slices.Clone(s.next)
	for len(todo) > 0 {
		i := todo[0]
		todo = todo[1:]
		if s.r.g.nodes[i].Run == "" {
			continue
		}
		for j := s.adj.first[i]; j < s.adj.first[i+1]; j++ {
			to := s.adj.to[j]
			if s.r.g.nodes[to].Run != s.r.g.nodes[i].Run || s.level[to] >= 0 && s.prior[to] <= s.prior[i] || !s.r.counts(s.adj.link[j], s.onlyContent) {
				continue // a part of equal standing keeps the step it has, so that no two point at each other
			}
			if s.offer(to, i, j, s.level[i], s.prior[i]) {
				todo = append(todo, to)
			}
		}
	}
}

// Band tells how a node stands.
func (r *Reach) Band(id int64) Band {
	if i, ok := r.g.at[id]; ok {
		return r.band[i]
	}
	return Out
}

// All gives every reached node with its band, nearest first.
func (r *Reach) All() iter.Seq2[Node, Band] {
	return func(yield func(Node, Band) bool) {
		for _, i := range r.order {
			if !yield(r.g.nodes[i], r.band[i]) {
				return
			}
		}
	}
}

// Step is one node of a chain and the link by which the chain came to it.
type Step struct {
	Node Node
	Link Link // zero at the start
}

// Why gives the chain from a start to a node: over content alone where there is
// such a chain, else over whatever reaches it; the shortest, and of those the one whose codes
// come first in order. It is nil where the node is not reached.
func (r *Reach) Why(id int64) []Step {
	i, ok := r.g.at[id]
	if !ok || r.band[i] == Out {
		return nil
	}
	c := &r.any
	if r.band[i] == In {
		c = &r.sure
	}
	var steps []Step
	for {
		if c.from[i] < 0 {
			steps = append(steps, Step{Node: r.g.nodes[i]})
			break
		}
		steps = append(steps, Step{r.g.nodes[i], r.g.links[r.adjacency().link[c.via[i]]]})
		i = c.from[i]
	}
	slices.Reverse(steps)
	return steps
}

// Codes writes a chain as the codes it shows; a run stands once for its parts.
func Codes(steps []Step) []string {
	codes := make([]string, 0, len(steps))
	for i, s := range steps {
		if i > 0 && s.Node.Run != "" && s.Node.Run == steps[i-1].Node.Run {
			continue
		}
		codes = append(codes, s.Node.Shown())
	}
	return codes
}

// Amount is, forwards, how much of the starting lot is in the node, and backwards
// how much of the node is in the starts together, in the lot's or node's own base
// unit. It is NaN where unknown: beyond a link of unknown quantity and outside the band In.
func (r *Reach) Amount(id int64) float64 {
	i, ok := r.g.at[id]
	if !ok || r.amounts == nil || r.band[i] != In {
		return math.NaN()
	}
	if r.query.Dir == Back {
		return r.amounts[i] * r.g.nodes[i].Total
	}
	return r.amounts[i]
}
