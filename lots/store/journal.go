package store

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"time"

	"heeltap/lots"
)

// The kinds of entry that correct another one; all others are sheets' names.
const (
	kindAmend = "amend"
	kindVoid  = "void"
)

// Entry is one statement in the journal.
type Entry struct {
	Seq      int64
	Kind     string // a sheet's name, amend or void
	Target   int64  // the entry an amend or void corrects, else 0
	At       *lots.When
	Recorded time.Time
	By       string
	Body     string // canonical JSON: a row, or {"reason":…,"set":{…}}
	Hash     []byte
}

// correction is the body of an amend or void.
type correction struct {
	Reason string            `json:"reason"`
	Set    map[string]string `json:"set,omitempty"`
}

// canonical writes a value as JSON with sorted keys and nothing escaped that need not be.
func canonical(v any) (string, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return "", err
	}
	return string(bytes.TrimRight(b.Bytes(), "\n")), nil
}

// hashOf covers every field of the entry and the hash before it. The fields
// are written as a canonical JSON array, so that none can run into the next.
func (e *Entry) hashOf(prev []byte) ([]byte, error) {
	var from, to any
	if e.At != nil {
		from, to = strconv.FormatInt(e.At.From, 10), strconv.FormatInt(e.At.To, 10)
	}
	text, err := canonical([]any{strconv.FormatInt(e.Seq, 10), e.Kind, strconv.FormatInt(e.Target, 10), from, to,
		strconv.FormatInt(e.Recorded.UnixMilli(), 10), e.By, e.Body})
	if err != nil {
		return nil, err
	}
	h := sha256.New()
	h.Write(prev)
	h.Write([]byte(text))
	return h.Sum(nil), nil
}

// head gives the last entry's sequence, hash and recorded time.
func (tx *Tx) head() (seq int64, hash []byte, recorded int64, err error) {
	_, err = tx.one([]any{&seq, &hash, &recorded}, "SELECT seq, hash, recorded FROM journal ORDER BY seq DESC LIMIT 1")
	return seq, hash, recorded, err
}

// append writes one entry at the journal's end.
func (tx *Tx) append(e *Entry) error {
	seq, prev, recorded, err := tx.head()
	if err != nil {
		return err
	}
	// A clock set back must not make the journal's order contradict its times.
	e.Seq, e.Recorded = seq+1, time.UnixMilli(max(tx.recorded, recorded))
	if e.Hash, err = e.hashOf(prev); err != nil {
		return err
	}
	return tx.insertEntry(e)
}

func (tx *Tx) insertEntry(e *Entry) error {
	var target, from, to any
	if e.Target != 0 {
		target = e.Target
	}
	if e.At != nil {
		from, to = e.At.From, e.At.To
	}
	return tx.exec("INSERT INTO journal(seq, kind, target, at_from, at_to, recorded, by, body, hash) VALUES (?,?,?,?,?,?,?,?,?)",
		e.Seq, e.Kind, target, from, to, e.Recorded.UnixMilli(), e.By, e.Body, e.Hash)
}

// Entries reads the journal in order, from one sequence on, until yield returns false.
func (tx *Tx) Entries(from int64, yield func(*Entry) bool) error {
	return tx.entries(yield, "SELECT seq, kind, target, at_from, at_to, recorded, by, body, hash FROM journal WHERE seq >= ? ORDER BY seq", from)
}

func (tx *Tx) entries(yield func(*Entry) bool, query string, args ...any) error {
	err := tx.each(func(rows *sql.Rows) error {
		e, err := scanEntry(rows)
		if err == nil && !yield(e) {
			err = errEnough
		}
		return err
	}, query, args...)
	if err == errEnough {
		return nil
	}
	return err
}

// errEnough ends a reading whose reader wants no more.
var errEnough = errors.New("enough")

func scanEntry(rows *sql.Rows, more ...any) (*Entry, error) {
	var e Entry
	var target, from, to sql.NullInt64
	var recorded int64
	if err := rows.Scan(append([]any{&e.Seq, &e.Kind, &target, &from, &to, &recorded, &e.By, &e.Body, &e.Hash}, more...)...); err != nil {
		return nil, err
	}
	e.Target, e.Recorded = target.Int64, time.UnixMilli(recorded)
	if from.Valid {
		e.At = &lots.When{From: from.Int64, To: to.Int64, Day: from.Int64 != to.Int64}
	}
	return &e, nil
}

// Entry reads one entry.
func (tx *Tx) Entry(seq int64) (*Entry, bool, error) {
	var found *Entry
	err := tx.each(func(rows *sql.Rows) error {
		e, err := scanEntry(rows)
		found = e
		return err
	}, "SELECT seq, kind, target, at_from, at_to, recorded, by, body, hash FROM journal WHERE seq = ?", seq)
	return found, found != nil, err
}

// Corrections lists the amends and voids of an entry, and of those corrections, in order.
func (tx *Tx) Corrections(seq int64) ([]*Entry, error) {
	var out []*Entry
	err := tx.each(func(rows *sql.Rows) error {
		e, err := scanEntry(rows)
		out = append(out, e)
		return err
	}, `WITH RECURSIVE about(seq) AS (SELECT seq FROM journal WHERE target = ? UNION SELECT j.seq FROM about a CROSS JOIN journal j ON j.target = a.seq)
	SELECT j.seq, kind, target, at_from, at_to, recorded, by, body, hash FROM about a CROSS JOIN journal j ON j.seq = a.seq ORDER BY j.seq`, seq)
	return out, err
}

// EntriesAbout reads, in order, the entries whose row named a code when it was entered, and all their corrections, until yield returns false.
func (tx *Tx) EntriesAbout(code string, yield func(*Entry) bool) error {
	var roots []int64
	err := tx.each(func(rows *sql.Rows) error { // a row reads as it was entered, unless it was corrected
		e, err := scanEntry(rows)
		if err == nil && e.Target == 0 && e.Names(code) {
			roots = append(roots, e.Seq)
		}
		return err
	}, `WITH perhaps(seq) AS (SELECT seq FROM mention WHERE code = ? UNION SELECT target FROM journal WHERE target IS NOT NULL)
	SELECT j.seq, kind, target, at_from, at_to, recorded, by, body, hash FROM perhaps p CROSS JOIN journal j ON j.seq = p.seq`, code)
	if err != nil {
		return err
	}
	return tx.entries(yield, `WITH RECURSIVE about(seq) AS (SELECT value FROM json_each(?) UNION SELECT j.seq FROM about a CROSS JOIN journal j ON j.target = a.seq)
	SELECT j.seq, kind, target, at_from, at_to, recorded, by, body, hash FROM about a CROSS JOIN journal j ON j.seq = a.seq ORDER BY j.seq`, jsonList(roots))
}

// AllCorrections reads all amends and voids in order.
func (tx *Tx) AllCorrections(yield func(*Entry) bool) error {
	return tx.entries(yield, "SELECT seq, kind, target, at_from, at_to, recorded, by, body, hash FROM journal INDEXED BY journal_target WHERE target IS NOT NULL ORDER BY seq")
}

// LastSet gives for each of some standing rows that have a cell the entry that wrote it as it
// reads now: the last amend of that column that was not taken back, or the row's own entry.
func (tx *Tx) LastSet(rows []int64, column string) map[int64]int64 {
	out := map[int64]int64{}
	fixes := map[int64][]*Entry{}
	tx.fail(tx.each(func(rows *sql.Rows) error {
		var root int64
		e, err := scanEntry(rows, &root)
		if err != nil {
			return err
		}
		if out[root] = root; e.Seq != root {
			fixes[root] = append(fixes[root], e)
		}
		return nil
	}, `WITH RECURSIVE about(root, seq) AS (SELECT r.seq, r.seq FROM json_each(?1) w CROSS JOIN record r ON r.seq = w.value WHERE json_extract(r.body, '$.' || ?2) IS NOT NULL
		UNION SELECT a.root, j.seq FROM about a CROSS JOIN journal j ON j.target = a.seq)
	SELECT j.seq, kind, target, at_from, at_to, recorded, by, body, hash, root FROM about a CROSS JOIN journal j ON j.seq = a.seq ORDER BY j.seq`, jsonList(rows), column))
	for root, list := range fixes {
		gone := takenBack(list)
		for _, e := range list {
			var k correction
			if e.Kind == kindAmend && !gone[e.Seq] && json.Unmarshal([]byte(e.Body), &k) == nil && k.Set[column] != "" {
				out[root] = e.Seq
			}
		}
	}
	return out
}

// LastCorrection is the journal's last amend or void of a row that is of none of some sheets; 0 where there is none.
func (tx *Tx) LastCorrection(but ...string) int64 {
	var last sql.NullInt64
	_, err := tx.one([]any{&last}, `SELECT max(c.seq) FROM journal c JOIN journal t ON t.seq = c.target
		WHERE c.target IS NOT NULL AND t.kind NOT IN (SELECT value FROM json_each(?))`, jsonList(but))
	tx.fail(err)
	return last.Int64
}

// takenBack tells which entries voids among corrections take back.
func takenBack(corrections []*Entry) map[int64]bool {
	gone := map[int64]bool{}
	for i := len(corrections) - 1; i >= 0; i-- { // only later entries can void earlier ones
		if c := corrections[i]; c.Kind == kindVoid && !gone[c.Seq] {
			gone[c.Target] = true
		}
	}
	return gone
}

// currentRow works out how an entry reads after its corrections; false where it
// is void. A void of a correction takes the correction back.
func currentRow(entry *Entry, corrections []*Entry) (lots.Row, bool, error) {
	var row lots.Row
	if err := json.Unmarshal([]byte(entry.Body), &row); err != nil {
		return nil, false, err
	}
	gone := takenBack(corrections)
	for _, c := range corrections {
		if c.Kind != kindAmend || c.Target != entry.Seq || gone[c.Seq] {
			continue
		}
		var k correction
		if err := json.Unmarshal([]byte(c.Body), &k); err != nil {
			return nil, false, err
		}
		for name, value := range k.Set {
			if value == "" {
				delete(row, name)
			} else {
				row[name] = value
			}
		}
	}
	return row, !gone[entry.Seq], nil
}

// RowThen reads a row as it was when an entry was the journal's last, and whether it stood.
func (tx *Tx) RowThen(row *Entry, head int64) (lots.Row, bool, error) {
	corrections, err := tx.Corrections(row.Seq)
	if err != nil {
		return nil, false, err
	}
	return currentRow(row, slices.DeleteFunc(corrections, func(e *Entry) bool { return e.Seq > head }))
}

// Content gives the entry's body as values: a row, or a correction's reason and cells.
func (e *Entry) Content() any {
	var v any
	if err := json.Unmarshal([]byte(e.Body), &v); err != nil {
		return e.Body
	}
	return v
}

// Names reports whether the entry states a row that names a code.
func (e *Entry) Names(code string) bool {
	sheet, ok := lots.SheetNamed(e.Kind)
	var row lots.Row
	return ok && json.Unmarshal([]byte(e.Body), &row) == nil && slices.Contains(lots.Mentions(sheet, row), code)
}
