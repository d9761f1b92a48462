package web

import (
	"net/http"
	"strconv"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/lots"
	"heeltap/lots/store"
)

var personRoutes = []route{
	{Method: "GET", Pattern: "/people", Right: people.Manage, do: (*Server).peoplePage},
	{Method: "POST", Pattern: "/people", Right: people.Manage, do: (*Server).invite},
	{Method: "GET", Pattern: "/people/happened", Right: people.Manage, do: (*Server).happenedPage},
	{Method: "GET", Pattern: "/people/link.svg", Right: people.Manage, do: (*Server).linkPicture},
	{Method: "GET", Pattern: "/people/{id}", Right: people.Manage, do: (*Server).personPage},
	{Method: "POST", Pattern: "/people/{id}/link", Right: people.Manage, do: (*Server).newLink},
	{Method: "POST", Pattern: "/people/{id}/role", Right: people.Manage, do: changePerson((*Server).setRole)},
	{Method: "POST", Pattern: "/people/{id}/name", Right: people.Manage, do: changePerson((*Server).rename)},
	{Method: "POST", Pattern: "/people/{id}/off", Right: people.Manage, do: changePerson(switched(true))},
	{Method: "POST", Pattern: "/people/{id}/on", Right: people.Manage, do: changePerson(switched(false))},
}

// stamp writes a time of the list of people; empty where there is none.
func stamp(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format("2 January 2006, 15:04")
}

// zone is the site's time zone.
func (s *Server) zone(v *visit) (zone *time.Location, err error) {
	err = s.view(v, func(tx *store.Tx) error {
		zone = tx.Site().Zone
		return nil
	})
	if zone == nil {
		zone = time.UTC
	}
	return zone, err
}

// personLine is one person in the list.
type personLine struct {
	people.Person
	State, Last string
}

type peopleView struct {
	All         []personLine
	Roles       []roleLine
	Said        string
	Name, Login string
	Role        people.Role
}

func lineOf(p people.Person, zone *time.Location) personLine {
	state := "on"
	switch {
	case p.Off:
		state = "off"
	case p.Invited:
		state = "invited, has not set a password yet"
	}
	return personLine{p, state, stamp(p.LastIn, zone)}
}

func (s *Server) peoplePage(v *visit) error { return s.showPeople(v, peopleView{Role: people.Floor}) }

func (s *Server) showPeople(v *visit, page peopleView) error {
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	all, err := s.People.People(v.ctx)
	if err != nil {
		return err
	}
	for _, p := range all {
		page.All = append(page.All, lineOf(p, zone))
	}
	page.Roles = roleLines()
	return s.show(v, "people", "People", page)
}

func roleLines() (out []roleLine) {
	for _, r := range people.Roles() {
		out = append(out, roleLine{r, r.Words()})
	}
	return out
}

type personView struct {
	personLine
	Since string
	Names []string
	Roles []roleLine
	Said  string
	Self  bool
}

// personAt finds whom an address is about.
func (s *Server) personAt(v *visit) (people.Person, error) {
	all, err := s.People.People(v.ctx)
	if err != nil {
		return people.Person{}, err
	}
	for _, p := range all {
		if strconv.FormatInt(p.ID, 10) == v.r.PathValue("id") {
			return p, nil
		}
	}
	return people.Person{}, lots.Errorf(lots.NotFound, "there is no such person")
}

func (s *Server) personPage(v *visit) error { return s.showPerson(v, "") }

func (s *Server) showPerson(v *visit, said string) error {
	p, err := s.personAt(v)
	if err != nil {
		return err
	}
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	names, err := s.People.Names(v.ctx, p.ID)
	if err != nil {
		return err
	}
	page := personView{lineOf(p, zone), stamp(p.Created, zone), names, roleLines(), said, p.ID == v.session.Person.ID}
	return s.show(v, "person", p.Name, page)
}

// personAgain shows a person again with why a change was refused.
func (s *Server) personAgain(v *visit, err error) error {
	if isInternal(err) || statusOf(err) == http.StatusNotFound {
		return err
	}
	v.begin(err)
	return s.showPerson(v, err.Error())
}

// changePerson makes a change and shows the person as they then are.
func changePerson(change func(*Server, *visit, int64) error) func(*Server, *visit) error {
	return func(s *Server, v *visit) error {
		p, err := s.personAt(v)
		if err != nil {
			return err
		}
		if err := change(s, v, p.ID); err != nil {
			return s.personAgain(v, err)
		}
		return v.seeOther("/people/" + strconv.FormatInt(p.ID, 10))
	}
}

func (s *Server) setRole(v *visit, id int64) error {
	return s.People.SetRole(v.ctx, v.session.Person, id, people.Role(v.field("role")))
}

func (s *Server) rename(v *visit, id int64) error {
	return s.People.Rename(v.ctx, v.session.Person, id, v.field("name"))
}

func switched(off bool) func(*Server, *visit, int64) error {
	return func(s *Server, v *visit, id int64) error {
		return s.People.SetOff(v.ctx, v.session.Person, id, off)
	}
}

// mostHappenings is how many happenings a page shows.
const mostHappenings = 200

type happeningLine struct {
	people.Happening
	When string
}

func (s *Server) happenedPage(v *visit) error {
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	all, err := s.People.Happened(v.ctx, mostHappenings)
	if err != nil {
		return err
	}
	var page []happeningLine
	for _, h := range all {
		page = append(page, happeningLine{h, stamp(h.At, zone)})
	}
	return s.show(v, "happened", "What happened", page)
}
