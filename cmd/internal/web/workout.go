package web

import (
	"context"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

const (
	// mostKept is how many answers that take long are kept at hand.
	mostKept = 16
	// patience is how long a page waits for an answer before it shows the last one, or that there is none yet.
	patience = 800 * time.Millisecond
)

// works keeps answers that take long, such as the check of all records and the scope of a recall. Each is worked out
// beside the pages, once for each state of the records, and a page that does not want to wait says so.
type works struct {
	mu    sync.Mutex
	list  []*work // the one asked last comes last
	begun context.Context
	stop  context.CancelFunc
	all   sync.WaitGroup
	over  bool
}

// work is one question: its last answer, and the work under way for a newer one.
type work struct {
	name  string
	last  *worked
	under *underway
}

type worked struct {
	value any
	state string // of the records
	head  int64
	at    time.Time     // by the records' clock
	took  time.Duration // by the wall
}

type underway struct {
	done chan struct{}
	got  *worked
	err  error
}

// standing says how an answer stands to the records as they are now.
type standing struct {
	Working bool   // the answer of now is still being worked out
	Has     bool   // there is an earlier one, which is shown meanwhile
	Head    int64  // the last entry that it knows
	Since   int64  // entries made after it
	At      string // when it was worked out
}

// lasting is what is worked out, which may last: its name, where to ask it, what of the records it depends on, and how.
type lasting[T any] struct {
	name  string
	lend  func(context.Context) (*store.DB, func(), error)
	state func(tx *store.Tx) string // besides the journal's head
	ask   func(tx *store.Tx) (T, error)
	// keeps is set where an answer may be a while old, as long as nothing was entered since.
	keeps bool
}

// workOut gives an answer. What takes longer than a page waits is given as it was worked out last, or not at all, and
// the standing says so; it is then ready when somebody asks again.
func workOut[T any](ctx context.Context, s *Server, tx *store.Tx, q lasting[T]) (value T, how standing, err error) {
	head, err := tx.Head()
	if err != nil {
		return value, how, err
	}
	state, w := q.state(tx), s.works.of(q.name)
	s.works.mu.Lock()
	if last := w.last; last != nil && last.head == head && (last.state == state || q.keeps && tx.Recorded().Sub(last.at).Abs() < 20*last.took) {
		s.works.mu.Unlock()
		if last.state != state { // what counts days may lag behind the clock: it says since when
			how = standing{Has: true, Head: last.head, At: minuteOf(tx, last.at)}
		}
		return last.value.(T), how, nil
	}
	u := w.under
	if u == nil && s.works.over {
		s.works.mu.Unlock()
		return value, how, lots.Errorf(lots.Internal, "the server stops")
	}
	if u == nil {
		u = &underway{done: make(chan struct{})}
		w.under = u
		if s.works.begun == nil {
			s.works.begun, s.works.stop = context.WithCancel(context.Background())
		}
		s.works.all.Add(1)
		go s.works.do(s.works.begun, w, u, func(ctx context.Context) (*worked, error) { return answerTo(ctx, q) })
	}
	s.works.mu.Unlock()
	enough := s.Patience
	if enough == 0 {
		enough = patience
	}
	late := time.NewTimer(enough)
	defer late.Stop()
	select {
	case <-u.done:
		if u.err != nil {
			return value, how, u.err
		}
		if u.got.head < head { // it had begun before the last entry
			return workOut(ctx, s, tx, q)
		}
		return u.got.value.(T), how, nil
	case <-ctx.Done():
		return value, how, ctx.Err()
	case <-late.C:
	}
	s.works.mu.Lock()
	last := w.last
	s.works.mu.Unlock()
	how.Working = true
	if last != nil {
		how = standing{true, true, last.head, head - last.head, minuteOf(tx, last.at)}
		value = last.value.(T)
	}
	return value, how, nil
}

// answerTo works an answer out, on a snapshot of its own.
func answerTo[T any](ctx context.Context, q lasting[T]) (*worked, error) {
	db, back, err := q.lend(ctx)
	if err != nil {
		return nil, err
	}
	defer back()
	out := &worked{}
	began := time.Now()
	err = db.View(ctx, func(tx *store.Tx) (err error) {
		if out.head, err = tx.Head(); err != nil {
			return err
		}
		out.state, out.at = q.state(tx), tx.Recorded()
		out.value, err = q.ask(tx)
		return err
	})
	out.took = time.Since(began)
	return out, err
}

// do works one answer out and hands it to whoever waits. What breaks here breaks no other page.
func (ws *works) do(ctx context.Context, w *work, u *underway, ask func(context.Context) (*worked, error)) {
	defer ws.all.Done()
	defer func() {
		if broke := recover(); broke != nil {
			u.err = lots.Errorf(lots.Internal, "something broke on our side: %v\n%s", broke, debug.Stack())
		}
		ws.mu.Lock()
		if w.under = nil; u.err == nil {
			w.last = u.got
		}
		ws.mu.Unlock()
		close(u.done)
	}()
	u.got, u.err = ask(ctx)
}

// of finds a question, or makes a place for it.
func (ws *works) of(name string) *work {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	w := &work{name: name}
	if i := slices.IndexFunc(ws.list, func(x *work) bool { return x.name == name }); i >= 0 {
		w = ws.list[i]
		ws.list = slices.Delete(ws.list, i, i+1)
	}
	ws.list = append(ws.list, w)
	ws.list = ws.list[max(0, len(ws.list)-mostKept):]
	return w
}

// close ends what is under way, and waits for it.
func (ws *works) close() {
	ws.mu.Lock()
	ws.over = true
	if ws.stop != nil {
		ws.stop()
	}
	ws.mu.Unlock()
	ws.all.Wait()
}

// here lends the database of now.
func (s *Server) here() func(context.Context) (*store.DB, func(), error) {
	db := s.DB
	return func(context.Context) (*store.DB, func(), error) { return db, func() {}, nil }
}

// remember gives an answer that follows from all of the records, as known at a moment or now.
func remember[T any](v *visit, s *Server, tx *store.Tx, name, knownAt string, ask func(*store.Tx) (T, error)) (T, standing, error) {
	q := lasting[T]{name: fmt.Sprint(s.DB.Path(), "\x00", name, "\x00", knownAt), lend: s.here(), ask: ask,
		state: func(tx *store.Tx) string { return tx.Recorded().In(tx.Site().Zone).Format(time.DateOnly) }}
	if knownAt != "" {
		q.lend = func(ctx context.Context) (*store.DB, func(), error) { return s.asKnown(ctx, knownAt) }
	}
	return workOut(v.ctx, s, tx, q)
}
