package web

import (
	"net/http"

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
}

func (s *Server) signInPage(v *visit) error {
	next := back(v.field("next"))
	if v.session != nil && v.field("again") == "" {
		return v.seeOther(next)
	}
	return s.show(v, "signin", "Sign in", doorPage{Next: next, Demo: s.Demo})
}

// signIn begins a session, under a new number each time.
func (s *Server) signIn(v *visit) error {
	login, next := v.field("login"), back(v.field("next"))
	token, _, err := s.People.SignIn(v.ctx, login, v.r.FormValue("password"), v.from())
	if err != nil {
		if lots.KindOf(err) == lots.Internal {
			return err
		}
		v.w.WriteHeader(http.StatusUnauthorized)
		return s.show(v, "signin", "Sign in", doorPage{Next: next, Login: login, Said: err.Error(), Demo: s.Demo})
	}
	if c, err := v.r.Cookie(sessionCookie); err == nil { // whoever was signed in here before is not any more
		if err := s.People.SignOut(v.ctx, c.Value); err != nil {
			return err
		}
	}
	s.setSession(v, token)
	return v.seeOther(next)
}

// setSession gives the browser the number of its session. It keeps it until it closes; the server ends it earlier.
func (s *Server) setSession(v *visit, token string) {
	http.SetCookie(v.w, &http.Cookie{Name: sessionCookie, Value: token, Path: "/", HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
}

func (s *Server) signOut(v *visit) error {
	if c, err := v.r.Cookie(sessionCookie); err == nil {
		if err := s.People.SignOut(v.ctx, c.Value); err != nil {
			return err
		}
	}
	http.SetCookie(v.w, &http.Cookie{Name: sessionCookie, Path: "/", MaxAge: -1, HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
	return v.seeOther("/signin")
}

func (s *Server) welcomePage(v *visit) error {
	return s.show(v, "welcome", "Choose a password", doorPage{})
}

// welcome lets a person who was invited choose a password.
func (s *Server) welcome(v *visit) error {
	if said := twice(v); said != "" {
		v.w.WriteHeader(http.StatusUnprocessableEntity)
		return s.show(v, "welcome", "Choose a password", doorPage{Said: said})
	}
	person, err := s.People.Redeem(v.ctx, v.r.PathValue("token"), v.r.FormValue("password"))
	if err != nil {
		return s.showAgain(v, "welcome", "Choose a password", err, doorPage{})
	}
	return s.enter(v, person.Login)
}

func (s *Server) setupPage(v *visit) error {
	return s.show(v, "setup", "Set up", doorPage{})
}

// setUp makes the first person, who may then invite the others.
func (s *Server) setUp(v *visit) error {
	page := doorPage{Login: v.field("login"), Name: v.field("name")}
	if page.Said = twice(v); page.Said != "" {
		v.w.WriteHeader(http.StatusUnprocessableEntity)
		return s.show(v, "setup", "Set up", page)
	}
	person, err := s.People.Setup(v.ctx, v.r.PathValue("token"), page.Name, page.Login, v.r.FormValue("password"))
	if err != nil {
		return s.showAgain(v, "setup", "Set up", err, page)
	}
	return s.enter(v, person.Login)
}

// twice says that a password was not typed alike both times.
func twice(v *visit) string {
	if v.r.FormValue("password") != v.r.FormValue("again") {
		return "The two passwords differ. Type the same one twice."
	}
	return ""
}

// showAgain shows a form again with what was wrong.
func (s *Server) showAgain(v *visit, name, title string, err error, page doorPage) error {
	kind := lots.KindOf(err)
	if kind == lots.Internal {
		return err
	}
	page.Said = err.Error()
	v.w.WriteHeader(statuses[kind])
	return s.show(v, name, title, page)
}

// enter signs somebody in with the password just chosen.
func (s *Server) enter(v *visit, login string) error {
	token, _, err := s.People.SignIn(v.ctx, login, v.r.FormValue("password"), v.from())
	if err != nil {
		return err
	}
	s.setSession(v, token)
	return v.seeOther("/")
}
