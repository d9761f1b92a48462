package desk

import (
	"encoding/json"
	"time"

	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// aboutPapers begins what the steps about the papers of a thing are about; its code follows. Steps about
// a bare code are those of recalls.
const aboutPapers = "papers of "

// The names of the steps about papers. They are stored: the list only grows.
const (
	stepAttach   = "attach"
	stepOnPapers = "on-papers"
	stepScan     = "scan"
)

// paperStep is one step about the papers of a thing: a file that was attached to it, what its papers said it was, or
// the bar code that was scanned for it.
type paperStep struct {
	Do       string        `json:"do"`
	Paper    *papers.Paper `json:"paper,omitempty"`
	Quantity string        `json:"quantity,omitempty"`
	Unit     string        `json:"unit,omitempty"`
	Scan     string        `json:"scan,omitempty"`
}

// Attached is a paper of a thing, with who attached it and when.
type Attached struct {
	papers.Paper
	Entry int64     `json:"entry"`
	By    string    `json:"by"`
	At    time.Time `json:"at"`
}

// Attach puts on record that a paper that is kept belongs to a thing. Attached twice, it is there once: the entry is
// then the first.
func Attach(tx *store.Tx, code string, p papers.Paper, by string) (int64, error) {
	if _, _, ok := tx.Introduces(code); !ok {
		return 0, noRow(tx, code)
	}
	before, err := PapersOf(tx, code)
	if err != nil {
		return 0, err
	}
	for _, x := range before.Attached {
		if x.Hash == p.Hash {
			return x.Entry, nil
		}
	}
	e, err := tx.Act(aboutPapers+code, paperStep{Do: stepAttach, Paper: &p}, by)
	if err != nil {
		return 0, err
	}
	return e.Seq, nil
}

// Papers are what is on record about the papers of a thing.
type Papers struct {
	Attached []Attached
	Quantity string // how much of it the papers said there was, with its unit; empty where nobody wrote it down
	Scan     string // the bar code it was received by, as it came; empty where none was scanned
}

// PapersOf lists what is attached to a thing, in order, and what its papers say.
func PapersOf(tx *store.Tx, code string) (out Papers, err error) {
	err = tx.Acts(aboutPapers+code, func(e *store.Entry, step []byte) error {
		var s paperStep
		if err := json.Unmarshal(step, &s); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		switch {
		case s.Do == stepAttach && s.Paper != nil:
			out.Attached = append(out.Attached, Attached{*s.Paper, e.Seq, e.By, e.Recorded})
		case s.Do == stepOnPapers:
			out.Quantity = s.Quantity + " " + s.Unit
		case s.Do == stepScan:
			out.Scan = s.Scan
		}
		return nil
	})
	return out, err
}

// notePapers puts on record how much of a lot its papers said there was.
func notePapers(tx *store.Tx, lot, quantity, unit, by string) error {
	_, err := tx.Act(aboutPapers+lot, paperStep{Do: stepOnPapers, Quantity: quantity, Unit: unit}, by)
	return err
}
