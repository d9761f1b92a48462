package trace

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// UnitBooksAt are the books of a unit with only what had happened by a moment.
func UnitBooksAt(tx *store.Tx, unit string, until int64) Books { return booksUntil(tx, unit, until) }

// Taken is a thing that was taken while it was on hold.
type Taken struct {
	Entry  int64
	Code   string
	By     string // what the hold was of, where not of the thing itself
	At     lots.When
	Reason string // of the hold
}

// TakenWhileHeld lists what was taken at times that surely lie within a hold of it, or of what
// went into it by content, and after no release that let it go: by when things happened, whenever
// they were entered and whether or not the hold stands today.
func TakenWhileHeld(tx *store.Tx) ([]Taken, error) {
	holds, err := everyHold(tx)
	if err != nil || len(holds) == 0 {
		return nil, err
	}
	g := &guard{tx: tx, r: &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}}
	acts, err := g.acts(holds[0].at.To)
	if err != nil {
		return nil, err
	}
	var out []Taken
	for i, h := range holds {
		then := &heldThen{g: g, hold: h, later: g.releasedAfter(holds, i)}
		for _, a := range acts {
			if a.at.From < h.at.To || h.released && a.at.To >= h.until.From {
				continue
			}
			for _, ref := range a.refs {
				held, err := then.of(a, ref)
				if err != nil {
					return nil, err
				}
				by := ""
				if !slices.Contains(h.subject.Codes, ref.Code()) {
					by = h.subject.Codes[0]
				}
				if held {
					out = append(out, Taken{a.entry, ref.Code(), by, a.at, h.reason})
				}
			}
		}
	}
	return out, tx.Err()
}

// pastHold is a hold from its beginning to its release.
type pastHold struct {
	held
	released bool
	until    lots.When
}

// everyHold lists all holds, released ones too, in order of time.
func everyHold(tx *store.Tx) ([]pastHold, error) {
	open, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Records("holds")
	if err != nil {
		return nil, err
	}
	var out []pastHold
	for _, rec := range rows {
		if h := rec.(*lots.Hold); h.Released {
			out = append(out, pastHold{held{h.Subject, h.At, h.Seq, h.Reason}, true, h.ReleasedAt})
		}
	}
	for _, h := range open {
		out = append(out, pastHold{held: h})
	}
	slices.SortStableFunc(out, func(a, b pastHold) int { return cmp.Or(cmp.Compare(a.at.To, b.at.To), cmp.Compare(a.entry, b.entry)) })
	return out, nil
}

// act is what an entry took, and when.
type act struct {
	entry int64
	at    lots.When
	refs  []lots.Ref // of one code each
}

// acts lists what was taken at or after a moment.
func (g *guard) acts(from int64) ([]act, error) {
	var out []act
	for _, sheet := range []string{"brew_inputs", "additions", "transfers", "circulations", "cleans", "tippings", "feeds", "shipments", "removals"} {
		rows, err := g.tx.Records(sheet)
		if err != nil {
			return nil, err
		}
		for _, rec := range rows {
			at, refs := g.took(rec)
			if at.From < from {
				continue
			}
			a := act{entry: rec.Entry(), at: at}
			for _, ref := range refs {
				for _, code := range ref.Codes {
					if !ref.OneOf() || ref.Kind == lots.KindVessel && sheet == "circulations" {
						a.refs = append(a.refs, lots.Ref{Kind: ref.Kind, Codes: []string{code}})
					} // which one of several was taken, nobody knows
				}
			}
			if len(a.refs) > 0 {
				out = append(out, a)
			}
		}
	}
	return out, nil
}

// letGoAt is a release, and when it was.
type letGoAt struct {
	at    int64
	nodes []int64
}

// releasedAfter lists the releases of other holds for the same reason that came after a hold
// began, in order of time: a release lets go of no other, as in the guard.
func (g *guard) releasedAfter(holds []pastHold, i int) []letGoAt {
	var out []letGoAt
	for k, h := range holds {
		if k == i || !h.released || h.reason != holds[i].reason || h.until.From < holds[i].at.To {
			continue
		}
		t := &target{}
		for _, code := range h.subject.Codes {
			g.r.addHeld(t, h.subject.Kind, code, h.at)
		}
		r := letGoAt{at: h.until.To}
		for _, s := range t.starts {
			r.nodes = append(r.nodes, s.ID)
		}
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b letGoAt) int { return cmp.Compare(a.at, b.at) })
	return out
}

// heldThen is what one hold stopped as time went on and things were let go.
type heldThen struct {
	g     *guard
	hold  pastHold
	later []letGoAt
	walks map[int]*stopped // by how many had been let go
}

// stopped is what a hold reaches by content: its nodes, and their codes and vessels.
type stopped struct {
	nodes map[int64]bool
	names map[string]bool
}

// of reports whether what an act took was surely held then.
func (h *heldThen) of(a act, ref lots.Ref) (bool, error) {
	gone := 0
	for gone < len(h.later) && h.later[gone].at <= a.at.From {
		gone++
	}
	s, err := h.stopped(gone)
	if err != nil || !s.names[ref.Code()] {
		return false, err
	}
	return slices.ContainsFunc(h.g.nodesTaken(a.entry, ref.Kind, ref.Code()), func(n store.Node) bool { return s.nodes[n.ID] }), nil
}

// stopped walks forward from what is held, and not through the first of what was let go.
func (h *heldThen) stopped(gone int) (*stopped, error) {
	if s := h.walks[gone]; s != nil {
		return s, nil
	}
	t, cut := &target{}, map[int64]bool{}
	for _, code := range h.hold.subject.Codes {
		h.g.r.addHeld(t, h.hold.subject.Kind, code, h.hold.at)
	}
	for _, r := range h.later[:gone] {
		for _, id := range r.nodes {
			cut[id] = true
		}
	}
	reach, err := walkHeld(h.g.tx, t, cut)
	if err != nil {
		return nil, err
	}
	s := &stopped{map[int64]bool{}, map[string]bool{}}
	for n, band := range reach.All() {
		if band == graph.In {
			vessel, _, _ := strings.Cut(n.Code, "@")
			s.nodes[n.ID], s.names[n.Code], s.names[vessel] = true, true, true
		}
	}
	if h.walks == nil {
		h.walks = map[int]*stopped{}
	}
	h.walks[gone] = s
	return s, nil
}
