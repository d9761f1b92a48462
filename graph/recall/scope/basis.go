package scope

import (
	"slices"
	"time"

	"heeltap/graph"
)

// Basis is what a scope rests on besides the records: what is suspected, what is wrong with it, what
// the lead decided, the versions frozen so far, and what was signed for since.
type Basis struct {
	Suspects  []string
	Hazard    graph.Hazard
	Decisions []Decision
	Declined  []Decline // fills that suspect yeast came from, and that the lead does not suspect
	Versions  []Version
	Meant     Meaning          // what suspects and decisions meant when they were named
	Signed    map[string]int64 // what was signed off, to the journal entry of the signature
	Corrected int64            // the entry of the last correction of a record
}

// Meaning is what texts meant when they were named: a thing may be named by what is printed on
// it, and that can be corrected.
type Meaning = map[string][]string

// The choices of the lead about one thing.
const (
	Include = "include" // it is in, whatever the records say, and so is what it went into
	Exclude = "exclude" // nothing comes to it or from it
	Records = "records" // the records decide again
)

// Decision is the lead's last word on one thing.
type Decision struct {
	Code   string    `json:"code"`
	Choice string    `json:"choice"`
	Reason string    `json:"reason"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Entry  int64     `json:"entry"`
}

// Decline is the lead's word that a fill which suspect yeast came from is not suspected. Its reason answers one hazard, and what the
// fill reached when it was given.
type Decline struct {
	Decision
	Hazard  graph.Hazard
	Reached Beyond
}

// Version is a frozen scope with who froze it and when, and what it rested on.
type Version struct {
	Version   int
	Head      int64 // the journal's last entry it knows
	Reason    string
	Items     []Item
	Changes   []Change // against the version before
	Entry     int64    // the journal entry of the freezing
	At        time.Time
	By        string
	Decisions []Decision // those that stood when it was frozen
	Suspects  []string
	Hazard    graph.Hazard
}

// Latest is the last frozen version; nil before the first.
func (b *Basis) Latest() *Version {
	if len(b.Versions) == 0 {
		return nil
	}
	return &b.Versions[len(b.Versions)-1]
}

// decision finds the lead's word on a code.
func (b *Basis) decision(code string) (Decision, bool) {
	i := slices.IndexFunc(b.Decisions, func(d Decision) bool { return d.Code == code })
	if i < 0 {
		return Decision{}, false
	}
	return b.Decisions[i], true
}
