package recall

import (
	"context"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The ways in which an item of the scope can change.
const (
	Added    = "added"
	Removed  = "removed"
	Changed  = "changed"  // its band, or how much of it is affected
	HeldOn   = "kept"     // a correction took it out: it stays until somebody signs for it
	Restored = "restored" // the records have it in again
)

// Change is one difference between two versions of a scope, and the entries that made it.
type Change struct {
	Item
	What    string  `json:"what"`
	Was     string  `json:"was,omitempty"`     // band and affected before
	Entries []int64 `json:"entries,omitempty"` // journal entries: rows, corrections, or steps of the recall
}

// Freeze makes the scope as it stands now the next version, with what changed against
// the last one and which entries changed it. It refuses a version that says nothing new.
func Freeze(ctx context.Context, db *store.DB, code, reason, by string) (*Recall, error) {
	changes, err := Changes(ctx, db, code)
	if err != nil {
		return nil, err
	}
	var after *Recall
	err = db.Update(ctx, func(tx *store.Tx) error {
		r, s, err := loadScope(tx, code)
		if err != nil {
			return err
		}
		last := r.Latest()
		if last != nil && !sameChanges(diff(last.Items, s.Items()), changes) {
			return lots.Errorf(lots.Conflict, "something was recorded just now: freeze again")
		}
		if last != nil && len(changes) == 0 {
			return lots.Errorf(lots.Conflict, "nothing changed: version %d still stands", last.Version)
		}
		head, err := tx.Head()
		if err != nil {
			return err
		}
		f := &Frozen{Version: len(r.Versions) + 1, Head: head, Reason: reason, Items: s.Items(), Changes: changes}
		after, err = r.Take(tx, f, At{}, by)
		return err
	})
	return after, err
}

func loadScope(tx *store.Tx, code string) (*Recall, *Scope, error) {
	r, err := Load(tx, code)
	if err != nil {
		return nil, nil, err
	}
	s, err := r.Scope(tx)
	return r, s, err
}

// Changes lists what differs between the last frozen version and the scope as it stands,
// each with the entries that changed it; none before the first version. It follows the
// journal from that version on, so that also a clean that was voided is found out.
func Changes(ctx context.Context, db *store.DB, code string) ([]Change, error) {
	var r *Recall
	var changes []Change
	err := db.View(ctx, func(tx *store.Tx) error {
		now, s, err := loadScope(tx, code)
		if err != nil || now.Latest() == nil {
			return err
		}
		r, changes = now, diff(now.Latest().Items, s.Items())
		return nil
	})
	if err != nil || len(changes) == 0 {
		return nil, err
	}
	return changes, r.blame(ctx, db, changes)
}

// blame finds the entries behind changes by going through the journal since the last version.
func (r *Recall) blame(ctx context.Context, db *store.DB, changes []Change) error {
	last := r.Latest()
	was := map[string]Item{}
	for _, i := range last.Items {
		was[i.key()] = i
	}
	culprits := map[string][]int64{}
	var chains map[string][]int64
	return errorOr(db.Follow(ctx, last.Head, func(tx *store.Tx, entries []*store.Entry) error {
		a, err := r.traceKnown(tx)
		if err != nil {
			return err
		}
		now := map[string]Item{}
		for _, i := range itemsOf(a) {
			now[i.key()] = i
		}
		before := chains
		chains = chainsOf(a)
		for _, c := range changes {
			k := c.key()
			old, new := was[k], now[k]
			if entries == nil && old.Kept || old == new { // kept: the records let it go before
				continue
			}
			if entries == nil { // the decisions alone made the difference
				culprits[k] = r.stepsSince(last.Entry)
				continue
			}
			culprits[k] = append(culprits[k], within(tx, entries, append(slices.Clone(before[k]), chains[k]...))...)
		}
		was = now
		return nil
	}), func() {
		for i := range changes {
			found := culprits[changes[i].key()]
			if len(found) == 0 { // a signature took it out
				found = r.stepsSince(last.Entry)
			}
			slices.Sort(found)
			changes[i].Entries = slices.Compact(found)
		}
	})
}

func errorOr(err error, then func()) error {
	if err == nil {
		then()
	}
	return err
}

// traceKnown traces with what was known of the suspects and decisions at an earlier moment.
func (r *Recall) traceKnown(tx *store.Tx) (*trace.Answer, error) {
	known := func(code string) bool { return trace.Understood(tx, code) == nil }
	suspects := slices.DeleteFunc(slices.Clone(r.Suspects), func(c string) bool { return !known(c) })
	decisions := slices.DeleteFunc(slices.Clone(r.Decisions), func(d Decision) bool { return !known(d.Code) })
	return r.trace(tx, suspects, r.Hazard, decisions)
}

// chainsOf gives the entries behind each unit, and behind each consignee those of its units and shipments.
func chainsOf(a *trace.Answer) map[string][]int64 {
	out := map[string][]int64{}
	for _, u := range a.Units {
		out["unit "+u.Code] = u.Entries
	}
	for _, s := range a.Shipments {
		out["consignee "+s.Consignee] = append(append(out["consignee "+s.Consignee], s.Entry()), out["unit "+s.Unit]...)
	}
	return out
}

// within picks from entries recorded together those that stand in a chain, or correct one that does; all where none does.
func within(tx *store.Tx, entries []*store.Entry, chain []int64) []int64 {
	var hit, all []int64
	for _, e := range entries {
		all = append(all, e.Seq)
		root := e
		for root.Target != 0 {
			up, ok, err := tx.Entry(root.Target)
			if err != nil || !ok {
				break
			}
			root = up
		}
		if slices.Contains(chain, root.Seq) {
			hit = append(hit, e.Seq)
		}
	}
	if len(hit) > 0 {
		return hit
	}
	return all
}

// stepsSince lists the steps after an entry that change the scope by themselves.
func (r *Recall) stepsSince(entry int64) []int64 {
	var out []int64
	for _, l := range r.Log {
		switch l.Step.(type) {
		case *Decided, *Suspected, *Judged, *SignedOff:
			if l.Entry > entry {
				out = append(out, l.Entry)
			}
		}
	}
	return out
}

// diff compares two lists of items.
func diff(was, now []Item) []Change {
	before := map[string]Item{}
	for _, i := range was {
		before[i.key()] = i
	}
	var out []Change
	for _, i := range now {
		old, had := before[i.key()]
		delete(before, i.key())
		switch {
		case !had:
			out = append(out, Change{Item: i, What: Added})
		case i.Kept && !old.Kept:
			out = append(out, Change{Item: i, What: HeldOn, Was: old.state()})
		case !i.Kept && old.Kept:
			out = append(out, Change{Item: i, What: Restored, Was: old.state()})
		case i != old:
			out = append(out, Change{Item: i, What: Changed, Was: old.state()})
		}
	}
	for _, i := range was {
		if _, gone := before[i.key()]; gone {
			out = append(out, Change{Item: i, What: Removed, Was: i.state()})
		}
	}
	return out
}

// Drift counts the differences between the last frozen version and the scope as it stands.
func (r *Recall) Drift(tx *store.Tx) (int, error) {
	s, err := r.Scope(tx)
	if err != nil || r.Latest() == nil {
		return 0, err
	}
	return len(diff(r.Latest().Items, s.Items())), nil
}

func (i Item) state() string {
	t := i.Band
	if i.Affected > 0 {
		t += fmt.Sprintf(", %d affected", i.Affected)
	}
	return t
}

func sameChanges(a, b []Change) bool {
	return slices.EqualFunc(a, b, func(x, y Change) bool { return x.Item == y.Item && x.What == y.What })
}

// Compare lists what a scope would change against the one that stands: for decisions not taken yet.
func Compare(stands, would *Scope) []Change { return diff(stands.Items(), would.Items()) }

// NewParties lists the consignees that a change brought in and that were not reached yet.
func (r *Recall) NewParties(items []Item) []string {
	var out []string
	for _, i := range items {
		if i.Kind != "consignee" || i.Band == graph.Out.String() {
			continue
		}
		if c, ok := r.Contacts[i.Code]; !ok || c.Notified.IsZero() {
			out = append(out, i.Code)
		}
	}
	return out
}
