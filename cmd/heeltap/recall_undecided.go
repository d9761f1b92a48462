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
		title += ": " + counted(len(open), "fill") + " still to be decided"
	}
	r.printf("\n%s\n", r.strong(title))
	r.print(t)
	if len(open) == 0 {
		return
	}
	r.printf("  The fault may have been in that beer already, or have come into the yeast later: decide on each fill.\n")
	for _, y := range open {
		r.printf("  %s\n    to suspect it too: heeltap recall suspect %s --reason TEXT\n    to decline it:     heeltap recall unsuspect %s --reason TEXT\n", y.Code, y.Code, y.Code)
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
	unknown := s.Answer.UsesUnknown()
	if len(unknown) > 0 {
		r.printf("\nNothing of what is in scope so far has left the brewery's control, but it is not known what all is in scope: do not call this a stock recovery.\n")
		for _, f := range unknown {
			r.printf("  %s\n", f.Text)
		}
	}
	if len(open) == 0 && len(unknown) > 0 {
		return
	}
	if len(open) == 0 {
		r.printf("\nNothing has left the brewery's control: where no part of a lot was released, that is a stock recovery, not a recall (21 CFR 7.3(k)).\n")
		for _, x := range s.Sampled(tx) {
			r.printf("  Samples were taken of %s (%s, %s): make sure that nobody outside has one.\n", x.Code, howMuch(x), minute(x.At))
		}
		return
	}
	r.printf("\nNothing of what is in scope so far has left the brewery's control. Suspect yeast came from %s, which is not decided on: until it is, do not call this a stock recovery.\n", strings.Join(open, " and "))
}

// remind says under an answer what it leaves out: by the hazard, and because it is not decided yet.
func (r *inRecall) remind(s *scope.Scope) {
	if n := s.NotCounted(); n != "" {
		r.aside(strings.ToUpper(n[:1]) + n[1:])
	}
	r.remindUndecided(s)
}

func (r *inRecall) remindUndecided(s *scope.Scope) {
	for _, y := range s.Undecided() {
		r.aside("Not decided: " + y.Text() + " (heeltap recall scope)")
	}
	for _, f := range s.Answer.UsesUnknown() {
		r.aside("Not known: " + f.Text)
	}
}

// aside says something that stands beside an answer: as a note where that is JSON.
func (r *inRecall) aside(text string) {
	if r.json {
		r.note("%s", text)
		return
	}
	r.printf("%s\n", text)
}

// remindOf does so for a recall as it stands now.
func (r *inRecall) remindOf(tx *store.Tx, now *recall.Recall) error {
	s, err := now.Scope(tx)
	if err == nil {
		r.remind(s)
	}
	return err
}
