package store

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"strings"

	"modernc.org/sqlite"

	"heeltap/lots"
)

// sealedTables are the tables that the seal adds up: all but the journal, which has its chain, and the seal.
var sealedTables = []string{"record", "mention", "code", "printed", "act", "line_span", "moment", "stop", "answered",
	"cell", "part", "move", "node", "link", "draw", "arrival", "pass", "finding"}

// total is a sum of hashes modulo 2^256: rows can be added and taken away in any order, each at the cost of one hash.
type total [4]uint64

func (t *total) add(o total) {
	var carry uint64
	for i := range t {
		t[i], carry = bits.Add64(t[i], o[i], carry)
	}
}

func (t *total) sub(o total) {
	var borrow uint64
	for i := range t {
		t[i], borrow = bits.Sub64(t[i], o[i], borrow)
	}
}

func (t *total) bytes() []byte {
	var out []byte
	for _, w := range t {
		out = binary.LittleEndian.AppendUint64(out, w)
	}
	return out
}

func totalOf(b []byte) (t total) {
	for i := range t {
		t[i] = binary.LittleEndian.Uint64(b[8*i:])
	}
	return t
}

// hashRow is the hash of one row. Each value is written with its type and length, so that none can run into the next.
// A whole number reads the same from a column of real numbers as from one of whole ones, and text counts up to a NUL,
// because that is what the hook on changes sees of it.
func hashRow(buf []byte, table string, values []any) (total, []byte) {
	buf = append(append(buf[:0], table...), 0)
	for _, v := range values {
		switch x := v.(type) {
		case nil:
			buf = append(buf, 'n')
		case int64:
			buf = binary.LittleEndian.AppendUint64(append(buf, 'i'), uint64(x))
		case float64:
			if x == math.Trunc(x) && math.Abs(x) < 1<<53 {
				buf = binary.LittleEndian.AppendUint64(append(buf, 'i'), uint64(int64(x)))
			} else {
				buf = binary.LittleEndian.AppendUint64(append(buf, 'f'), math.Float64bits(x))
			}
		case string:
			x, _, _ = strings.Cut(x, "\x00")
			buf = append(binary.LittleEndian.AppendUint64(append(buf, 't'), uint64(len(x))), x...)
		case []byte:
			buf = append(binary.LittleEndian.AppendUint64(append(buf, 'b'), uint64(len(x))), x...)
		default:
			buf = fmt.Appendf(buf, "?%T %v", v, v)
		}
	}
	sum := sha256.Sum256(buf)
	return totalOf(sum[:]), buf
}

// sealing adds up what one transaction changes.
type sealing struct {
	change total
	rows   int
	err    error
	covers map[string]bool
	values []any
	buf    []byte

	noting  bool // whether changes are kept for the lineage in memory
	changes []changed
}

func newSealing() *sealing {
	s := &sealing{covers: map[string]bool{}}
	for _, t := range sealedTables {
		s.covers[t] = true
	}
	return s
}

// see is told of every row before it changes.
func (s *sealing) see(d sqlite.SQLitePreUpdateData) {
	if !s.covers[d.TableName] || s.err != nil {
		return
	}
	s.rows++
	if n := d.Count(); len(s.values) != n {
		s.values = make([]any, n)
	}
	var h total
	if d.Op != opInsert {
		s.err = cmp.Or(s.err, d.Old(s.values...))
		h, s.buf = hashRow(s.buf, d.TableName, s.values)
		s.change.sub(h)
		if s.noting && s.err == nil {
			s.note(d, s.values, true)
		}
	}
	if d.Op != opDelete {
		s.err = cmp.Or(s.err, d.New(s.values...))
		h, s.buf = hashRow(s.buf, d.TableName, s.values)
		s.change.add(h)
		if s.noting && s.err == nil {
			s.note(d, s.values, false)
		}
	}
}

// SQLite's codes of what is done to a row.
const (
	opDelete = 9
	opInsert = 18
)

// watched lends the connection that writes, with s told of every row that changes; the function it returns gives it back.
func (db *DB) watched(ctx context.Context, s *sealing) (*sql.Conn, func() error, error) {
	conn, err := db.write.Conn(ctx)
	if err != nil {
		return nil, nil, err
	}
	if db.unsealed { // all is added up at the end, and without a hook SQLite empties a table at once
		return conn, conn.Close, nil
	}
	hook := func(f sqlite.PreUpdateHookFn) error {
		return conn.Raw(func(c any) error {
			c.(sqlite.HookRegisterer).RegisterPreUpdateHook(f)
			return nil
		})
	}
	if err := hook(s.see); err != nil {
		return nil, nil, cmp.Or(err, conn.Close())
	}
	return conn, func() error { return cmp.Or(hook(nil), conn.Close()) }, nil
}

// seal is what ties the derived rows to the journal.
type seal struct {
	seq  int64
	head []byte
	sum  total
}

// seal reads the seal; false where there is none.
func (tx *Tx) seal() (s seal, ok bool, err error) {
	var sum []byte
	ok, err = tx.one([]any{&s.seq, &s.head, &sum}, "SELECT seq, head, sum FROM seal WHERE id = 1")
	if ok && len(sum) == sha256.Size {
		s.sum = totalOf(sum)
	}
	return s, ok, err
}

// setSeal ties the rows with a sum to the journal as it ends now.
func (tx *Tx) setSeal(sum total) error {
	seq, head, _, err := tx.head()
	if err != nil {
		return err
	}
	return tx.exec("INSERT INTO seal(id, seq, head, sum) VALUES (1,?,?,?) ON CONFLICT (id) DO UPDATE SET seq = excluded.seq, head = excluded.head, sum = excluded.sum",
		seq, orEmptyBlob(head), sum.bytes())
}

func orEmptyBlob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// belongs refuses derived rows that were not made from the journal as it ends now. It costs two look-ups, however long
// the history is.
func (tx *Tx) belongs() error {
	s, ok, err := tx.seal()
	if err != nil {
		return err
	}
	seq, head, _, err := tx.head()
	switch {
	case err != nil:
		return err
	case !ok:
		return lots.Errorf(lots.Corrupt, "%s does not say which journal its records were derived from, so nothing is answered from them: %s", tx.db.path, mendDerived)
	case s.seq > seq:
		return lots.Errorf(lots.Corrupt, "the journal of %s ends at entry %d, and had %d: entries were cut off. %s", tx.db.path, seq, s.seq, mendJournal)
	case s.seq < seq:
		return lots.Errorf(lots.Corrupt, "the records of %s were derived from its journal up to entry %d, and it ends at %d: nothing is answered from them. %s", tx.db.path, s.seq, seq, mendDerived)
	case !bytes.Equal(s.head, head):
		return lots.Errorf(lots.Corrupt, "entry %d, the last of the journal of %s, is not the one that its records were derived from. %s", seq, tx.db.path, mendJournal)
	}
	return nil
}

// What to do about damage, by where it is.
const (
	mendDerived = "The journal is the truth: heeltap audit names what is wrong, and heeltap rebuild derives all anew from it"
	mendJournal = "heeltap audit names the first wrong entry; bring the file back from a backup (heeltap restore says what would be lost)"
)

// sums adds up the rows of a table as they stand.
func (tx *Tx) sums(table string) (sum total, err error) {
	var buf []byte
	var h total
	var values, at []any
	err = tx.each(func(rows *sql.Rows) error {
		if values == nil {
			names, err := rows.Columns()
			if err != nil {
				return err
			}
			values, at = make([]any, len(names)), make([]any, len(names))
			for i := range at {
				at[i] = &values[i]
			}
		}
		if err := rows.Scan(at...); err != nil {
			return err
		}
		h, buf = hashRow(buf, table, values)
		sum.add(h)
		return nil
	}, "SELECT * FROM "+table+" NOT INDEXED")
	return sum, err
}

// sum adds up all that is sealed, as it stands.
func (tx *Tx) sum() (all total, err error) {
	for _, t := range sealedTables {
		one, err := tx.sums(t)
		if err != nil {
			return all, err
		}
		all.add(one)
	}
	return all, nil
}

// walkedBy are the indexes that walks go by: each holds the rows of its table a second time.
var walkedBy = []struct{ table, index, columns string }{
	{"link", "link_back", "dst, src, entry, cause"},
	{"node", "node_code", "code, kind, id"},
	{"node", "node_cell", "cell, id"},
}

// mirrors refuses indexes that say something else than their tables.
func (tx *Tx) mirrors() error {
	for _, w := range walkedBy {
		var both [2]total
		for i, by := range []string{"NOT INDEXED", "INDEXED BY " + w.index} {
			var buf []byte
			var h total
			values := make([]any, strings.Count(w.columns, ",")+1)
			at := make([]any, len(values))
			for k := range at {
				at[k] = &values[k]
			}
			err := tx.each(func(rows *sql.Rows) error {
				if err := rows.Scan(at...); err != nil {
					return err
				}
				h, buf = hashRow(buf, w.table, values)
				both[i].add(h)
				return nil
			}, "SELECT "+w.columns+" FROM "+w.table+" "+by)
			if err != nil {
				return err
			}
		}
		if both[0] != both[1] {
			return lots.Errorf(lots.Corrupt, "the index %s of %s does not agree with its table. %s", w.index, tx.db.path, mendDerived)
		}
	}
	return nil
}

// Sound makes sure, before something is decided or handed out on the strength of it, that the journal's chain holds and
// that all derived rows are those that were derived from it. It reads everything once, but derives nothing: an audit does
// that too.
func (tx *Tx) Sound() error {
	if tx.db.scratch { // made a moment ago from a journal whose chain was read
		return nil
	}
	if tx.sealing == nil { // else it was looked at before anything was written
		if err := tx.belongs(); err != nil {
			return err
		}
	}
	if first, err := tx.chain(); err != nil {
		return err
	} else if first != 0 {
		return lots.Errorf(lots.Corrupt, "entry %d of the journal of %s does not match its hash: it, or an entry before it, was changed after it was recorded. %s", first, tx.db.path, mendJournal)
	}
	s, _, err := tx.seal()
	if err != nil {
		return err
	}
	sum, err := tx.sum()
	if err != nil {
		return err
	}
	if tx.sealing != nil { // what this transaction changed so far is sealed when it is kept
		s.sum.add(tx.sealing.change)
	}
	if sum != s.sum {
		return lots.Errorf(lots.Corrupt, "records or lineage in %s were changed, or lost, by something other than an entry: nothing is decided on them. %s", tx.db.path, mendDerived)
	}
	return tx.mirrors()
}

// chain reads the journal's hashes again and gives the first entry that does not match; 0 where all do.
func (tx *Tx) chain() (first int64, err error) {
	var prev []byte
	next := int64(1)
	err = tx.Entries(0, func(e *Entry) bool {
		want, err := e.hashOf(prev)
		if e.Seq != next || err != nil || !bytes.Equal(want, e.Hash) {
			first = next
			return false
		}
		prev = e.Hash
		next++
		return true
	})
	return first, err
}
