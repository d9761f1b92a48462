package paper

import (
	"slices"
)

// sweeps is how often the order of the columns, and their heights, are gone over.
const sweeps = 12

// untangle orders each column by the mean place of the neighbours on one side (the barycentre
// method of Sugiyama, Tagawa and Toda), from left to right and back, and keeps the order with
// the fewest crossings.
func (p *plan) untangle() {
	place := make(map[*spot]float64)
	put := func(column []*spot) {
		for k, s := range column {
			place[s] = (float64(k) + 0.5) / float64(len(column))
		}
	}
	for _, column := range p.columns {
		put(column)
	}
	best, least := p.snapshot(), p.crossings()
	for sweep := 0; sweep < sweeps && least > 0; sweep++ {
		for i := range p.columns {
			toRight := sweep%2 == 0
			if !toRight {
				i = len(p.columns) - 1 - i
			}
			sortByMean(p.columns[i], place, toRight)
			put(p.columns[i])
		}
		if n := p.crossings(); n < least {
			best, least = p.snapshot(), n
		}
	}
	p.columns = best
}

func (p *plan) snapshot() [][]*spot {
	out := make([][]*spot, len(p.columns))
	for i, column := range p.columns {
		out[i] = slices.Clone(column)
	}
	return out
}

// sortByMean sorts a column by the neighbours to its left or right; what has none stays about
// where it is.
func sortByMean(column []*spot, place map[*spot]float64, left bool) {
	mean := make(map[*spot]float64, len(column))
	for _, s := range column {
		sum, n := 0.0, 0
		if left {
			for _, l := range s.in {
				sum, n = sum+place[l.from], n+1
			}
		} else {
			for _, l := range s.outs {
				sum, n = sum+place[l.to], n+1
			}
		}
		if mean[s] = place[s]; n > 0 {
			mean[s] = sum / float64(n)
		}
	}
	slices.SortStableFunc(column, func(a, b *spot) int { return order(mean[a], mean[b]) })
}

// crossings counts the pairs of legs that cross between neighbouring columns: in the order of
// their left ends, the pairs whose right ends are the wrong way round.
func (p *plan) crossings() int {
	count := 0
	for i, column := range p.columns[:len(p.columns)-1] {
		rank := make(map[*spot]int, len(p.columns[i+1]))
		for k, s := range p.columns[i+1] {
			rank[s] = k
		}
		tree := make([]int, len(p.columns[i+1])+1) // how many ends at each rank so far, as a Fenwick tree
		seen := 0
		for _, s := range column {
			for _, l := range s.outs {
				below := 0
				for k := rank[l.to] + 1; k > 0; k -= k & -k {
					below += tree[k]
				}
				count += seen - below
			}
			for _, l := range s.outs {
				for k := rank[l.to] + 1; k < len(tree); k += k & -k {
					tree[k]++
				}
				seen++
			}
		}
	}
	return count
}

// settle gives each box its height in the picture: near what it is joined to, in the column's
// order, without touching its neighbours. The tallest column decides the picture's height.
func (p *plan) settle() {
	for _, column := range p.columns {
		p.height = max(p.height, columnHeight(column))
	}
	for _, column := range p.columns {
		y := (p.height - columnHeight(column)) / 2
		for k, s := range column {
			s.y = y
			if y += s.h; k+1 < len(column) {
				y += apart(s, column[k+1])
			}
		}
	}
	for sweep := range sweeps {
		for i := range p.columns {
			if sweep%2 == 1 {
				i = len(p.columns) - 1 - i
			}
			p.attract(p.columns[i])
		}
	}
	for _, column := range p.columns {
		for _, s := range column {
			s.y += headRoom
		}
	}
	p.height += headRoom + 3
}

// apart is the room between two neighbours in a column.
func apart(a, b *spot) float64 {
	if a.node == nil && b.node == nil {
		return passing
	}
	return gap
}

func columnHeight(column []*spot) float64 {
	sum := 0.0
	for k, s := range column {
		if sum += s.h; k+1 < len(column) {
			sum += apart(s, column[k+1])
		}
	}
	return sum
}

// attract moves a column's boxes towards the middle of what they are joined to.
func (p *plan) attract(column []*spot) {
	for _, s := range column {
		sum, weight := 0.0, 0.0
		for _, l := range s.in {
			sum, weight = sum+l.from.middle()*l.width, weight+l.width
		}
		for _, l := range s.outs {
			sum, weight = sum+l.to.middle()*l.width, weight+l.width
		}
		if weight > 0 {
			s.y = sum/weight - s.h/2
		}
	}
	top := 0.0
	for k, s := range column { // down, off the box above
		s.y = max(s.y, top)
		if top = s.y + s.h; k+1 < len(column) {
			top += apart(s, column[k+1])
		}
	}
	bottom := p.height
	for k := len(column) - 1; k >= 0; k-- { // and up, into the picture
		s := column[k]
		s.y = min(s.y, bottom-s.h)
		if bottom = s.y; k > 0 {
			bottom -= apart(column[k-1], s)
		}
	}
}
