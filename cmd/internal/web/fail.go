package web

import (
	"net/http"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
)

// statuses say how a browser is told of a failure.
var statuses = map[lots.ErrKind]int{
	lots.NotFound: http.StatusNotFound, lots.Invalid: http.StatusUnprocessableEntity, lots.Conflict: http.StatusConflict,
	lots.Locked: http.StatusServiceUnavailable, lots.Corrupt: http.StatusInternalServerError, lots.Internal: http.StatusInternalServerError,
}

type failPage struct{ What, Then string }

// fail shows what went wrong and what to do. What went wrong inside is for the log, not for the page.
func (s *Server) fail(v *visit, err error) {
	kind := lots.KindOf(err)
	page := failPage{What: err.Error()}
	title := "That did not work"
	switch kind {
	case lots.NotFound:
		title = "Not found"
	case lots.Internal:
		s.Log.Error("page failed", "path", v.r.URL.Path, "error", err.Error())
		page = failPage{"Something went wrong on our side.", "Nothing was recorded by this page. Try again; if it happens again, tell whoever runs the server."}
	case lots.Locked:
		page.Then = "Try again in a moment."
	}
	if v.wrote {
		return
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(statuses[kind])
	v.wrote = true
	if err := s.show(v, "fail", title, page); err != nil {
		s.Log.Error("page failed", "path", v.r.URL.Path, "error", err.Error())
	}
}

// notAllowed tells somebody that a page is for others.
func (s *Server) notAllowed(v *visit, right people.Right) error {
	v.w.WriteHeader(http.StatusForbidden)
	v.wrote = true
	then := "Ask somebody who may."
	if v.session.ByPIN {
		then = "You are signed in by PIN, which allows less: sign in with your password."
	}
	return s.show(v, "fail", "Not yours to do", failPage{"Your account may not do that.", then})
}

// nowhere answers an address that there is none of.
func (s *Server) nowhere(v *visit) error {
	if v.session == nil {
		return s.toTheDoor(v)
	}
	return lots.Errorf(lots.NotFound, "there is no page at %s", v.r.URL.Path)
}
