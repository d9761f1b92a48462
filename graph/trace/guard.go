package trace

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Stopped says which of the entries just recorded took something that had been stopped:
// beer, lots or units under a hold that stood before them, or that inherit from what is. A
// release lets go what it names, and what comes through it, of every hold that is older. What
// happened before a hold, and samples, destruction and going back to the supplier, are let
// through. A hold that came in together with an act can not have stopped it.
func Stopped(tx *store.Tx, entries []int64) (lots.Faults, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	g, err := newGuard(tx, entries[0])
	if err != nil || len(g.holds) == 0 {
		return nil, err
	}
	var faults lots.Faults
	for i, entry := range entries {
		if taken := g.taken(entry); len(taken) > 0 {
			faults = append(faults, lots.Fault{Line: i + 1, Reason: taken[0].why})
		}
	}
	return faults, cmp.Or(g.err, tx.Err())
}

// Takes says for each stopped thing that an entry takes, as it reads now, why that may not
// be: by its code. It is asked before and after a correction, which may newly take one.
func Takes(tx *store.Tx, entry int64) (map[string]string, error) {
	g, err := newGuard(tx, math.MaxInt64)
	if err != nil || len(g.holds) == 0 {
		return nil, err
	}
	out := map[string]string{}
	for _, s := range g.taken(entry) {
		out[s.code] = s.why
	}
	return out, cmp.Or(g.err, tx.Err())
}

// newGuard reads the holds and releases recorded before an entry.
func newGuard(tx *store.Tx, before int64) (*guard, error) {
	g := &guard{tx: tx, r: &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}, walks: map[[2]int]*graph.Reach{}}
	holds, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	oldest := before
	for _, h := range holds {
		if h.entry < before {
			g.holds = append(g.holds, h)
			oldest = min(oldest, h.entry)
		}
	}
	if len(g.holds) == 0 {
		return g, nil
	}
	slices.SortStableFunc(g.holds, func(a, b held) int { return cmp.Compare(a.at.From, b.at.From) })
	g.releases, err = g.letGo(oldest, before)
	return g, err
}

// LetThrough says which of the entries just recorded took something that is on hold, or holds
// what is, and was not stopped: because it happened before the hold, or because a release let
// it go by name. That stands, and whoever enters it should know.
func LetThrough(tx *store.Tx, entries []int64) ([]string, error) {
	g, err := newGuard(tx, math.MaxInt64)
	if err != nil || len(g.holds) == 0 {
		return nil, err
	}
	g.releases = nil // holds to the letter
	var out []string
	for _, entry := range entries {
		rec, ok := tx.Record(entry)
		if !ok {
			continue
		}
		at, from := g.took(rec)
		for _, ref := range from {
			for _, code := range ref.Codes {
				if text := g.letThrough(at, code, g.nodesTaken(entry, ref.Kind, code)); text != "" {
					out = append(out, text)
				}
			}
		}
	}
	return out, cmp.Or(g.err, tx.Err())
}

// letThrough says why what was taken at a time was not stopped although it is on hold; empty where it is not.
func (g *guard) letThrough(at lots.When, code string, nodes []store.Node) string {
	ever := lots.When{From: math.MaxInt64, To: math.MaxInt64}
	for _, n := range nodes {
		if steps := g.heldBy(at, n.ID); steps != nil {
			return fmt.Sprintf("a release let %s go; what went into it, %s, is still on hold", code, steps[0].Node.Shown())
		}
		if g.heldBy(ever, n.ID) != nil {
			return fmt.Sprintf("%s is on hold now: what was recorded happened before that, and what it went into is held too", code)
		}
	}
	return ""
}

type guard struct {
	tx       *store.Tx
	r        *resolver
	holds    []held
	releases []release
	walks    map[[2]int]*graph.Reach // by how many of the holds, in order of time, stood, and the first release after them
	err      error
}

// release lets go of some nodes.
type release struct {
	entry int64
	nodes []int64
}

// letGo lists the releases between two entries, in order: an older one lets go of no open hold.
func (g *guard) letGo(after, before int64) ([]release, error) {
	rows, err := g.tx.Records("holds")
	if err != nil {
		return nil, err
	}
	last := g.tx.LastCorrections("holds")
	var out []release
	for _, rec := range rows {
		h := rec.(*lots.Hold)
		if !h.Released {
			continue
		}
		r := release{entry: last[h.Seq]}
		if r.entry <= after || r.entry >= before {
			continue
		}
		t := &target{}
		for _, code := range h.Subject.Codes {
			g.r.addHeld(t, h.Subject.Kind, code, h.At)
		}
		for _, s := range t.starts {
			r.nodes = append(r.nodes, s.ID)
		}
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b release) int { return cmp.Compare(a.entry, b.entry) })
	return out, nil
}

// stop is a stopped thing that was taken, and why that may not be.
type stop struct{ code, why string }

// taken lists what stopped things an entry took.
func (g *guard) taken(entry int64) []stop {
	rec, ok := g.tx.Record(entry)
	if !ok {
		return nil
	}
	var out []stop
	at, from := g.took(rec)
	for _, ref := range from {
		for _, code := range ref.Codes {
			for _, n := range g.nodesTaken(entry, ref.Kind, code) {
				if steps := g.heldBy(at, n.ID); steps != nil {
					out = append(out, stop{code, fmt.Sprintf("%s is on hold%s: nothing may be taken from it; release it, or go on with --override REASON", code, through(steps))})
					break
				}
			}
		}
	}
	return out
}

// took tells when an act took things, and which.
func (g *guard) took(rec lots.Record) (lots.When, []lots.Ref) {
	switch x := rec.(type) {
	case *lots.BrewInput:
		return g.inputTime(x), []lots.Ref{x.From}
	case *lots.Addition:
		return x.At, []lots.Ref{x.From}
	case *lots.Transfer:
		return x.Started, []lots.Ref{x.From}
	case *lots.Circulation:
		return x.Started, []lots.Ref{{Kind: lots.KindVessel, Codes: x.Vessels}}
	case *lots.Feed:
		return fedAt(g.tx, x), []lots.Ref{x.From}
	case *lots.Shipment:
		return x.At, []lots.Ref{x.Unit}
	case *lots.Removal:
		if x.Reason == "taproom" {
			return x.At, []lots.Ref{x.Subject}
		}
	}
	return lots.When{}, nil
}

// inputTime is when a brew took an input: its own time, or the brew's.
func (g *guard) inputTime(x *lots.BrewInput) lots.When {
	if x.HasAt {
		return x.At
	}
	for _, rec := range g.tx.Touching(x.Brew) {
		if b, ok := rec.(*lots.Brew); ok && b.Brew == x.Brew {
			if x.AtCast {
				return b.CastOut
			}
			return b.Started
		}
	}
	return lots.When{}
}

// nodesTaken finds the nodes that an entry took of a thing: of a vessel the fills it drew on.
func (g *guard) nodesTaken(entry int64, kind lots.Kind, code string) []store.Node {
	if kind != lots.KindVessel {
		return g.tx.NodesNamed(code)
	}
	var out []store.Node
	for _, d := range g.tx.DrawsOf(entry) {
		if d.Vessel == code {
			out = append(out, g.tx.NodesNamed(lineage.FillRef(code, d.Fill, g.r.site.Zone).Code)...)
		}
	}
	return out
}

// heldBy gives the chain by which a node was held at a time; nil where it was not. Holds
// with the same releases after them are walked together.
func (g *guard) heldBy(at lots.When, node int64) []graph.Step {
	groups := map[int][]held{}
	n := 0
	for _, h := range g.holds {
		if h.at.From > at.To {
			break // they are in order of time
		}
		n++
		after, _ := slices.BinarySearchFunc(g.releases, h.entry, func(r release, entry int64) int { return cmp.Compare(r.entry, entry) })
		groups[after] = append(groups[after], h)
	}
	for _, after := range slices.Sorted(maps.Keys(groups)) {
		if reach := g.walk(n, after, groups[after]); reach != nil && reach.Band(node) == graph.In {
			return reach.Why(node)
		}
	}
	return nil
}

// walk goes forward from held things, and not through what was released since; nil on an error.
func (g *guard) walk(n, after int, holds []held) *graph.Reach {
	key := [2]int{n, after}
	reach, ok := g.walks[key]
	if ok {
		return reach
	}
	from := &target{}
	cut := map[int64]bool{}
	for _, r := range g.releases[after:] {
		for _, id := range r.nodes {
			cut[id] = true
		}
	}
	for _, h := range holds {
		of := &target{}
		for _, code := range h.subject.Codes {
			g.r.addHeld(of, h.subject.Kind, code, h.at)
		}
		for _, s := range of.starts {
			if h.subject.Kind != lots.KindRun || s.Kind != graph.Unit {
				delete(cut, s.ID) // a hold of its own: who released another one left this
			}
		}
		from.merge(of)
	}
	reach, err := walkHeld(g.tx, from, cut)
	if err != nil {
		g.err = err
		return nil
	}
	g.walks[key] = reach
	return reach
}

// through tells where a hold came from, where it is inherited.
func through(steps []graph.Step) string {
	if len(steps) < 2 {
		return ""
	}
	return " by " + steps[0].Node.Shown()
}
