// Package web shows the records as pages in a browser, and takes what people record on them to the desk.
//
// It knows how a page looks, who is signed in and how a form is sent. What the records mean, what is
// refused and what to warn of is the desk's.
package web

import (
	"html/template"
	"log/slog"
	"net/http"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// Server answers pages from one database.
type Server struct {
	DB     *store.DB
	People *people.Book
	// Hosts are the names that the server answers to, without a port; others are refused.
	Hosts []string
	// Secure is set where pages come over TLS: cookies are then kept off plain connections.
	Secure bool
	Log    *slog.Logger
	// Papers keeps the photos and papers that are attached to things.
	Papers papers.Store
	// Address is put before the codes on tags; empty: the site's setting, else the address a browser came by.
	Address string
	// Demo names the persons of the demo, who sign in with one touch; nil elsewhere.
	Demo []Persona
	// Story is set in the demo, whose clock is not that of the wall: every page then shows it.
	Story bool
	// Patience is how long a page waits for what takes long before it shows the last answer; 0: a moment.
	Patience time.Duration

	pages map[string]*template.Template
	live  *live
	pasts pasts
	works works
}

// Persona is a person of the demo: whom to sign in as, and what for.
type Persona struct{ Login, Password, Name, For string }

// Handler is everything that the server answers.
func (s *Server) Handler() (http.Handler, error) {
	pages, err := parsePages()
	if err != nil {
		return nil, err
	}
	s.pages = pages
	if s.Log == nil {
		s.Log = slog.New(slog.DiscardHandler)
	}
	s.live = newLive(s.DB, s.Log)
	mux := http.NewServeMux()
	for _, r := range Routes() {
		mux.Handle(r.Method+" "+r.Pattern, s.guarded(r))
	}
	mux.Handle("/", s.guarded(route{Pattern: "/", Open: true, do: (*Server).nowhere}))
	return s.fenced(mux), nil
}

// Close gives back what was kept at hand to answer with. The database and the people are the caller's to close.
func (s *Server) Close() {
	s.works.close()
	s.pasts.close()
}

// HTTP is the server as it listens: with limits on how long a slow or idle connection is borne.
func (s *Server) HTTP(h http.Handler) *http.Server {
	srv := &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       2 * time.Minute, // a photo over a weak network
		WriteTimeout:      5 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          slog.NewLogLogger(s.Log.Handler(), slog.LevelWarn),
	}
	if s.live != nil {
		srv.RegisterOnShutdown(s.live.close)
	}
	return srv
}
