package graph

import (
	"cmp"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/graph/simple"
	"gonum.org/v1/gonum/graph/traverse"
	"gonum.org/v1/gonum/mat"
	_ "modernc.org/sqlite"
	"pgregory.net/rapid"
)

// drawn is a random lineage: content only goes from lower to higher places, contacts go anywhere.
type drawn struct {
	nodes []Node
	links []Link
}

// draw makes a small lineage with numbers that say nothing of the order.
func draw(t *rapid.T, unknownShares bool) drawn {
	n := rapid.IntRange(2, 12).Draw(t, "nodes")
	ids := rapid.Permutation(slices.Collect(func(yield func(int64) bool) {
		for i := range n {
			if !yield(int64(i * 7)) {
				return
			}
		}
	})).Draw(t, "ids")
	var d drawn
	for i := range n {
		kind := Kind(rapid.IntRange(0, 5).Draw(t, "kind"))
		if i == 0 {
			kind = Lot
		}
		x := Node{ID: ids[i], Kind: kind, Code: fmt.Sprintf("%c%d", 'A'+rune(rapid.IntRange(0, 2).Draw(t, "letter")), i), Total: float64(rapid.IntRange(1, 20).Draw(t, "total"))}
		x.Den = x.Total
		if kind == Segment || kind == Stretch {
			x.Run = fmt.Sprintf("R%d", rapid.IntRange(0, 1).Draw(t, "run"))
		}
		d.nodes = append(d.nodes, x)
	}
	for range rapid.IntRange(0, 25).Draw(t, "links") {
		i, j := rapid.IntRange(0, n-1).Draw(t, "src"), rapid.IntRange(0, n-1).Draw(t, "dst")
		l := Link{Src: ids[i], Dst: ids[j], Grade: Contact, Cause: Heel, Qty: math.NaN(), Entry: int64(len(d.links) + 1)}
		if i < j && rapid.Bool().Draw(t, "content") {
			l.Grade, l.Cause, l.Qty = Content, Moved, float64(rapid.IntRange(0, 5).Draw(t, "qty"))
			if unknownShares && rapid.IntRange(0, 5).Draw(t, "unknown") == 0 {
				l.Qty = math.NaN()
			}
		}
		if i != j {
			d.links = append(d.links, l)
		}
	}
	return d
}

func (d drawn) build(t require.TestingT) *Graph {
	g, err := Build(d.nodes, d.links)
	require.NoError(t, err)
	return g
}

func drawQuery(t *rapid.T, d drawn) Query {
	q := Query{Dir: Direction(rapid.IntRange(0, 1).Draw(t, "direction"))}
	for range rapid.IntRange(1, 3).Draw(t, "starts") {
		i := rapid.IntRange(0, len(d.nodes)-1).Draw(t, "start")
		if !slices.ContainsFunc(q.Starts, func(s Start) bool { return s.ID == d.nodes[i].ID }) {
			q.Starts = append(q.Starts, Start{d.nodes[i].ID, rapid.IntRange(0, 2).Draw(t, "possible") == 0})
		}
	}
	return q
}

// reachable finds by gonum what can be come to from some starts.
func reachable(d drawn, q Query, starts []Start, onlyContent bool) map[int64]bool {
	g := simple.NewDirectedGraph()
	for _, n := range d.nodes {
		g.AddNode(simple.Node(n.ID))
	}
	for _, l := range d.links {
		if onlyContent && l.Grade != Content {
			continue
		}
		from, to := simple.Node(l.Src), simple.Node(l.Dst)
		if q.Dir == Back {
			from, to = to, from
		}
		g.SetEdge(simple.Edge{F: from, T: to})
	}
	found := map[int64]bool{}
	for _, s := range starts {
		walk := traverse.BreadthFirst{}
		walk.Walk(g, simple.Node(s.ID), nil)
		for _, n := range d.nodes {
			found[n.ID] = found[n.ID] || walk.Visited(simple.Node(n.ID))
		}
	}
	return found
}

func sureOf(starts []Start) []Start {
	return slices.DeleteFunc(slices.Clone(starts), func(s Start) bool { return s.Possible })
}

// TestBandsAsGonumWalks compares bands with two plain walks by gonum: over content from
// the sure starts, and over everything from all of them.
func TestBandsAsGonumWalks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		r := d.build(t).Walk(q)
		sure, any := reachable(d, q, sureOf(q.Starts), true), reachable(d, q, q.Starts, false)
		for _, n := range d.nodes {
			want := Out
			if any[n.ID] {
				want = Possible
			}
			if sure[n.ID] {
				want = In
			}
			require.Equal(t, want.String(), r.Band(n.ID).String(), "node %s", n.Code)
		}
	})
}

// TestBandsAsSQL compares bands with SQLite's recursive queries.
func TestBandsAsSQL(t *testing.T) {
	db, err := sql.Open("sqlite", ":memory:")
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	defer db.Close()
	_, err = db.Exec("CREATE TABLE link(src INTEGER, dst INTEGER, grade INTEGER)")
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		q := Query{Dir: Forward, Starts: []Start{{ID: d.nodes[0].ID}}}
		_, err := db.Exec("DELETE FROM link")
		require.NoError(t, err)
		for _, l := range d.links {
			_, err := db.Exec("INSERT INTO link VALUES (?,?,?)", l.Src, l.Dst, int64(l.Grade))
			require.NoError(t, err)
		}
		r := d.build(t).Walk(q)
		for grade, least := range map[int]Band{int(Content): In, int(Contact): Possible} {
			var want []int64
			rows, err := db.Query(`WITH RECURSIVE reach(id) AS (SELECT ?1 UNION SELECT dst FROM link JOIN reach ON src = id WHERE grade <= ?2) SELECT id FROM reach ORDER BY id`, q.Starts[0].ID, grade)
			require.NoError(t, err)
			for rows.Next() {
				var id int64
				require.NoError(t, rows.Scan(&id))
				want = append(want, id)
			}
			require.NoError(t, rows.Close())
			var got []int64
			for n, band := range r.All() {
				if band >= least {
					got = append(got, n.ID)
				}
			}
			slices.Sort(got)
			require.Equal(t, want, got)
		}
	})
}

// scaled keeps what goes out of a node within what it holds, as recorded books are.
func scaled(d drawn) drawn {
	out := map[int64]float64{}
	for _, l := range d.links {
		if l.Grade == Content {
			out[l.Src] += l.Qty
		}
	}
	for i := range d.nodes {
		d.nodes[i].Den = max(d.nodes[i].Total, out[d.nodes[i].ID])
	}
	return d
}

// TestAmountsAsMatrixSolve compares amounts with a dense solve of the linear equations that
// define them: forwards a = e + Sᵀa, backwards w = s + Sw with all of a start in the starts.
func TestAmountsAsMatrixSolve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := scaled(draw(t, false))
		place := map[int64]int{}
		for i, n := range d.nodes {
			place[n.ID] = i
		}
		n := len(d.nodes)
		share := mat.NewDense(n, n, nil)
		for _, l := range d.links {
			if l.Grade == Content {
				i, j := place[l.Src], place[l.Dst]
				share.Set(i, j, share.At(i, j)+l.Qty/d.nodes[i].Den)
			}
		}
		g := d.build(t)

		var ahead mat.Dense
		ahead.CloneFrom(share.T())
		start := mat.NewVecDense(n, nil)
		start.SetVec(0, d.nodes[0].Total)
		compareAmounts(t, d, g.Walk(Query{Dir: Forward, Starts: []Start{{ID: d.nodes[0].ID}}, Amounts: true}), &ahead, start, nil)

		last := rapid.IntRange(0, n-1).Draw(t, "last")
		if d.nodes[last].Kind == Stretch {
			return
		}
		other := rapid.IntRange(0, n-1).Draw(t, "other")
		starts := []Start{{ID: d.nodes[last].ID}}
		if other != last && d.nodes[other].Kind != Stretch {
			starts = append(starts, Start{ID: d.nodes[other].ID})
		}
		whole := mat.NewVecDense(n, nil)
		for _, s := range starts {
			i := place[s.ID]
			whole.SetVec(i, 1)
			for j := range n {
				share.Set(i, j, 0) // what went on from a start is counted with the start
			}
		}
		totals := make([]float64, n)
		for i, x := range d.nodes {
			totals[i] = x.Total
		}
		compareAmounts(t, d, g.Walk(Query{Dir: Back, Starts: starts, Amounts: true}), share, whole, totals)
	})
}

// compareAmounts solves x = c + Mx and compares, times a factor for each node.
func compareAmounts(t *rapid.T, d drawn, r *Reach, m mat.Matrix, c mat.Vector, factor []float64) {
	n := len(d.nodes)
	a := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			a.Set(i, j, -m.At(i, j))
		}
		a.Set(i, i, 1-m.At(i, i))
	}
	var x mat.VecDense
	require.NoError(t, x.SolveVec(a, c))
	for i, node := range d.nodes {
		if r.Band(node.ID) != In {
			require.True(t, math.IsNaN(r.Amount(node.ID)))
			continue
		}
		want := x.AtVec(i)
		if factor != nil {
			want *= factor[i]
		}
		require.InDelta(t, want, r.Amount(node.ID), 1e-9, "node %s", node.Code)
	}
}

// TestNothingOfALotIsLost adds up what ends in every node.
func TestNothingOfALotIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := scaled(draw(t, false))
		r := d.build(t).Walk(Query{Dir: Forward, Starts: []Start{{ID: d.nodes[0].ID}}, Amounts: true})
		sum := 0.0
		for n, band := range r.All() {
			if band == In {
				sum += r.Left(n.ID)
			}
		}
		require.InDelta(t, d.nodes[0].Total, sum, 1e-9)
	})
}

// TestUnknownStaysUnknown: an amount is unknown just where some content chain to the node uses an unknown share.
func TestUnknownStaysUnknown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		r := d.build(t).Walk(Query{Dir: Forward, Starts: []Start{{ID: d.nodes[0].ID}}, Amounts: true})
		unknown := map[int64]bool{}
		for range d.nodes {
			for _, l := range d.links {
				if l.Grade == Content && r.Band(l.Src) == In && (math.IsNaN(l.Qty) || unknown[l.Src]) {
					unknown[l.Dst] = true
				}
			}
		}
		for _, n := range d.nodes {
			if r.Band(n.ID) == In {
				require.Equal(t, unknown[n.ID], math.IsNaN(r.Amount(n.ID)), "node %s", n.Code)
			}
		}
	})
}

// TestWhyIsTheFirstOfTheShortest lists every chain without a repeated node and picks by
// definition: in over content alone, the fewest codes, the first in order.
func TestWhyIsTheFirstOfTheShortest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		r := d.build(t).Walk(q)
		for _, n := range d.nodes {
			band := r.Band(n.ID)
			steps := r.Why(n.ID)
			if band == Out {
				require.Nil(t, steps)
				continue
			}
			starts := q.Starts
			if band == In {
				starts = sureOf(starts)
			}
			require.Equal(t, bestChain(d, q.Dir, starts, n.ID, band == In), Codes(steps), "node %s", n.Code)
			checkSteps(t, q.Dir, steps, band)
		}
	})
}

func checkSteps(t *rapid.T, dir Direction, steps []Step, band Band) {
	for i := 1; i < len(steps); i++ {
		a, b := steps[i-1].Node.ID, steps[i].Node.ID
		if dir == Back {
			a, b = b, a
		}
		require.Equal(t, []int64{a, b}, []int64{steps[i].Link.Src, steps[i].Link.Dst})
		if band == In {
			require.Equal(t, Content, steps[i].Link.Grade)
		}
	}
}

func bestChain(d drawn, dir Direction, starts []Start, aim int64, onlyContent bool) []string {
	byID := map[int64]Node{}
	for _, n := range d.nodes {
		byID[n.ID] = n
	}
	var best []string
	var follow func(id int64, codes []string, seen map[int64]bool)
	follow = func(id int64, codes []string, seen map[int64]bool) {
		if best != nil && len(codes) > len(best) {
			return
		}
		if id == aim && (best == nil || cmp.Or(cmp.Compare(len(codes), len(best)), slices.Compare(codes, best)) < 0) {
			best = slices.Clone(codes)
		}
		seen[id] = true
		for _, l := range d.links {
			from, to := l.Src, l.Dst
			if dir == Back {
				from, to = to, from
			}
			if from != id || seen[to] || onlyContent && l.Grade != Content {
				continue
			}
			next := codes
			if byID[to].Run == "" || byID[to].Run != byID[id].Run {
				next = append(slices.Clone(codes), byID[to].Shown())
			}
			follow(to, next, seen)
		}
		delete(seen, id)
	}
	for _, s := range starts {
		follow(s.ID, []string{byID[s.ID].Shown()}, map[int64]bool{})
	}
	return best
}

// TestTheOrderOfInputDoesNotMatter shuffles nodes and links and gives them other numbers.
func TestTheOrderOfInputDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		r := d.build(t).Walk(q)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		other := drawn{slices.Clone(d.nodes), slices.Clone(d.links)}
		rng.Shuffle(len(other.nodes), func(i, j int) { other.nodes[i], other.nodes[j] = other.nodes[j], other.nodes[i] })
		rng.Shuffle(len(other.links), func(i, j int) { other.links[i], other.links[j] = other.links[j], other.links[i] })
		renumber := func(id int64) int64 { return 1000 - id*3 }
		for i := range other.nodes {
			other.nodes[i].ID = renumber(other.nodes[i].ID)
		}
		for i := range other.links {
			other.links[i].Src, other.links[i].Dst = renumber(other.links[i].Src), renumber(other.links[i].Dst)
		}
		p := q
		p.Starts = nil
		for _, s := range q.Starts {
			p.Starts = append(p.Starts, Start{renumber(s.ID), s.Possible})
		}
		o := other.build(t).Walk(p)
		for _, n := range d.nodes {
			require.Equal(t, r.Band(n.ID), o.Band(renumber(n.ID)))
			require.Equal(t, Codes(r.Why(n.ID)), Codes(o.Why(renumber(n.ID))))
		}
	})
}

// TestKeepIsAWalkOfWhatIsKept compares a filtered walk with one of the filtered graph.
func TestKeepIsAWalkOfWhatIsKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, false)
		q := drawQuery(t, d)
		kept := drawn{d.nodes, slices.DeleteFunc(slices.Clone(d.links), func(l Link) bool { return l.Entry%3 == 0 })}
		want := kept.build(t).Walk(q)
		q.Keep = func(src, dst Node, l Link) bool {
			require.Equal(t, []int64{src.ID, dst.ID}, []int64{l.Src, l.Dst})
			return l.Entry%3 != 0
		}
		got := d.build(t).Walk(q)
		for _, n := range d.nodes {
			require.Equal(t, want.Band(n.ID), got.Band(n.ID))
			require.Equal(t, Codes(want.Why(n.ID)), Codes(got.Why(n.ID)))
		}
	})
}

func TestBuildRefuses(t *testing.T) {
	a, b := Node{ID: 1, Code: "A"}, Node{ID: 2, Code: "B"}
	for name, x := range map[string]struct {
		nodes []Node
		links []Link
		say   string
	}{
		"an unknown node":   {[]Node{a}, []Link{{Src: 1, Dst: 9}}, "not there"},
		"a node twice":      {[]Node{a, a}, nil, "stands twice"},
		"a ring of content": {[]Node{a, b}, []Link{{Src: 1, Dst: 2}, {Src: 2, Dst: 1}}, "went into itself"},
	} {
		_, err := Build(x.nodes, x.links)
		require.ErrorContains(t, err, x.say, name)
	}
	_, err := Build([]Node{a, b}, []Link{{Src: 1, Dst: 2}, {Src: 2, Dst: 1, Grade: Contact}})
	require.NoError(t, err, "contacts may form rings")
}
