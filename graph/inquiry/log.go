package inquiry

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// AboutInquiries is what the steps that note an inquiry are about.
const AboutInquiries = "inquiry"

// Noted is an inquiry as it was noted down: the raw text, and all candidates as likely as those shown, not one chosen.
type Noted struct {
	Entry      int64     `json:"entry"`
	At         time.Time `json:"at"`
	By         string    `json:"by"`
	Question   Question  `json:"question"`
	Candidates []string  `json:"candidates"` // printed codes with their product
	Runs       []string  `json:"runs"`
	Exact      []string  `json:"exact_runs"` // of those, the runs that printed just what was read
}

type noted struct {
	Question   Question `json:"question"`
	Candidates []string `json:"candidates"`
	Runs       []string `json:"runs"`
	Exact      []string `json:"exact_runs,omitempty"`
}

// Note records an inquiry.
func Note(tx *store.Tx, a *Answer, by string) (int64, error) {
	n := noted{Question: a.Question, Candidates: []string{}, Runs: []string{}}
	for _, c := range a.Candidates {
		n.Candidates = append(n.Candidates, c.Printed+" "+c.Product)
		n.Runs = append(n.Runs, c.Runs...)
		if c.Score == 100 {
			n.Exact = append(n.Exact, c.Runs...)
		}
	}
	n.Candidates, n.Runs = append(n.Candidates, a.Equal...), append(n.Runs, a.equalRuns...)
	e, err := tx.Act(AboutInquiries, n, by)
	if err != nil {
		return 0, err
	}
	return e.Seq, nil
}

// All lists the inquiries noted, in order.
func All(tx *store.Tx) ([]Noted, error) {
	out := []Noted{}
	err := tx.Acts(AboutInquiries, func(e *store.Entry, step []byte) error {
		var n noted
		if err := json.Unmarshal(step, &n); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		out = append(out, Noted{e.Seq, e.Recorded, e.By, n.Question, n.Candidates, n.Runs, n.Exact})
		return nil
	})
	return out, err
}

// Concern is an inquiry that is, or may be, about one of some runs.
type Concern struct {
	Noted
	Sure bool // whatever it was that was read, it is of one of the runs
}

// Complaint reports whether somebody said what is the matter: a mere question is none.
func (n Noted) Complaint() bool { return strings.TrimSpace(n.Question.Note) != "" }

// About lists the inquiries noted that are or may be about any of the runs, in order.
func About(tx *store.Tx, runs map[string]bool) ([]Concern, error) {
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	out := []Concern{}
	for _, n := range all {
		read := n.Runs
		if len(n.Exact) > 0 {
			read = n.Exact // who read a code just as it was printed did not misread another
		}
		if slices.ContainsFunc(read, func(run string) bool { return runs[run] }) {
			out = append(out, Concern{n, !slices.ContainsFunc(read, func(run string) bool { return !runs[run] })})
		}
	}
	return out, nil
}
