package recall

import (
	"encoding/json"
	"fmt"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Step is something somebody did in a recall. Each kind of step knows its rules, what it does
// to the recall's state and how it reads on the timeline.
type Step interface {
	ready(tx *store.Tx, r *Recall) error
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

// WithoutPersonal says what was done, but not which person outside the house was spoken to, nor what they said.
func (l Logged) WithoutPersonal() string { return withoutPersonal(l.Step).text() }

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
	"sign":       func() Step { return &Signed{} },
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
			return lots.Errorf(lots.Invalid, "%s is in the future: a step is logged when it is done", lots.RFC3339(at.Unix(), tx.Site().Zone))
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
		return Logged{}, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
	}
	make, ok := steps[w.Step]
	if !ok {
		return Logged{}, lots.Errorf(lots.Corrupt, "entry %d is a step %q, which this version does not know: use a newer heeltap", e.Seq, w.Step)
	}
	l := Logged{Entry: e.Seq, At: e.Recorded, Recorded: e.Recorded, By: e.By, Name: w.Step, Step: make()}
	if w.At != "" {
		at, err := time.Parse(time.RFC3339, w.At)
		if err != nil {
			return l, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		l.At = at
	}
	if err := json.Unmarshal(w.With, l.Step); err != nil {
		return l, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
	}
	return l, nil
}
