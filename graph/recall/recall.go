package recall

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Recall is what the steps taken in a recall or mock recall add up to.
type Recall struct {
	Code      string
	Mock      bool
	Reason    string
	Known     string
	Lead      string
	Suspects  []string
	Hazard    graph.Hazard
	OpenedAt  time.Time
	Decisions []Decision
	Versions  []Version
	SignedOff map[string]string // unit or other code to the reason
	Holds     []string          // what was held for this recall and not released
	Contacts  map[string]*Contact
	Sample    *Sampled
	Destroyed []Destroyed
	Proposed  string // class the firm proposes
	Assigned  string // class an authority assigned
	Assigner  string
	Spoke     []Said
	Open      bool
	Review    string
	Ended     string // the authority that terminated it
	Strategy  Strategy
	Log       []Logged
	// Now is the moment that what is running or overdue is judged at.
	Now time.Time

	heldBy    map[string][]int64 // what is held for this recall, to the entries of the holds
	signedAt  map[string]int64   // what was signed off, to the entry of the signature
	corrected int64              // the last correction of a record
	meant     meaning            // what suspects and decisions meant when they were named
}

// Decision is the lead's last word on one thing.
type Decision struct {
	Code   string    `json:"code"`
	Choice string    `json:"choice"`
	Reason string    `json:"reason"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Entry  int64     `json:"entry"`
}

// Version is a frozen scope with who froze it and when.
type Version struct {
	Frozen
	Entry int64
	At    time.Time
	By    string
	// Decisions are those that stood when it was frozen.
	Decisions []Decision
	Suspects  []string
	Hazard    graph.Hazard
}

// Contact is all that passed between us and one party.
type Contact struct {
	Tries    []Tried
	Notified time.Time // when it was first reached; zero where it was not
	How      string    // how it was first reached; an answer is one way
	Answer   *Answered // its last word, by the time it was given
	Answered time.Time
	Accounts []SubAccount
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
	r := &Recall{Code: code, Now: tx.Recorded(), SignedOff: map[string]string{}, Contacts: map[string]*Contact{}, heldBy: map[string][]int64{}, signedAt: map[string]int64{}, meant: meaning{}}
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
	r.corrected = tx.LastCorrection("holds", "counts")
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

// At says when a step was done; zero means now.
type At = time.Time

// Begin opens a recall or mock recall and gives its code. Suspects must be known and
// lead somewhere; its clock starts at the time given.
func Begin(tx *store.Tx, o Opened, at At, by string) (*Recall, error) {
	switch {
	case len(o.Suspects) == 0:
		return nil, lots.Errorf(lots.Invalid, "a recall needs a suspect: any code, or --surprise for a mock recall")
	case strings.TrimSpace(o.Reason) == "":
		return nil, lots.Errorf(lots.Invalid, "say what is wrong: --reason TEXT")
	}
	if _, err := graph.ParseHazard(o.Hazard); err != nil {
		return nil, lots.Errorf(lots.Invalid, "%w", err)
	}
	for _, c := range o.Suspects {
		if err := trace.Understood(tx, c); err != nil {
			return nil, err
		}
	}
	o.Suspects = spelled(tx, o.Suspects)
	o.Meant = meanings(tx, o.Suspects)
	o.Lead = cmp.Or(o.Lead, by)
	code, err := nextCode(tx, o.Mock, tx.Recorded().In(tx.Site().Zone).Year())
	if err != nil {
		return nil, err
	}
	if err := take(tx, code, &o, at, by); err != nil {
		return nil, err
	}
	return Load(tx, code)
}

// Take records a further step of a recall and gives its state after it.
func (r *Recall) Take(tx *store.Tx, s Step, at At, by string) (*Recall, error) {
	if err := r.allows(s); err != nil {
		return nil, err
	}
	if err := r.inTime(tx, s, at); err != nil {
		return nil, err
	}
	if err := take(tx, r.Code, s, at, by); err != nil {
		return nil, err
	}
	return Load(tx, r.Code)
}

// allows refuses steps that make no sense in the recall's state.
func (r *Recall) allows(s Step) error {
	if _, again := s.(*Reopened); r.Ended != "" && !again {
		return lots.Errorf(lots.Conflict, "%s was terminated by %s; reopen it first", r.Code, r.Ended)
	}
	switch s.(type) {
	case *Noted, *Reopened, *Strategy, *Terminated, *Frozen, *Classed, *Spoke, *Answered, *Checked:
		return nil
	}
	if !r.Open {
		return lots.Errorf(lots.Conflict, "%s is closed: heeltap recall reopen it first", r.Code)
	}
	return nil
}

// longBefore is how long before its opening a step of a recall can have been taken: somebody
// may have called before the lead opened it, and a date that was typed wrongly lies further off.
const longBefore = 24 * time.Hour

// inTime refuses steps said to be taken long before the recall was opened; notes and talk with
// authorities may be older.
func (r *Recall) inTime(tx *store.Tx, s Step, at At) error {
	switch s.(type) {
	case *Noted, *Spoke:
		return nil
	}
	if at.IsZero() || r.OpenedAt.Sub(at) <= longBefore {
		return nil
	}
	zone := tx.Site().Zone
	return lots.Errorf(lots.Invalid, "%s lies more than a day before %s was opened (%s): give the time at which it was done", lots.RFC3339(at.Unix(), zone), r.Code, lots.RFC3339(r.OpenedAt.Unix(), zone))
}

// Kind names it for people.
func (r *Recall) Kind() string {
	if r.Mock {
		return "mock recall"
	}
	return "recall"
}

// Latest is the last frozen version; nil before the first.
func (r *Recall) Latest() *Version {
	if len(r.Versions) == 0 {
		return nil
	}
	return &r.Versions[len(r.Versions)-1]
}

// decision finds the lead's word on a code.
func (r *Recall) decision(code string) (Decision, bool) {
	i := slices.IndexFunc(r.Decisions, func(d Decision) bool { return d.Code == code })
	if i < 0 {
		return Decision{}, false
	}
	return r.Decisions[i], true
}

func (r *Recall) contact(party string) *Contact {
	c, ok := r.Contacts[party]
	if !ok {
		c = &Contact{}
		r.Contacts[party] = c
	}
	return c
}

func (s *Opened) apply(r *Recall, l Logged) {
	r.Mock, r.Reason, r.Known, r.Lead, r.OpenedAt, r.Open = s.Mock, s.Reason, s.Known, s.Lead, l.At, true
	r.Suspects, r.Hazard = slices.Clone(s.Suspects), graph.Hazard(s.Hazard)
	maps.Copy(r.meant, s.Meant)
}

func (s *Suspected) apply(r *Recall, _ Logged) {
	for _, c := range s.Suspects {
		if !slices.Contains(r.Suspects, c) {
			r.Suspects = append(r.Suspects, c)
		}
	}
	maps.Copy(r.meant, s.Meant)
}

func (s *Judged) apply(r *Recall, _ Logged) { r.Hazard = graph.Hazard(s.Hazard) }

func (s *Decided) apply(r *Recall, l Logged) {
	for _, c := range s.Codes {
		r.Decisions = slices.DeleteFunc(slices.Clone(r.Decisions), func(d Decision) bool { return d.Code == c })
		if s.Choice != Records {
			r.Decisions = append(r.Decisions, Decision{c, s.Choice, s.Reason, l.By, l.At, l.Entry})
		}
	}
	maps.Copy(r.meant, s.Meant)
}

func (s *Frozen) apply(r *Recall, l Logged) {
	r.Versions = append(r.Versions, Version{*s, l.Entry, l.At, l.By, r.Decisions, slices.Clone(r.Suspects), r.Hazard})
	if len(s.Changes) > 0 {
		r.Open = true // what is new has to be held and told
	}
}

func (s *SignedOff) apply(r *Recall, l Logged) {
	for _, c := range s.Codes {
		r.SignedOff[c], r.signedAt[c] = s.Reason, l.Entry
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

func (s *Sampled) apply(r *Recall, _ Logged) { r.Sample = s }

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
