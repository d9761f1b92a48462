package picture

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/labels/paper"
)

// A column shows up to mostSingly things one by one. Where there are more, what is alike is put together until about
// mostBoxes are left.
const (
	mostSingly = 24
	mostBoxes  = 14
)

// A group with more than mostAlike things is parted by their order into groups of about partSize.
const (
	mostAlike = 60
	partSize  = 30
)

// group is what boxes are put together as: what they are, and of what. One without a word for what they are is named
// after its first and last.
type group struct{ id, what, of string }

func under(groups ...group) []group { return groups }

// pile is a group with what is in it.
type pile struct {
	group
	boxes []*box
	depth int // how many of the groups of its boxes have been opened
}

// folded puts together what is too much, and gives the picture.
func (m *maker) folded(open []string, to Links) *Picture {
	p := &Picture{Flow: paper.Flow{Columns: columnNames}}
	columns := make([][]*box, len(columnNames))
	for _, id := range slices.Sorted(maps.Keys(m.boxes)) {
		b := m.boxes[id]
		columns[b.Column] = append(columns[b.Column], b)
	}
	shown := map[string]string{} // boxes to what they are shown as
	for _, list := range columns {
		slices.SortStableFunc(list, func(a, b *box) int { return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.ID, b.ID)) })
		part(list)
		for _, pile := range m.fold(list, open, p) {
			node := pile.node(to)
			for _, b := range pile.boxes {
				shown[b.ID] = node.ID
			}
			p.Nodes = append(p.Nodes, node)
		}
	}
	m.draw(p, shown)
	return p
}

// part gives boxes of a large group groups of their own, by their order.
func part(list []*box) {
	count, place := map[string]int{}, map[string]int{}
	for _, b := range list {
		if len(b.path) > 0 {
			count[b.path[len(b.path)-1].id]++
		}
	}
	byPart := map[string][]*box{}
	for _, b := range list {
		if len(b.path) == 0 || count[b.path[len(b.path)-1].id] <= mostAlike {
			continue
		}
		last := b.path[len(b.path)-1]
		n := count[last.id]
		parts := (n + partSize - 1) / partSize
		id := fmt.Sprintf("%s/%d", last.id, place[last.id]*parts/n+1)
		place[last.id]++
		byPart[id] = append(byPart[id], b)
	}
	for id, boxes := range byPart {
		text := boxes[0].order + " to " + boxes[len(boxes)-1].order
		for _, b := range boxes {
			b.path = append(b.path, group{id: id, of: text})
		}
	}
}

// fold opens the widest groups of a column as far as there is room, those that hold least first; then any that somebody
// opened. What is open without being asked for stays so, whatever else is opened.
func (m *maker) fold(list []*box, open []string, p *Picture) []*pile {
	most := mostBoxes
	if len(list) <= mostSingly {
		most = mostSingly
	}
	piles := split(&pile{boxes: list, depth: -1})
	for {
		best := -1
		var bestParts []*pile
		for i, x := range piles {
			if x.whole() {
				continue
			}
			parts := split(x)
			if len(piles)-1+len(parts) <= most && (best < 0 || len(parts) < len(bestParts)) {
				best, bestParts = i, parts
			}
		}
		if best < 0 {
			break
		}
		piles = slices.Replace(piles, best, best+1, bestParts...)
	}
	for i := 0; i < len(piles); {
		x := piles[i]
		if x.whole() || !x.wanted(open) {
			i++
			continue
		}
		if slices.Contains(open, x.id) {
			p.Opened = append(p.Opened, Group{x.id, strings.TrimSpace(x.title() + " " + x.detail())})
		}
		piles = slices.Replace(piles, i, i+1, split(x)...)
	}
	return piles
}

// wanted reports whether somebody opened a pile, or something that is folded into it.
func (x *pile) wanted(open []string) bool {
	return slices.ContainsFunc(x.boxes, func(b *box) bool {
		return slices.ContainsFunc(b.path[x.depth:], func(g group) bool { return slices.Contains(open, g.id) })
	})
}

// whole reports whether a pile is one box, which nothing opens.
func (x *pile) whole() bool { return x.id == "" }

// split opens a pile: what is in it by the next of its groups, or box by box.
func split(x *pile) []*pile {
	var out []*pile
	at := map[string]*pile{}
	for _, b := range x.boxes {
		depth := x.depth + 1
		if depth >= len(b.path) {
			out = append(out, &pile{boxes: []*box{b}})
			continue
		}
		g := b.path[depth]
		if at[g.id] == nil {
			at[g.id] = &pile{group: g, depth: depth}
			out = append(out, at[g.id])
		}
		at[g.id].boxes = append(at[g.id].boxes, b)
	}
	for _, y := range out {
		if len(y.boxes) == 1 {
			y.group = group{}
		}
	}
	return out
}

func (x *pile) title() string {
	if x.what == "" {
		return x.of
	}
	return fmt.Sprintf("%d %s", len(x.boxes), x.what)
}

func (x *pile) detail() string {
	if x.what == "" {
		return fmt.Sprintf("%d of them", len(x.boxes))
	}
	return x.of
}

// node is the box that a pile is drawn as.
func (x *pile) node(to Links) paper.FlowNode {
	n := x.boxes[0].FlowNode
	packs := x.boxes[0].packs
	if !x.whole() {
		n = paper.FlowNode{ID: "group " + x.id, Column: n.Column, Title: x.title(), Many: true, Link: to.Group(x.id)}
		for i, b := range x.boxes {
			n.Codes, n.Sure = append(n.Codes, b.Codes...), n.Sure || b.Sure
			if i > 0 {
				packs = packs.Plus(b.packs)
			}
		}
		n.Detail = x.detail()
		if !packs.None() {
			n.Detail = strings.TrimPrefix(n.Detail+", "+packs.String(), ", ")
		}
		return n
	}
	switch {
	case n.Column == suppliers || n.Column == places && len(n.Codes) > 0:
		n.Link = to.Party(n.Codes[0])
	case len(n.Codes) > 0:
		n.Link = to.Thing(n.Codes)
	}
	if !packs.None() {
		if n.Detail != "" {
			n.Detail += ", "
		}
		n.Detail += packs.String()
	}
	if n.Detail == "" && len(n.Codes) > 1 {
		n.Detail = fmt.Sprintf("%d fills", len(n.Codes))
	}
	return n
}

// draw puts the bands between what is shown.
func (m *maker) draw(p *Picture, shown map[string]string) {
	joined := map[[2]string]*band{}
	for _, key := range bandKeys(m.bands) {
		b, at := m.bands[key], [2]string{shown[key[0]], shown[key[1]]}
		if at[0] == at[1] {
			continue
		}
		if joined[at] == nil {
			joined[at] = &band{weight: math.NaN()}
		}
		joined[at].sure, joined[at].weight = joined[at].sure || b.sure, plus(joined[at].weight, b.weight)
	}
	for _, key := range bandKeys(joined) {
		b := joined[key]
		if b.weight <= 0 {
			b.weight = math.NaN()
		}
		p.Edges = append(p.Edges, paper.FlowEdge{From: key[0], To: key[1], Sure: b.sure, Weight: b.weight})
	}
}
