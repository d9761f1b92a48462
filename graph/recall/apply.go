package recall

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
)

func (s *Opened) apply(r *Recall, l Logged) {
	r.Mock, r.Reason, r.Known, r.Lead, r.OpenedAt, r.Open = s.Mock, s.Reason, s.Known, s.Lead, l.At, true
	r.Suspects, r.Hazard = slices.Clone(s.Suspects), graph.Hazard(s.Hazard)
	maps.Copy(r.Meant, s.Meant)
}

func (s *Suspected) apply(r *Recall, _ Logged) {
	for _, c := range s.Suspects {
		if !slices.Contains(r.Suspects, c) {
			r.Suspects = append(r.Suspects, c)
		}
		r.Declined = slices.DeleteFunc(slices.Clone(r.Declined), func(d scope.Decline) bool { return d.Code == c })
	}
	maps.Copy(r.Meant, s.Meant)
}

func (s *Judged) apply(r *Recall, _ Logged) { r.Hazard = graph.Hazard(s.Hazard) }

func (s *Decided) apply(r *Recall, l Logged) {
	for _, c := range s.Codes {
		r.Decisions = slices.DeleteFunc(slices.Clone(r.Decisions), func(d scope.Decision) bool { return d.Code == c })
		if s.Choice != scope.Records {
			r.Decisions = append(r.Decisions, scope.Decision{Code: c, Choice: s.Choice, Reason: s.Reason, By: l.By, At: l.At, Entry: l.Entry})
		}
	}
	maps.Copy(r.Meant, s.Meant)
}

func (s *Frozen) apply(r *Recall, l Logged) {
	r.Versions = append(r.Versions, scope.Version{Version: s.Version, Head: s.Head, Reason: s.Reason, Items: s.Items, Changes: s.Changes,
		Entry: l.Entry, At: l.At, By: l.By, Decisions: r.Decisions, Suspects: slices.Clone(r.Suspects), Hazard: r.Hazard})
	if len(s.Changes) > 0 {
		r.Open = true // what is new has to be held and told
	}
}

func (s *SignedOff) apply(r *Recall, l Logged) {
	for _, c := range s.Codes {
		r.SignedOff[c], r.Signed[c] = s.Reason, l.Entry
	}
}

func (s *Stopped) apply(r *Recall, _ Logged) {
	for i, c := range s.Subjects {
		if !slices.Contains(r.Holds, c) {
			r.Holds = append(r.Holds, c)
		}
		if len(s.Entries) == len(s.Subjects) {
			r.heldBy[c] = append(r.heldBy[c], s.Entries[i])
		}
	}
}

func (s *LetGo) apply(r *Recall, _ Logged) {
	r.Holds = slices.DeleteFunc(slices.Clone(r.Holds), func(c string) bool { return slices.Contains(s.Subjects, c) })
	for _, c := range s.Subjects {
		delete(r.heldBy, c)
	}
}

// Told and Answered may be typed in late: they count in the order of their own times.
func (s *Told) apply(r *Recall, l Logged) {
	c := r.contact(s.Party)
	c.Tries = append(c.Tries, Tried{*s, l.At, l.By})
	slices.SortStableFunc(c.Tries, func(a, b Tried) int { return a.At.Compare(b.At) })
	if s.Reached {
		c.heard(l.At, s.How)
	}
}

func (s *Answered) apply(r *Recall, l Logged) {
	c := r.contact(s.Party)
	if c.Answer == nil || !l.At.Before(c.Answered) {
		c.Answer, c.Answered = s, l.At
	}
	c.heard(l.At, "its own answer")
}

// heard keeps the first time at which a party knew: who answers has heard.
func (c *Contact) heard(at time.Time, how string) {
	if c.Notified.IsZero() || at.Before(c.Notified) {
		c.Notified, c.How = at, how
	}
}

func (s *PassedOn) apply(r *Recall, _ Logged) {
	c := r.contact(s.Party)
	if s.Replace {
		c.Accounts = nil
	}
	c.Accounts = append(c.Accounts, s.Accounts...)
}

func (s *Sampled) apply(r *Recall, l Logged) {
	s.At, s.By = l.At, l.By
	r.Samples, r.Sample = append(r.Samples, s), s
}

func (s *Checked) apply(r *Recall, l Logged) {
	c := r.contact(s.Party)
	c.Checks = append(c.Checks, Check{*s, l.At, l.By})
}

func (s *Classed) apply(r *Recall, _ Logged) {
	if s.Authority == "" {
		r.Proposed = s.Class
		return
	}
	r.Assigned, r.Assigner = s.Class, s.Authority
}

func (s *Spoke) apply(r *Recall, l Logged) { r.Spoke = append(r.Spoke, Said{*s, l.At, l.By}) }

func (s *Destroyed) apply(r *Recall, _ Logged) { r.Destroyed = append(r.Destroyed, *s) }

func (s *Strategy) apply(r *Recall, _ Logged) {
	r.Strategy = Strategy{cmp.Or(s.Depth, r.Strategy.Depth), cmp.Or(s.Instructions, r.Strategy.Instructions), cmp.Or(s.Contact, r.Strategy.Contact), cmp.Or(s.Completion, r.Strategy.Completion)}
}

func (s *Noted) apply(*Recall, Logged)      {}
func (s *Drafted) apply(*Recall, Logged)    {}
func (s *Reconciled) apply(*Recall, Logged) {}

func (s *Closed) apply(r *Recall, _ Logged) { r.Open, r.Review = false, s.Review }

func (s *Reopened) apply(r *Recall, _ Logged) { r.Open, r.Ended = true, "" }

func (s *Terminated) apply(r *Recall, _ Logged) { r.Open, r.Ended = false, s.Authority }

func (s *Unsuspected) apply(r *Recall, l Logged) {
	r.Suspects = slices.DeleteFunc(slices.Clone(r.Suspects), func(c string) bool { return slices.Contains(s.Suspects, c) })
	for _, c := range s.Declined {
		d := scope.Decision{Code: c, Choice: scope.Declined, Reason: s.Reason, By: l.By, At: l.At, Entry: l.Entry}
		r.Declined = append(r.Declined, scope.Decline{Decision: d, Hazard: r.Hazard, Reached: s.Reached[c]})
	}
	maps.Copy(r.Meant, s.Meant)
}
