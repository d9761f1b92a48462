package recall

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Step is something somebody did in a recall. Each kind of step knows what it does
// to the recall's state and how it reads on the timeline.
type Step interface {
	apply(r *Recall, l Logged)
	text() string
}

// Logged is a step as it stands in the journal.
type Logged struct {
	Entry    int64
	At       time.Time // when it was done
	Recorded time.Time
	By       string
	Name     string
	Step     Step
}

// Text says what was done.
func (l Logged) Text() string { return l.Step.text() }

// steps makes an empty step of each name. The names are stored: the list only grows.
var steps = map[string]func() Step{
	"open":       func() Step { return &Opened{} },
	"suspect":    func() Step { return &Suspected{} },
	"unsuspect":  func() Step { return &Unsuspected{} },
	"hazard":     func() Step { return &Judged{} },
	"decide":     func() Step { return &Decided{} },
	"freeze":     func() Step { return &Frozen{} },
	"sign-off":   func() Step { return &SignedOff{} },
	"hold":       func() Step { return &Stopped{} },
	"release":    func() Step { return &LetGo{} },
	"tell":       func() Step { return &Told{} },
	"answer":     func() Step { return &Answered{} },
	"passed-on":  func() Step { return &PassedOn{} },
	"sample":     func() Step { return &Sampled{} },
	"check":      func() Step { return &Checked{} },
	"class":      func() Step { return &Classed{} },
	"authority":  func() Step { return &Spoke{} },
	"destroy":    func() Step { return &Destroyed{} },
	"note":       func() Step { return &Noted{} },
	"close":      func() Step { return &Closed{} },
	"reopen":     func() Step { return &Reopened{} },
	"terminate":  func() Step { return &Terminated{} },
	"letters":    func() Step { return &Drafted{} },
	"strategy":   func() Step { return &Strategy{} },
	"reconciled": func() Step { return &Reconciled{} },
}

// written is a step as the journal keeps it.
type written struct {
	Step string          `json:"step"`
	At   string          `json:"at,omitempty"` // RFC 3339; else when it was recorded
	With json.RawMessage `json:"with"`
}

func nameOf(s Step) string {
	for name, make := range steps {
		if fmt.Sprintf("%T", make()) == fmt.Sprintf("%T", s) {
			return name
		}
	}
	panic(fmt.Sprintf("recall: %T is no kind of step", s))
}

// take records a step of a recall; the zero time means now.
func take(tx *store.Tx, code string, s Step, at time.Time, by string) error {
	with, err := json.Marshal(s)
	if err != nil {
		return err
	}
	w := written{Step: nameOf(s), With: with}
	if !at.IsZero() {
		if at.After(tx.Recorded().Add(time.Minute)) {
			return lots.Errorf(lots.Invalid, "%s lies ahead of now: a step is logged when it is done", lots.RFC3339(at.Unix(), tx.Site().Zone))
		}
		w.At = at.UTC().Format(time.RFC3339)
	}
	_, err = tx.Act(code, w, by)
	return err
}

// read understands a step of the journal.
func read(e *store.Entry, step []byte) (Logged, error) {
	var w written
	if err := json.Unmarshal(step, &w); err != nil {
		return Logged{}, lots.Errorf(lots.Corrupt, "entry %d can not be read: %w", e.Seq, err)
	}
	make, ok := steps[w.Step]
	if !ok {
		return Logged{}, lots.Errorf(lots.Corrupt, "entry %d is a step %q, which this version does not know: use a newer heeltap", e.Seq, w.Step)
	}
	l := Logged{Entry: e.Seq, At: e.Recorded, Recorded: e.Recorded, By: e.By, Name: w.Step, Step: make()}
	if w.At != "" {
		at, err := time.Parse(time.RFC3339, w.At)
		if err != nil {
			return l, lots.Errorf(lots.Corrupt, "entry %d can not be read: %w", e.Seq, err)
		}
		l.At = at
	}
	if err := json.Unmarshal(w.With, l.Step); err != nil {
		return l, lots.Errorf(lots.Corrupt, "entry %d can not be read: %w", e.Seq, err)
	}
	return l, nil
}

// meaning is what texts meant when they were named: a thing may be named by what is printed on
// it, and that can be corrected.
type meaning = map[string][]string

// Opened begins a recall. Whether it is an exercise is said once, here.
type Opened struct {
	Mock     bool     `json:"mock"`
	Suspects []string `json:"suspects"`
	Hazard   string   `json:"hazard"`
	Reason   string   `json:"reason"`          // what is wrong, in plain words
	Known    string   `json:"known,omitempty"` // how it was found, what is known so far
	Lead     string   `json:"lead"`            // who answers for it
	Seed     string   `json:"seed,omitempty"`  // of a suspect picked by lot
	Meant    meaning  `json:"meant,omitempty"` // what suspects meant that are no plain codes
}

func (s *Opened) text() string {
	what := "Recall"
	if s.Mock {
		what = "Mock recall"
	}
	t := fmt.Sprintf("%s opened on %s: %s (hazard: %s). Lead: %s.", what, strings.Join(s.Suspects, ", "), s.Reason, s.Hazard, s.Lead)
	if s.Known != "" {
		t += " Known: " + s.Known
	}
	if s.Seed != "" {
		t += " Picked by lot with seed " + s.Seed + "."
	}
	return t
}

// Suspected adds suspects.
type Suspected struct {
	Suspects []string `json:"suspects"`
	Reason   string   `json:"reason"`
	Meant    meaning  `json:"meant,omitempty"`
}

func (s *Suspected) text() string {
	return fmt.Sprintf("Suspected too: %s: %s", strings.Join(s.Suspects, ", "), s.Reason)
}

// Judged changes the hazard, and so the links that count.
type Judged struct {
	Hazard string `json:"hazard"`
	Reason string `json:"reason"`
}

func (s *Judged) text() string { return fmt.Sprintf("Hazard is now %s: %s", s.Hazard, s.Reason) }

// The choices of the lead about one thing.
const (
	Include = "include" // it is in, whatever the records say, and so is what it went into
	Exclude = "exclude" // nothing comes to it or from it
	Records = "records" // the records decide again
)

// Decided is the lead's word on things.
type Decided struct {
	Codes  []string `json:"codes"`
	Choice string   `json:"choice"`
	Reason string   `json:"reason"`
	Meant  meaning  `json:"meant,omitempty"`
}

func (s *Decided) text() string {
	verb := map[string]string{Include: "Included", Exclude: "Excluded", Records: "Left to the records again"}[s.Choice]
	return fmt.Sprintf("%s: %s: %s", verb, strings.Join(s.Codes, ", "), s.Reason)
}

// Frozen is a numbered version of the scope.
type Frozen struct {
	Version int      `json:"version"`
	Head    int64    `json:"head"` // the journal's last entry it knows
	Reason  string   `json:"reason,omitempty"`
	Items   []Item   `json:"items"`
	Changes []Change `json:"changes,omitempty"` // against the version before
}

func (s *Frozen) text() string {
	t := fmt.Sprintf("Scope frozen as version %d, as known with entry %d: %s", s.Version, s.Head, countItems(s.Items))
	if s.Version > 1 {
		t += fmt.Sprintf("; %s against version %d", plural(len(s.Changes), "change"), s.Version-1)
	}
	if s.Reason != "" {
		t += ": " + s.Reason
	}
	return t + "."
}

// SignedOff lets what a correction took out of the records' scope leave the recall's.
type SignedOff struct {
	Codes  []string `json:"codes"`
	Reason string   `json:"reason"`
}

func (s *SignedOff) text() string {
	return fmt.Sprintf("Signed off, out of scope by correction: %s: %s", strings.Join(s.Codes, ", "), s.Reason)
}

// Stopped holds what is in scope and in the house.
type Stopped struct {
	Subjects []string `json:"subjects"`
	Entries  []int64  `json:"entries,omitempty"` // the holds; none in an exercise
}

func (s *Stopped) text() string {
	if len(s.Entries) == 0 {
		return fmt.Sprintf("Hold rehearsed on %s; nothing was stopped.", plural(len(s.Subjects), "thing"))
	}
	return fmt.Sprintf("Hold on %s.", plural(len(s.Subjects), "thing"))
}

// LetGo releases.
type LetGo struct {
	Subjects []string `json:"subjects"`
	Reason   string   `json:"reason"`
}

func (s *LetGo) text() string {
	return fmt.Sprintf("Released: %s: %s", strings.Join(s.Subjects, ", "), s.Reason)
}

// Told is an attempt to reach a consignee or supplier.
type Told struct {
	Party   string `json:"party"`
	How     string `json:"how"`
	Who     string `json:"who,omitempty"` // whom they spoke to
	Reached bool   `json:"reached"`
	Text    string `json:"text,omitempty"`
}

func (s *Told) text() string {
	t := fmt.Sprintf("%s notified by %s", s.Party, s.How)
	if !s.Reached {
		t = fmt.Sprintf("%s tried by %s, not reached", s.Party, s.How)
	}
	return join(t, s.Who, s.Text)
}

// Answered is what a consignee says became of what it received. Cases and kegs are kept apart.
type Answered struct {
	Party string       `json:"party"`
	Who   string       `json:"who,omitempty"`
	Lines []AnswerLine `json:"lines"`
	Text  string       `json:"text,omitempty"`
}

// AnswerLine is a consignee's account of one product, or of all it received.
type AnswerLine struct {
	Product   string  `json:"product,omitempty"`
	DateCode  string  `json:"date_code,omitempty"`
	Kegs      bool    `json:"kegs,omitempty"` // quantities are kegs, else cases
	OnHand    float64 `json:"on_hand"`        // when the notice came
	Sold      float64 `json:"sold"`           // or served: can not be had back
	Returned  float64 `json:"returned"`       // on its way back
	Destroyed float64 `json:"destroyed"`      // there
	PassedOn  float64 `json:"passed_on"`      // to its own customers
}

func (s *Answered) text() string {
	var parts []string
	for _, l := range s.Lines {
		if len(s.Lines) > 1 && l.OnHand+l.Sold+l.PassedOn == 0 {
			continue
		}
		of := "cases"
		if l.Kegs {
			of = "kegs"
		}
		what := strings.TrimSpace(l.Product + " " + l.DateCode)
		parts = append(parts, strings.TrimSpace(fmt.Sprintf("%s %s: %g on hand, %g sold, %g returned, %g destroyed, %g passed on", what, of, l.OnHand, l.Sold, l.Returned, l.Destroyed, l.PassedOn)))
	}
	if len(parts) == 0 {
		parts = []string{"nothing on hand, nothing sold or passed on"}
	}
	if s.Text != "" {
		parts = append(parts, s.Text)
	}
	return join(s.Party+" answered", s.Who, strings.Join(parts, "; "))
}

// PassedOn is a consignee's list of whom it supplied.
type PassedOn struct {
	Party    string       `json:"party"`
	Accounts []SubAccount `json:"accounts"`
	Replace  bool         `json:"replace,omitempty"` // in place of what it gave before
}

// SubAccount is somebody whom a consignee supplied.
type SubAccount struct {
	Name     string  `json:"name"`
	Contact  string  `json:"contact,omitempty"`
	Phone    string  `json:"phone,omitempty"`
	Email    string  `json:"email,omitempty"`
	Address  string  `json:"address,omitempty"`
	Product  string  `json:"product,omitempty"`
	DateCode string  `json:"date_code,omitempty"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit,omitempty"` // case or keg
}

func (s *PassedOn) text() string {
	t := fmt.Sprintf("%s gave its list: %s", s.Party, plural(len(s.Accounts), "account"))
	if s.Replace {
		t += ", in place of the list before"
	}
	return t
}

// Sampled chooses whom to check.
type Sampled struct {
	Level   string   `json:"level"`
	Percent float64  `json:"percent"`
	Seed    string   `json:"seed"`
	Of      int      `json:"of"` // consignees
	Parties []string `json:"parties"`
}

func (s *Sampled) text() string {
	return fmt.Sprintf("Effectiveness checks at level %s (%g %%): %d of %s, drawn with seed %s.", s.Level, s.Percent, len(s.Parties), plural(s.Of, "consignee"), s.Seed)
}

// Checked is what an effectiveness check found.
type Checked struct {
	Party    string  `json:"party"`
	How      string  `json:"how"`
	Notified bool    `json:"notified"` // had the notice
	Followed bool    `json:"followed"` // did what it says
	OnSale   float64 `json:"on_sale"`  // cases and kegs still offered
	Text     string  `json:"text,omitempty"`
}

func (s *Checked) text() string {
	t := fmt.Sprintf("%s checked by %s: ", s.Party, s.How)
	if !s.Notified {
		t += "had no notice, "
	}
	if s.Followed {
		t += "followed it"
	} else {
		t += "did not follow it"
	}
	if s.OnSale > 0 {
		t += fmt.Sprintf(", %g still on sale", s.OnSale)
	}
	return join(t, s.Text)
}

// Classed keeps the class proposed by the firm, or the one assigned by an authority.
type Classed struct {
	Class     string `json:"class"` // I, II or III
	Authority string `json:"authority,omitempty"`
	Reason    string `json:"reason,omitempty"`
}

func (s *Classed) text() string {
	if s.Authority != "" {
		return join("Class "+s.Class+" assigned by "+s.Authority, s.Reason)
	}
	return join("Class "+s.Class+" proposed", s.Reason)
}

// Spoke is contact with an authority: told by us, or asking us for records.
type Spoke struct {
	Authority string `json:"authority"`
	Asked     bool   `json:"asked"` // it asked for records: the clock of 21 CFR 1.361 runs
	Text      string `json:"text,omitempty"`
}

func (s *Spoke) text() string {
	if s.Asked {
		return join(s.Authority+" asked for records", s.Text)
	}
	return join(s.Authority+" told", s.Text)
}

// Destroyed is destruction, with how and before whom.
type Destroyed struct {
	Unit     string  `json:"unit"`
	Quantity float64 `json:"quantity"`
	Method   string  `json:"method"`
	Witness  string  `json:"witness"`
	Entry    int64   `json:"entry,omitempty"` // the removal; none in an exercise

	Surplus bool   `json:"-"` // it was more than is here by the books
	Ref     string `json:"-"` // tells two otherwise equal ones apart
}

func (s *Destroyed) text() string {
	if s.Entry == 0 {
		return fmt.Sprintf("Destruction rehearsed: %g of %s, %s, witness %s; nothing was removed", s.Quantity, s.Unit, s.Method, s.Witness)
	}
	return fmt.Sprintf("Destroyed: %g of %s, %s, witness %s", s.Quantity, s.Unit, s.Method, s.Witness)
}

// Strategy is how the recall is to be carried out, by the lead's decision.
type Strategy struct {
	Depth        string `json:"depth"`                  // consumer, retail or wholesale: 21 CFR 7.42(b)(1)
	Instructions string `json:"instructions,omitempty"` // what a consignee is to do with the goods
	Contact      string `json:"contact,omitempty"`      // whom to call, with number and address
	Completion   string `json:"completion,omitempty"`   // when it is expected to be done
}

func (s *Strategy) text() string {
	var parts []string
	for _, x := range [][2]string{{"depth", s.Depth}, {"instructions", s.Instructions}, {"contact", s.Contact}, {"completion", s.Completion}} {
		if x[1] != "" {
			parts = append(parts, x[0]+" "+x[1])
		}
	}
	return "Strategy: " + strings.Join(parts, "; ")
}

// Noted is anything else worth keeping.
type Noted struct {
	Text string `json:"text"`
}

func (s *Noted) text() string { return s.Text }

// Drafted says that letters were written out.
type Drafted struct {
	Version int `json:"version"`
	Letters int `json:"letters"`
}

func (s *Drafted) text() string {
	if s.Version == 0 {
		return fmt.Sprintf("Letters drafted for %s, for no frozen version", plural(s.Letters, "party"))
	}
	return fmt.Sprintf("Letters drafted for %s, for version %d", plural(s.Letters, "party"), s.Version)
}

// Reconciled says that the account was struck, and what it came to.
type Reconciled struct {
	Accounted   float64 `json:"accounted"` // percent of what was produced
	Unaccounted float64 `json:"unaccounted"`
	Over        float64 `json:"over,omitempty"` // accounted for beyond what was made
}

func (s *Reconciled) text() string {
	missing := "nothing missing"
	if s.Unaccounted != 0 {
		missing = fmt.Sprintf("%g of the cases and kegs not", s.Unaccounted)
	}
	t := fmt.Sprintf("Account struck: %g %% accounted for, %s", math.Floor(s.Accounted*100)/100, missing)
	if s.Over != 0 {
		t += fmt.Sprintf("; MORE THAN WAS MADE by %g: a shipment, a count or a removal is wrong", s.Over)
	}
	return t + "."
}

// Closed ends the brewery's own work.
type Closed struct {
	Review string `json:"review"` // what was learned
	Open   int    `json:"open"`   // lines still open when it was closed
}

func (s *Closed) text() string {
	return fmt.Sprintf("Closed with %s. Review: %s", plural(s.Open, "open line"), s.Review)
}

// Reopened begins again.
type Reopened struct {
	Reason string `json:"reason"`
}

func (s *Reopened) text() string { return "Opened again: " + s.Reason }

// Terminated is the authority's word that it is over.
type Terminated struct {
	Authority string `json:"authority"`
	Text      string `json:"text,omitempty"`
}

func (s *Terminated) text() string { return join("Terminated by "+s.Authority, s.Text) }
