package web

import (
	"context"
	"html/template"
	"maps"
	"net/url"
	"slices"
	"sync"
	"time"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// mostPasts is how many earlier states of the records are kept at hand: each is a database of its own.
const mostPasts = 3

// pasts are the records as they were known at earlier moments, made when somebody first asks.
type pasts struct {
	mu   sync.Mutex
	list []*past // the one asked last comes last
}

// past is one earlier state. What was known at a moment gone by never changes.
type past struct {
	moment time.Time
	once   sync.Once
	db     *store.DB
	err    error
	users  int
	gone   bool
}

// lend gives an earlier state, and what to call when done with it.
func (p *pasts) lend(ctx context.Context, now *store.DB, moment time.Time) (*store.DB, func(), error) {
	p.mu.Lock()
	i := slices.IndexFunc(p.list, func(x *past) bool { return x.moment.Equal(moment) })
	x := &past{moment: moment}
	if i >= 0 {
		x = p.list[i]
		p.list = slices.Delete(p.list, i, i+1)
	}
	p.list = append(p.list, x)
	x.users++
	for len(p.list) > mostPasts {
		p.list[0].gone = true
		p.list[0].close()
		p.list = slices.Delete(p.list, 0, 1)
	}
	p.mu.Unlock()
	back := func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		x.users--
		x.close()
	}
	// One who no longer waits must not spoil it for the next.
	x.once.Do(func() { x.db, x.err = now.AsKnown(context.WithoutCancel(ctx), moment) })
	if x.err != nil {
		p.mu.Lock()
		p.list = slices.DeleteFunc(p.list, func(y *past) bool { return x == y })
		p.mu.Unlock()
		back()
		return nil, nil, x.err
	}
	return x.db, back, nil
}

// close ends all states; whoever still looks at one ends it when done.
func (p *pasts) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, x := range p.list {
		x.gone = true
		x.close()
	}
	p.list = nil
}

// close ends a state that is kept no longer, once nobody looks at it.
func (x *past) close() {
	if x.gone && x.users == 0 && x.db != nil {
		x.db.Close()
		x.db = nil
	}
}

// answering is what every page with an answer carries: as known when, and how to ask as known at another time.
type answering struct {
	KnownAt string   // as asked; empty: now
	Kept    []hidden // of the question, to ask it again as known at another time
}

type hidden struct{ Name, Value string }

// Now is the query of the same question as known now.
func (a answering) Now() template.URL {
	q := url.Values{}
	for _, h := range a.Kept {
		q.Add(h.Name, h.Value)
	}
	return template.URL(q.Encode()) // already escaped
}

// asked runs f on the records as known at the moment that the address names, or now.
func (s *Server) asked(v *visit, f func(tx *store.Tx, a answering) error) error {
	a := answering{KnownAt: v.field("known_at")}
	query := v.r.URL.Query()
	for _, name := range slices.Sorted(maps.Keys(query)) {
		for _, value := range query[name] {
			if name != "known_at" {
				a.Kept = append(a.Kept, hidden{name, value})
			}
		}
	}
	db, back, err := s.asKnown(v.ctx, a.KnownAt)
	if err != nil {
		return err
	}
	defer back()
	err = db.View(v.ctx, func(tx *store.Tx) error { return f(tx, a) })
	if a.KnownAt != "" && err != nil && lots.KindOf(err) == lots.NotFound {
		return lots.Errorf(lots.NotFound, "%w (as known at %s; later entries are left out)", err, a.KnownAt)
	}
	return err
}

// asKnown is the database to ask: that of now where no moment is named.
func (s *Server) asKnown(ctx context.Context, text string) (*store.DB, func(), error) {
	if text == "" {
		return s.DB, func() {}, nil
	}
	var moment time.Time
	err := s.DB.View(ctx, func(tx *store.Tx) (err error) {
		moment, err = desk.KnownAt(tx, text)
		return err
	})
	if err != nil {
		return nil, nil, lots.Errorf(lots.Invalid, "as known at: %w", err)
	}
	if !moment.Before(s.DB.Now()) { // nothing is known yet of what is to come
		return s.DB, func() {}, nil
	}
	return s.pasts.lend(ctx, s.DB, moment)
}
