package web

import (
	"net/http"

	"heeltap/lots"
)

// statuses say how a browser is told of a failure.
var statuses = map[lots.ErrKind]int{
	lots.NotFound: http.StatusNotFound, lots.Invalid: http.StatusUnprocessableEntity, lots.Conflict: http.StatusConflict,
	lots.Locked: http.StatusServiceUnavailable, lots.Corrupt: http.StatusInternalServerError, lots.Internal: http.StatusInternalServerError,
	lots.Denied: http.StatusForbidden,
}

type failPage struct {
	What, Then string
	Go         link // what to do about it; empty for the start page
}

// fail shows what went wrong and what to do. What went wrong inside is for the log, not for the page.
func (s *Server) fail(v *visit, err error) {
	page, title := failPage{What: err.Error()}, "That did not work"
	switch status := statusOf(err); {
	case status == http.StatusNotFound:
		title = "Not found"
	case isInternal(err) && v.ctx.Err() != nil:
		s.Log.Debug("page given up", "path", v.spot(), "error", err.Error()) // whoever asked has gone
	case isInternal(err):
		s.Log.Error("page failed", "path", v.spot(), "error", err.Error())
		page = failPage{What: "Something went wrong on our side.", Then: "Nothing was recorded by this page. Try again; if it happens again, tell whoever runs the server."}
	case status == http.StatusServiceUnavailable:
		page.Then = "Try again in a moment."
	}
	v.w.takeBack()
	v.begin(err)
	if err := s.show(v, "fail", title, page); err != nil {
		s.Log.Error("page failed", "path", v.spot(), "error", err.Error())
	}
}

// nowhere answers an address that there is none of.
func (s *Server) nowhere(v *visit) error {
	if v.session == nil {
		return s.toTheDoor(v)
	}
	return lots.Errorf(lots.NotFound, "there is no page at %s", v.r.URL.Path)
}
