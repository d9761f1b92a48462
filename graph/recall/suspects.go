package recall

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Lost is a suspect or a decision that can not be understood any more: what it names was
// taken back, or its name means several things now. Nothing is traced from it.
type Lost struct {
	What string `json:"what"` // suspect, include or exclude
	Code string `json:"code"`
	Why  string `json:"why"`
	// StandsIn is what it meant when it was named, and what is traced in its place.
	StandsIn []string `json:"stands_in,omitempty"`
}

// mend says what the lead can do about it.
func (l Lost) mend() string {
	if l.What == suspected {
		return "name what is meant with suspect, and take this one off with unsuspect"
	}
	return "decide anew on what is meant, and take this one back with undecide"
}

const suspected = "suspect"

// understood parts suspects and decisions from those that mean nothing now. For one that was
// named by what is printed on it, and that print was corrected, what it meant when it was named
// stands in.
func (r *Recall) understood(tx *store.Tx, suspects []string, decisions []Decision) ([]string, []Decision, []Lost) {
	var lost []Lost
	known := func(what, code string) []string {
		err := trace.Understood(tx, code)
		if err == nil {
			return []string{code}
		}
		var still []string
		for _, c := range r.meant[code] {
			still = append(still, standing(tx, c)...)
		}
		why := err.Error()
		if len(still) > 0 {
			why += "; " + strings.Join(still, ", ") + ", which it meant, stands in for it"
		}
		lost = append(lost, Lost{what, code, why, still})
		return still
	}
	var from []string
	for _, c := range suspects {
		from = append(from, known(suspected, c)...)
	}
	var decided []Decision
	for _, d := range decisions {
		for _, c := range known(d.Choice, d.Code) {
			d.Code = c
			decided = append(decided, d)
		}
	}
	return from, decided, lost
}

// begunBy begins what keeps a fill by the vessel and the entry that began it: its code hangs on its time.
const begunBy = "begun-by:"

// standing gives what can stand in for a meaning now; none where it is gone.
func standing(tx *store.Tx, meant string) []string {
	rest, is := strings.CutPrefix(meant, begunBy)
	if !is {
		if trace.Understood(tx, meant) != nil {
			return nil
		}
		return []string{meant}
	}
	text, vessel, _ := strings.Cut(rest, ":")
	entry, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return nil
	}
	var out []string
	for _, n := range tx.NodesOf(vessel) {
		if n.Kind == graph.Fill && n.Entry == entry {
			out = append(out, "fill:"+n.Code)
		}
	}
	return out
}

// meanings keeps what texts mean now that are no plain codes, and of fills what began them.
func meanings(tx *store.Tx, texts []string) map[string][]string {
	var out map[string][]string
	for _, text := range texts {
		meant := trace.Meant(tx, text)
		if len(meant) == 1 && strings.HasPrefix(meant[0], "fill:") {
			for _, n := range tx.NodesNamed(strings.TrimPrefix(meant[0], "fill:")) {
				if n.Kind == graph.Fill {
					meant = []string{fmt.Sprintf("%s%d:%s", begunBy, n.Entry, n.Home)}
				}
			}
		}
		if len(meant) == 1 && strings.HasSuffix(meant[0], ":"+text) {
			continue
		}
		if out == nil {
			out = map[string][]string{}
		}
		out[text] = meant
	}
	return out
}

// spelled gives codes as they are recorded, each once, so that a thing is decided on under one
// name however it was typed.
func spelled(tx *store.Tx, codes []string) []string {
	var out []string
	for _, c := range codes {
		if c = trace.Spelled(tx, c); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// Decide prepares a decision on things; each must be understood, so that none goes astray.
func (r *Recall) Decide(tx *store.Tx, choice string, codes []string, reason string) (*Decided, error) {
	if choice != Records {
		for _, c := range codes {
			if err := trace.Understood(tx, c); err != nil {
				return nil, err
			}
		}
		codes = spelled(tx, codes)
		return &Decided{codes, choice, reason, meanings(tx, codes)}, tx.Err()
	}
	taken := map[string][]string{} // under whatever spelling
	for _, d := range r.Decisions {
		name := trace.Spelled(tx, d.Code)
		taken[name] = append(taken[name], d.Code)
	}
	var out []string
	for _, c := range codes {
		found := taken[trace.Spelled(tx, c)]
		if len(found) == 0 {
			return nil, lots.Errorf(lots.NotFound, "there is no decision on %s", c)
		}
		out = append(out, found...)
	}
	return &Decided{Codes: out, Choice: choice, Reason: reason}, tx.Err()
}

// Suspect prepares further suspects.
func (r *Recall) Suspect(tx *store.Tx, codes []string, reason string) (*Suspected, error) {
	for _, c := range codes {
		if err := trace.Understood(tx, c); err != nil {
			return nil, err
		}
	}
	codes, had := spelled(tx, codes), spelled(tx, r.Suspects)
	for _, c := range codes {
		if slices.Contains(had, c) {
			return nil, lots.Errorf(lots.Conflict, "%s is suspected already", c)
		}
	}
	return &Suspected{codes, reason, meanings(tx, codes)}, tx.Err()
}

// Unsuspected takes suspects off by the lead's word.
type Unsuspected struct {
	Suspects []string `json:"suspects"`
	Reason   string   `json:"reason"`
}

func (s *Unsuspected) text() string {
	return fmt.Sprintf("Suspected no more: %s: %s", strings.Join(s.Suspects, ", "), s.Reason)
}

func (s *Unsuspected) apply(r *Recall, _ Logged) {
	r.Suspects = slices.DeleteFunc(slices.Clone(r.Suspects), func(c string) bool { return slices.Contains(s.Suspects, c) })
}

// Unsuspect prepares to take suspects off. One must remain: a recall of nothing is closed instead.
func (r *Recall) Unsuspect(tx *store.Tx, codes []string, reason string) (*Unsuspected, error) {
	var out []string
	for _, c := range codes {
		same := spelled(tx, []string{c})[0]
		i := slices.IndexFunc(r.Suspects, func(s string) bool { return s == c || spelled(tx, []string{s})[0] == same })
		if i < 0 {
			return nil, lots.Errorf(lots.NotFound, "%s is no suspect of %s; suspects are: %s", c, r.Code, strings.Join(r.Suspects, ", "))
		}
		if !slices.Contains(out, r.Suspects[i]) {
			out = append(out, r.Suspects[i])
		}
	}
	if len(out) == len(r.Suspects) {
		return nil, lots.Errorf(lots.Conflict, "%s would have no suspect left: add the right one first (recall suspect), or close it", r.Code)
	}
	return &Unsuspected{out, reason}, tx.Err()
}

// SignOff prepares the signature under what a correction took out of scope: by code, the name
// of a vessel meaning what it held, or all that waits.
func (r *Recall) SignOff(tx *store.Tx, codes []string, reason string) (*SignedOff, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return nil, err
	}
	if len(s.Kept) == 0 {
		return nil, lots.Errorf(lots.NotFound, "nothing waits for a signature")
	}
	waiting := codesOf(s.Kept)
	if len(codes) == 0 {
		return &SignedOff{waiting, reason}, nil
	}
	var out []string
	for _, c := range codes {
		found := slices.DeleteFunc(slices.Clone(waiting), func(w string) bool { return w != c && !strings.HasPrefix(w, c+"@") })
		if len(found) == 0 {
			return nil, lots.Errorf(lots.NotFound, "%s is not waiting for a signature; waiting are: %s", c, strings.Join(waiting, ", "))
		}
		out = append(out, found...)
	}
	return &SignedOff{out, reason}, nil
}

func codesOf(items []Item) []string {
	out := []string{}
	for _, i := range items {
		out = append(out, i.Code)
	}
	return out
}
