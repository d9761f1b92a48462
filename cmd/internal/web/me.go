package web

import (
	"heeltap/cmd/internal/people"
)

var meRoutes = []route{
	{Method: "GET", Pattern: "/me", Right: people.Look, do: (*Server).mePage},
	{Method: "POST", Pattern: "/me/password", Right: people.Look, do: (*Server).changePassword},
	{Method: "POST", Pattern: "/me/pin", Right: people.Look, do: (*Server).setPIN},
	{Method: "GET", Pattern: "/me/rights", Right: people.Look, do: (*Server).rightsPage},
}

// meView is a person's own account.
type meView struct {
	Person   people.Person
	Words    string // what the role is for
	ByPIN    bool
	Since    string
	Names    []string // by which the journal knows them, if there are several
	Password string   // why the password was not changed
	PIN      string   // why the PIN was not set
}

func (s *Server) mePage(v *visit) error { return s.showMe(v, meView{}) }

func (s *Server) showMe(v *visit, page meView) error {
	zone, err := s.zone(v)
	if err != nil {
		return err
	}
	p := v.session.Person
	names, err := s.People.Names(v.ctx, p.ID)
	if err != nil {
		return err
	}
	if len(names) > 1 {
		page.Names = names
	}
	page.Person, page.Words, page.ByPIN, page.Since = p, p.Role.Words(), v.session.ByPIN, stamp(v.session.Began, zone)
	return s.show(v, "me", "My account", page)
}

// changePassword sets a new password. That ends all sessions of the person, so it begins a new one here.
func (s *Server) changePassword(v *visit) error {
	if err := twice(v); err != nil {
		return s.meAgain(v, err, func(page *meView) { page.Password = err.Error() })
	}
	p := v.session.Person
	if err := s.People.ChangePassword(v.ctx, p, v.r.FormValue("old"), v.r.FormValue("password")); err != nil {
		return s.meAgain(v, err, func(page *meView) { page.Password = err.Error() })
	}
	return s.enter(v, p.Login, "/me")
}

func (s *Server) setPIN(v *visit) error {
	if err := s.People.SetPIN(v.ctx, v.session.Person, v.r.FormValue("current"), v.field("pin")); err != nil {
		return s.meAgain(v, err, func(page *meView) { page.PIN = err.Error() })
	}
	return v.seeOther("/me")
}

// meAgain shows the account again with what was wrong.
func (s *Server) meAgain(v *visit, err error, say func(*meView)) error {
	if isInternal(err) {
		return err
	}
	var page meView
	say(&page)
	v.begin(err)
	return s.showMe(v, page)
}

// rightsView is the table of rights.
type rightsView struct {
	Roles  []roleLine
	Rights []rightLine
	Mine   people.Role
}

type roleLine struct {
	Role  people.Role
	Words string
}

type rightLine struct {
	Words string
	Marks []string // yes, own or nothing, in the order of the roles
	PIN   string
}

func (s *Server) rightsPage(v *visit) error {
	page := rightsView{Mine: v.session.Person.Role, Roles: roleLines()}
	for _, x := range people.Rights() {
		line := rightLine{Words: x.Words(), PIN: mark(x.ByPIN(), x == people.Correct)}
		for _, r := range people.Roles() {
			line.Marks = append(line.Marks, mark(r.May(x), x == people.Correct && r.OwnOnly()))
		}
		page.Rights = append(page.Rights, line)
	}
	return s.show(v, "rights", "Who may do what", page)
}

// mark is one cell of the table of rights.
func mark(may, own bool) string {
	switch {
	case !may:
		return "–"
	case own:
		return "own"
	}
	return "yes"
}
