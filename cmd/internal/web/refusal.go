package web

import (
	"cmp"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
)

// refusalStatuses say how a browser is told why somebody was not let in, or may not do something.
var refusalStatuses = map[people.Why]int{
	people.SignedOut: http.StatusUnauthorized, people.Wrong: http.StatusUnauthorized, people.TooSoon: http.StatusTooManyRequests,
	people.MayNot: http.StatusForbidden, people.DeadLink: http.StatusGone,
}

// statusOf is how a browser is told of an error.
func statusOf(err error) int {
	if r, ok := errors.AsType[*people.Refused](err); ok {
		return refusalStatuses[r.Why]
	}
	return statuses[lots.KindOf(err)]
}

// isInternal reports whether an error is no refusal but a failure on our side.
func isInternal(err error) bool { return statusOf(err) == http.StatusInternalServerError }

// begin sends the status of an error, and how long to wait where somebody has to.
func (v *visit) begin(err error) {
	if r, ok := errors.AsType[*people.Refused](err); ok && r.Why == people.TooSoon {
		v.w.Header().Set("Retry-After", strconv.Itoa(int(r.Wait/time.Second)))
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(statusOf(err))
}

// whomToAsk names who may do something that the person asking may not.
func (s *Server) whomToAsk(v *visit, right people.Right) (string, error) {
	all, err := s.People.People(v.ctx)
	if err != nil {
		return "", err
	}
	var names []string
	for _, p := range all {
		if !p.Off && !p.Invited && p.Role.May(right) {
			names = append(names, p.Name)
		}
	}
	if len(names) > 5 {
		names = append(names[:5], "somebody else with the role "+string(v.leastRole(right)))
	}
	return "Ask " + cmp.Or(orList(names), "somebody with the role "+string(v.leastRole(right))) + ".", nil
}

// leastRole is the first role that has a right.
func (v *visit) leastRole(right people.Right) people.Role {
	for _, r := range people.Roles() {
		if r.May(right) {
			return r
		}
	}
	return people.Admin
}

// orList writes names as a choice.
func orList(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// notAllowed tells somebody that a page is for others, and whom to ask.
func (s *Server) notAllowed(v *visit, right people.Right) error {
	page := failPage{What: "You may not " + right.Words() + "."}
	if v.session.ByPIN && v.session.Person.Role.May(right) {
		page.Then = "You are signed in by PIN, which allows less: sign in with your password."
		page.Go = link{"Sign in with my password", "/signin?" + queryOf("again", "1", "next", v.origin())}
	} else {
		ask, err := s.whomToAsk(v, right)
		if err != nil {
			return err
		}
		page.Then = ask
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(http.StatusForbidden)
	return s.show(v, "fail", "Not yours to do", page)
}
