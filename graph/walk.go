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
	// Most, where given, is the most that a link can have carried, in its source's base unit: what is
	// recorded beyond it ends where the link ends, and is passed on by nothing.
	Most func(src, dst Node, l Link) float64
}

// Reach is what a walk reached. It holds only that, however large the graph is.
type Reach struct {
	g       *Graph
	query   Query
	start   map[int32]bool // the sure ones
	sure    chains         // over content alone
	any     chains         // over everything
	amounts []float64      // by place in sure
}

// chains holds, for every node reached, the step by which its shortest chain comes to
// it. Nodes stand in the order in which they were settled, nearest first.
type chains struct {
	nodes []int32
	via   []int32 // place among the direction's links; -1 at a start
	from  []int32 // place of the node before; -1 at a start
	place index
}

// index finds the place of a node by its number.
type index struct{ node, at []int32 }

func newIndex(nodes []int32) index {
	x := index{at: make([]int32, len(nodes))}
	for i := range nodes {
		x.at[i] = int32(i)
	}
	slices.SortFunc(x.at, func(a, b int32) int { return cmp.Compare(nodes[a], nodes[b]) })
	x.node = make([]int32, len(nodes))
	for i, at := range x.at {
		x.node[i] = nodes[at]
	}
	return x
}

func (x index) of(node int32) (int32, bool) {
	i, ok := slices.BinarySearch(x.node, node)
	if !ok {
		return -1, false
	}
	return x.at[i], true
}

// Walk follows links from the starts. It costs what it reaches and not what the graph holds.
func (g *Graph) Walk(q Query) *Reach {
	r := &Reach{g: g, query: q, start: map[int32]bool{}}
	var sure, all []int32
	for _, s := range q.Starts {
		i, ok := g.at[s.ID]
		if !ok {
			continue
		}
		all = append(all, i)
		if !s.Possible {
			r.start[i] = true
			sure = append(sure, i)
		}
	}
	r.sure = r.search(sure, true)
	r.any = r.search(all, false)
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
// to the nodes before their ends do, and then as those ends. Among chains that show
// the same codes, nodes and links decide, so that no answer hangs on the order of input.
func (r *Reach) search(starts []int32, onlyContent bool) chains {
	s := &searching{r: r, onlyContent: onlyContent, adj: r.adjacency(), spot: r.g.borrow()}
	for _, i := range starts {
		s.offer(i, step{from: -1, via: -1, prior: -1})
	}
	var order []int32 // spots as they are settled
	for depth := int32(1); len(s.next) > 0; depth++ {
		level := s.settle()
		order = append(order, level...)
		for _, at := range level {
			i := s.node[at]
			for j := s.adj.first[i]; j < s.adj.first[i+1]; j++ {
				if r.counts(s.adj.link[j], onlyContent) {
					s.offer(s.adj.to[j], step{from: at, via: j, level: depth, prior: s.rank[at]})
				}
			}
		}
	}
	r.g.giveBack(s.spot, s.node)
	return s.chains(order)
}

// searching is a search under way. Nodes met are given spots in the order in which they
// are met; all its lists but adj and spot go by spot.
type searching struct {
	r           *Reach
	onlyContent bool
	adj         *adjacency
	spot        []int32 // spot of each node of the graph, plus one; 0 where not met
	node        []int32
	step        []step  // the best by which a node was met
	rank        []int32 // place of a settled node's chain among those of its level; equal for equal chains
	next        []int32 // the level being collected
}

// step is a way to come to a node.
type step struct {
	from  int32 // spot of the node before; -1 at a start
	via   int32 // place among the direction's links; -1 at a start
	level int32 // how many codes the chain has before the node's own
	prior int32 // rank of the chain up to the code before the node's own; -1 at a start
	hops  int32 // how many parts of its run the chain came through to it
}

// chains gives what was found in the order in which it was settled.
func (s *searching) chains(order []int32) chains {
	c := chains{nodes: make([]int32, len(order)), via: make([]int32, len(order)), from: make([]int32, len(order))}
	settled := make([]int32, len(order))
	for k, at := range order {
		settled[at] = int32(k)
	}
	for k, at := range order {
		c.nodes[k], c.via[k], c.from[k] = s.node[at], s.step[at].via, -1
		if from := s.step[at].from; from >= 0 {
			c.from[k] = settled[from]
		}
	}
	c.place = newIndex(c.nodes)
	return c
}

// borrow lends a list of zeros as long as the graph; giveBack takes it back with zeros where nodes were met.
func (g *Graph) borrow() []int32 {
	if list, ok := g.spare.Get().(*[]int32); ok {
		return *list
	}
	return make([]int32, len(g.nodes))
}

func (g *Graph) giveBack(list, met []int32) {
	for _, i := range met {
		list[i] = 0
	}
	g.spare.Put(&list)
}

// offer proposes a step into node i, and takes it if it is the first or comes before the
// one known; it reports whether steps from the node on became better.
func (s *searching) offer(i int32, by step) bool {
	at := s.spot[i] - 1
	if at < 0 {
		s.node = append(s.node, i)
		s.spot[i] = int32(len(s.node))
		s.next = append(s.next, int32(len(s.node)-1))
		s.step, s.rank = append(s.step, by), append(s.rank, 0)
		return true
	}
	known := s.step[at]
	if known.level != by.level {
		return false
	}
	order := cmp.Or(cmp.Compare(by.prior, known.prior), cmp.Compare(by.hops, known.hops))
	if order < 0 || order == 0 && s.compareSteps(by, known) < 0 {
		s.step[at] = by
	}
	return order < 0
}

// compareSteps compares steps of equal chains: by the code and kind of the node before, then content
// before contact, then by entry and cause. Steps from nowhere are equal.
func (s *searching) compareSteps(a, b step) int {
	if a.from < 0 || b.from < 0 {
		return cmp.Compare(a.from, b.from)
	}
	x, y := s.r.g.links[s.adj.link[a.via]], s.r.g.links[s.adj.link[b.via]]
	return cmp.Or(cmp.Compare(s.node[a.from], s.node[b.from]), cmp.Compare(x.Grade, y.Grade), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Cause, y.Cause))
}

// settle completes the level just collected and ranks its chains.
func (s *searching) settle() []int32 {
	s.joinRuns()
	level, nodes := s.next, s.r.g.nodes
	s.next = nil
	compare := func(a, b int32) int {
		return cmp.Or(cmp.Compare(s.step[a].prior, s.step[b].prior), cmp.Compare(nodes[s.node[a]].Shown(), nodes[s.node[b]].Shown()))
	}
	slices.SortFunc(level, func(a, b int32) int { return cmp.Or(compare(a, b), cmp.Compare(s.node[a], s.node[b])) })
	for k, at := range level {
		s.rank[at] = 0
		if k > 0 {
			s.rank[at] = s.rank[level[k-1]]
			if compare(level[k-1], at) != 0 {
				s.rank[at]++
			}
		}
	}
	return level
}

// joinRuns lets parts of a run pull other parts of it into their level: both show
// the run's code, so the step has no length. It counts as a hop, so that of two parts
// with equal chains neither is thought to come through the other.
func (s *searching) joinRuns() {
	nodes := s.r.g.nodes
	todo := slices.Clone(s.next)
	for len(todo) > 0 {
		at := todo[0]
		todo = todo[1:]
		i := s.node[at]
		if nodes[i].Run == "" {
			continue
		}
		for j := s.adj.first[i]; j < s.adj.first[i+1]; j++ {
			to := s.adj.to[j]
			if nodes[to].Run != nodes[i].Run || !s.r.counts(s.adj.link[j], s.onlyContent) {
				continue
			}
			by := step{from: at, via: j, level: s.step[at].level, prior: s.step[at].prior, hops: s.step[at].hops + 1}
			if s.offer(to, by) {
				todo = append(todo, s.spot[to]-1)
			}
		}
	}
}

// Band tells how a node stands.
func (r *Reach) Band(id int64) Band {
	i, ok := r.g.at[id]
	if !ok {
		return Out
	}
	return r.band(i)
}

func (r *Reach) band(i int32) Band {
	if _, ok := r.sure.place.of(i); ok {
		return In
	}
	if _, ok := r.any.place.of(i); ok {
		return Possible
	}
	return Out
}

// All gives every reached node with its band, nearest first.
func (r *Reach) All() iter.Seq2[Node, Band] {
	return func(yield func(Node, Band) bool) {
		for _, i := range r.any.nodes {
			if !yield(r.g.nodes[i], r.band(i)) {
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
	if !ok {
		return nil
	}
	c := &r.sure
	at, ok := c.place.of(i)
	if !ok {
		c = &r.any
		if at, ok = c.place.of(i); !ok {
			return nil
		}
	}
	var steps []Step
	for ; at >= 0; at = c.from[at] {
		step := Step{Node: r.g.nodes[c.nodes[at]]}
		if c.from[at] >= 0 {
			step.Link = r.g.links[r.adjacency().link[c.via[at]]]
		}
		steps = append(steps, step)
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
	if !ok || r.amounts == nil {
		return math.NaN()
	}
	at, ok := r.sure.place.of(i)
	switch {
	case !ok:
		return math.NaN()
	case r.query.Dir == Back:
		return r.amounts[at] * r.g.nodes[i].Total
	}
	return r.amounts[at]
}

// Followed is a link that a walk went over, and how much of the starting lot went with it:
// NaN where that is unknown.
type Followed struct {
	Link
	Amount float64
}

// Links lists the links between reached nodes that the walk follows, whether or not any chain uses them.
func (r *Reach) Links() iter.Seq[Followed] {
	return func(yield func(Followed) bool) {
		adj := r.adjacency()
		for _, i := range r.any.nodes {
			for j := adj.first[i]; j < adj.first[i+1]; j++ {
				if link := adj.link[j]; r.counts(link, false) {
					l := r.g.links[link]
					src := r.g.at[l.Src]
					if !yield(Followed{l, r.Amount(l.Src) * r.share(src, link)}) {
						return
					}
				}
			}
		}
	}
}
