package web

import (
	"net/http"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
)

var doorRoutes = []route{
	{Method: "GET", Pattern: "/assets/{version}/{name...}", Open: true, do: (*Server).asset},
	{Method: "GET", Pattern: "/signin", Open: true, do: (*Server).signInPage},
	{Method: "POST", Pattern: "/signin", Open: true, do: (*Server).signIn},
	{Method: "POST", Pattern: "/signout", Open: true, do: (*Server).signOut},
	{Method: "GET", Pattern: "/welcome/{token}", Open: true, do: (*Server).welcomePage},
	{Method: "POST", Pattern: "/welcome/{token}", Open: true, do: (*Server).welcome},
	{Method: "GET", Pattern: "/setup/{token}", Open: true, do: (*Server).setupPage},
	{Method: "POST", Pattern: "/setup/{token}", Open: true, do: (*Server).setUp},
}

// doorPage is what the pages before the sign-in show.
type doorPage struct {
	Next  string
	Login string
	Name  string
	Said  string // why somebody is asked, or what was wrong
	Demo  []Persona
	// Tablet is the shared tablet's name, where people can also take over by PIN.
	Tablet string
}

func (s *Server) signInPage(v *visit) error {
	next := back(v.field("next"))
	if v.session != nil && v.field("again") == "" {
		return v.seeOther(next)
	}
	return s.showSignIn(v, doorPage{Next: next})
}

func (s *Server) showSignIn(v *visit, page doorPage) error {
	page.Demo = s.Demo
	if v.tablet != nil {
		page.Tablet = v.tablet.Name
	}
	return s.show(v, "signin", "Sign in", page)
}

// signIn begins a session, under a new number each time.
func (s *Server) signIn(v *visit) error {
	login, next := v.field("login"), back(v.field("next"))
	token, _, err := s.People.SignIn(v.ctx, login, v.r.FormValue("password"), v.from())
	if err != nil {
		if isInternal(err) {
			return err
		}
		v.begin(err)
		return s.showSignIn(v, doorPage{Next: next, Login: login, Said: err.Error()})
	}
	if err := s.endSession(v); err != nil {
		return err
	}
	s.setSession(v, token)
	return v.seeOther(next)
}

// endSession signs out whoever was signed in here before.
func (s *Server) endSession(v *visit) error {
	c, err := v.r.Cookie(sessionCookie)
	if err != nil {
		return nil
	}
	defer s.live.end(c.Value)
	return s.People.SignOut(v.ctx, c.Value)
}

// setSession gives the browser the number of its session. It keeps it until it closes; the server ends it earlier.
func (s *Server) setSession(v *visit, token string) {
	http.SetCookie(v.w, &http.Cookie{Name: sessionCookie, Value: token, Path: "/", HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
}

func (s *Server) signOut(v *visit) error {
	if err := s.endSession(v); err != nil {
		return err
	}
	http.SetCookie(v.w, &http.Cookie{Name: sessionCookie, Path: "/", MaxAge: -1, HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
	if v.tablet != nil {
		return v.seeOther("/switch")
	}
	return v.seeOther("/signin")
}

// holder finds whom a one-time link is for: the first person to be, or one who was invited.
func (s *Server) holder(v *visit, first bool) (people.Person, error) {
	token := v.r.PathValue("token")
	p, err := s.People.Holder(v.ctx, token)
	if err == nil && (p.ID == 0) != first {
		return p, lots.Errorf(lots.NotFound, "this link is for something else: open it as it was given to you")
	}
	return p, err
}

func (s *Server) welcomePage(v *visit) error {
	p, err := s.holder(v, false)
	if err != nil {
		return err
	}
	return s.show(v, "welcome", "Choose a password", doorPage{Name: p.Name, Login: p.Login})
}

// welcome lets a person who was invited choose a password.
func (s *Server) welcome(v *visit) error {
	p, err := s.holder(v, false)
	if err != nil {
		return err
	}
	page := doorPage{Name: p.Name, Login: p.Login}
	if err := twice(v); err != nil {
		return s.showAgain(v, "welcome", "Choose a password", err, page)
	}
	if _, err := s.People.Redeem(v.ctx, v.r.PathValue("token"), v.r.FormValue("password")); err != nil {
		return s.showAgain(v, "welcome", "Choose a password", err, page)
	}
	return s.enter(v, p.Login, "/")
}

func (s *Server) setupPage(v *visit) error {
	if _, err := s.holder(v, true); err != nil {
		return err
	}
	return s.show(v, "setup", "Set up", doorPage{})
}

// setUp makes the first person, who may then invite the others.
func (s *Server) setUp(v *visit) error {
	page := doorPage{Login: v.field("login"), Name: v.field("name")}
	if err := twice(v); err != nil {
		return s.showAgain(v, "setup", "Set up", err, page)
	}
	person, err := s.People.Setup(v.ctx, v.r.PathValue("token"), page.Name, page.Login, v.r.FormValue("password"))
	if err != nil {
		return s.showAgain(v, "setup", "Set up", err, page)
	}
	return s.enter(v, person.Login, "/")
}

// twice says that a password was not typed alike both times.
func twice(v *visit) error {
	if v.r.FormValue("password") != v.r.FormValue("again") {
		return lots.Errorf(lots.Invalid, "the two passwords differ: type the same one twice")
	}
	return nil
}

// showAgain shows a form again with what was wrong; a link that is no longer good has no form.
func (s *Server) showAgain(v *visit, name, title string, err error, page doorPage) error {
	if isInternal(err) || statusOf(err) == http.StatusGone {
		return err
	}
	page.Said = err.Error()
	v.begin(err)
	return s.show(v, name, title, page)
}

// enter signs somebody in with the password just chosen, in place of whoever was signed in here.
func (s *Server) enter(v *visit, login, next string) error {
	token, _, err := s.People.SignIn(v.ctx, login, v.r.FormValue("password"), v.from())
	if err != nil {
		return err
	}
	if err := s.endSession(v); err != nil {
		return err
	}
	s.setSession(v, token)
	return v.seeOther(next)
}
