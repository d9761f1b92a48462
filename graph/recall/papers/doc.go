// Package papers writes the papers of a recall: letters, answer forms, notices, hold
// lists and reports, from its state and the records. All wording is a draft for the
// responsible person. It computes nothing itself that the recall does not.
package papers

import (
	"fmt"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/printed"
	"heeltap/graph/recall/scope"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Maker writes the papers of one recall, as known with one state of the records.
type Maker struct {
	tx     *store.Tx
	r      *recall.Recall
	s      *scope.Scope
	head   store.Head
	letter bool
	bare   bool // personal details are left out
	drift  int  // -1 until it is asked for

	rules []printed.Rule // nil until they are asked for
}

// New prepares to write papers; letter asks for US Letter instead of A4. What is running or
// overdue is judged at the journal's last entry, so that the same journal gives the same papers. Nothing is written from
// records that do not follow from the journal.
func New(tx *store.Tx, r *recall.Recall, letter bool) (*Maker, error) {
	if err := tx.Sound(); err != nil {
		return nil, err
	}
	head, err := tx.LastEntry()
	if err != nil {
		return nil, err
	}
	last, ok, err := tx.Entry(head.Seq)
	if err != nil {
		return nil, err
	}
	then := *r
	if ok {
		then.Now = last.Recorded
	}
	s, err := then.Scope(tx)
	return &Maker{tx: tx, r: &then, s: s, head: head, letter: letter, drift: -1}, err
}

// WithoutContacts makes the papers of a copy for those who need not know whom to reach at a supplier or consignee: without
// the people there, their telephone, e-mail and address, what was said in talk, and the names on consignees' lists. The
// parties' own names and all quantities stay, and each paper says that it is such a copy.
func (m *Maker) WithoutContacts() *Maker {
	out := *m
	out.r, out.bare = m.r.WithoutPersonal(), true
	return &out
}

// Why a copy leaves something out, and what stands in its place.
const (
	leftOutOfCopy = "Contacts are left out of this copy: people at suppliers and consignees and how to reach them, what was said in talk, and the names on consignees' lists."
	inItsPlace    = "(left out)"
)

// whole refuses to write what is nothing without contacts.
func (m *Maker) whole() error {
	if m.bare {
		return lots.Errorf(lots.Denied, "letters and the tables for them are not made without contacts: ask somebody who may see them")
	}
	return nil
}

// personal is a personal detail, or what stands in its place in a copy without them.
func (m *Maker) personal(text string) string {
	if m.bare {
		return inItsPlace
	}
	return text
}

// document begins a paper with the marks that say what it is and is not.
func (m *Maker) document(title, subtitle string, draft bool) *paper.Document {
	d := &paper.Document{Title: title, Subtitle: subtitle, Dated: m.r.Now, Letter: m.letter,
		Footer: fmt.Sprintf("%s, %s, as known with entry %s of %s", m.tx.Site().Name, m.r.Code, m.head.Short(), m.time(m.r.Now.Unix()))}
	if m.r.Mock {
		d.Marks = append(d.Marks, "EXERCISE: NO REAL RECALL")
		d.Footer = "EXERCISE, no real recall. " + d.Footer
	}
	if draft {
		d.Marks = append(d.Marks, "DRAFT")
	}
	if m.bare {
		d.Parts = append(d.Parts, paper.Text{Text: leftOutOfCopy, Strong: true})
	}
	return d
}

// time writes a moment in the site's time, to the minute.
func (m *Maker) time(unix int64) string {
	return strings.Replace(lots.RFC3339(unix, m.tx.Site().Zone)[:16], "T", " ", 1)
}

// Version is the last frozen version and how much of the scope that the papers follow differs
// from it; 0 where none is frozen.
func (m *Maker) Version() (version, differs int, err error) {
	last := m.r.Latest()
	if last == nil {
		return 0, 0, nil
	}
	if m.drift < 0 {
		if m.drift, err = m.r.Drift(m.tx); err != nil {
			return 0, 0, err
		}
	}
	return last.Version, m.drift, nil
}

// basis says which scope a paper follows.
func (m *Maker) basis() string {
	text := fmt.Sprintf("the scope as known with entry %d", m.head.Seq)
	version, differs, err := m.Version()
	switch {
	case err != nil: // whoever drafts asks for the version first, and is told
		return text
	case version == 0:
		return text + ", of which no version is frozen: freeze it, so that what was said can be shown later"
	case differs > 0:
		return text + fmt.Sprintf(", which DIFFERS from version %d in %s: freeze it, so that a version says what was said", version, things(differs))
	}
	return text + fmt.Sprintf(": version %d", version)
}

func things(n int) string { return countOf(n, "thing", "things") }

// cautions frames what has to stand on every paper of a recall.
func cautions() paper.Caution {
	return paper.Caution{Lines: []string{strings.Join(recall.Cautions(), " ")}}
}
