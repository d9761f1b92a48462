package papers

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/lots"
)

// mostBoxes is how many boxes a column of the picture holds, so that it fits one page: the smallest others are folded
// into groups of their kind.
const mostBoxes = 16

// byItself is what is never folded.
var byItself [2]string

// The words for vessels and consignees that are folded: one, and many.
var (
	vesselWords = map[string][2]string{"silo": {"silo", "silos"}, "tank": {"tank", "tanks"}, "fermenter": {"fermenter", "fermenters"},
		"bright": {"bright tank", "bright tanks"}, "brink": {"yeast brink", "yeast brinks"}, "serving": {"serving tank", "serving tanks"}, "gas": {"gas tank", "gas tanks"}}
	channelWords = map[string][2]string{"distributor": {"distributor", "distributors"}, "retailer": {"retailer", "retailers"}, "on-premise": {"on-premise", "on-premise"}}
)

// kindOf says what a box is one of, and many of them.
func (p *picture) kindOf(id string, column int) [2]string {
	kind, code, _ := strings.Cut(id, " ")
	switch kind {
	case "lot":
		if column > 0 {
			return [2]string{"crop", "crops"}
		}
		return [2]string{"lot", "lots"}
	case "brew":
		return [2]string{"brew", "brews"}
	case "tank":
		thing, _ := p.m.tx.Thing(code)
		if words, ok := vesselWords[thing.VesselKind]; ok {
			return words
		}
		return [2]string{"machine", "machines"}
	case "run":
		if run, ok := p.m.tx.Run(code); ok {
			return [2]string{"run of " + run.Product, "runs of " + run.Product}
		}
		return [2]string{"run", "runs"}
	}
	if party, ok := p.m.tx.Party(code); ok {
		if words, ok := channelWords[party.Channel]; ok {
			return words
		}
		return [2]string{"consignee", "consignees"}
	}
	return byItself
}

// fold makes groups of the smallest boxes of every column that has too many, and reports whether there are any.
func (p *picture) fold() (folded bool) {
	columns := map[int][]*pictured{}
	for _, n := range p.nodes {
		columns[n.Column] = append(columns[n.Column], n)
	}
	for _, column := range slices.Sorted(maps.Keys(columns)) {
		list := columns[column]
		if len(list) <= mostBoxes {
			continue
		}
		folded = true
		slices.SortFunc(list, func(a, b *pictured) int {
			return cmp.Or(rank(a)-rank(b), cmp.Compare(b.weight, a.weight), cmp.Compare(b.size, a.size), cmp.Compare(a.ID, b.ID))
		})
		groups := foldable(list)
		for _, kind := range slices.SortedFunc(maps.Keys(groups), func(a, b [2]string) int { return cmp.Compare(a[1], b[1]) }) {
			p.merge(column, kind, groups[kind])
		}
	}
	return folded
}

// rank puts first what is never folded.
func rank(n *pictured) int {
	if n.fold == byItself {
		return 0
	}
	return 1
}

// foldable picks the groups to fold of a column's boxes, which come with the largest first: as few boxes as make it
// fit. Where there are too many kinds, all that is small is one group.
func foldable(list []*pictured) map[[2]string][]*pictured {
	for keep := mostBoxes - 1; keep >= 0 && list[keep].fold != byItself; keep-- {
		groups := map[[2]string][]*pictured{}
		for _, n := range list[keep:] {
			groups[n.fold] = append(groups[n.fold], n)
		}
		if keep+len(groups) <= mostBoxes {
			maps.DeleteFunc(groups, func(_ [2]string, group []*pictured) bool { return len(group) == 1 })
			return groups
		}
	}
	return map[[2]string][]*pictured{{"other", "others"}: list[mostBoxes-1:]}
}

// merge makes one box of a group.
func (p *picture) merge(column int, kind [2]string, group []*pictured) {
	id := fmt.Sprintf("others %d %s", column, kind[1])
	other := p.node(id, column, fmt.Sprintf("%d %s", len(group), kind[1]), false)
	for _, n := range group {
		other.Sure = other.Sure || n.Sure
		other.weight, other.size, other.packs = other.weight+n.weight, other.size+n.size, other.packs.Plus(n.packs)
		maps.Copy(other.units, n.units)
		p.rename(n.ID, id)
		delete(p.nodes, n.ID)
	}
}

// detail says how much a box stands for: the units of runs, what is in a place, and of the suspect lot where known.
func (p *picture) detail(n *pictured) string {
	var parts []string
	count := map[string]int{}
	for _, kind := range n.units {
		count[kind]++
	}
	for _, kind := range []string{"pallet", "stack", "keg"} {
		if count[kind] > 0 {
			parts = append(parts, countOf(count[kind], kind, kind+"s"))
		}
	}
	if !n.packs.None() {
		parts = append(parts, n.packs.String())
	}
	if n.weight > 0 {
		parts = append(parts, p.amount(n.weight))
	}
	return strings.Join(parts, ", ")
}

// amount writes an amount of the suspect lot to the hundredth of its unit; a little is not none.
func (p *picture) amount(x float64) string {
	unit := p.unitName()
	if rounded := math.Round(x*100) / 100; rounded > 0 {
		return strings.TrimSpace(lots.FigureOf(rounded, unit) + " " + unit)
	}
	return strings.TrimSpace("under 0.01 " + unit)
}

// unitName is the suspect lot's unit, where amounts are known.
func (p *picture) unitName() string {
	for _, l := range p.m.s.Answer.Lots {
		if l.Unit != nil {
			return *l.Unit
		}
	}
	return ""
}
