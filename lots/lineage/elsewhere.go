package lineage

import (
	"fmt"
	"slices"

	"heeltap/lots"
)

// elsewhere tells whose a vessel is that belongs to another site or to somebody else; empty for one of ours.
func (e *engine) elsewhere(vessel string) string {
	rec, _ := e.src.Stated(vessel)
	if v, ok := rec.(*lots.Vessel); ok && v.Elsewhere(e.src.Site()) {
		return v.Place
	}
	return ""
}

// unproven is the finding that nobody knows what a vessel of somebody else held before it came here: none of our
// records can say so.
func unproven(vessel, whose, code string, entry int64) Finding {
	return Finding{"first-fill-unproven", code, fmt.Sprintf(
		"%s is of %s, and no verified clean of it is on record before this: what it held before may be in it. If it was cleaned, record heeltap clean %s --at TIME --method cip",
		vessel, whose, vessel), entry}
}

// tellUnproven finds the fills before a vessel's first break, where it is not one of ours.
func (e *engine) tellUnproven(c *Cell, b *book, refs []Ref) {
	whose := e.elsewhere(b.vessel)
	if whose == "" {
		return
	}
	for i, f := range b.fills {
		if i >= b.before && f.epoch == 0 {
			c.Findings = append(c.Findings, unproven(b.vessel, whose, refs[i].Code, f.entry))
		}
	}
}

// tellUnprovenPasses finds what was filled through a path item before its first break, where it is not one of ours.
func (e *engine) tellUnprovenPasses(c *Cell, item string, passes []Pass, cleans cleanings) {
	whose := e.elsewhere(item)
	if whose == "" {
		return
	}
	for _, p := range passes {
		if !slices.ContainsFunc(cleans, func(k cleaning) bool { return k.hi <= p.Start }) {
			c.Findings = append(c.Findings, unproven(item, whose, p.Dst.Code, p.Entry))
		}
	}
}
