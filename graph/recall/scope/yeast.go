package scope

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// The states of a fill that suspect yeast was cropped from.
const (
	Open     = "open"     // proposed as a suspect: the lead has neither taken nor declined it
	InScope  = "in scope" // taken, or reached anyhow
	Declined = "declined" // not suspected, by the lead's word
)

// Yeast is a fill that suspect yeast, or yeast upstream of it, was cropped from. A fault in yeast may have been
// in that beer already, or may have come in later: whether to suspect it too is for the lead to decide.
type Yeast struct {
	Code        string   `json:"code"` // the fill
	Vessel      string   `json:"vessel"`
	Band        string   `json:"band"` // possible where it may be another one
	Crops       []string `json:"crops"`
	Generations int      `json:"generations"` // croppings between it and the suspect
	Why         []string `json:"why"`         // from the suspect up to it
	State       string   `json:"state"`
	Reason      string   `json:"reason"` // of one declined, and by whom, also where that has lapsed
	By          string   `json:"by"`
	Lapsed      string   `json:"lapsed,omitempty"` // why it is open again although it was declined
	Beyond
}

// Text says what is proposed, in a line.
func (y Yeast) Text() string {
	were := "was"
	switch {
	case y.Band != graph.In.String():
		were = "may have been"
	case len(y.Crops) > 1:
		were = "were"
	}
	return fmt.Sprintf("%s (%s %s cropped from it) reaches, beyond the scope, %s", y.Code, strings.Join(y.Crops, ", "), were, y.Beyond.Text())
}

// Stands says how it stands, and of what was declined who did so and why.
func (y Yeast) Stands() string {
	switch {
	case y.State == Declined:
		return fmt.Sprintf("%s by %s: %s", y.State, y.By, y.Reason)
	case y.Lapsed != "":
		return fmt.Sprintf("%s again: %s declined it (%s), but %s", y.State, y.By, y.Reason, y.Lapsed)
	}
	return y.State
}

// Undecided lists the fills upstream of suspect yeast that the lead has neither taken nor declined.
func (s *Scope) Undecided() []Yeast {
	return slices.DeleteFunc(slices.Clone(s.Yeast), func(y Yeast) bool { return y.State != Open })
}

// Proposed finds the open proposals that a code names; the name of a vessel means what of it is proposed.
func (s *Scope) Proposed(code string) []string {
	var out []string
	for _, y := range s.Undecided() {
		if strings.EqualFold(y.Code, code) || strings.EqualFold(y.Vessel, code) {
			out = append(out, y.Code)
		}
	}
	return out
}

// Reaches gives what proposed fills reach beyond the scope, by their codes.
func (s *Scope) Reaches(fills []string) map[string]Beyond {
	out := map[string]Beyond{}
	for _, y := range s.Yeast {
		if slices.Contains(fills, y.Code) {
			out[y.Code] = y.Beyond
		}
	}
	return out
}

// upstream finds the fills that suspect yeast came from, and what each would bring in.
func (b *Basis) upstream(tx *store.Tx, s *Scope) error {
	suspects, decisions, _ := b.understood(tx, b.Suspects, b.Decisions)
	q := trace.Question{Hazard: b.Hazard, From: suspects, Literal: true, Without: excluded(decisions)}
	sources, err := trace.YeastSources(tx, q)
	if err != nil {
		return err
	}
	inside := keysOf(s.Items())
	for _, x := range sources {
		y := Yeast{Code: x.Code, Vessel: x.Vessel, Band: x.Band, Crops: x.Crops, Generations: x.Generations, Why: x.Why, State: Open}
		q.Dir, q.From = graph.Forward, []string{"fill:" + x.Code}
		reached, err := trace.Ask(tx, q)
		if err != nil {
			return err
		}
		y.Beyond = beyond(tx, s, reached)
		if inside["fill "+x.Code] {
			y.State = InScope
		} else if d, ok := b.declined(tx, x.Code); ok {
			y.decline(d, b.Hazard)
		}
		s.Yeast = append(s.Yeast, y)
	}
	return nil
}

// decline lets the lead's word stand, unless it was given on something else: then the fill is open again.
func (y *Yeast) decline(d Decline, hazard graph.Hazard) {
	y.Reason, y.By = d.Reason, d.By
	switch {
	case d.Hazard != hazard:
		y.Lapsed = "that was for the hazard " + string(d.Hazard)
	case y.more(d.Reached):
		y.Lapsed = "it reaches more now"
	default:
		y.State = Declined
	}
}

// excluded lists what decisions cut.
func excluded(decisions []Decision) (out []string) {
	for _, d := range decisions {
		if d.Choice != Include {
			out = append(out, d.Code)
		}
	}
	return out
}

// declined finds the lead's word that a fill is not suspected, by whatever name it went when it was given.
func (b *Basis) declined(tx *store.Tx, fill string) (Decline, bool) {
	for _, d := range slices.Backward(b.Declined) {
		codes, _, _ := b.understood(tx, []string{d.Code}, nil)
		for _, c := range codes {
			if slices.Contains(trace.Meant(tx, c), "fill:"+fill) {
				return d, true
			}
		}
	}
	return Decline{}, false
}
