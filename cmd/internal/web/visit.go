package web

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
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
	w       *answer
	r       *http.Request
	ctx     context.Context
	session *people.Session // nil where nobody is signed in
	tablet  *people.Device  // the shared tablet it comes from; nil from elsewhere
	names   []string        // of whoever is signed in, where they correct their own entries only
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
		v := &visit{w: &answer{ResponseWriter: w}, r: r, ctx: r.Context()}
		defer s.afterwards(v, began)
		if err := s.answer(v, rt); err != nil {
			s.fail(v, err)
		}
	})
}

// afterwards sends the answer to a request, also to one that broke, and notes it.
func (s *Server) afterwards(v *visit, began time.Time) {
	if broke := recover(); broke != nil {
		if broke == http.ErrAbortHandler {
			panic(broke)
		}
		s.Log.Error("page broke", "path", v.spot(), "what", fmt.Sprint(broke), "where", string(debug.Stack()))
		s.fail(v, lots.Errorf(lots.Internal, "something broke on our side"))
	}
	if err := v.w.send(); err != nil { // nobody is there to read it any more
		s.Log.Debug("page not read to its end", "path", v.spot(), "error", err.Error())
	}
	s.Log.Debug("page", "method", v.r.Method, "path", v.spot(), "took", time.Since(began))
}

func (s *Server) answer(v *visit, rt route) error {
	if err := s.recognise(v); err != nil {
		return err
	}
	if err := v.readForm(rt.Large && v.may(rt.Right)); err != nil { // strangers send no photos
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

// readForm reads what was asked or sent, with files only where they may come; a body that is too long or no form is refused.
func (v *visit) readForm(files bool) error {
	files = files && strings.HasPrefix(v.r.Header.Get("Content-Type"), "multipart/form-data")
	most := int64(mostForm)
	if files {
		most = mostFile
	}
	v.r.Body = http.MaxBytesReader(v.w.ResponseWriter, v.r.Body, most)
	err := v.r.ParseForm()
	if err == nil && files {
		err = v.r.ParseMultipartForm(4 << 20)
	}
	if _, tooLong := errors.AsType[*http.MaxBytesError](err); tooLong {
		return lots.Errorf(lots.Invalid, "that is too much to send at once, and nothing was recorded: send a smaller picture or paper")
	}
	if err != nil {
		return lots.Errorf(lots.Invalid, "what was sent is no form, and nothing was recorded: %w", err)
	}
	if v.r.PostForm.Has("put") {
		v.putIn()
	}
	return nil
}

// recognise finds who is signed in. A session by PIN is good on its tablet only.
func (s *Server) recognise(v *visit) error {
	if err := s.recogniseTablet(v); err != nil {
		return err
	}
	c, err := v.r.Cookie(sessionCookie)
	if err != nil {
		return nil
	}
	session, err := s.People.Session(v.ctx, c.Value)
	if _, ended := errors.AsType[*people.Refused](err); ended || err == nil && session.ByPIN && (v.tablet == nil || v.tablet.ID != session.Device) {
		return nil
	}
	if err != nil {
		return err
	}
	v.session = session
	v.names, err = s.ownNames(v.ctx, session)
	return err
}

// toTheDoor asks for a sign-in, and comes back to the page asked for.
func (s *Server) toTheDoor(v *visit) error {
	if v.r.Method != http.MethodGet && v.r.Method != http.MethodHead {
		return s.signedOutMeanwhile(v)
	}
	door := "/signin?"
	if v.tablet != nil {
		door = "/switch?"
	}
	return v.seeOther(door + queryOf("next", v.r.URL.RequestURI()))
}

// signedOutMeanwhile asks somebody to sign in who was writing when their session ended.
func (s *Server) signedOutMeanwhile(v *visit) error {
	said := "You were signed out while you were writing, and nothing was recorded. Sign in and send it again."
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(http.StatusUnauthorized)
	if v.tablet != nil {
		return s.showSwitch(v, "", switchView{Next: v.origin(), Said: said})
	}
	return s.showSignIn(v, doorPage{Next: v.origin(), Said: said})
}

// origin is the page that a request was made on, to come back to. Where no script kept what was typed into a form,
// the address brings it along.
func (v *visit) origin() string {
	if v.r.Method == http.MethodGet || v.r.Method == http.MethodHead {
		return back(v.r.URL.RequestURI())
	}
	typed := maps.Clone(v.r.PostForm)
	for _, name := range []string{"form", "back", "override", "reason_for_hold"} {
		typed.Del(name)
	}
	maps.DeleteFunc(typed, func(_ string, texts []string) bool { return strings.Join(texts, "") == "" })
	if q := typed.Encode(); strings.HasPrefix(v.r.URL.Path, "/do/") && v.r.Header.Get("Sec-Fetch-Dest") != "empty" && len(q) < 8<<10 {
		return back(v.r.URL.EscapedPath() + "?" + q)
	}
	return back(v.r.Referer())
}

// seeOther sends the browser on to another page of ours.
func (v *visit) seeOther(path string) error {
	http.Redirect(v.w, v.r, path, http.StatusSeeOther)
	return nil
}

// back gives the path of an address as far as it is one of ours to go back to.
func back(address string) string {
	u, err := url.Parse(address)
	if err != nil || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(u.Path, "\\\r\n") || closed(u.Path) {
		return "/"
	}
	return (&url.URL{Path: u.Path, RawPath: u.RawPath, RawQuery: u.RawQuery}).RequestURI()
}

// closed reports whether a path is one before the sign-in, where nobody goes back to.
func closed(path string) bool {
	return slices.ContainsFunc([]string{"/signin", "/signout", "/switch", "/welcome/", "/setup/"}, func(door string) bool { return strings.HasPrefix(path, door) })
}

// spot is the path of a request as it may be written down: without a one-time link's secret.
func (v *visit) spot() string {
	for _, door := range []string{"/welcome/", "/setup/"} {
		if strings.HasPrefix(v.r.URL.Path, door) {
			return door + "…"
		}
	}
	return v.r.URL.Path
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
