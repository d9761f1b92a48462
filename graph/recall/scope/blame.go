package scope

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// StepsSince lists the steps of a recall after an entry, by their own entries, that change the scope by
// themselves: those that name a thing where there are any, else all.
type StepsSince func(entry int64, code string) []int64

// Blame finds the entries behind changes by going through the journal since the last version.
// It looks at the scope only around entries that name something in it, then or now. Where a
// stretch of others turns out to have changed it all the same, it goes through every entry.
func (b *Basis) Blame(ctx context.Context, db *store.DB, s *Scope, changes []Change, steps StepsSince) error {
	last := b.Latest()
	var concern []bool
	err := db.View(ctx, func(tx *store.Tx) (err error) {
		concern, err = concerned(tx, last.Head, b.named(tx, append(slices.Clone(last.Items), s.Items()...)))
		return err
	})
	if err != nil {
		return err
	}
	f := &follower{b: b, steps: steps, changes: changes, concern: concern}
	if err := f.follow(ctx, db); err != nil {
		return err
	}
	if f.missed {
		for i := range concern {
			concern[i] = true
		}
		f = &follower{b: b, steps: steps, changes: changes, concern: concern}
		if err := f.follow(ctx, db); err != nil {
			return err
		}
	}
	for i := range changes {
		found := f.culprits[changes[i].key()]
		if len(found) == 0 { // a signature took it out
			found = steps(last.Entry, changes[i].Code)
		}
		slices.Sort(found)
		changes[i].Entries = slices.Compact(found)
	}
	return nil
}

// follower compares the scope before and after what was recorded.
type follower struct {
	b        *Basis
	steps    StepsSince
	changes  []Change
	concern  []bool // of each moment at which something was recorded: whether the scope is looked at around it
	at       int
	was      map[string]Item
	chains   map[string][]int64
	pending  []*store.Entry // since the scope was last looked at
	culprits map[string][]int64
	missed   bool // something of no concern changed the scope
}

func (f *follower) follow(ctx context.Context, db *store.DB) error {
	f.was, f.culprits = map[string]Item{}, map[string][]int64{}
	for _, i := range f.b.Latest().Items {
		f.was[i.key()] = i
	}
	return db.Follow(ctx, f.b.Latest().Head, func(tx *store.Tx, entries []*store.Entry) error {
		if entries == nil {
			return f.look(tx, true)
		}
		here := f.at
		f.at++
		f.pending = append(f.pending, entries...)
		if !f.concerns(here) && f.at < len(f.concern) && !f.concerns(f.at) {
			return nil // within a stretch of no concern
		}
		return f.look(tx, f.concerns(here))
	})
}

// concerns reports whether the scope is looked at around a moment: also where it came after they were gone through.
func (f *follower) concerns(i int) bool { return i >= len(f.concern) || f.concern[i] }

// look compares the scope with what it was when it was last looked at.
func (f *follower) look(tx *store.Tx, concern bool) error {
	a, _, err := f.b.trace(tx, f.b.Suspects, f.b.Hazard, f.b.Decisions)
	if err != nil {
		return err
	}
	now := map[string]Item{}
	for _, i := range itemsOf(a) {
		now[i.key()] = i
	}
	before := f.chains
	f.chains = chainsOf(a)
	for _, c := range f.changes {
		k := c.key()
		old, new := f.was[k], now[k]
		switch {
		case new.same(old) || f.pending == nil && old.Kept: // kept: the records let it go before
		case f.pending == nil: // the decisions alone made the difference
			f.culprits[k] = f.steps(f.b.Latest().Entry, c.Code)
		default:
			f.missed = f.missed || !concern
			f.culprits[k] = append(f.culprits[k], within(tx, f.pending, append(slices.Clone(before[k]), f.chains[k]...))...)
		}
	}
	f.was, f.pending = now, nil
	return nil
}

// named gives everything by whose name a record can change a scope of such items: the things
// themselves, the vessels of fills, the lines of runs, the suspects and decisions. What changes a
// consignee names a unit.
func (b *Basis) named(tx *store.Tx, items []Item) names {
	out := names{}
	for _, i := range items {
		out[i.Code] = i.Kind != "consignee"
		switch i.Kind {
		case "fill":
			if at := strings.LastIndex(i.Code, "@"); at > 0 {
				out[i.Code[:at]] = true
			}
		case "run":
			if run, ok := tx.Run(i.Code); ok {
				out[run.Line] = true
			}
		case "unit":
			if keg, _, ok := lots.SplitFilling(i.Code); ok {
				out[keg] = true
			}
		}
	}
	for _, c := range b.Suspects {
		out[c] = true
	}
	for _, d := range b.Decisions {
		out[d.Code] = true
	}
	delete(out, "")
	return out
}

// concerned goes through what was recorded after an entry, moment by moment as Follow does, and
// says of each whether it names any of these things.
func concerned(tx *store.Tx, from int64, names names) ([]bool, error) {
	var later []*store.Entry
	if err := tx.Entries(from+1, func(e *store.Entry) bool {
		later = append(later, e)
		return true
	}); err != nil {
		return nil, err
	}
	var out []bool
	for len(later) > 0 {
		n, records, hit := 0, false, false
		for ; n < len(later) && later[n].Recorded.Equal(later[0].Recorded); n++ {
			sheet, isRow := lots.SheetNamed(later[n].Kind)
			if !isRow && later[n].Target == 0 {
				continue // a step
			}
			records = true
			if isRow && (sheet.Name == "counts" || sheet.Name == "holds") {
				continue // they change no lineage and move nothing
			}
			concerns, err := names.concernedBy(tx, later[n])
			if err != nil {
				return nil, err
			}
			hit = hit || concerns
		}
		if records {
			out = append(out, hit)
		}
		later = later[n:]
	}
	return out, tx.Err()
}

// names are codes that a record can name.
type names map[string]bool

// concernedBy reports whether an entry names any: in its row, or where it is a correction in the
// row that it corrects as that was and is. What is about the whole site or a product always does.
func (n names) concernedBy(tx *store.Tx, e *store.Entry) (bool, error) {
	root := rootOf(tx, e)
	if root.Kind == "site" || root.Kind == "products" {
		return true, nil
	}
	all, err := tx.Corrections(root.Seq)
	if err != nil {
		return false, err
	}
	for _, x := range append(all, root) {
		var body any
		if err := json.Unmarshal([]byte(x.Body), &body); err != nil {
			return false, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", x.Seq, err)
		}
		if n.in(body) {
			return true, nil
		}
	}
	return false, nil
}

// in reports whether any text of a body is one of the names, or lists one.
func (n names) in(body any) bool {
	switch x := body.(type) {
	case string:
		return n[x] || slices.ContainsFunc(strings.FieldsFunc(x, func(r rune) bool { return r == '|' || r == ';' }), func(part string) bool {
			return n[strings.TrimSpace(part)]
		})
	case map[string]any:
		for _, v := range x {
			if n.in(v) {
				return true
			}
		}
	}
	return false
}

// rootOf is the row that an entry states or corrects.
func rootOf(tx *store.Tx, e *store.Entry) *store.Entry {
	for e.Target != 0 {
		up, ok, err := tx.Entry(e.Target)
		if err != nil || !ok {
			break
		}
		e = up
	}
	return e
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
	for _, b := range a.Bulk {
		out["consignee "+b.Consignee] = append(out["consignee "+b.Consignee], b.Entry())
	}
	return out
}

// within picks from entries recorded together those that stand in a chain, or correct one that does; all where none does.
func within(tx *store.Tx, entries []*store.Entry, chain []int64) []int64 {
	var hit, all []int64
	for _, e := range entries {
		all = append(all, e.Seq)
		if slices.Contains(chain, rootOf(tx, e).Seq) {
			hit = append(hit, e.Seq)
		}
	}
	if len(hit) > 0 {
		return hit
	}
	return all
}
