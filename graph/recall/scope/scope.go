package scope

import (
	"maps"
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
	// Carried are the allergens that the suspects carry, which is what Declared goes by.
	Carried []string
	// Lost are suspects and decisions that cannot be understood any more.
	Lost []Lost
	// LeftOut are shipments of affected units that carried nothing affected.
	LeftOut []LeftOut
	// Ways count the units by how they come into the scope, so that it is seen where a cut is to be decided.
	Ways []trace.ByWay
	// Yeast are the fills that suspect yeast came from, through all generations, nearest first.
	Yeast []Yeast

	before map[int64]lots.When // entries of shipments and returns that were over before anything affected stood on their unit
}

// Scope computes the scope from the records as they stand.
func (b *Basis) Scope(tx *store.Tx) (*Scope, error) {
	a, lost, err := b.trace(tx, b.Suspects, b.Hazard, b.Decisions)
	if err != nil {
		return nil, err
	}
	s := &Scope{Answer: a, Lost: lost}
	if err := b.keep(tx, s); err != nil {
		return nil, err
	}
	s.Ways = s.Answer.Ways()
	s.leaveOut(tx)
	if err := b.upstream(tx, s); err != nil {
		return nil, err
	}
	if b.Hazard == graph.Allergen {
		carried := carriedBy(tx, b.Suspects, a)
		s.Carried, s.Declared = slices.Sorted(maps.Keys(carried)), declared(tx, carried, a)
	}
	return s, tx.Err()
}

// trace follows the suspects and what was included, past what was excluded. What cannot be
// understood any more is told of and passed over: a row taken back must not stop a recall.
func (b *Basis) trace(tx *store.Tx, suspects []string, hazard graph.Hazard, decisions []Decision) (*trace.Answer, []Lost, error) {
	suspects, decisions, lost := b.understood(tx, suspects, decisions)
	q := trace.Question{Dir: graph.Forward, Hazard: hazard, From: suspects, Literal: true}
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
func (b *Basis) keep(tx *store.Tx, s *Scope) error {
	last := b.Latest()
	if last == nil {
		return nil
	}
	then, _, err := b.trace(tx, last.Suspects, last.Hazard, last.Decisions)
	if err != nil {
		return err
	}
	stays, now, had := itemsByKey(then), itemsByKey(s.Answer), keysOf(last.Items)
	var kept []trace.Kept
	goes := func(i Item) bool {
		d, _ := b.decision(i.Code)
		if d.Choice == Exclude || b.signed(i, last) {
			return true
		}
		old, stands := stays[i.key()]
		fresh, is := now[i.key()]
		return max(old.Affected, fresh.Affected) >= i.Affected && (stands || is)
	}
	keep := func(i Item) {
		i.Kept = true
		s.Kept = append(s.Kept, i)
		kept = append(kept, trace.Kept{Kind: i.Kind, Code: i.Code, Band: i.Band, Affected: i.Affected})
	}
	for _, i := range last.Items {
		if i.Kind == "consignee" || goes(i) || i.Kind == "fill" && renamed(tx, i.Code, s.Answer, had) {
			continue
		}
		keep(i)
		if i.Kind == "run" {
			for _, u := range taggedSince(tx, i, last.Head) {
				if _, is := now[u.key()]; !is && !had[u.key()] && !goes(u) {
					keep(u)
				}
			}
		}
	}
	if err := s.Answer.Adopt(tx, kept); err != nil {
		return err
	}
	b.keepConsignees(s, last, stays)
	return nil
}

// keepConsignees keeps who received something in scope, unit by unit: where the last version
// knew more of a unit at a consignee than the records say now, it may be there still.
func (b *Basis) keepConsignees(s *Scope, last *Version, stays map[string]Item) {
	now := map[string]Item{}
	for _, i := range s.Items() {
		now[i.key()] = i
	}
	for _, i := range last.Items {
		d, _ := b.decision(i.Code)
		if i.Kind != "consignee" || d.Choice == Exclude || b.signed(i, last) {
			continue
		}
		is, stands := receivedOf(now[i.key()].Received), receivedOf(stays[i.key()].Received)
		missing := false
		for unit, n := range receivedOf(i.Received) {
			if inScope(now, unit) && n > max(is[unit], stands[unit]) {
				is[unit], missing = n, true
			}
		}
		inBulk := now[i.key()].InBulk()
		for _, b := range i.InBulk() {
			if !slices.Contains(inBulk, b) && !slices.Contains(stays[i.key()].InBulk(), b) {
				inBulk, missing = append(inBulk, b), true
			}
		}
		_, known := now[i.key()]
		_, stood := stays[i.key()]
		if !missing && (i.Received+i.Bulk != "" || known || stood) { // an old version does not say what it received
			continue
		}
		i.Received, i.Bulk, i.Kept = receivedText(is), bulkText(inBulk), true
		s.Kept = append(s.Kept, i)
	}
}

// inScope reports whether a unit, or one of several, is among things.
func inScope(things map[string]Item, unit string) bool {
	return slices.ContainsFunc(strings.Split(unit, "|"), func(u string) bool { _, ok := things["unit "+u]; return ok })
}

// signed reports whether somebody signed for what a correction took out of a version, after the
// last correction: what a later one takes out nobody has seen.
func (b *Basis) signed(i Item, last *Version) bool {
	at := b.Signed[i.Code]
	return at > last.Entry && at > b.Corrected
}

// taggedSince lists the units of a run that were entered after an entry: the version did not
// know them, and what they hold stood in it on no unit.
func taggedSince(tx *store.Tx, run Item, entry int64) []Item {
	quantity := map[string]int64{}
	for _, rec := range tx.Touching(run.Code) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == run.Code && p.Seq > entry {
			quantity[p.Unit] += p.Quantity
		}
	}
	var out []Item
	for _, unit := range slices.Sorted(maps.Keys(quantity)) {
		out = append(out, Item{Kind: "unit", Code: unit, Band: run.Band, Affected: quantity[unit]})
	}
	return out
}

// renamed reports whether a fill is not called so any more, since its name follows its time,
// while its vessel has a fill in scope that the last version did not know.
func renamed(tx *store.Tx, fill string, a *trace.Answer, had map[string]bool) bool {
	if len(tx.NodesNamed(fill)) > 0 {
		return false
	}
	return slices.ContainsFunc(a.Fills, func(f trace.Fill) bool {
		return strings.HasPrefix(fill, f.Vessel+"@") && !had["fill "+f.Code]
	})
}

// carriedBy lists the allergens that the suspects carry.
func carriedBy(tx *store.Tx, suspects []string, a *trace.Answer) map[string]bool {
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
	return carried
}

// declared lists the units whose product declares every allergen that the suspects carry.
func declared(tx *store.Tx, carried map[string]bool, a *trace.Answer) (out []string) {
	for _, u := range a.Units {
		if u.Product == nil || len(carried) == 0 {
			continue
		}
		var label []string
		if p, ok := tx.Product(*u.Product); ok {
			label = p.Declares
		}
		all := true
		for word := range carried {
			all = all && allergens.Declared(label, word)
		}
		if all {
			out = append(out, u.Code)
		}
	}
	return out
}
