package people

import "slices"

// Role is what somebody is in the house.
type Role string

// The roles.
const (
	Viewer  Role = "viewer"
	Floor   Role = "floor"
	Quality Role = "quality"
	Admin   Role = "admin"
)

// Right is something that a person may or may not do.
type Right string

// The rights.
const (
	Look     Right = "look"     // read every page and answer
	Record   Right = "record"   // enter what happened
	Correct  Right = "correct"  // amend and void entries; see OwnOnly
	Override Right = "override" // go against a hold, by name and reason
	Hold     Right = "hold"     // stop goods
	Release  Right = "release"  // let held goods go
	Recall   Right = "recall"   // open, run and close recalls
	Sign     Right = "sign"     // put one's name to a scope, a batch record, a decision
	Contacts Right = "contacts" // whom to ask for at a supplier or consignee, and how to reach them
	Tablet   Right = "tablet"   // register a shared tablet and forget it
	Manage   Right = "manage"   // say who may sign in, and as what
)

// roleRow is one line of the table of rights.
type roleRow struct {
	role    Role
	words   string
	ownOnly bool
	may     []Right
}

// table says what each role may do.
func table() []roleRow {
	return []roleRow{
		{Viewer, "reads everything but personal details and changes nothing: an auditor, the office", true, []Right{Look}},
		{Floor, "enters what happens, corrects their own slips, and stops goods: dock, brewhouse, cellar, packaging, loading", true, []Right{Look, Record, Correct, Hold}},
		{Quality, "decides about goods: holds and releases, overrides, corrections, recalls and signatures", false, []Right{Look, Record, Correct, Override, Hold, Release, Recall, Sign, Contacts, Tablet}},
		{Admin, "does all that, and says who may sign in: the owner, or whoever stands in", false, Rights()},
	}
}

// Roles lists the roles, the one that may do least first.
func Roles() []Role {
	var out []Role
	for _, row := range table() {
		out = append(out, row.role)
	}
	return out
}

// Rights lists the rights, in the order of the table that people are shown.
func Rights() []Right {
	return []Right{Look, Record, Correct, Hold, Override, Release, Recall, Sign, Contacts, Tablet, Manage}
}

func (r Role) row() roleRow {
	for _, row := range table() {
		if row.role == r {
			return row
		}
	}
	return roleRow{ownOnly: true} // a role that is none may do nothing
}

// May reports whether a role has a right; an unknown role has none.
func (r Role) May(x Right) bool { return slices.Contains(r.row().may, x) }

// Words says in one line what a role is for.
func (r Role) Words() string { return r.row().words }

// OwnOnly reports whether a role corrects only the entries made in its own name.
func (r Role) OwnOnly() bool { return r.row().ownOnly }

// Words says in a few words what a right allows.
func (x Right) Words() string {
	return map[Right]string{
		Look: "read pages and answers", Record: "enter what happened", Correct: "amend and void entries", Override: "go against a hold, by name and reason",
		Hold: "stop goods", Release: "let held goods go", Recall: "open, run and close recalls", Sign: "sign scopes, decisions and batch records",
		Contacts: "see the personal details of suppliers and consignees", Tablet: "register shared tablets", Manage: "say who may sign in, and as what",
	}[x]
}

// ByPIN reports whether a PIN is good for a right. Four digits can be seen over a shoulder, so they let nothing go;
// stopping goods is the safe side, and nobody should have to look for a keyboard first.
func (x Right) ByPIN() bool { return slices.Contains([]Right{Look, Record, Correct, Hold}, x) }

// May reports whether a session has a right: its person's role decides, and a PIN is good for a part of it only.
func (s *Session) May(x Right) bool {
	return s != nil && s.Person.Role.May(x) && (!s.ByPIN || x.ByPIN())
}

// OwnOnly reports whether a session corrects only entries that were made in its person's own names (Book.Names).
func (s *Session) OwnOnly() bool { return s == nil || s.ByPIN || s.Person.Role.OwnOnly() }
