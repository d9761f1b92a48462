package store

import (
	"time"

	"heeltap/lots"
)

// keptAnswers is how long a form that was sent is remembered: a tablet may come back from a dead
// corner of the cellar days later and send it again.
const keptAnswers = 60 * 24 * time.Hour

// Answered gives the answer to a form that was sent before; false where it was not.
func (tx *Tx) Answered(form string) (answer string, before bool, err error) {
	before, err = tx.one([]any{&answer}, "SELECT answer FROM answered WHERE form = ?", form)
	return answer, before, err
}

// Answer keeps the answer to a form in the transaction that records it, so that sent again it records nothing.
// It is a Conflict where the form was answered before.
func (tx *Tx) Answer(form, answer string) error {
	if form == "" {
		return lots.Errorf(lots.Invalid, "the form has no number of its own: load the page again")
	}
	if _, before, err := tx.Answered(form); err != nil || before {
		if err == nil {
			err = lots.Errorf(lots.Conflict, "this form was sent before, and is recorded")
		}
		return err
	}
	if err := tx.exec("DELETE FROM answered WHERE at < ?", tx.recorded-keptAnswers.Milliseconds()); err != nil {
		return err
	}
	return tx.exec("INSERT INTO answered(form, answer, at) VALUES (?,?,?)", form, answer, tx.recorded)
}
