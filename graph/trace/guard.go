package trace

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Stopped says which of the entries just recorded took something that had been stopped:
// beer, lots or units under a hold that stood before them, or that inherit from what is. What
// happened before a hold, and samples, destruction and going back to the supplier, are let
// through. A hold that came in together with an act can not have stopped it.
func Stopped(tx *store.Tx, entries []int64) (lots.Faults, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	g := &guard{tx: tx, r: &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}, walks: map[int]*graph.Reach{}}
	holds, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	for _, h := range holds {
		if h.entry < entries[0] {
			g.holds = append(g.holds, h)
		}
	}
	if len(g.holds) == 0 {
		return nil, nil
	}
	slices.SortStableFunc(g.holds, func(a, b held) int { return cmp.Compare(a.at.From, b.at.From) })
	var faults lots.Faults
	for i, entry := range entries {
		if what := g.taken(entry); what != "" {
			faults = append(faults, lots.Fault{Line: i + 1, Reason: what})
		}
	}
	if g.err != nil {
		return nil, g.err
	}
	return faults, tx.Err()
}

type guard struct {
	tx    *store.Tx
	r     *resolver
	holds []held
	walks map[int]*graph.Reach // by how many of the holds, in order of time, stood
	err   error
}

// taken says what stopped thing an entry took; empty where none.
func (g *guard) taken(entry int64) string {
	rec, ok := g.tx.Record(entry)
	if !ok {
		return ""
	}
	at, from := g.took(rec)
	for _, ref := range from {
		for _, code := range ref.Codes {
			for _, n := range g.nodesTaken(entry, ref.Kind, code) {
				if steps := g.heldBy(at, n.ID); steps != nil {
					return fmt.Sprintf("%s is on hold%s: nothing may be taken from it; release it, or go on with --override REASON", code, through(steps))
				}
			}
		}
	}
	return ""
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

// heldBy gives the chain by which a node was held at a time; nil where it was not.
func (g *guard) heldBy(at lots.When, node int64) []graph.Step {
	t := &target{}
	n := 0
	for _, h := range g.holds {
		if h.at.From > at.To {
			continue
		}
		n++
		for _, code := range h.subject.Codes {
			g.r.addHeld(t, h.subject.Kind, code, h.at)
		}
	}
	reach, ok := g.walks[n]
	if !ok {
		var err error
		if reach, err = walkHeld(g.tx, t); err != nil {
			g.err = err
			return nil
		}
		g.walks[n] = reach
	}
	if reach.Band(node) != graph.In {
		return nil
	}
	return reach.Why(node)
}

// through tells where a hold came from, where it is inherited.
func through(steps []graph.Step) string {
	if len(steps) < 2 {
		return ""
	}
	return " by " + steps[0].Node.Shown()
}
