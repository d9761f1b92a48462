package recall

import (
	"context"
	"slices"

	"heeltap/graph"
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
	Was     string  `json:"was,omitempty"`     // band, affected and received before
	Detail  string  `json:"detail,omitempty"`  // of a consignee: what it received more or less, unit by unit
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
	var s *Scope
	var changes []Change
	err := db.View(ctx, func(tx *store.Tx) (err error) {
		r, s, err = loadScope(tx, code)
		if err != nil || r.Latest() == nil {
			return err
		}
		changes = diff(r.Latest().Items, s.Items())
		return nil
	})
	if err != nil || len(changes) == 0 {
		return nil, err
	}
	return changes, r.blame(ctx, db, s, changes)
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
			out = append(out, Change{Item: i, What: HeldOn, Was: old.State()})
		case !i.Kept && old.Kept:
			out = append(out, Change{Item: i, What: Restored, Was: old.State()})
		case !i.same(old):
			out = append(out, Change{Item: i, What: Changed, Was: old.State(), Detail: moreReceived(i.Received, old.Received)})
		}
	}
	for _, i := range was {
		if _, gone := before[i.key()]; gone {
			out = append(out, Change{Item: i, What: Removed, Was: i.State()})
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
