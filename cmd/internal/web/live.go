package web

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// How the journal's head is watched while somebody looks, and how many may.
const (
	watchEvery   = 500 * time.Millisecond
	beatEvery    = 15 * time.Second
	mostWatching = 200
	mostWaiting  = 32 // messages that one listener has not taken: it then begins again
)

// live tells whoever looks at a recall of what others enter, on the pages or on the command line beside them. One watcher
// reads the journal's head while there is anybody to tell.
type live struct {
	db    *store.DB
	log   *slog.Logger
	beat  time.Duration
	every time.Duration
	most  int

	mu        sync.Mutex
	listeners map[*listener]bool
	watching  bool
	closed    bool
	nudge     chan struct{}
}

// listener is one page that is open on a recall.
type listener struct {
	code  string
	token string // of its session
	send  chan happened
	done  chan struct{} // closed when it is to end
	once  sync.Once
}

func (l *listener) end() { l.once.Do(func() { close(l.done) }) }

// happened is what one entry was, as far as a page on a recall is concerned.
type happened struct {
	Head  int64  `json:"head"`
	By    string `json:"by,omitempty"`
	Text  string `json:"text,omitempty"`
	Clock string `json:"clock,omitempty"`
}

func newLive(db *store.DB, log *slog.Logger) *live {
	return &live{db: db, log: log, beat: beatEvery, every: watchEvery, most: mostWatching, listeners: map[*listener]bool{}, nudge: make(chan struct{}, 1)}
}

// look has the watcher look at once: something was just recorded here.
func (l *live) look() {
	select {
	case l.nudge <- struct{}{}:
	default:
	}
}

// end ends what a session listens to.
func (l *live) end(token string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for x := range l.listeners {
		if x.token == token {
			x.end()
		}
	}
}

// close ends all of it: the server stops.
func (l *live) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed = true
	for x := range l.listeners {
		x.end()
	}
}

// join adds a listener; nil where there are too many. The watcher starts with the first, from the head given.
func (l *live) join(code, token string, head int64) *listener {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed || len(l.listeners) >= l.most {
		return nil
	}
	x := &listener{code: code, token: token, send: make(chan happened, mostWaiting), done: make(chan struct{})}
	l.listeners[x] = true
	if !l.watching {
		l.watching = true
		go l.watch(head)
	}
	return x
}

func (l *live) leave(x *listener) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.listeners, x)
	x.end()
}

// codes are the recalls that somebody looks at; nobody any more ends the watcher.
func (l *live) codes() (map[string]bool, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.listeners) == 0 || l.closed {
		l.watching = false
		return nil, false
	}
	codes := map[string]bool{}
	for x := range l.listeners {
		codes[x.code] = true
	}
	return codes, true
}

// watch follows the journal's head while there is anybody to tell.
func (l *live) watch(head int64) {
	ticks := time.NewTicker(l.every)
	defer ticks.Stop()
	for {
		select {
		case <-ticks.C:
		case <-l.nudge:
		}
		codes, any := l.codes()
		if !any {
			return
		}
		news, now, err := l.since(head, codes)
		if err != nil {
			l.log.Warn("the journal's head cannot be read", "error", err.Error())
			continue
		}
		head = now
		l.tell(news)
	}
}

// since reads what was entered after a head, as each recall's pages are told of it.
func (l *live) since(head int64, codes map[string]bool) (news map[string][]happened, now int64, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	news = map[string][]happened{}
	err = l.db.View(ctx, func(tx *store.Tx) error {
		if now, err = tx.Head(); err != nil || now <= head {
			return err
		}
		for code := range codes {
			r, err := recall.Load(tx, code)
			if err != nil {
				return err
			}
			for _, x := range r.Log {
				if x.Entry > head {
					news[code] = append(news[code], happened{now, x.By, onPage(sentence(x.Text())), r.Clock(x.At)})
				}
			}
			if len(news[code]) == 0 {
				news[code] = []happened{{Head: now}}
			}
		}
		return nil
	})
	return news, max(now, head), err
}

// tell hands out news. Whoever does not take it is left behind: it begins again with the page as it is then.
func (l *live) tell(news map[string][]happened) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for x := range l.listeners {
		for _, h := range news[x.code] {
			select {
			case x.send <- h:
			default:
				x.end()
			}
		}
	}
}

// events tells a page on a recall what others do, as it happens.
func (s *Server) events(v *visit) error {
	code := strings.ToUpper(v.r.PathValue("code"))
	var head int64
	err := s.view(v, func(tx *store.Tx) (err error) {
		if _, err = recall.Load(tx, code); err == nil {
			head, err = tx.Head()
		}
		return err
	})
	if err != nil {
		return err
	}
	cookie, err := v.r.Cookie(sessionCookie)
	if err != nil {
		return err
	}
	l := s.live.join(code, cookie.Value, head)
	if l == nil {
		return lots.Errorf(lots.Conflict, "too many pages are open on recalls: close one, or load this one again to see what is new")
	}
	defer s.live.leave(l)
	straight := v.w.ResponseWriter // nothing of this answer is held back
	out := stream{w: straight, to: http.NewResponseController(straight), patience: 2 * s.live.beat}
	h := v.w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no")
	_ = out.to.SetReadDeadline(time.Time{}) // nothing more is to be read, and for as long as it takes
	known, err := s.headBehind(v, head)     // what was entered while it joined
	if err != nil || !out.say("now", happened{Head: known}) {
		return nil
	}
	beat := time.NewTicker(s.live.beat)
	defer beat.Stop()
	for {
		select {
		case <-v.ctx.Done():
			return nil
		case <-l.done:
			out.say("end", happened{Head: known})
			return nil
		case <-beat.C:
			if !s.mayStillLook(v, cookie.Value) {
				out.say("end", happened{Head: known})
				return nil
			}
			if !out.write(": still here\n\n") {
				return nil
			}
		case news := <-l.send:
			if !s.mayStillLook(v, cookie.Value) || !out.say("step", news) {
				out.say("end", happened{Head: known})
				return nil
			}
			known = news.Head
		}
	}
}

func (s *Server) headBehind(v *visit, head int64) (int64, error) {
	err := s.view(v, func(tx *store.Tx) (err error) { head, err = tx.Head(); return err })
	return head, err
}

// mayStillLook asks again whether whoever listens is signed in and may look: that can end while the page is open.
func (s *Server) mayStillLook(v *visit, token string) bool {
	session, err := s.People.Still(v.ctx, token)
	return err == nil && session.May("look") && (!session.ByPIN || v.tablet != nil && v.tablet.ID == session.Device)
}

// stream writes events to one browser.
type stream struct {
	w        http.ResponseWriter
	to       *http.ResponseController
	patience time.Duration
}

func (o stream) say(event string, h happened) bool {
	data, err := json.Marshal(h)
	return err == nil && o.write(fmt.Sprintf("event: %s\nid: %d\ndata: %s\n\n", event, h.Head, data))
}

// write sends a piece at once; false where nobody takes it.
func (o stream) write(text string) bool {
	_ = o.to.SetWriteDeadline(time.Now().Add(o.patience)) // a recorder in a test has none
	if _, err := o.w.Write([]byte(text)); err != nil {
		return false
	}
	return o.to.Flush() == nil
}
