package recall

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Freeze makes the scope as it stands now the next version, with what changed against
// the last one and which entries changed it. It refuses a version that says nothing new.
func Freeze(ctx context.Context, db *store.DB, code, reason, by string) (*Recall, error) {
	changes, err := Changes(ctx, db, code)
	if err != nil {
		return nil, err
	}
	var after *Recall
	err = db.Update(ctx, func(tx *store.Tx) error {
		after, err = FreezeWith(tx, code, changes, reason, by)
		return err
	})
	return after, err
}

// FreezeWith does so inside a change of the database, with the changes found before it by [Changes]. Where something was
// recorded since, they are not the changes any more, and it refuses.
func FreezeWith(tx *store.Tx, code string, changes []scope.Change, reason, by string) (*Recall, error) {
	if err := tx.Sound(); err != nil {
		return nil, err
	}
	r, s, err := loadScope(tx, code)
	if err != nil {
		return nil, err
	}
	last := r.Latest()
	if last != nil && !scope.Same(scope.Diff(last.Items, s.Items()), changes) {
		return nil, lots.Errorf(lots.Conflict, "something was recorded just now: freeze again")
	}
	if last != nil && len(changes) == 0 {
		return nil, lots.Errorf(lots.Conflict, "nothing changed: version %d still stands", last.Version)
	}
	head, err := tx.Head()
	if err != nil {
		return nil, err
	}
	f := &Frozen{Version: len(r.Versions) + 1, Head: head, Reason: reason, Items: s.Items(), Changes: changes, NotCounted: s.NotCounted()}
	return r.Take(tx, f, At{}, by)
}

func loadScope(tx *store.Tx, code string) (*Recall, *scope.Scope, error) {
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
func Changes(ctx context.Context, db *store.DB, code string) ([]scope.Change, error) {
	var r *Recall
	var s *scope.Scope
	var changes []scope.Change
	err := db.View(ctx, func(tx *store.Tx) (err error) {
		r, s, err = loadScope(tx, code)
		if err != nil || r.Latest() == nil {
			return err
		}
		changes = scope.Diff(r.Latest().Items, s.Items())
		return nil
	})
	if err != nil || len(changes) == 0 {
		return nil, err
	}
	return changes, r.Blame(ctx, db, s, changes, r.stepsSince)
}

// NewParties lists the consignees that a change brought in and that were not reached yet.
func (r *Recall) NewParties(items []scope.Item) []string {
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

// stepsSince lists the steps after an entry that change the scope by themselves: those that name
// a thing where there are any, else all.
func (r *Recall) stepsSince(entry int64, code string) []int64 {
	var all, about []int64
	for _, l := range r.Log {
		if l.Entry <= entry {
			continue
		}
		var codes []string
		switch s := l.Step.(type) {
		case *Decided:
			codes = s.Codes
		case *Suspected:
			codes = s.Suspects
		case *Unsuspected:
			codes = s.Suspects
		case *SignedOff:
			codes = s.Codes
		case *Judged:
		default:
			continue
		}
		all = append(all, l.Entry)
		if slices.Contains(codes, code) {
			about = append(about, l.Entry)
		}
	}
	if len(about) > 0 {
		return about
	}
	return all
}

// EntriesText tells of journal entries, of the first three where there are more: of the recall's own steps what
// was done, else kind and who.
func (r *Recall) EntriesText(tx *store.Tx, entries []int64) string {
	steps := map[int64]Logged{}
	for _, l := range r.Log {
		steps[l.Entry] = l
	}
	var out []string
	for _, n := range entries {
		x, ok, err := tx.Entry(n)
		if err != nil || !ok {
			continue
		}
		text := fmt.Sprintf("entry %d (%s by %s, recorded %s", n, x.Kind, x.By, x.Recorded.In(tx.Site().Zone).Format("2006-01-02 15:04"))
		if l, step := steps[n]; step {
			text = fmt.Sprintf("entry %d (%s by %s, recorded %s", n, strings.TrimSuffix(l.Text(), "."), x.By, x.Recorded.In(tx.Site().Zone).Format("2006-01-02 15:04"))
		}
		if x.At != nil {
			text += ", of " + x.At.Text(tx.Site().Zone)
		}
		out = append(out, text+")")
		if len(out) == 3 && len(entries) > 3 {
			out = append(out, fmt.Sprintf("and %d more", len(entries)-3))
			break
		}
	}
	return strings.Join(out, "; ")
}
