package main

import (
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/scope"
	"heeltap/lots/store"
)

// showYeast lists the fills that suspect yeast came from, and how the lead takes or declines each that is open.
func (r *inRecall) showYeast(s *scope.Scope) {
	if len(s.Yeast) == 0 {
		return
	}
	t := &table{head: []string{"crop", "cropped from", "reaches beyond the scope", ""}}
	for _, y := range s.Yeast {
		from := y.Code
		if y.Band != "in" {
			from += " (possible)"
		}
		t.add(strings.Join(y.Crops, ", "), from, y.Beyond.Text(), y.Stands())
	}
	open, title := s.Undecided(), "Where the suspect yeast came from"
	if len(open) > 0 {
		title += ": " + counted(len(open), "fill") + " undecided"
	}
	r.printf("\n%s\n", r.strong(title))
	r.print(t)
	if len(open) == 0 {
		return
	}
	r.printf("  The fault may have been in that beer already, or got into the yeast later. Suspect each fill or decline it:\n")
	for _, y := range open {
		r.printf("  heeltap recall suspect %s --reason TEXT\n  heeltap recall unsuspect %s --reason TEXT\n", y.Code, y.Code)
	}
}

// showWhetherLeft says that nothing has left, and never without what is still to be decided.
func (r *inRecall) showWhetherLeft(tx *store.Tx, s *scope.Scope) {
	if s.SoFarLeft(tx) {
		return
	}
	var open []string
	for _, y := range s.Undecided() {
		open = append(open, y.Code)
	}
	if len(open) == 0 {
		r.printf("\nNothing has left the brewery's control: where no part of a lot was released, that is a stock recovery, not a recall (21 CFR 7.3(k)).\n")
		return
	}
	r.printf("\nNothing of what is in scope so far has left the brewery's control, but the yeast's origin is not decided: %s. Until it is, do not call this a stock recovery.\n", strings.Join(open, ", "))
}

// remind says under an answer what it does not hold: as notes where the answer is JSON.
func (r *inRecall) remind(s *scope.Scope) {
	say := func(format string, args ...any) { r.printf(format+"\n", args...) }
	if r.json {
		say = r.note
	}
	for _, y := range s.Undecided() {
		say("Not decided: %s (heeltap recall scope)", y.Text())
	}
}

// remindOf does so for a recall as it stands now.
func (r *inRecall) remindOf(tx *store.Tx, now *recall.Recall) error {
	s, err := now.Scope(tx)
	if err == nil {
		r.remind(s)
	}
	return err
}
