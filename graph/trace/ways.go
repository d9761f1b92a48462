package trace

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
)

// way is a kind of link that a decision may turn on: whether yeast carried it, whether a heel, a shared path or
// what nobody knows for sure counts.
type way struct {
	name, text string
	uses       func(src, dst graph.Node, l graph.Link) bool
}

var ways = []way{
	{"yeast", "yeast", func(src, dst graph.Node, _ graph.Link) bool { return crops(src, dst) }},
	{"heel", "a heel", func(_, _ graph.Node, l graph.Link) bool { return l.Cause == graph.Heel }},
	{"path", "a shared path", func(_, _ graph.Node, l graph.Link) bool { return l.Cause == graph.Path }},
	{wayUncertain, "what is uncertain", func(_, _ graph.Node, l graph.Link) bool {
		return l.Grade == graph.Contact && l.Cause != graph.Heel && l.Cause != graph.Path
	}},
}

// What a unit's way says besides the kinds of link that no chain to it does without, which are joined with +.
const (
	wayUncertain = "uncertain" // also by a start that is only possibly meant
	wayContent   = "content"   // over what was moved or used, and past no crop
	wayAny       = "any-of"    // several kinds, any one of which is enough
	wayNamed     = "named"     // it is a start itself
	wayKept      = "kept"      // the walk does not come to it any more
)

// ByWay counts the units of an answer that come in one way.
type ByWay struct {
	Way   string `json:"way"`
	Text  string `json:"text"`
	Units int    `json:"units"`
	Cases int64  `json:"cases"` // of whole units
	Kegs  int64  `json:"kegs"`
}

// Ways says of each unit how it comes into the answer, and counts the units by that: content first, then what
// hangs on one kind of link, then the rest.
func (a *Answer) Ways() []ByWay {
	l := a.asked.leaveOutEach()
	nodes := a.asked.unitNodes()
	by := map[string]*ByWay{}
	for i := range a.Units {
		u, text := &a.Units[i], ""
		id, is := nodes[u.Code]
		u.Way, text = l.wayTo(id, is)
		if by[u.Way] == nil {
			by[u.Way] = &ByWay{Way: u.Way, Text: text}
		}
		by[u.Way].add(*u)
	}
	return sortWays(by)
}

// leftOut is a walk made again with kinds of link left out: a kind decides where the walk does not come to a unit
// without it.
type leftOut struct {
	*asked
	each []*graph.Reach // of the ways in order: with that one left out
	all  *graph.Reach   // with all of them left out
}

func (q *asked) leaveOutEach() leftOut {
	l := leftOut{asked: q, all: q.without(ways...)}
	for _, w := range ways {
		l.each = append(l.each, q.without(w))
	}
	return l
}

// wayTo names the way to a unit, in a word and for people.
func (l leftOut) wayTo(id int64, walked bool) (name, text string) {
	if !walked || l.reach.Band(id) == graph.Out {
		return wayKept, "kept: a correction took it out, and nobody has signed for that"
	}
	if _, start := l.startOf[id]; start {
		return wayNamed, "named itself, as a suspect or by decision"
	}
	if l.all.Band(id) != graph.Out {
		return wayContent, "directly, through beer or packaging"
	}
	if needs := l.needed(id); len(needs) > 0 {
		return joinWays(needs)
	}
	return wayAny, "by any one of several of these ways"
}

// needed lists the ways that no chain to a unit does without.
func (l leftOut) needed(id int64) (needs []way) {
	for i, w := range ways {
		if l.each[i].Band(id) == graph.Out {
			needs = append(needs, w)
		}
	}
	return needs
}

func (w *ByWay) add(u Unit) {
	w.Units++
	if u.Kind == "keg" {
		w.Kegs += u.Quantity
	} else {
		w.Cases += u.Quantity
	}
}

func joinWays(needs []way) (name, text string) {
	var names, texts []string
	for _, w := range needs {
		names, texts = append(names, w.name), append(texts, w.text)
	}
	last := len(texts) - 1
	if text = texts[last]; last > 0 {
		text = strings.Join(texts[:last], ", ") + " and " + text + " together"
	}
	return strings.Join(names, "+"), "only by " + text
}

// sortWays puts content first, then the single kinds, then what takes several, then the rest.
func sortWays(by map[string]*ByWay) []ByWay {
	rank := map[string]int{wayContent: 1, wayAny: 20, wayNamed: 30, wayKept: 31}
	for i, w := range ways {
		rank[w.name] = 2 + i
	}
	out := []ByWay{}
	for _, name := range slices.Sorted(maps.Keys(by)) {
		out = append(out, *by[name])
	}
	place := func(w ByWay) int { return cmp.Or(rank[w.Way], 10) }
	slices.SortStableFunc(out, func(x, y ByWay) int { return cmp.Compare(place(x), place(y)) })
	return out
}

// without walks again with kinds of link left out, past the same cuts and for the same hazard.
func (q *asked) without(left ...way) *graph.Reach {
	query := graph.Query{Dir: q.dir, Keep: func(src, dst graph.Node, l graph.Link) bool {
		return q.counts(src, dst, l) && !slices.ContainsFunc(left, func(w way) bool { return w.uses(src, dst, l) })
	}}
	sure := slices.ContainsFunc(left, func(w way) bool { return w.name == wayUncertain })
	for _, s := range q.target.starts {
		if !s.possible || !sure {
			query.Starts = append(query.Starts, graph.Start{ID: s.ID, Possible: s.possible})
		}
	}
	return q.reached.Walk(query)
}

func (q *asked) unitNodes() map[string]int64 {
	out := map[string]int64{}
	for id, n := range q.reached.Nodes {
		if n.Kind == graph.Unit {
			out[n.Code] = id
		}
	}
	return out
}
