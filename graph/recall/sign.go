package recall

import (
	"fmt"
	"strings"
	"time"

	"heeltap/graph/recall/internal/words"
	"heeltap/lots"
	"heeltap/lots/store"
)

// What somebody can put their name to.
const (
	SignScope  = "scope"  // the last frozen version
	SignReport = "report" // the report as known with an entry: the same journal gives the same paper
)

// Signed is somebody's name under a scope or a report.
type Signed struct {
	What    string `json:"what"`              // scope or report
	As      string `json:"as"`                // in which role
	Version int    `json:"version,omitempty"` // of the scope
	Head    int64  `json:"head"`              // the journal's last entry that it knows
}

// Signature is a signature with who gave it.
type Signature struct {
	Signed
	At time.Time
	By string
}

func (s *Signed) ready(tx *store.Tx, r *Recall) error {
	if err := needed(s.As, "as"); err != nil {
		return err
	}
	head, err := tx.Head()
	if err != nil {
		return err
	}
	s.Version = 0
	if last := r.Latest(); last != nil {
		s.Version = last.Version
	}
	switch s.What {
	case SignReport:
		s.Head = head
		return nil
	case SignScope:
		if s.Version == 0 {
			return lots.Errorf(lots.Conflict, "no version of the scope is frozen: heeltap recall freeze it first, so that it shows later what was signed")
		}
		s.Head = r.Latest().Head
		return nil
	}
	return lots.Errorf(lots.Invalid, "%q is nothing to sign: %s or %s", s.What, SignScope, SignReport)
}

func (s *Signed) apply(r *Recall, l Logged) {
	r.Signatures = append(r.Signatures, Signature{*s, l.At, l.By})
}

func (s *Signed) text() string {
	what := fmt.Sprintf("Report as known with entry %d signed", s.Head)
	if s.What == SignScope {
		what = fmt.Sprintf("Scope version %d signed", s.Version)
	}
	return words.Join(what, strings.TrimSpace(s.As))
}

// SignedFor gives the last signature under the report, or under the last version of the scope; false where there is none.
func (r *Recall) SignedFor(what string) (Signature, bool) {
	for i := len(r.Signatures) - 1; i >= 0; i-- {
		s := r.Signatures[i]
		if s.What == what && (what == SignReport || r.Latest() != nil && s.Version == r.Latest().Version) {
			return s, true
		}
	}
	return Signature{}, false
}
