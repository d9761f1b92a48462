package recall

import (
	"fmt"
	"strings"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
)

// Opened begins a recall. Whether it is an exercise is said once, here.
type Opened struct {
	Mock     bool          `json:"mock"`
	Suspects []string      `json:"suspects"`
	Hazard   string        `json:"hazard"`
	Reason   string        `json:"reason"`          // what is wrong, in plain words
	Known    string        `json:"known,omitempty"` // how it was found, what is known so far
	Lead     string        `json:"lead"`            // who answers for it
	Seed     string        `json:"seed,omitempty"`  // of a suspect picked at random
	Meant    scope.Meaning `json:"meant,omitempty"` // what suspects meant that are no plain codes
	Said     words.Said    `json:"said,omitempty"`  // what suspects are whose codes say nothing to people
}

func (s *Opened) text() string {
	what := "Recall"
	if s.Mock {
		what = "Mock recall"
	}
	t := fmt.Sprintf("%s opened on %s: %s (hazard: %s). Lead: %s.", what, s.Said.Of(s.Suspects), s.Reason, s.Hazard, s.Lead)
	if s.Known != "" {
		t += " Known: " + s.Known
	}
	if s.Seed != "" {
		t += " Picked at random with seed " + s.Seed + "."
	}
	return t
}

// Suspected adds suspects.
type Suspected struct {
	Suspects []string      `json:"suspects"`
	Reason   string        `json:"reason"`
	Meant    scope.Meaning `json:"meant,omitempty"`
	Said     words.Said    `json:"said,omitempty"`
}

func (s *Suspected) text() string {
	return fmt.Sprintf("Suspected too: %s: %s", s.Said.Of(s.Suspects), s.Reason)
}

// Unsuspected takes suspects off by the lead's word, or declines what was proposed as one.
type Unsuspected struct {
	Suspects []string `json:"suspects"`
	Declined []string `json:"declined,omitempty"` // fills that suspect yeast came from
	// Reached is what each of those reached beyond the scope when it was declined; steps from before it was kept have none.
	Reached map[string]scope.Beyond `json:"reached,omitempty"`
	Reason  string                  `json:"reason"`
	Meant   scope.Meaning           `json:"meant,omitempty"`
}

func (s *Unsuspected) text() string {
	var parts []string
	if len(s.Suspects) > 0 {
		parts = append(parts, "Suspected no more: "+strings.Join(s.Suspects, ", "))
	}
	if len(s.Declined) > 0 {
		parts = append(parts, "Not suspected, though suspect yeast came from it: "+strings.Join(s.Declined, ", "))
	}
	return fmt.Sprintf("%s: %s", strings.Join(parts, ". "), s.Reason)
}

// Judged changes the hazard, and so the links that count.
type Judged struct {
	Hazard string `json:"hazard"`
	Reason string `json:"reason"`
}

func (s *Judged) text() string { return fmt.Sprintf("Hazard is now %s: %s", s.Hazard, s.Reason) }

// Decided is the lead's word on things.
type Decided struct {
	Codes  []string      `json:"codes"`
	Choice string        `json:"choice"`
	Reason string        `json:"reason"`
	Meant  scope.Meaning `json:"meant,omitempty"`
}

func (s *Decided) text() string {
	verb := map[string]string{scope.Include: "Included", scope.Exclude: "Excluded", scope.Records: "Left to the records again"}[s.Choice]
	return fmt.Sprintf("%s: %s: %s", verb, strings.Join(s.Codes, ", "), s.Reason)
}

// Frozen is a numbered version of the scope.
type Frozen struct {
	Version int            `json:"version"`
	Head    int64          `json:"head"` // the journal's last entry it knows
	Reason  string         `json:"reason,omitempty"`
	Items   []scope.Item   `json:"items"`
	Changes []scope.Change `json:"changes,omitempty"` // against the version before
	// NotCounted says what the hazard left out of it; versions frozen before it was kept have none.
	NotCounted string `json:"not_counted,omitempty"`
}

func (s *Frozen) text() string {
	t := fmt.Sprintf("Scope frozen as version %d, as known with entry %d: %s", s.Version, s.Head, countItems(s.Items))
	if s.Version > 1 {
		t += fmt.Sprintf("; %s against version %d", words.Plural(len(s.Changes), "change"), s.Version-1)
	}
	if s.NotCounted != "" {
		t += "; " + s.NotCounted
	}
	if s.Reason != "" {
		t += ": " + s.Reason
	}
	return t + "."
}

func countItems(items []scope.Item) string {
	n := map[string]int{}
	for _, i := range items {
		n[i.Kind]++
	}
	return fmt.Sprintf("%s, %s, %s", words.Plural(n["run"], "run"), words.Plural(n["unit"], "unit"), words.Plural(n["consignee"], "consignee"))
}

// SignedOff lets what a correction took out of the records' scope leave the recall's.
type SignedOff struct {
	Codes  []string `json:"codes"`
	Reason string   `json:"reason"`

	All bool `json:"-"` // everything that waits for a signature
}

func (s *SignedOff) text() string {
	return fmt.Sprintf("Signed off, out of scope by correction: %s: %s", strings.Join(s.Codes, ", "), s.Reason)
}

// Stopped holds what is in scope and in the house.
type Stopped struct {
	Subjects []string `json:"subjects"`
	Entries  []int64  `json:"entries,omitempty"` // the holds; none in an exercise
	Loose    []string `json:"loose,omitempty"`   // what no hold can stop: so many cases or kegs of a run, on no unit
}

func (s *Stopped) text() string {
	t := fmt.Sprintf("Hold on %s", words.Plural(len(s.Subjects), "thing"))
	if len(s.Entries) == 0 {
		t = fmt.Sprintf("Hold rehearsed on %s; nothing was stopped", words.Plural(len(s.Subjects), "thing"))
	}
	if len(s.Loose) > 0 {
		t += "; on no unit, and so not held: " + strings.Join(s.Loose, ", ")
	}
	return t + "."
}

// LetGo releases.
type LetGo struct {
	Subjects  []string `json:"subjects"`
	Reason    string   `json:"reason"`
	Rehearsed bool     `json:"rehearsed,omitempty"` // in an exercise, where nothing had been stopped
}

func (s *LetGo) text() string {
	if s.Rehearsed {
		return fmt.Sprintf("Release rehearsed: %s: %s; nothing had been stopped.", strings.Join(s.Subjects, ", "), s.Reason)
	}
	return fmt.Sprintf("Released: %s: %s", strings.Join(s.Subjects, ", "), s.Reason)
}
