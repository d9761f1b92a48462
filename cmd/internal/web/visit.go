package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The cookies: who is signed in, and on which shared tablet.
const (
	sessionCookie = "heeltap_session"
	deviceCookie  = "heeltap_tablet"
)

// visit is one request, who makes it, and the answer to it.
type visit struct {
	w       http.ResponseWriter
	r       *http.Request
	ctx     context.Context
	session *people.Session // nil where nobody is signed in
	names   []string        // of whoever is signed in, where they correct their own entries only
	wrote   bool
}

func (v *visit) by() string {
	if v.session == nil {
		return ""
	}
	return v.session.Person.Name
}

// may reports whether whoever is signed in may do something.
func (v *visit) may(right people.Right) bool { return v.session != nil && v.session.May(right) }

// field is what was sent or asked under a name, without the blanks and line ends that scanners add.
func (v *visit) field(name string) string { return strings.TrimSpace(v.r.FormValue(name)) }

// guarded answers a route to those who may ask it.
func (s *Server) guarded(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		v := &visit{w: w, r: r, ctx: r.Context()}
		defer s.afterwards(v, began)
		if err := s.answer(v, rt); err != nil {
			s.fail(v, err)
		}
	})
}

// afterwards notes a request, and answers for one that broke.
func (s *Server) afterwards(v *visit, began time.Time) {
	if broke := recover(); broke != nil {
		if broke == http.ErrAbortHandler {
			panic(broke)
		}
		s.Log.Error("page broke", "path", v.r.URL.Path, "what", fmt.Sprint(broke), "where", string(debug.Stack()))
		if !v.wrote {
			s.fail(v, lots.Errorf(lots.Internal, "something broke on our side"))
		}
	}
	s.Log.Debug("page", "method", v.r.Method, "path", v.r.URL.Path, "took", time.Since(began))
}

func (s *Server) answer(v *visit, rt route) error {
	most := int64(mostForm)
	if rt.Large {
		most = mostFile
	}
	v.r.Body = http.MaxBytesReader(v.w, v.r.Body, most)
	if v.r.Method == http.MethodPost {
		if err := v.readForm(rt.Large); err != nil {
			return err
		}
	}
	if err := s.recognise(v); err != nil {
		return err
	}
	switch {
	case rt.Open:
	case v.session == nil:
		return s.toTheDoor(v)
	case !v.may(rt.Right):
		return s.notAllowed(v, rt.Right)
	}
	return rt.do(s, v)
}

// readForm reads what was sent; a body that is too long or no form is refused.
func (v *visit) readForm(large bool) error {
	err := v.r.ParseForm()
	if large && strings.HasPrefix(v.r.Header.Get("Content-Type"), "multipart/form-data") {
		err = v.r.ParseMultipartForm(4 << 20)
	}
	if _, tooLong := errors.AsType[*http.MaxBytesError](err); tooLong {
		return lots.Errorf(lots.Invalid, "that is too much to send at once, and nothing was recorded: send a smaller picture or paper")
	}
	if err != nil {
		return lots.Errorf(lots.Invalid, "what was sent is no form, and nothing was recorded: %w", err)
	}
	return nil
}

// recognise finds who is signed in.
func (s *Server) recognise(v *visit) error {
	c, err := v.r.Cookie(sessionCookie)
	if err != nil {
		return nil
	}
	session, err := s.People.Session(v.ctx, c.Value)
	switch {
	case err == nil:
		v.session = session
		v.names, err = s.ownNames(v.ctx, session)
		return err
	case lots.KindOf(err) == lots.Internal:
		return err
	}
	return nil
}

// toTheDoor asks for a sign-in, and comes back to the page asked for.
func (s *Server) toTheDoor(v *visit) error {
	if v.r.Method != http.MethodGet {
		v.w.WriteHeader(http.StatusUnauthorized)
		v.wrote = true
		return s.show(v, "signin", "Sign in", doorPage{Next: back(v.r.Referer()), Said: "You were signed out while you were writing, and nothing was recorded. Sign in and send it again.", Demo: s.Demo})
	}
	return v.seeOther("/signin?next=" + url.QueryEscape(v.r.URL.RequestURI()))
}

// seeOther sends the browser on to another page of ours.
func (v *visit) seeOther(path string) error {
	v.wrote = true
	http.Redirect(v.w, v.r, path, http.StatusSeeOther)
	return nil
}

// back gives the path of an address as far as it is one of ours to go back to.
func back(address string) string {
	u, err := url.Parse(address)
	if err != nil || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(u.Path, "\\\r\n") || strings.HasPrefix(u.Path, "/sign") {
		return "/"
	}
	return (&url.URL{Path: u.Path, RawPath: u.RawPath, RawQuery: u.RawQuery}).RequestURI()
}

// view runs f on a snapshot of the records.
func (s *Server) view(v *visit, f func(*store.Tx) error) error { return s.DB.View(v.ctx, f) }

// from is the address a request comes from, without its port.
func (v *visit) from() string {
	if host, _, err := net.SplitHostPort(v.r.RemoteAddr); err == nil {
		return host
	}
	return v.r.RemoteAddr
}
