package web

import (
	"errors"
	"net/http"
	"strconv"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
)

var tabletRoutes = []route{
	{Method: "GET", Pattern: "/tablets", Right: people.Tablet, do: (*Server).tabletsPage},
	{Method: "POST", Pattern: "/tablets", Right: people.Tablet, do: (*Server).registerTablet},
	{Method: "POST", Pattern: "/tablets/{id}/forget", Right: people.Tablet, do: (*Server).forgetTablet},
	{Method: "GET", Pattern: "/switch", Open: true, do: (*Server).switchPage},
	{Method: "POST", Pattern: "/switch", Open: true, do: (*Server).switchPerson},
}

// tabletStays is how long a shared tablet stays known without anybody signing in there; browsers keep no cookie longer.
const tabletStays = 400 * 24 * 60 * 60

// recogniseTablet finds out which shared tablet this is, if it is one.
func (s *Server) recogniseTablet(v *visit) error {
	c, err := v.r.Cookie(deviceCookie)
	if err != nil {
		return nil
	}
	d, err := s.People.Device(v.ctx, c.Value)
	if _, none := errors.AsType[*people.Refused](err); none {
		return nil
	}
	if err != nil {
		return err
	}
	v.tablet = &d
	return nil
}

// setTablet lets this browser be known as a shared tablet; an empty token ends that.
func (s *Server) setTablet(v *visit, token string) {
	age := tabletStays
	if token == "" {
		age = -1
	}
	http.SetCookie(v.w, &http.Cookie{Name: deviceCookie, Value: token, Path: "/", MaxAge: age, HttpOnly: true, Secure: s.Secure, SameSite: http.SameSiteLaxMode})
}

type tabletsView struct {
	This  *people.Device
	All   []tabletRow
	Said  string
	Typed string
}

type tabletRow struct {
	people.Device
	Since, Last string
}

func (s *Server) tabletsPage(v *visit) error { return s.showTablets(v, tabletsView{}) }

func (s *Server) showTablets(v *visit, page tabletsView) error {
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	all, err := s.People.Devices(v.ctx)
	if err != nil {
		return err
	}
	for _, d := range all {
		page.All = append(page.All, tabletRow{d, stamp(d.Began, zone), stamp(d.LastIn, zone)})
	}
	page.This = v.tablet
	return s.show(v, "tablets", "Shared tablets", page)
}

func (s *Server) registerTablet(v *visit) error {
	name := v.field("name")
	if v.tablet != nil {
		return v.seeOther("/tablets")
	}
	token, err := s.People.RegisterDevice(v.ctx, v.session.Person, name)
	if err != nil {
		if isInternal(err) {
			return err
		}
		v.begin(err)
		return s.showTablets(v, tabletsView{Said: err.Error(), Typed: name})
	}
	s.setTablet(v, token)
	return v.seeOther("/tablets")
}

func (s *Server) forgetTablet(v *visit) error {
	id, err := strconv.ParseInt(v.r.PathValue("id"), 10, 64)
	if err != nil {
		return lots.Errorf(lots.NotFound, "there is no such tablet")
	}
	if err := s.People.ForgetDevice(v.ctx, v.session.Person, id); err != nil {
		return err
	}
	if v.tablet != nil && v.tablet.ID == id {
		s.setTablet(v, "")
	}
	return v.seeOther("/tablets")
}

// switchView is where somebody takes over a shared tablet.
type switchView struct {
	Tablet string
	Next   string
	People []people.Person // who have a PIN
	As     *people.Person  // who is to type theirs
	Said   string
}

func (s *Server) switchPage(v *visit) error {
	if v.tablet == nil {
		return v.seeOther("/signin?" + queryOf("next", back(v.field("next"))))
	}
	return s.showSwitch(v, v.field("as"), switchView{Next: back(v.field("next"))})
}

// showSwitch shows who can take over the tablet, or asks one of them for the PIN.
func (s *Server) showSwitch(v *visit, login string, page switchView) error {
	all, err := s.People.People(v.ctx)
	if err != nil {
		return err
	}
	page.Tablet = v.tablet.Name
	for _, p := range all {
		if p.HasPIN && !p.Off {
			page.People = append(page.People, p)
			if p.Login == login {
				page.As = &p
			}
		}
	}
	return s.show(v, "switch", "Who are you?", page)
}

// switchPerson begins a session by PIN under a new number, and ends the one that was there before.
func (s *Server) switchPerson(v *visit) error {
	next, login := back(v.field("next")), v.field("login")
	device, err := v.r.Cookie(deviceCookie)
	if err != nil || v.tablet == nil {
		return v.seeOther("/signin?" + queryOf("next", next))
	}
	token, _, err := s.People.SwitchByPIN(v.ctx, device.Value, login, v.field("pin"), v.from())
	if err != nil {
		if isInternal(err) {
			return err
		}
		v.begin(err)
		return s.showSwitch(v, login, switchView{Next: next, Said: err.Error()})
	}
	if err := s.endSession(v); err != nil {
		return err
	}
	s.setSession(v, token)
	s.setTablet(v, device.Value) // it stays known for as long as it is used
	return v.seeOther(next)
}
