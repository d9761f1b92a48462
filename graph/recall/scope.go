package recall

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/store"
)

// Scope is what is affected by the records as they stand, and the lead's decisions.
type Scope struct {
	Answer *trace.Answer // with what is kept
	Kept   []Item        // of the last version: a correction took them out, nobody signed for it yet
	// Declared are units whose product declares the allergen: proposed for exclusion.
	Declared []string
	// Lost are suspects and decisions that can not be understood any more.
	Lost []Lost
	// LeftOut are shipments of affected units that carried nothing affected.
	LeftOut []LeftOut

	before map[int64]lots.When // entries of shipments and returns that were over before anything affected stood on their unit
	heldBy map[string][]int64  // what the recall holds itself
}

// If is a change of the decisions, to see what it would do.
type If struct {
	Include, Exclude []string
	Suspects         []string
	Hazard           graph.Hazard // empty: as it is
}

// Scope computes the scope from the records as they stand.
func (r *Recall) Scope(tx *store.Tx) (*Scope, error) {
	a, lost, err := r.trace(tx, r.Suspects, r.Hazard, r.Decisions)
	if err != nil {
		return nil, err
	}
	s := &Scope{Answer: a, Lost: lost, heldBy: r.heldBy}
	if err := r.keep(tx, s); err != nil {
		return nil, err
	}
	s.leaveOut(tx)
	if r.Hazard == graph.Allergen {
		s.Declared, err = declared(tx, r.Suspects, a)
	}
	return s, err
}

// ScopeIf computes what the scope would be with other decisions, without taking them.
func (r *Recall) ScopeIf(tx *store.Tx, change If) (*Scope, error) {
	for _, codes := range [][]string{change.Suspects, change.Include, change.Exclude} {
		for _, c := range codes {
			if err := trace.Understood(tx, c); err != nil {
				return nil, err
			}
		}
	}
	other := *r
	other.Suspects = append(slices.Clone(r.Suspects), change.Suspects...)
	other.Hazard = cmp.Or(change.Hazard, r.Hazard)
	other.Decisions = slices.Clone(r.Decisions)
	for choice, codes := range map[string][]string{Include: spelled(tx, change.Include), Exclude: spelled(tx, change.Exclude)} {
		for _, c := range codes {
			other.Decisions = slices.DeleteFunc(other.Decisions, func(d Decision) bool { return d.Code == c })
			other.Decisions = append(other.Decisions, Decision{Code: c, Choice: choice})
		}
	}
	return other.Scope(tx)
}

// trace follows the suspects and what was included, past what was excluded. What can not be
// understood any more is told of and passed over: a row taken back must not stop a recall.
func (r *Recall) trace(tx *store.Tx, suspects []string, hazard graph.Hazard, decisions []Decision) (*trace.Answer, []Lost, error) {
	suspects, decisions, lost := r.understood(tx, suspects, decisions)
	q := trace.Question{Dir: graph.Forward, Hazard: hazard, From: suspects}
	for _, d := range decisions {
		if d.Choice == Include {
			q.From = append(q.From, d.Code)
		} else {
			q.Without = append(q.Without, d.Code)
		}
	}
	a, err := trace.Ask(tx, q)
	return a, lost, err
}

// keep puts into a scope what stood in the last version and was taken out by the
// records alone: goods that were called back are not let go because a row was corrected.
func (r *Recall) keep(tx *store.Tx, s *Scope) error {
	last := r.Latest()
	if last == nil {
		return nil
	}
	then, _, err := r.trace(tx, last.Suspects, last.Hazard, last.Decisions)
	if err != nil {
		return err
	}
	stays, now, had := keysOf(itemsOf(then)), keysOf(itemsOf(s.Answer)), keysOf(last.Items)
	var kept []trace.Kept
	goes := func(i Item) bool {
		d, _ := r.decision(i.Code)
		return stays[i.key()] || now[i.key()] || d.Choice == Exclude || r.signedAt[i.Code] > last.Entry
	}
	for _, i := range last.Items {
		if i.Kind == "consignee" || goes(i) || i.Kind == "fill" && renamed(tx, i.Code, s.Answer, had) {
			continue
		}
		i.Kept = true
		s.Kept = append(s.Kept, i)
		kept = append(kept, trace.Kept{Kind: i.Kind, Code: i.Code, Band: i.Band, Affected: i.Affected})
	}
	if err := s.Answer.Adopt(tx, kept); err != nil {
		return err
	}
	units := keysOf(s.Items())
	for _, i := range last.Items {
		if i.Kind == "consignee" && !units[i.key()] && !goes(i) && i.hasAny(units) {
			i.Kept = true
			s.Kept = append(s.Kept, i)
		}
	}
	return nil
}

// renamed reports whether a fill is not called so any more, since its name hangs on its time,
// while its vessel has a fill in scope that the last version did not know.
func renamed(tx *store.Tx, fill string, a *trace.Answer, had map[string]bool) bool {
	if len(tx.NodesNamed(fill)) > 0 {
		return false
	}
	return slices.ContainsFunc(a.Fills, func(f trace.Fill) bool {
		return strings.HasPrefix(fill, f.Vessel+"@") && !had["fill "+f.Code]
	})
}

// declared lists the units whose product declares every allergen that the suspects carry.
func declared(tx *store.Tx, suspects []string, a *trace.Answer) ([]string, error) {
	carried := map[string]bool{}
	for _, l := range a.Lots {
		if !slices.Contains(suspects, l.Code) && len(l.Why) > 1 {
			continue
		}
		if item, ok := tx.Item(l.Item); ok {
			for _, word := range item.Allergens {
				carried[strings.ToLower(word)] = true
			}
		}
	}
	var out []string
	for _, u := range a.Units {
		if u.Product == nil || len(carried) == 0 {
			continue
		}
		label := productOf(tx, *u.Product).Declares
		all := true
		for word := range carried {
			all = all && allergens.Declared(label, word)
		}
		if all {
			out = append(out, u.Code)
		}
	}
	return out, tx.Err()
}
