package trace

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// heldNodes walks forward from everything that is stopped: what it reaches over
// content alone is held too, what it reaches otherwise possibly.
func heldNodes(tx *store.Tx) (*graph.Reach, error) {
	subjects, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	t := &target{}
	for _, s := range subjects {
		for _, code := range s.subject.Codes {
			r.addHeld(t, s.subject.Kind, code, s.at)
		}
	}
	return walkHeld(tx, t, nil)
}

// walkHeld walks forward from what is stopped, and not through the nodes cut out.
func walkHeld(tx *store.Tx, t *target, cut map[int64]bool) (*graph.Reach, error) {
	query := graph.Query{Dir: graph.Forward}
	if len(cut) > 0 {
		query.Keep = func(src, dst graph.Node, _ graph.Link) bool { return !cut[src.ID] && !cut[dst.ID] }
	}
	var ids []int64
	for _, s := range t.starts {
		if cut[s.ID] {
			continue
		}
		ids = append(ids, s.ID)
		query.Starts = append(query.Starts, graph.Start{ID: s.ID, Possible: s.possible})
	}
	reached, err := tx.Reach(graph.Forward, ids)
	if err != nil {
		return nil, err
	}
	return reached.Walk(query), tx.Err()
}

// held is one thing stopped and not let go.
type held struct {
	subject lots.Ref
	at      lots.When
	entry   int64
	reason  string
}

// openHolds lists what is stopped. A receipt that came in on hold is stopped from its
// receipt on, until a hold row of that very moment says that it was let go.
func openHolds(tx *store.Tx) ([]held, error) {
	holds, receipts := tx.Stops(tx.Recorded().Unix())
	var out []held
	for _, h := range holds {
		out = append(out, held{h.Subject, h.At, h.Seq, h.Reason})
	}
	for _, r := range receipts {
		out = append(out, held{lots.Ref{Kind: lots.KindLot, Codes: []string{r.Lot}}, r.At, r.Seq, "received on hold"})
	}
	return out, tx.Err()
}

// addHeld starts at what a hold of a thing stops: a run's units besides its stretches, a vessel's fill at the time.
func (r *resolver) addHeld(t *target, kind lots.Kind, code string, at lots.When) {
	switch kind {
	case lots.KindRun:
		r.addRun(t, code)
		for _, rec := range r.tx.Touching(code) {
			if p, ok := rec.(*lots.Packed); ok && p.Run == code {
				r.addNode(t, "unit", p.Unit, false)
			}
		}
	case lots.KindVessel:
		day := span{at.From, at.To + 1}
		var last store.Node // what it held last before: where the books say it is empty, somebody may know better
		for _, n := range r.tx.NodesOf(code) {
			switch {
			case n.Kind != graph.Fill:
			case day.meets(n.Since, endOf(n)):
				t.add(kindFill, n.Code, false, n)
			case n.Since < day.from:
				last = n
			}
		}
		if len(t.starts) == 0 && last.ID != 0 {
			t.add(kindFill, last.Code, false, last)
		}
	default:
		r.addNode(t, string(kind), code, false)
	}
}

// Standing is what is stopped now: whatever is held, and all that inherits it.
type Standing struct {
	r     *resolver
	reach *graph.Reach
}

// StandingHolds works out once what is stopped, for any number of questions about it.
func StandingHolds(tx *store.Tx) (*Standing, error) {
	reach, err := heldNodes(tx)
	if err != nil {
		return nil, err
	}
	return &Standing{&resolver{tx: tx, dir: graph.Forward, site: tx.Site()}, reach}, nil
}

// Goods lists the lots and units that are stopped for sure.
func (s *Standing) Goods() []string {
	var out []string
	for n, band := range s.reach.All() {
		if (n.Kind == graph.Unit || n.Kind == graph.Lot) && band == graph.In {
			out = append(out, n.Code)
		}
	}
	slices.Sort(out)
	return out
}

// On tells whether a thing is stopped, itself or by what went into it: In where that is sure,
// Possible where it is not ruled out. Of a vessel it is what it holds now, or held last.
func (s *Standing) On(kind lots.Kind, code string) (graph.Band, error) {
	band := graph.Out
	t, err := s.r.target(reading{kind: string(kind), code: code})
	if err != nil && lots.KindOf(err) == lots.NotFound {
		return band, nil // nothing in the lineage is linked to it yet
	}
	if err != nil {
		return band, err
	}
	for _, start := range t.starts {
		band = max(band, s.reach.Band(start.ID))
	}
	return band, s.r.tx.Err()
}
