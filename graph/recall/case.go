package recall

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Recall is what the steps taken in a recall or mock recall add up to.
type Recall struct {
	scope.Basis
	Code       string
	Mock       bool
	Reason     string
	Known      string
	Lead       string
	OpenedAt   time.Time
	SignedOff  map[string]string // unit or other code to the reason
	Holds      []string          // what was held for this recall and not released
	Contacts   map[string]*Contact
	Sample     *Sampled   // the last draw of consignees to check
	Samples    []*Sampled // every draw, in order: a later one takes nothing back
	Destroyed  []Destroyed
	Proposed   string // class the firm proposes
	Assigned   string // class an authority assigned
	Assigner   string
	Spoke      []Said
	Open       bool
	Review     string
	Ended      string // the authority that terminated it
	Strategy   Strategy
	Signatures []Signature
	Log        []Logged
	// Now is the moment that what is running or overdue is judged at.
	Now time.Time

	// Remarks are what is odd about the step that was just taken, and stops nothing; none of one that is read.
	Remarks []string

	heldBy map[string][]int64 // what is held for this recall, to the entries of the holds
}

// Contact is all that passed between us and one party.
type Contact struct {
	Tries    []Tried
	Notified time.Time // when it was first reached; zero where it was not
	How      string    // how it was first reached; an answer is one way
	Answer   *Answered // its last word, by the time it was given
	Answered time.Time
	Accounts []deliveries.SubAccount
	Checks   []Check
}

// Tried is one attempt to reach a party.
type Tried struct {
	Told
	At time.Time
	By string
}

// Check is one effectiveness check.
type Check struct {
	Checked
	At time.Time
	By string
}

// Said is one contact with an authority.
type Said struct {
	Spoke
	At time.Time
	By string
}

// Load reads a recall; NotFound where there is none of that code.
func Load(tx *store.Tx, code string) (*Recall, error) {
	r := &Recall{Code: code, Now: tx.Recorded(), SignedOff: map[string]string{}, Contacts: map[string]*Contact{}, heldBy: map[string][]int64{}, Basis: scope.Basis{Signed: map[string]int64{}, Meant: scope.Meaning{}}}
	err := tx.Acts(code, func(e *store.Entry, step []byte) error {
		l, err := read(e, step)
		if err != nil {
			return err
		}
		if len(r.Log) == 0 && l.Name != "open" {
			return lots.Errorf(lots.NotFound, "%s is no recall", code)
		}
		l.Step.apply(r, l)
		r.Log = append(r.Log, l)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(r.Log) == 0 {
		return nil, lots.Errorf(lots.NotFound, "there is no recall %q; heeltap recall list shows them all", code)
	}
	r.Corrected = tx.LastCorrection("holds", "counts")
	return r, tx.Err()
}

// All loads every recall and mock recall, in the order in which they were opened.
func All(tx *store.Tx) ([]*Recall, error) {
	var out []*Recall
	for _, about := range tx.ActedOn() {
		if !isCode(about) {
			continue
		}
		r, err := Load(tx, about)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, tx.Err()
}

// The codes of recalls and of mock recalls: a prefix, the year, a running number.
const (
	prefix     = "RC"
	prefixMock = "MR"
)

func isCode(about string) bool {
	rest, ok := strings.CutPrefix(about, prefix)
	if !ok {
		rest, ok = strings.CutPrefix(about, prefixMock)
	}
	year, number, cut := strings.Cut(rest, "-")
	_, err := strconv.Atoi(year + number)
	return ok && cut && err == nil
}

// nextCode proposes the next code of a year.
func nextCode(tx *store.Tx, mock bool, year int) (string, error) {
	begin := prefix
	if mock {
		begin = prefixMock
	}
	begin = fmt.Sprintf("%s%02d-", begin, year%100)
	n := 0
	for _, about := range tx.ActedOn() {
		if rest, ok := strings.CutPrefix(about, begin); ok {
			if k, err := strconv.Atoi(rest); err == nil {
				n = max(n, k)
			}
		}
	}
	return fmt.Sprintf("%s%02d", begin, n+1), tx.Err()
}

// Kind names it for people.
func (r *Recall) Kind() string {
	if r.Mock {
		return "mock recall"
	}
	return "recall"
}

func (r *Recall) contact(party string) *Contact {
	c, ok := r.Contacts[party]
	if !ok {
		c = &Contact{}
		r.Contacts[party] = c
	}
	return c
}
