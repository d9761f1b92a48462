package graph

import (
	"math"
	"slices"
)

// measure works out amounts over content links. Forwards a node holds, of the
// starting lot, the sum over its sources of what they hold times the share passed
// on; backwards the part of a node that is in the starts is the sum over its
// products of their part times the share passed on. One pass in order of content
// does either, and an unknown share makes all beyond it unknown.
func (r *Reach) measure() {
	if r.query.Dir == Back {
		r.measureBack()
		return
	}
	if len(r.query.Starts) != 1 || r.g.Node(r.query.Starts[0].ID).Kind != Lot {
		return
	}
	r.amounts = make([]float64, len(r.g.nodes))
	for _, i := range r.g.topo {
		if r.band[i] != In {
			continue
		}
		if r.start[i] {
			r.amounts[i] = r.g.nodes[i].Total
		}
		for j := r.g.out.first[i]; j < r.g.out.first[i+1]; j++ {
			if link := r.g.out.link[j]; r.counts(link, true) {
				r.amounts[r.g.out.to[j]] += r.amounts[i] * r.g.share(i, link)
			}
		}
	}
}

func (r *Reach) measureBack() {
	r.amounts = make([]float64, len(r.g.nodes))
	for _, i := range slices.Backward(r.g.topo) {
		if r.band[i] != In {
			continue
		}
		if r.start[i] { // all of a start is in the starts, whatever else went on into another
			r.amounts[i] = 1
			continue
		}
		for j := r.g.out.first[i]; j < r.g.out.first[i+1]; j++ {
			to, link := r.g.out.to[j], r.g.out.link[j]
			if r.start[to] && r.g.nodes[to].Kind == Stretch {
				continue // its segments are starts too, and hold what it holds
			}
			if r.band[to] == In && r.counts(link, true) {
				r.amounts[i] += r.amounts[to] * r.g.share(i, link)
			}
		}
	}
}

// Left is how much of the starting lot ends in a node: what none of its content
// links passes on. Over all nodes of the band In it adds up to the lot.
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
	return amount * (1 - passed)
}
