package graph

import (
	"database/sql"
	"encoding/json"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"
	"pgregory.net/rapid"
)

// TestBandsAsGonumWalks compares bands with two plain walks by gonum: over content from
// the sure starts, and over everything from all of them.
func TestBandsAsGonumWalks(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		r := d.build(t).Walk(q)
		sure := reachable(d, q.Dir, idsOf(sureOf(q.Starts)), isContent)
		any := reachable(d, q.Dir, idsOf(q.Starts), isAny)
		for _, n := range d.nodes {
			want := Out
			if any[n.ID] {
				want = Possible
			}
			if sure[n.ID] {
				want = In
			}
			require.Equal(t, want.String(), r.Band(n.ID).String(), "%s %s", n.Kind, n.Code)
		}
		require.Equal(t, Out, r.Band(12345), "a number that no node has")
		require.Nil(t, r.Why(12345))
	})
}

// reachSQL walks a link table: ?1 is the starts, ?2 the worst grade that counts.
var reachSQL = map[Direction]string{
	Forward: `WITH RECURSIVE reach(id) AS (SELECT value FROM json_each(?1) UNION SELECT dst FROM link JOIN reach ON src = id WHERE grade <= ?2)
		SELECT id FROM reach JOIN node USING (id) ORDER BY id`,
	Back: `WITH RECURSIVE reach(id) AS (SELECT value FROM json_each(?1) UNION SELECT src FROM link JOIN reach ON dst = id WHERE grade <= ?2)
		SELECT id FROM reach JOIN node USING (id) ORDER BY id`,
}

// TestBandsAsSQL compares bands with SQLite's recursive queries.
func TestBandsAsSQL(t *testing.T) {
	db, err := sql.Open("sqlite", ":memory:")
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	defer db.Close()
	_, err = db.Exec("CREATE TABLE link(src INTEGER, dst INTEGER, grade INTEGER); CREATE TABLE node(id INTEGER PRIMARY KEY)")
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true)
		q := drawQuery(t, d)
		fillTables(t, db, d)
		r := d.build(t).Walk(q)
		in := ask(t, db, q.Dir, sureOf(q.Starts), Content)
		reached := ask(t, db, q.Dir, q.Starts, Contact)
		var gotIn, gotReached []int64
		for n, band := range r.All() {
			gotReached = append(gotReached, n.ID)
			if band == In {
				gotIn = append(gotIn, n.ID)
			}
		}
		slices.Sort(gotIn)
		slices.Sort(gotReached)
		require.Equal(t, in, gotIn)
		require.Equal(t, reached, gotReached)
	})
}

func fillTables(t *rapid.T, db *sql.DB, d drawn) {
	_, err := db.Exec("DELETE FROM link; DELETE FROM node")
	require.NoError(t, err)
	for _, n := range d.nodes {
		_, err := db.Exec("INSERT INTO node VALUES (?)", n.ID)
		require.NoError(t, err)
	}
	for _, l := range d.links {
		_, err := db.Exec("INSERT INTO link VALUES (?,?,?)", l.Src, l.Dst, int64(l.Grade))
		require.NoError(t, err)
	}
}

func ask(t *rapid.T, db *sql.DB, dir Direction, starts []Start, worst Grade) []int64 {
	list, err := json.Marshal(append([]int64{}, idsOf(starts)...))
	require.NoError(t, err)
	rows, err := db.Query(reachSQL[dir], string(list), int64(worst))
	require.NoError(t, err)
	defer rows.Close()
	var out []int64
	for rows.Next() {
		var id int64
		require.NoError(t, rows.Scan(&id))
		out = append(out, id)
	}
	require.NoError(t, rows.Err())
	return out
}

// TestTheOrderOfInputDoesNotMatter shuffles nodes, links and starts and gives nodes other
// numbers: bands, amounts and every step of every chain stay, down to the entry it rests on.
func TestTheOrderOfInputDoesNotMatter(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true).scaled()
		q := drawQuery(t, d)
		renumber := func(id int64) int64 { return 1000 - id*3 }
		other := drawn{rapid.Permutation(d.nodes).Draw(t, "nodes again"), rapid.Permutation(d.links).Draw(t, "links again")}
		for i := range other.nodes {
			other.nodes[i].ID = renumber(other.nodes[i].ID)
		}
		for i := range other.links {
			other.links[i].Src, other.links[i].Dst = renumber(other.links[i].Src), renumber(other.links[i].Dst)
		}
		p := q
		p.Starts = rapid.Permutation(q.Starts).Draw(t, "starts again")
		for i := range p.Starts {
			p.Starts[i].ID = renumber(p.Starts[i].ID)
		}
		want, got := d.build(t).Walk(q), other.build(t).Walk(p)
		for _, n := range d.nodes {
			sameOf(t, n, want, got, n.ID, renumber(n.ID))
		}
	})
}

// sameOf requires that two walks say the same of a node, by its number in each.
func sameOf(t require.TestingT, n Node, want, got *Reach, wantID, gotID int64) {
	require.Equal(t, want.Band(wantID), got.Band(gotID), "%s %s", n.Kind, n.Code)
	require.Equal(t, spoken(want.Why(wantID)), spoken(got.Why(gotID)), "%s %s", n.Kind, n.Code)
	require.InDelta(t, want.Amount(wantID), got.Amount(gotID), 1e-9, "%s %s", n.Kind, n.Code)
	require.InDelta(t, want.Left(wantID), got.Left(gotID), 1e-9, "%s %s", n.Kind, n.Code)
}

type spokenStep struct {
	kind       Kind
	code, show string
	cause      Cause
	entry      int64
}

// spoken is what a chain says whatever numbers its nodes have.
func spoken(steps []Step) []spokenStep {
	var out []spokenStep
	for _, s := range steps {
		out = append(out, spokenStep{s.Node.Kind, s.Node.Code, s.Node.Shown(), s.Link.Cause, s.Link.Entry})
	}
	return out
}

// TestKeepIsAWalkOfWhatIsKept compares a filtered walk with one of the filtered graph.
func TestKeepIsAWalkOfWhatIsKept(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true).scaled()
		q := drawQuery(t, d)
		kept := drawn{d.nodes, slices.DeleteFunc(slices.Clone(d.links), func(l Link) bool { return l.Entry%3 == 0 })}
		want := kept.build(t).Walk(q)
		q.Keep = func(src, dst Node, l Link) bool {
			require.Equal(t, []int64{src.ID, dst.ID}, []int64{l.Src, l.Dst})
			return l.Entry%3 != 0
		}
		got := d.build(t).Walk(q)
		for _, n := range d.nodes {
			sameOf(t, n, want, got, n.ID, n.ID)
		}
	})
}

// TestWalksLeaveNothingBehind asks one graph many things, several at once: each answer is
// that of a graph which was never asked before.
func TestWalksLeaveNothingBehind(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, true).scaled()
		g := d.build(t)
		queries := make([]Query, 6)
		answers := make([]*Reach, len(queries))
		for i := range queries {
			queries[i] = drawQuery(t, d)
		}
		for half := range 2 {
			var wg sync.WaitGroup
			for i := half * 3; i < half*3+3; i++ {
				wg.Go(func() { answers[i] = g.Walk(queries[i]) })
			}
			wg.Wait()
		}
		for i, q := range queries {
			want := d.build(t).Walk(q)
			for _, n := range d.nodes {
				sameOf(t, n, want, answers[i], n.ID, n.ID)
			}
		}
	})
}

func TestBuildRefuses(t *testing.T) {
	a, b, c := Node{ID: 1, Code: "A"}, Node{ID: 2, Code: "B"}, Node{ID: 3, Code: "C"}
	for _, x := range []struct {
		name  string
		nodes []Node
		links []Link
		say   string
	}{
		{"a source that is not there", []Node{a}, []Link{{Src: 9, Dst: 1}}, "the link from node 9 to node 1 names a node that is not there"},
		{"a product that is not there", []Node{a}, []Link{{Src: 1, Dst: 9}}, "the link from node 1 to node 9 names a node that is not there"},
		{"a number given twice", []Node{a, {ID: 1, Code: "Z"}}, nil, "node 1 stands twice"},
		{"what went into itself", []Node{a}, []Link{{Src: 1, Dst: 1}}, "lot A went into itself"},
		{"a ring of content", []Node{a, b, c}, []Link{{Src: 2, Dst: 3}, {Src: 3, Dst: 2}}, "lot B went into itself"},
	} {
		t.Run(x.name, func(t *testing.T) {
			_, err := Build(x.nodes, x.links)
			require.ErrorContains(t, err, x.say)
		})
	}
	_, err := Build([]Node{a, b}, []Link{{Src: 1, Dst: 2}, {Src: 2, Dst: 1, Grade: Contact}})
	require.NoError(t, err, "contacts may close a ring")
}

// TestBuildRefusesEveryRing turns one content link of a random lineage round: it is refused just
// where gonum finds that the link's product could be come to from its source another way.
func TestBuildRefusesEveryRing(t *testing.T) {
	every(t, func(t *rapid.T) {
		d := draw(t, true)
		i := slices.IndexFunc(d.links, isContent)
		if i < 0 {
			t.Skip("no content")
		}
		l := &d.links[i]
		rest := drawn{d.nodes, slices.Delete(slices.Clone(d.links), i, i+1)}
		ring := reachable(rest, Forward, []int64{l.Src}, isContent)[l.Dst]
		l.Src, l.Dst = l.Dst, l.Src
		_, err := Build(d.nodes, d.links)
		require.Equal(t, ring, err != nil, "%v", err)
	})
}
