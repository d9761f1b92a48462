// Package papers writes the papers of a recall: letters, answer forms, notices, hold
// lists and reports, from its state and the records. All wording is a draft for the
// responsible person. It computes nothing itself that the recall does not.
package papers

import (
	"fmt"
	"strconv"
	"strings"

	"heeltap/graph/recall"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Maker writes the papers of one recall, as known with one state of the records.
type Maker struct {
	tx     *store.Tx
	r      *recall.Recall
	s      *recall.Scope
	head   int64
	letter bool
}

// New prepares to write papers; letter asks for US Letter instead of A4. What is running or
// overdue is judged at the journal's last entry, so that the same journal gives the same papers.
func New(tx *store.Tx, r *recall.Recall, letter bool) (*Maker, error) {
	head, err := tx.Head()
	if err != nil {
		return nil, err
	}
	last, ok, err := tx.Entry(head)
	if err != nil {
		return nil, err
	}
	then := *r
	if ok {
		then.Now = last.Recorded
	}
	s, err := then.Scope(tx)
	return &Maker{tx, &then, s, head, letter}, err
}

// document begins a paper with the marks that say what it is and is not.
func (m *Maker) document(title, subtitle string, draft bool) *paper.Document {
	d := &paper.Document{Title: title, Subtitle: subtitle, Dated: m.r.Now, Letter: m.letter,
		Footer: fmt.Sprintf("%s, %s, as known with entry %d of %s", m.tx.Site().Name, m.r.Code, m.head, m.time(m.r.Now.Unix()))}
	if m.r.Mock {
		d.Marks = append(d.Marks, "EXERCISE: NO REAL RECALL")
	}
	if draft {
		d.Marks = append(d.Marks, "DRAFT")
	}
	return d
}

// time writes a moment in the site's time, to the minute.
func (m *Maker) time(unix int64) string {
	return strings.Replace(lots.RFC3339(unix, m.tx.Site().Zone)[:16], "T", " ", 1)
}

// cautions frames what has to stand on every paper of a recall.
func cautions() paper.Caution {
	return paper.Caution{Lines: []string{strings.Join(recall.Cautions(), " ")}}
}

func quantity(n float64, unit string) string {
	text := strconv.FormatFloat(n, 'f', -1, 64) + " " + unit
	if n != 1 {
		text += "s"
	}
	return text
}

func num(n float64) string {
	text := strconv.FormatFloat(n, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

func whole[T int | int64](n T) string { return strconv.FormatInt(int64(n), 10) }

func day(at string) string {
	if len(at) < 10 {
		return at
	}
	return at[:10]
}

func or(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}
