package store

import (
	"database/sql"
	"encoding/json"
	"time"

	"heeltap/lots"
)

// kindAct is the journal's kind of a step that somebody took about something: it is
// no row of a sheet, and changes no record.
const kindAct = "act"

// actBody is the content of an act: what it is about, and whatever its maker says.
type actBody struct {
	About string          `json:"about"`
	Step  json.RawMessage `json:"step"`
}

// Act records a step about something. The step is kept as canonical JSON.
func (tx *Tx) Act(about string, step any, by string) (*Entry, error) {
	if about == "" || by == "" {
		return nil, lots.Errorf(lots.Invalid, "say who took the step")
	}
	text, err := canonical(step)
	if err != nil {
		return nil, err
	}
	body, err := canonical(actBody{about, json.RawMessage(text)})
	if err != nil {
		return nil, err
	}
	e := &Entry{Kind: kindAct, By: by, Body: body}
	if err := tx.append(e); err != nil {
		return nil, err
	}
	return e, tx.enterAct(e)
}

func (tx *Tx) enterAct(e *Entry) error {
	var body actBody
	if err := json.Unmarshal([]byte(e.Body), &body); err != nil {
		return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
	}
	return tx.exec("INSERT INTO act(seq, about, body) VALUES (?,?,?)", e.Seq, body.About, string(body.Step))
}

// Acts gives the steps taken about something, in order: each entry, and its step to be read with json.
func (tx *Tx) Acts(about string, yield func(e *Entry, step []byte) error) error {
	var entries []*Entry
	var steps [][]byte
	err := tx.each(func(rows *sql.Rows) error {
		var step []byte
		e, err := scanEntry(rows, &step)
		entries, steps = append(entries, e), append(steps, step)
		return err
	}, "SELECT j.seq, kind, target, at_from, at_to, recorded, by, j.body, hash, a.body FROM act a JOIN journal j ON j.seq = a.seq WHERE about = ? ORDER BY a.seq", about)
	if err != nil {
		return err
	}
	for i, e := range entries { // not while reading: yield may ask further
		if err := yield(e, steps[i]); err != nil {
			return err
		}
	}
	return nil
}

// Step is a step as it is carried elsewhere.
type Step struct {
	Entry    int64           `json:"entry"`
	Recorded time.Time       `json:"recorded"`
	By       string          `json:"by"`
	About    string          `json:"about"`
	Step     json.RawMessage `json:"step"`
}

// Steps lists all steps that were taken, in order.
func (tx *Tx) Steps() (out []Step, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var s Step
		var at int64
		var body []byte
		err := rows.Scan(&s.Entry, &at, &s.By, &s.About, &body)
		s.Recorded, s.Step = time.UnixMilli(at).UTC(), body
		out = append(out, s)
		return err
	}, "SELECT a.seq, j.recorded, j.by, a.about, a.body FROM act a JOIN journal j ON j.seq = a.seq ORDER BY a.seq")
	return out, err
}

// ActedOn lists what steps were taken about, in the order of their first.
func (tx *Tx) ActedOn() []string {
	return tx.texts("SELECT about FROM act GROUP BY about ORDER BY min(seq)")
}

// Head is the sequence of the journal's last entry.
func (tx *Tx) Head() (int64, error) {
	seq, _, _, err := tx.head()
	return seq, err
}

// AboutHolds is what the steps that override a hold are about.
const AboutHolds = "holds"

// Override is a named person's word that entries took what was on hold.
type Override struct {
	Do      string  `json:"do"` // override
	Entries []int64 `json:"entries"`
	Reason  string  `json:"reason"`
}

// Overridden lists the entries that were let through a hold by an override.
func (tx *Tx) Overridden() map[int64]bool {
	out := map[int64]bool{}
	tx.fail(tx.Acts(AboutHolds, func(e *Entry, step []byte) error {
		var o Override
		if err := json.Unmarshal(step, &o); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		for _, entry := range o.Entries {
			out[entry] = true
		}
		return nil
	}))
	return out
}

// EachStep gives the steps taken about something one by one, in order, and holds one at a time: there may be a million. Nothing
// else may be asked of the records before it ends.
func (tx *Tx) EachStep(about string, yield func(entry int64, step []byte) error) error {
	return tx.each(func(rows *sql.Rows) error {
		var entry int64
		var step sql.RawBytes
		if err := rows.Scan(&entry, &step); err != nil {
			return err
		}
		return yield(entry, step)
	}, "SELECT seq, body FROM act WHERE about = ? ORDER BY seq", about)
}

// LastAct gives the last step taken about something, and the entry of the one before it (0 where there is none); nil where none was taken.
func (tx *Tx) LastAct(about string) (e *Entry, step []byte, before int64, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var body []byte
		one, err := scanEntry(rows, &body)
		switch {
		case err != nil:
		case e == nil:
			e, step = one, body
		default:
			before = one.Seq
		}
		return err
	}, "SELECT j.seq, kind, target, at_from, at_to, recorded, by, j.body, hash, a.body FROM act a JOIN journal j ON j.seq = a.seq WHERE about = ? ORDER BY a.seq DESC LIMIT 2", about)
	return e, step, before, err
}
