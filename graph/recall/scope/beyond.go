package scope

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Beyond is what a suspect more would reach that is not in scope. A decline keeps it in the journal: names stay.
type Beyond struct {
	Units          int           `json:"units"`
	Cases          int64         `json:"cases"`
	Kegs           int64         `json:"kegs"`
	Unassigned     lots.Packages `json:"unassigned"` // of runs, on no unit
	Consignees     int           `json:"consignees"` // who received any of the units, in scope already or not
	UnitCodes      []string      `json:"unit_codes"`
	ConsigneeCodes []string      `json:"consignee_codes"`
	Tanks          []string      `json:"tanks"`  // vessels that still hold some of it by the books
	Served         []Served      `json:"served"` // drawn or sold in the taproom
	Left           bool          `json:"left"`   // some of it was shipped, served or sold
}

// Text says it in a few words.
func (x Beyond) Text() string {
	parts := []string{x.unitsText()}
	if len(x.Tanks) > 0 {
		parts = append(parts, fmt.Sprintf("some of it still in %s (%s)", words.Plural(len(x.Tanks), "tank"), strings.Join(x.Tanks, ", ")))
	}
	if len(x.Served) > 0 {
		parts = append(parts, servedText(x.Served)+" served or sold in the taproom")
	}
	return strings.Join(parts, "; ")
}

func (x Beyond) unitsText() string {
	t := "no units"
	if x.Units > 0 {
		t = fmt.Sprintf("%s (%s)", words.Plural(x.Units, "unit"), words.CasesAndKegs(float64(x.Cases), float64(x.Kegs)))
	}
	if !x.Unassigned.None() {
		t += fmt.Sprintf(", %s on no unit", x.Unassigned)
	}
	if x.Consignees > 0 {
		t += ", shipped to " + words.Plural(x.Consignees, "consignee")
	}
	return t
}

// servedText sums what was served, each unit of measure by itself.
func servedText(served []Served) string {
	sums := map[string]float64{}
	for _, s := range served {
		sums[s.Unit] += s.Quantity
	}
	var parts []string
	for _, unit := range slices.Sorted(maps.Keys(sums)) {
		word := unit
		if (unit == "case" || unit == "keg") && sums[unit] != 1 {
			word += "s"
		}
		parts = append(parts, lots.Figure(sums[unit])+" "+word)
	}
	return strings.Join(parts, " and ")
}

// more reports whether it reaches anything that it did not reach then: what is now elsewhere, or with somebody else,
// nobody has looked at.
func (x Beyond) more(then Beyond) bool {
	switch {
	case x.Cases > then.Cases || x.Kegs > then.Kegs:
		return true
	case x.Unassigned.Cases > then.Unassigned.Cases || x.Unassigned.Kegs > then.Unassigned.Kegs:
		return true
	}
	return hasNew(x.UnitCodes, then.UnitCodes) || hasNew(x.ConsigneeCodes, then.ConsigneeCodes) || hasNew(x.Tanks, then.Tanks) ||
		hasNew(entries(x.Served), entries(then.Served))
}

func hasNew[T comparable](now, then []T) bool {
	return slices.ContainsFunc(now, func(x T) bool { return !slices.Contains(then, x) })
}

func entries(served []Served) (out []int64) {
	for _, s := range served {
		out = append(out, s.Entry)
	}
	return out
}

// beyond counts what an answer reaches that is not in a scope.
func beyond(tx *store.Tx, s *Scope, a *trace.Answer) Beyond {
	inside := keysOf(s.Items())
	x := Beyond{UnitCodes: []string{}, ConsigneeCodes: []string{}, Tanks: []string{}, Served: []Served{}}
	x.addPacked(tx, s, inside, a)
	for _, f := range a.Fills {
		if !inside["fill "+f.Code] && f.Left >= 0.001 && !slices.Contains(x.Tanks, f.Vessel) {
			x.Tanks = append(x.Tanks, f.Vessel)
		}
	}
	slices.Sort(x.Tanks)
	known := entries(s.Served(tx))
	for _, y := range served(tx, a) {
		if !slices.Contains(known, y.Entry) {
			x.Served = append(x.Served, y)
		}
	}
	x.Left = x.Consignees > 0 || len(x.Served) > 0
	return x
}

// addPacked counts the units, what is on none, and who received any.
func (x *Beyond) addPacked(tx *store.Tx, s *Scope, inside map[string]bool, a *trace.Answer) {
	more := map[string]bool{}
	for _, u := range a.Units {
		if inside["unit "+u.Code] {
			continue
		}
		more[u.Code] = true
		x.UnitCodes = append(x.UnitCodes, u.Code)
		if x.Units++; u.Kind == "keg" {
			x.Kegs += u.Quantity
		} else {
			x.Cases += u.Quantity
		}
	}
	for _, r := range a.Runs {
		if !inside["run "+r.Code] {
			x.Unassigned.Add(trace.OfKegs(tx, r.Code), float64(r.Unassigned))
		}
	}
	for _, sh := range a.Carrying() {
		if slices.ContainsFunc(strings.Split(sh.Unit, "|"), func(u string) bool { return more[u] }) && !slices.Contains(x.ConsigneeCodes, sh.Consignee) {
			x.ConsigneeCodes = append(x.ConsigneeCodes, sh.Consignee)
		}
	}
	for _, b := range a.Bulk {
		if !slices.ContainsFunc(s.Bulk(), func(o trace.Bulk) bool { return o.Entry() == b.Entry() }) && !slices.Contains(x.ConsigneeCodes, b.Consignee) {
			x.ConsigneeCodes = append(x.ConsigneeCodes, b.Consignee)
		}
	}
	slices.Sort(x.ConsigneeCodes)
	x.Consignees = len(x.ConsigneeCodes)
}
