package desk

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
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
	stepDetach   = "detach"
	stepScan     = "scan"
)

// paperStep is one step about the papers of a thing: a file that was attached to it or is not its after all, what its
// papers said it was, or the bar code that was scanned for it.
type paperStep struct {
	Do       string        `json:"do"`
	Paper    *papers.Paper `json:"paper,omitempty"`
	Quantity string        `json:"quantity,omitempty"`
	Unit     string        `json:"unit,omitempty"`
	Hash     string        `json:"hash,omitempty"` // of the file that is not its
	Reason   string        `json:"reason,omitempty"`
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

// Detach puts on record that a paper is not a thing's after all. The file is kept, and the journal keeps that it was
// attached: only what is shown with the thing changes.
func Detach(tx *store.Tx, code, hash, reason, by string) error {
	if strings.TrimSpace(reason) == "" {
		return lots.Errorf(lots.Invalid, "write why it does not belong to %s: whoever reads the records later sees that it was there", code)
	}
	p, err := AttachedTo(tx, code, hash)
	if err != nil {
		return err
	}
	_, err = tx.Act(aboutPapers+code, paperStep{Do: stepDetach, Hash: p.Hash, Reason: reason}, by)
	return err
}

// AttachedTo is a paper of a thing, by its hash.
func AttachedTo(tx *store.Tx, code, hash string) (Attached, error) {
	known, err := PapersOf(tx, code)
	if err != nil {
		return Attached{}, err
	}
	i := slices.IndexFunc(known.Attached, func(p Attached) bool { return p.Hash == hash })
	if i < 0 {
		return Attached{}, lots.Errorf(lots.NotFound, "no such photo or paper is attached to %s", code)
	}
	return known.Attached[i], nil
}

// leastOfHash is how many characters of a hash tell a paper from the others of one thing.
const leastOfHash = 6

// PaperNamed is a paper of a thing as somebody names it: by its file name, the entry that attached it, or the first
// characters of its hash. Where several are meant the error is Conflict and lists them; where none is, NotFound, with
// what is attached.
func PaperNamed(tx *store.Tx, code, text string) (Attached, error) {
	known, err := PapersOf(tx, code)
	if err != nil {
		return Attached{}, err
	}
	var found []Attached
	var all, meant []string
	for _, p := range known.Attached {
		named := fmt.Sprintf("%s (%s)", p.Name, p.Hash[:min(len(p.Hash), 12)])
		all = append(all, named)
		if p.Name == text || text == strconv.FormatInt(p.Entry, 10) || len(text) >= leastOfHash && strings.HasPrefix(p.Hash, strings.ToLower(text)) {
			found, meant = append(found, p), append(meant, named)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return Attached{}, lots.Errorf(lots.Conflict, "%q can mean %s: give the characters in brackets", text, strings.Join(meant, " or "))
	case len(all) == 0:
		return Attached{}, lots.Errorf(lots.NotFound, "nothing is attached to %s", code)
	}
	return Attached{}, lots.Errorf(lots.NotFound, "no photo or paper %q is attached to %s, but %s", text, code, strings.Join(all, " and "))
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
		case s.Do == stepDetach:
			out.Attached = slices.DeleteFunc(out.Attached, func(p Attached) bool { return p.Hash == s.Hash })
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
