package graph

import (
	"cmp"
	"math"
	"slices"
)

// measure works out amounts over content links. Forwards a node holds, of the
// starting lot, the sum over its sources of what they hold times the share passed
// on; backwards the part of a node that is in the starts is the sum over its
// products of their part times the share passed on. One pass in order of content
// does either, and an unknown share makes all beyond it unknown; an unknown share of nothing is nothing.
func (r *Reach) measure() {
	if r.query.Dir == Back {
		r.measureBack()
		return
	}
	if len(r.query.Starts) != 1 || r.g.Node(r.query.Starts[0].ID).Kind != Lot {
		return
	}
	r.amounts = make([]float64, len(r.sure.nodes))
	for _, at := range r.inOrder() {
		i := r.sure.nodes[at]
		if r.start[i] {
			r.amounts[at] = r.g.nodes[i].Total
		}
		for j := r.g.out.first[i]; j < r.g.out.first[i+1]; j++ {
			if link := r.g.out.link[j]; r.counts(link, true) {
				to, _ := r.sure.place.of(r.g.out.to[j])
				r.amounts[to] += goesOn(r.amounts[at], r.share(i, link))
			}
		}
	}
}

// goesOn is the part of an amount that goes on: of nothing nothing, and by a share of nothing nothing,
// even where the other of the two is unknown.
func goesOn(amount, share float64) float64 {
	if amount == 0 || share == 0 {
		return 0
	}
	return amount * share
}

// inOrder gives the places of the nodes reached over content, sources before products.
func (r *Reach) inOrder() []int32 {
	order := make([]int32, len(r.sure.nodes))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Compare(r.g.rank[r.sure.nodes[a]], r.g.rank[r.sure.nodes[b]])
	})
	return order
}

func (r *Reach) measureBack() {
	r.amounts = make([]float64, len(r.sure.nodes))
	for _, at := range slices.Backward(r.inOrder()) {
		i := r.sure.nodes[at]
		if r.start[i] { // all of a start is in the starts, whatever else went on into another
			r.amounts[at] = 1
			continue
		}
		for j := r.g.out.first[i]; j < r.g.out.first[i+1]; j++ {
			to, link := r.g.out.to[j], r.g.out.link[j]
			if r.start[to] && r.g.nodes[to].Kind == Stretch {
				continue // its segments are starts too, and hold what it holds
			}
			if reached, ok := r.sure.place.of(to); ok && r.counts(link, true) {
				r.amounts[at] += goesOn(r.amounts[reached], r.share(i, link))
			}
		}
	}
}

// share is which part of the link's source went through it, no more than can have.
func (r *Reach) share(src, link int32) float64 {
	share, l := r.g.share(src, link), r.g.links[link]
	if r.query.Most == nil || !(l.Qty > 0) {
		return share
	}
	if most := r.query.Most(r.g.Node(l.Src), r.g.Node(l.Dst), l); most < l.Qty {
		return share * most / l.Qty
	}
	return share
}

// Beyond is how much of the starting lot is recorded to have gone to a node, over what can be in it; 0
// also where no amounts are measured.
func (r *Reach) Beyond(id int64) float64 {
	i, ok := r.g.at[id]
	if !ok || r.query.Dir == Back || r.query.Most == nil || r.amounts == nil {
		return 0
	}
	beyond := 0.0
	for j := r.g.in.first[i]; j < r.g.in.first[i+1]; j++ {
		link := r.g.in.link[j]
		if from, ok := r.sure.place.of(r.g.in.to[j]); ok && r.counts(link, true) {
			src := r.sure.nodes[from]
			if over := r.g.share(src, link) - r.share(src, link); over > 0 {
				beyond += r.amounts[from] * over
			}
		}
	}
	return beyond
}

// Left is how much of the starting lot ends in a node: what none of its content
// links passes on, and what is beyond what can be in it. Over all nodes of the band In it adds up to the lot.
func (r *Reach) Left(id int64) float64 {
	amount := r.Amount(id)
	i, ok := r.g.at[id]
	if !ok || r.query.Dir == Back || math.IsNaN(amount) {
		return math.NaN()
	}
	passed := 0.0
	for j := r.g.out.first[i]; j < r.g.out.first[i+1]; j++ {
		if link := r.g.out.link[j]; r.counts(link, true) {
			passed += r.g.share(i, link)
		}
	}
	return amount*(1-passed) + r.Beyond(id)
}
