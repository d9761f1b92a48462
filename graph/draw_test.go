package graph

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/graph/simple"
	"gonum.org/v1/gonum/graph/traverse"
	"pgregory.net/rapid"
)

// drawn is a random lineage: content only goes from lower to higher places, contacts go anywhere.
type drawn struct {
	nodes []Node
	links []Link
}

// every checks a property on many more lineages than rapid draws at once.
func every(t *testing.T, property func(*rapid.T)) {
	t.Helper()
	for range 12 {
		rapid.Check(t, property)
	}
}

// draw makes a small lineage whose numbers and codes say nothing of the order. The first node is
// a lot; the parts of a run may stand anywhere; a code may stand for two kinds of thing; a node
// may hold nothing, as a pass does.
func draw(t *rapid.T, unknownShares bool) drawn {
	n := rapid.IntRange(2, 12).Draw(t, "nodes")
	ids := rapid.Permutation(upTo(n)).Draw(t, "ids")
	codes := rapid.Permutation(upTo(n)).Draw(t, "codes")
	var d drawn
	for i := range n {
		kind := Kind(rapid.IntRange(0, 5).Draw(t, "kind"))
		if i == 0 {
			kind = Lot
		}
		x := Node{ID: ids[i]*7 - 20, Kind: kind, Code: fmt.Sprintf("N%02d", codes[i]/2*2), Total: float64(rapid.IntRange(0, 20).Draw(t, "total"))}
		if d.has(x.Code, kind) {
			x.Code = fmt.Sprintf("N%02d", codes[i]/2*2+1)
		}
		x.Den = x.Total
		if kind == Segment || kind == Stretch {
			x.Run = fmt.Sprintf("N%d", rapid.IntRange(0, 2).Draw(t, "run"))
		}
		d.nodes = append(d.nodes, x)
	}
	for range rapid.IntRange(0, 30).Draw(t, "links") {
		d.drawLink(t, unknownShares)
	}
	return d
}

// drawLink adds a link. One entry gives rise to several, told apart by what they join and by cause.
func (d *drawn) drawLink(t *rapid.T, unknownShares bool) {
	i := rapid.IntRange(0, len(d.nodes)-1).Draw(t, "src")
	j := rapid.IntRange(0, len(d.nodes)-1).Draw(t, "dst")
	if i == j {
		return
	}
	content := rapid.IntRange(0, 3).Draw(t, "content") > 0
	if content && i > j {
		i, j = j, i
	}
	l := Link{Src: d.nodes[i].ID, Dst: d.nodes[j].ID, Grade: Contact, Cause: Heel, Qty: math.NaN(), Entry: int64(len(d.links)/3 + 1)}
	if content {
		l.Grade, l.Cause, l.Qty = Content, Cause(rapid.IntRange(0, 1).Draw(t, "cause")), float64(rapid.IntRange(0, 5).Draw(t, "qty"))
		if unknownShares && rapid.IntRange(0, 7).Draw(t, "unknown") == 0 {
			l.Qty = math.NaN()
		}
	}
	if slices.ContainsFunc(d.links, l.twin) {
		return
	}
	d.links = append(d.links, l)
}

// twin reports whether two links could not both stand: a lineage holds one for each two nodes, entry and cause.
func (l Link) twin(m Link) bool {
	return l.Src == m.Src && l.Dst == m.Dst && l.Entry == m.Entry && l.Cause == m.Cause
}

func upTo(n int) []int64 {
	out := make([]int64, n)
	for i := range out {
		out[i] = int64(i)
	}
	return out
}

func (d drawn) has(code string, kind Kind) bool {
	return slices.ContainsFunc(d.nodes, func(n Node) bool { return n.Code == code && n.Kind == kind })
}

// scaled keeps what goes out of a node within what it holds, as recorded books are.
func (d drawn) scaled() drawn {
	out := map[int64]float64{}
	for _, l := range d.links {
		if l.Grade == Content && !math.IsNaN(l.Qty) {
			out[l.Src] += l.Qty
		}
	}
	for i := range d.nodes {
		d.nodes[i].Den = max(d.nodes[i].Total, out[d.nodes[i].ID])
	}
	return d
}

func (d drawn) build(t require.TestingT) *Graph {
	g, err := Build(d.nodes, d.links)
	require.NoError(t, err)
	return g
}

// drawQuery draws up to four starts, some only possible, some named twice, some of them nowhere in the lineage.
func drawQuery(t *rapid.T, d drawn) Query {
	q := Query{Dir: Direction(rapid.IntRange(0, 1).Draw(t, "direction")), Amounts: true}
	for range rapid.IntRange(1, 4).Draw(t, "starts") {
		s := Start{ID: 999, Possible: rapid.IntRange(0, 2).Draw(t, "possible") == 0}
		if i := rapid.IntRange(0, len(d.nodes)).Draw(t, "start"); i < len(d.nodes) {
			s.ID = d.nodes[i].ID
		}
		q.Starts = append(q.Starts, s)
	}
	return q
}

func sureOf(starts []Start) []Start {
	return slices.DeleteFunc(slices.Clone(starts), func(s Start) bool { return s.Possible })
}

// reachable finds by gonum's breadth-first walk what can be come to over some of the links.
func reachable(d drawn, dir Direction, starts []int64, follow func(Link) bool) map[int64]bool {
	g := simple.NewDirectedGraph()
	for _, n := range d.nodes {
		g.AddNode(simple.Node(n.ID))
	}
	for _, l := range d.links {
		from, to := simple.Node(l.Src), simple.Node(l.Dst)
		if dir == Back {
			from, to = to, from
		}
		if follow(l) {
			g.SetEdge(simple.Edge{F: from, T: to})
		}
	}
	found := map[int64]bool{}
	for _, id := range starts {
		if g.Node(id) == nil {
			continue
		}
		walk := traverse.BreadthFirst{}
		walk.Walk(g, simple.Node(id), nil)
		for _, n := range d.nodes {
			found[n.ID] = found[n.ID] || walk.Visited(simple.Node(n.ID))
		}
	}
	return found
}

func idsOf(starts []Start) []int64 {
	var out []int64
	for _, s := range starts {
		out = append(out, s.ID)
	}
	return out
}

func isContent(l Link) bool { return l.Grade == Content }
func isAny(Link) bool       { return true }
