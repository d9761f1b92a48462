package recall

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The rules of each step: ready refuses what makes no sense, and fills in what the step has to keep
// besides what was said. It is called by [Recall.Take] alone, so nobody can go past it.

func needed(text, flag string) error {
	if strings.TrimSpace(text) == "" {
		return lots.Errorf(lots.Invalid, "--%s is needed", flag)
	}
	return nil
}

// named refuses a step that names nothing.
func named(codes []string) error {
	if len(codes) == 0 {
		return lots.Errorf(lots.Invalid, "name at least one code")
	}
	return nil
}

func (s *Opened) ready(_ *store.Tx, r *Recall) error {
	return lots.Errorf(lots.Conflict, "%s was opened already: open another recall (heeltap recall open)", r.Code)
}

func (s *Suspected) ready(tx *store.Tx, r *Recall) error {
	if err := cmp.Or(needed(s.Reason, "reason"), named(s.Suspects), understood(tx, s.Suspects)); err != nil {
		return err
	}
	codes, had := scope.Spelled(tx, s.Suspects), scope.Spelled(tx, r.Suspects)
	for _, c := range codes {
		if slices.Contains(had, c) {
			return lots.Errorf(lots.Conflict, "%s is suspected already", c)
		}
	}
	s.Suspects, s.Meant, s.Said = codes, scope.Meanings(tx, codes), trace.InWords(tx, codes)
	return tx.Err()
}

// ready finds the suspects and what is proposed as one, under whatever spelling. One suspect must remain: a
// recall of nothing is closed instead.
func (s *Unsuspected) ready(tx *store.Tx, r *Recall) error {
	if err := cmp.Or(needed(s.Reason, "reason"), named(s.Suspects)); err != nil {
		return err
	}
	now, err := r.Scope(tx)
	if err != nil {
		return err
	}
	var out []string
	for _, c := range s.Suspects {
		same := scope.Spelled(tx, []string{c})[0]
		i := slices.IndexFunc(r.Suspects, func(s string) bool { return s == c || scope.Spelled(tx, []string{s})[0] == same })
		if i < 0 {
			proposed := append(now.Proposed(c), now.Proposed(same)...)
			if len(proposed) == 0 {
				return lots.Errorf(lots.NotFound, "%s is no suspect of %s; suspects are: %s", c, r.Code, strings.Join(r.Suspects, ", "))
			}
			s.Declined = append(s.Declined, proposed...)
			continue
		}
		if !slices.Contains(out, r.Suspects[i]) {
			out = append(out, r.Suspects[i])
		}
	}
	slices.Sort(s.Declined)
	s.Declined = slices.Compact(s.Declined)
	s.Reached = now.Reaches(s.Declined)
	if len(out) == len(r.Suspects) {
		return lots.Errorf(lots.Conflict, "%s would have no suspect left: add the right one first (recall suspect), or close it", r.Code)
	}
	s.Suspects, s.Meant = out, scope.Meanings(tx, slices.Concat(out, s.Declined))
	return tx.Err()
}

func (s *Judged) ready(*store.Tx, *Recall) error {
	if err := needed(s.Reason, "reason"); err != nil {
		return err
	}
	h, err := graph.ParseHazard(s.Hazard)
	if err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	s.Hazard = string(h)
	return nil
}

func (s *Decided) ready(tx *store.Tx, r *Recall) error {
	if err := cmp.Or(needed(s.Reason, "reason"), named(s.Codes)); err != nil {
		return err
	}
	switch s.Choice {
	case scope.Include, scope.Exclude:
		if err := understood(tx, s.Codes); err != nil {
			return err
		}
		s.Codes = scope.Spelled(tx, s.Codes)
		s.Meant = scope.Meanings(tx, s.Codes)
	case scope.Records:
		var err error
		if s.Codes, err = r.decidedOn(tx, s.Codes); err != nil {
			return err
		}
	default:
		return lots.Errorf(lots.Invalid, "%q is not a decision: %s, %s or %s", s.Choice, scope.Include, scope.Exclude, scope.Records)
	}
	return tx.Err()
}

// decidedOn finds what was decided on, under whatever spelling.
func (r *Recall) decidedOn(tx *store.Tx, codes []string) (out []string, err error) {
	taken := map[string][]string{}
	for _, d := range r.Decisions {
		name := trace.Spelled(tx, d.Code)
		taken[name] = append(taken[name], d.Code)
	}
	for _, c := range codes {
		found := taken[trace.Spelled(tx, c)]
		if len(found) == 0 {
			return nil, lots.Errorf(lots.NotFound, "there is no decision on %s", c)
		}
		out = append(out, found...)
	}
	return out, nil
}

func (s *Frozen) ready(tx *store.Tx, r *Recall) error {
	head, err := tx.Head()
	switch {
	case err != nil:
		return err
	case s.Version != len(r.Versions)+1 || s.Head > head:
		return lots.Errorf(lots.Conflict, "version %d as known with entry %d cannot be the next of %s: freeze again", s.Version, s.Head, r.Code)
	}
	return nil
}

// ready finds what waits for a signature: by code, the name of a vessel meaning what it held, or all of it.
func (s *SignedOff) ready(tx *store.Tx, r *Recall) error {
	if err := needed(s.Reason, "reason"); err != nil {
		return err
	}
	if s.All != (len(s.Codes) == 0) {
		return lots.Errorf(lots.Invalid, "name what is signed off, or give --all, not both")
	}
	now, err := r.Scope(tx)
	if err != nil {
		return err
	}
	if len(now.Kept) == 0 {
		return lots.Errorf(lots.NotFound, "nothing waits for a signature")
	}
	var waiting, out []string
	for _, i := range now.Kept {
		waiting = append(waiting, i.Code)
	}
	for _, c := range s.Codes {
		found := slices.DeleteFunc(slices.Clone(waiting), func(w string) bool { return w != c && !strings.HasPrefix(w, c+"@") })
		if len(found) == 0 {
			return lots.Errorf(lots.NotFound, "%s is not waiting for a signature; waiting are: %s", c, strings.Join(waiting, ", "))
		}
		out = append(out, found...)
	}
	if s.All {
		out = waiting
	}
	s.Codes = out
	return nil
}

// ready refuses holds that stop nothing: [Recall.HoldAll] places them.
func (s *Stopped) ready(_ *store.Tx, r *Recall) error {
	if err := named(s.Subjects); err != nil {
		return err
	}
	if r.Mock && len(s.Entries) > 0 || !r.Mock && len(s.Entries) != len(s.Subjects) {
		return lots.Errorf(lots.Invalid, "the holds of %s are placed with heeltap recall hold", r.Code)
	}
	return nil
}

// ready refuses to let go what stays on hold: [Recall.LetGo] ends the holds.
func (s *LetGo) ready(tx *store.Tx, r *Recall) error {
	s.Rehearsed = r.Mock
	if err := r.canLetGo(s); err != nil {
		return err
	}
	for _, c := range s.Subjects {
		for _, entry := range r.heldBy[c] {
			if row, ok := tx.Row(entry); ok && row.Row["released_at"] == "" {
				return lots.Errorf(lots.Invalid, "%s is still on hold (entry %d): let it go with heeltap recall release", c, entry)
			}
		}
	}
	return tx.Err()
}

// canLetGo refuses a release without a reason, and of what this recall does not hold.
func (r *Recall) canLetGo(s *LetGo) error {
	switch {
	case len(s.Subjects) == 0:
		return lots.Errorf(lots.Invalid, "name what to release, or --all")
	case strings.TrimSpace(s.Reason) == "":
		return lots.Errorf(lots.Invalid, "a release needs a reason: --reason TEXT")
	}
	for _, c := range s.Subjects {
		if !slices.Contains(r.Holds, c) {
			text := "%s is not held for %s; held are: %s"
			if r.Mock {
				text = "no hold of %s was rehearsed in %s; rehearsed were those of: %s"
			}
			return lots.Errorf(lots.NotFound, text, c, r.Code, cmp.Or(strings.Join(r.Holds, ", "), "none"))
		}
	}
	return nil
}

func (s *Classed) ready(*store.Tx, *Recall) error {
	class := strings.ToUpper(strings.TrimSpace(s.Class))
	if class != "I" && class != "II" && class != "III" {
		return lots.Errorf(lots.Invalid, "%q is no class: I, II or III (21 CFR 7.3(m))", s.Class)
	}
	s.Class = class
	return nil
}

func (s *Spoke) ready(*store.Tx, *Recall) error { return whichAuthority(s.Authority) }

func whichAuthority(name string) error {
	if strings.TrimSpace(name) == "" {
		return lots.Errorf(lots.Invalid, "name the authority")
	}
	return nil
}

// ready refuses a destruction without its removal: [Recall.Destroy] records both.
func (s *Destroyed) ready(tx *store.Tx, r *Recall) error {
	if err := s.possible(tx); err != nil {
		return err
	}
	if r.Mock {
		s.Entry = 0
		return s.fits(tx, r.rehearsed(s.Unit))
	}
	if row, ok := tx.Row(s.Entry); !ok || row.Sheet.Name != "removals" || row.Row["subject"] != s.Unit {
		return lots.Errorf(lots.Invalid, "no removal of %s is recorded: heeltap recall destroy records both", s.Unit)
	}
	return nil
}

func (s *Noted) ready(*store.Tx, *Recall) error {
	if strings.TrimSpace(s.Text) == "" {
		return lots.Errorf(lots.Invalid, "the note says nothing: give its text")
	}
	return nil
}

// ready counts the open lines: they stay listed, and closing with some is a decision that needs a review.
func (s *Closed) ready(tx *store.Tx, r *Recall) error {
	if strings.TrimSpace(s.Review) == "" {
		return lots.Errorf(lots.Invalid, "closing needs a review: what happened, why, and what will be different; --review TEXT")
	}
	now, err := r.Scope(tx)
	if err != nil {
		return err
	}
	open, err := r.OpenLines(tx, now)
	s.Open = len(open)
	return err
}

func (s *Reopened) ready(_ *store.Tx, r *Recall) error {
	if err := needed(s.Reason, "reason"); err != nil {
		return err
	}
	if r.Open {
		return lots.Errorf(lots.Conflict, "%s is open", r.Code)
	}
	return nil
}

func (s *Terminated) ready(*store.Tx, *Recall) error { return whichAuthority(s.Authority) }

func (s *Drafted) ready(_ *store.Tx, r *Recall) error {
	if s.Version < 0 || s.Version > len(r.Versions) || s.Letters < 0 {
		return lots.Errorf(lots.Invalid, "%s has no version %d that %d letters could follow", r.Code, s.Version, s.Letters)
	}
	return nil
}

func (s *Strategy) ready(*store.Tx, *Recall) error {
	switch s.Depth {
	case "", "consumer", "retail", "wholesale":
	default:
		return lots.Errorf(lots.Invalid, "%q is no depth: consumer, retail or wholesale (21 CFR 7.42(b)(1))", s.Depth)
	}
	if *s == (Strategy{}) {
		return lots.Errorf(lots.Invalid, "give --depth, --instructions, --contact or --completion")
	}
	return nil
}

func (s *Reconciled) ready(*store.Tx, *Recall) error {
	if !s.Cases.possible() || !s.Kegs.possible() || s.Cases == nil && s.Kegs == nil {
		return lots.Errorf(lots.Invalid, "more accounted for or missing than was made, or less than nothing, is not an account")
	}
	return nil
}
