package scope

import (
	"slices"

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

// Diff compares two lists of items.
func Diff(was, now []Item) []Change {
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
			out = append(out, Change{Item: i, What: Changed, Was: old.State(), Detail: MoreReceived(i, old)})
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
func (b *Basis) Drift(tx *store.Tx) (int, error) {
	s, err := b.Scope(tx)
	if err != nil || b.Latest() == nil {
		return 0, err
	}
	return len(Diff(b.Latest().Items, s.Items())), nil
}

// Same reports whether two lists say that the same things changed in the same ways.
func Same(a, b []Change) bool {
	return slices.EqualFunc(a, b, func(x, y Change) bool { return x.Item == y.Item && x.What == y.What })
}
