package recall

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/allergens"
	"heeltap/lots/store"
)

// Item is one thing in a frozen scope.
type Item struct {
	Kind     string `json:"kind"` // lot brew fill run unit consignee
	Code     string `json:"code"`
	Band     string `json:"band"`
	Affected int64  `json:"affected,omitempty"` // cases or kegs of a unit
	// Kept is true where the records would let it go, and nobody has signed for that.
	Kept bool `json:"kept,omitempty"`
}

func (i Item) key() string { return i.Kind + " " + i.Code }

func countItems(items []Item) string {
	n := map[string]int{}
	for _, i := range items {
		n[i.Kind]++
	}
	return fmt.Sprintf("%s, %s, %s", plural(n["run"], "run"), plural(n["unit"], "unit"), plural(n["consignee"], "consignee"))
}

// Scope is what is affected by the records as they stand, and the lead's decisions.
type Scope struct {
	Answer *trace.Answer // with what is kept
	Kept   []Item        // of the last version: a correction took them out, nobody signed for it yet
	// Declared are units whose product declares the allergen: proposed for exclusion.
	Declared []string
}

// If is a change of the decisions, to see what it would do.
type If struct {
	Include, Exclude []string
	Suspects         []string
	Hazard           graph.Hazard // empty: as it is
}

// Scope computes the scope from the records as they stand.
func (r *Recall) Scope(tx *store.Tx) (*Scope, error) {
	a, err := r.trace(tx, r.Suspects, r.Hazard, r.Decisions)
	if err != nil {
		return nil, err
	}
	s := &Scope{Answer: a}
	if err := r.keep(tx, s); err != nil {
		return nil, err
	}
	if r.Hazard == graph.Allergen {
		s.Declared, err = declared(tx, r.Suspects, a)
	}
	return s, err
}

// ScopeIf computes what the scope would be with other decisions, without taking them.
func (r *Recall) ScopeIf(tx *store.Tx, change If) (*Scope, error) {
	other := *r
	other.Suspects = append(slices.Clone(r.Suspects), change.Suspects...)
	other.Hazard = cmp.Or(change.Hazard, r.Hazard)
	other.Decisions = slices.Clone(r.Decisions)
	for choice, codes := range map[string][]string{Include: change.Include, Exclude: change.Exclude} {
		for _, c := range codes {
			other.Decisions = slices.DeleteFunc(other.Decisions, func(d Decision) bool { return d.Code == c })
			other.Decisions = append(other.Decisions, Decision{Code: c, Choice: choice})
		}
	}
	return other.Scope(tx)
}

// trace follows the suspects and what was included, past what was excluded.
func (r *Recall) trace(tx *store.Tx, suspects []string, hazard graph.Hazard, decisions []Decision) (*trace.Answer, error) {
	q := trace.Question{Dir: graph.Forward, Hazard: hazard, From: slices.Clone(suspects)}
	for _, d := range decisions {
		if d.Choice == Include {
			q.From = append(q.From, d.Code)
		} else {
			q.Without = append(q.Without, d.Code)
		}
	}
	return trace.Ask(tx, q)
}

// keep puts into a scope what stood in the last version and was taken out by the
// records alone: goods that were called back are not let go because a row was corrected.
func (r *Recall) keep(tx *store.Tx, s *Scope) error {
	last := r.Latest()
	if last == nil {
		return nil
	}
	then, err := r.trace(tx, last.Suspects, last.Hazard, last.Decisions)
	if err != nil {
		return err
	}
	stays, now := keysOf(itemsOf(then)), keysOf(itemsOf(s.Answer))
	var units []string
	for _, i := range last.Items {
		d, _ := r.decision(i.Code)
		switch {
		case i.Kind == "fill" || i.Kind == "consignee": // a fill's name hangs on its time; a consignee's place on its units
			continue
		case stays[i.key()] || now[i.key()] || r.SignedOff[i.Code] != "" || d.Choice == Exclude:
			continue
		}
		i.Kept = true
		s.Kept = append(s.Kept, i)
		if i.Kind == "unit" {
			units = append(units, "unit:"+i.Code)
		}
	}
	if len(units) == 0 {
		return nil
	}
	return s.Answer.Adopt(tx, units, s.affected)
}

// affected gives the band and the cases that a kept unit had.
func (s *Scope) affected(unit string) (string, int64) {
	for _, i := range s.Kept {
		if i.Code == unit {
			return i.Band, i.Affected
		}
	}
	return graph.Possible.String(), 0
}

// Items lists a scope as it is frozen: sorted by kind and code.
func (s *Scope) Items() []Item {
	items := slices.DeleteFunc(itemsOf(s.Answer), func(i Item) bool {
		return slices.ContainsFunc(s.Kept, func(k Item) bool { return k.key() == i.key() })
	})
	return sortItems(append(items, s.Kept...))
}

func sortItems(items []Item) []Item {
	slices.SortFunc(items, func(a, b Item) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code)) })
	return items
}

func keysOf(items []Item) map[string]bool {
	out := map[string]bool{}
	for _, i := range items {
		out[i.key()] = true
	}
	return out
}

func itemsOf(a *trace.Answer) []Item {
	var out []Item
	add := func(kind string, at trace.Reached, affected int64) {
		out = append(out, Item{Kind: kind, Code: at.Code, Band: at.Band, Affected: affected})
	}
	for _, x := range a.Lots {
		add("lot", x.Reached, 0)
	}
	for _, x := range a.Brews {
		add("brew", x.Reached, 0)
	}
	for _, x := range a.Fills {
		add("fill", x.Reached, 0)
	}
	for _, x := range a.Runs {
		add("run", x.Reached, 0)
	}
	for _, x := range a.Units {
		add("unit", x.Reached, x.Affected)
	}
	bands := map[string]string{}
	for _, x := range a.Shipments {
		if bands[x.Consignee] != graph.In.String() {
			bands[x.Consignee] = x.Band
		}
	}
	for code, band := range bands {
		out = append(out, Item{Kind: "consignee", Code: code, Band: band})
	}
	return sortItems(out)
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
