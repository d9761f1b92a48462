package scope

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// If is a change of the decisions, to see what it would do.
type If struct {
	Include, Exclude []string
	Suspects         []string
	Hazard           graph.Hazard // empty: as it is
}

// ParseIf reads changes of the decisions: +CODE includes, -CODE excludes, ?CODE suspects besides, hazard=KIND judges anew.
func ParseIf(ifs []string) (If, error) {
	var c If
	for _, text := range ifs {
		switch {
		case strings.HasPrefix(text, "+") && len(text) > 1:
			c.Include = append(c.Include, text[1:])
		case strings.HasPrefix(text, "-") && len(text) > 1:
			c.Exclude = append(c.Exclude, text[1:])
		case strings.HasPrefix(text, "?") && len(text) > 1:
			c.Suspects = append(c.Suspects, text[1:])
		case strings.HasPrefix(text, "hazard="):
			h, err := graph.ParseHazard(strings.TrimPrefix(text, "hazard="))
			if err != nil {
				return c, lots.Errorf(lots.Invalid, "--if: %w", err)
			}
			c.Hazard = h
		default:
			return c, lots.Errorf(lots.Invalid, "--if %q: write +CODE to include, -CODE to exclude, ?CODE to suspect besides, or hazard=KIND", text)
		}
	}
	return c, nil
}

// ScopeIf computes what the scope would be with other decisions, without taking them.
func (b *Basis) ScopeIf(tx *store.Tx, change If) (*Scope, error) {
	for _, codes := range [][]string{change.Suspects, change.Include, change.Exclude} {
		for _, c := range codes {
			if err := trace.Understood(tx, c); err != nil {
				return nil, err
			}
		}
	}
	other := *b
	other.Suspects = append(slices.Clone(b.Suspects), Spelled(tx, change.Suspects)...)
	other.Hazard = cmp.Or(change.Hazard, b.Hazard)
	include, exclude := Spelled(tx, change.Include), Spelled(tx, change.Exclude)
	if i := slices.IndexFunc(include, func(c string) bool { return slices.Contains(exclude, c) }); i >= 0 {
		return nil, lots.Errorf(lots.Invalid, "--if +%s and --if -%s contradict each other: ask for one at a time", include[i], include[i])
	}
	other.Decisions = decideOn(decideOn(slices.Clone(b.Decisions), Include, include), Exclude, exclude)
	return other.Scope(tx)
}

// decideOn puts a choice on codes in place of what was decided on them.
func decideOn(decisions []Decision, choice string, codes []string) []Decision {
	for _, c := range codes {
		decisions = slices.DeleteFunc(decisions, func(d Decision) bool { return d.Code == c })
		decisions = append(decisions, Decision{Code: c, Choice: choice})
	}
	return decisions
}

// Counts is how much is in scope, in either band and with what is kept.
type Counts struct {
	Units      int           `json:"units"`
	Cases      int64         `json:"cases"` // of whole units
	Kegs       int64         `json:"kegs"`
	Unassigned lots.Packages `json:"unassigned"` // of runs, on no unit
	Consignees int           `json:"consignees"`
}

// Counts counts the scope.
func (s *Scope) Counts() (c Counts) {
	for _, u := range s.Answer.Units {
		if c.Units++; u.Kind == "keg" {
			c.Kegs += u.Quantity
		} else {
			c.Cases += u.Quantity
		}
	}
	c.Unassigned = s.Answer.Totals.In.Unassigned.Plus(s.Answer.Totals.Possible.Unassigned)
	for _, i := range s.Items() {
		if i.Kind == "consignee" {
			c.Consignees++
		}
	}
	return c
}

// Effect is what other decisions would change, in totals.
type Effect struct {
	If     []string `json:"if"` // as typed
	Before Counts   `json:"before"`
	After  Counts   `json:"after"`
	Enter  []string `json:"enter"` // units
	Leave  []string `json:"leave"`
}

// WhatIf is what other decisions would change: each alone, and all of them together where there are several.
type WhatIf struct {
	Effects []Effect
	Changes []Change // of all together, against the scope that stands
	Would   *Scope   // as it would be with all of them
}

// WhatIf computes what changes of the decisions would do, each alone and all together.
func (b *Basis) WhatIf(tx *store.Tx, stands *Scope, ifs []string) (*WhatIf, error) {
	w := &WhatIf{}
	try := func(ifs ...string) error {
		change, err := ParseIf(ifs)
		if err != nil {
			return err
		}
		if w.Would, err = b.ScopeIf(tx, change); err != nil {
			return err
		}
		w.Effects = append(w.Effects, effect(ifs, stands, w.Would))
		return nil
	}
	for _, one := range ifs {
		if err := try(one); err != nil {
			return nil, err
		}
	}
	if len(ifs) > 1 {
		if err := try(ifs...); err != nil {
			return nil, err
		}
	}
	if w.Would != nil {
		w.Changes = Diff(stands.Items(), w.Would.Items())
	}
	return w, nil
}

func effect(ifs []string, stands, would *Scope) Effect {
	e := Effect{If: ifs, Before: stands.Counts(), After: would.Counts(), Enter: []string{}, Leave: []string{}}
	for _, c := range Diff(stands.Items(), would.Items()) {
		switch {
		case c.Kind == "unit" && c.What == Added:
			e.Enter = append(e.Enter, c.Code)
		case c.Kind == "unit" && c.What == Removed:
			e.Leave = append(e.Leave, c.Code)
		}
	}
	return e
}
