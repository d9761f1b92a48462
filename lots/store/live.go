package store

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"

	"heeltap/graph"
	"heeltap/lots/lineage"
)

// KeepInMemory has reading transactions walk a lineage that is kept in memory, of at most so many bytes, while it is that
// of the journal as they see it; else they read the file, as they do while it is not read yet or would be larger. What this
// program records is taken over change by change; after entries of other programs it is read anew, beside. It must be called
// before the database is used by several.
func (db *DB) KeepInMemory(most int64) {
	ctx, stop := context.WithCancel(context.Background())
	db.live = &live{most: most, ctx: ctx, stop: stop}
}

// Warm reads the lineage into memory now, where it is to be kept there, rather than beside the first question.
func (db *DB) Warm(ctx context.Context) error {
	if db.live == nil {
		return nil
	}
	return db.live.load(ctx, db)
}

// version tells states of what is derived apart: the journal's last entry, and the sum of all derived rows.
type version struct {
	seq  int64
	head string
	sum  total
}

// version is that of what the transaction sees; false where the seal is not that of the journal's end.
func (tx *Tx) version() (v version, ok bool) {
	if tx.seen != nil {
		return *tx.seen, tx.seen.head != ""
	}
	s, _, err := tx.seal()
	if err == nil {
		var seq int64
		var head []byte
		if seq, head, _, err = tx.head(); err == nil && seq == s.seq && len(head) > 0 && bytes.Equal(head, s.head) {
			v = version{s.seq, string(s.head), s.sum}
		}
	}
	tx.fail(err)
	tx.seen = &v
	return v, v.head != ""
}

// mostQueued is how many changed rows wait at most to be taken over; beyond it the lineage is read anew.
const mostQueued = 200_000

// live is the lineage in memory.
type live struct {
	most int64
	ctx  context.Context // of reading it beside
	stop func()
	busy sync.WaitGroup

	mu      sync.RWMutex
	net     *graph.Live[lineage.Node] // nil where none is kept
	at      version
	texts   int64 // bytes of codes and homes
	queue   []change
	queued  int
	loading bool
	closed  bool
	rest    time.Time // until when it is not read again

	answered, loads, taken atomic.Int64 // for tests: questions answered from it, how often it was read, rows taken over
}

// change is what one transaction did to nodes and links.
type change struct {
	from, to version
	rows     []changed
}

// changed is one row before and after; one of them may be missing.
type changed struct {
	op       int32
	node     bool
	was, now Node
	cut, tie graph.Link
}

// note keeps what a change of a row does to the lineage, if anything.
func (s *sealing) note(d sqlite.SQLitePreUpdateData, values []any, old bool) {
	if d.TableName != "node" && d.TableName != "link" {
		return
	}
	if len(s.changes) > mostQueued {
		return // too much: see enqueue
	}
	if old || d.Op == opInsert {
		s.changes = append(s.changes, changed{op: d.Op, node: d.TableName == "node"})
	}
	c := &s.changes[len(s.changes)-1]
	switch {
	case c.node && old:
		c.was = nodeOf(values)
	case c.node:
		c.now = nodeOf(values)
	case old:
		c.cut = linkOf(values)
	default:
		c.tie = linkOf(values)
	}
}

// nodeOf reads a row of the table node, and linkOf one of the table link, in the order of their columns.
func nodeOf(v []any) Node {
	var n Node
	n.ID, n.Kind, n.Code = whole(v[0]), graph.Kind(whole(v[1])), v[2].(string)
	n.Home, n.Since, n.Until, n.Total, n.Den, n.Entry = v[4].(string), whole(v[5]), whole(v[6]), real(v[7]), real(v[8]), whole(v[9])
	return n
}

func linkOf(v []any) graph.Link {
	return graph.Link{Src: whole(v[0]), Dst: whole(v[1]), Entry: whole(v[2]), Cause: graph.Cause(whole(v[3])), Grade: graph.Grade(whole(v[4])), Qty: real(v[5]), At: whole(v[6])}
}

func whole(v any) int64 {
	n, _ := v.(int64)
	return n
}

func real(v any) float64 {
	switch x := v.(type) {
	case float64:
		return x
	case int64:
		return float64(x)
	}
	return math.NaN()
}

// enqueue is told of a change before it is kept. A change that is not kept after all must be taken back.
func (l *live) enqueue(c change) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if c.from == c.to {
		return
	}
	l.advance(c.from) // what waits was kept, or this one could not follow it
	if l.queued += len(c.rows); l.queued > mostQueued {
		l.queue, l.queued = nil, 0
		return
	}
	l.queue = append(l.queue, c)
}

// takeBack forgets a change that was not kept.
func (l *live) takeBack(to version) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if n := len(l.queue); n > 0 && l.queue[n-1].to == to {
		l.queued -= len(l.queue[n-1].rows)
		l.queue = l.queue[:n-1]
	}
}

// advance takes over the changes that lead to a version; false where they are not known.
func (l *live) advance(to version) bool {
	if l.net == nil {
		return false
	}
	if l.at == to {
		return true
	}
	first := slices.IndexFunc(l.queue, func(c change) bool { return c.from == l.at })
	if first < 0 {
		return false
	}
	last := first
	for l.queue[last].to != to {
		if last++; last == len(l.queue) || l.queue[last].from != l.queue[last-1].to {
			return false
		}
	}
	for _, c := range l.queue[first : last+1] {
		if err := l.take(c.rows); err != nil {
			l.drop() // never answer from what does not fit; it is read anew
			return false
		}
	}
	for _, c := range l.queue[:last+1] {
		l.queued -= len(c.rows)
	}
	l.queue = slices.Delete(l.queue, 0, last+1)
	l.at = to
	if l.bytes() > l.most {
		l.drop()
		return false
	}
	return true
}

func (l *live) drop() { l.net, l.texts = nil, 0 }

func (l *live) bytes() int64 { return l.net.Bytes() + l.texts }

func textsOf(n Node) int64 { return int64(len(n.Code) + len(n.Home)) }

func (l *live) take(rows []changed) error {
	l.taken.Add(int64(len(rows)))
	for _, c := range rows {
		var err error
		switch {
		case c.node && c.op == opDelete:
			l.texts -= textsOf(c.was)
			err = l.net.Drop(c.was.ID)
		case c.node:
			if c.op != opInsert && c.was.ID != c.now.ID {
				err = l.net.Drop(c.was.ID)
			}
			l.texts += textsOf(c.now) - textsOf(c.was)
			l.net.Put(c.now.ID, c.now.Node)
		default:
			if c.op != opInsert {
				err = l.net.Cut(c.cut)
			}
			if err == nil && c.op != opDelete {
				err = l.net.Tie(c.tie)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// inMemory runs f on the lineage in memory if it is that of what the transaction sees; false where it is not, and the file must be read.
func (tx *Tx) inMemory(f func(*graph.Live[lineage.Node])) bool {
	l := tx.db.live
	if l == nil || tx.sealing != nil { // what a transaction changed so far is only in the file
		return false
	}
	v, ok := tx.version()
	if !ok {
		return false
	}
	if l.read(v, f) {
		return true
	}
	l.mu.Lock()
	if l.net == nil || v.seq >= l.at.seq { // an older one is of a transaction that began before
		if !l.advance(v) {
			l.beside(tx.db)
		}
	}
	l.mu.Unlock()
	return l.read(v, f)
}

func (l *live) read(v version, f func(*graph.Live[lineage.Node])) bool {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.net == nil || l.at != v {
		return false
	}
	f(l.net)
	l.answered.Add(1)
	return true
}

// beside starts reading the lineage anew, unless that is being done or was done a moment ago. The caller holds the lock.
func (l *live) beside(db *DB) {
	if l.loading || l.closed || time.Now().Before(l.rest) {
		return
	}
	l.busy.Add(1)
	go func() {
		defer l.busy.Done()
		_ = l.load(l.ctx, db) // the file answers meanwhile, and tells what is wrong with it
	}()
}

// load reads the lineage anew.
func (l *live) load(ctx context.Context, db *DB) error {
	l.mu.Lock()
	if l.loading || l.closed {
		l.mu.Unlock()
		return nil
	}
	l.loading = true
	l.mu.Unlock()
	began := time.Now()
	net, texts, at, err := l.whole(ctx, db)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.loading = false
	l.loads.Add(1)
	l.rest = time.Now().Add(10 * time.Since(began)) // others that keep recording must not keep it reading all the time
	if err == nil && net != nil && (l.net == nil || at.seq >= l.at.seq) {
		l.net, l.texts, l.at = net, texts, at
	}
	if net == nil && err == nil {
		l.rest = time.Now().Add(time.Hour) // too large
	}
	return err
}

// whole reads the lineage in a transaction of its own; nil where it would be too large, or is not the journal's.
func (l *live) whole(ctx context.Context, db *DB) (net *graph.Live[lineage.Node], texts int64, at version, err error) {
	err = db.View(ctx, func(tx *Tx) error {
		var ok bool
		if at, ok = tx.version(); !ok {
			return tx.err
		}
		made, read := graph.NewLive[lineage.Node](), 0
		full := func() error {
			if read++; read%1024 == 0 && made.Bytes()+texts > l.most {
				return errTooLarge
			}
			return nil
		}
		err := tx.each(func(rows *sql.Rows) error {
			n, err := scanNode(rows)
			made.Put(n.ID, n.Node)
			texts += textsOf(n)
			return cmp.Or(err, full())
		}, "SELECT "+nodeColumns+" FROM node")
		if err == nil {
			err = tx.each(func(rows *sql.Rows) error {
				x, err := scanLink(rows)
				return cmp.Or(err, full(), made.Tie(x))
			}, "SELECT src, dst, entry, cause, grade, qty, at FROM link")
		}
		if err == nil && made.Bytes()+texts <= l.most {
			net = made
		}
		if err == errTooLarge {
			return nil
		}
		return err
	})
	return net, texts, at, err
}

var errTooLarge = fmt.Errorf("the lineage is larger than what may be kept in memory")

// close ends what is read beside.
func (l *live) close() {
	if l == nil {
		return
	}
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.stop()
	l.busy.Wait()
}

// InMemory says how many nodes and links are kept in memory, and in about how many bytes; zeros where none are.
func (db *DB) InMemory() (nodes, links int, bytes int64) {
	l := db.live
	if l == nil {
		return 0, 0, 0
	}
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.net == nil {
		return 0, 0, 0
	}
	nodes, links = l.net.Len()
	return nodes, links, l.bytes()
}
