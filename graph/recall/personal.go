package recall

import (
	"maps"
	"slices"

	"heeltap/graph/recall/deliveries"
)

// WithoutPersonal is a copy of a recall that names nobody outside the house, says how to reach nobody, and tells nothing of
// what they said. Which party was told, answered and checked, when and with which quantities, stays; the names on a
// consignee's own list go too, since nobody knows which of them are persons'.
func (r *Recall) WithoutPersonal() *Recall {
	out := *r
	out.Log = slices.Clone(r.Log)
	for i := range out.Log {
		out.Log[i].Step = withoutPersonal(out.Log[i].Step)
	}
	out.Contacts = maps.Clone(r.Contacts)
	for party, c := range out.Contacts {
		out.Contacts[party] = c.WithoutPersonal()
	}
	out.Spoke = slices.Clone(r.Spoke)
	for i := range out.Spoke {
		out.Spoke[i].Text = ""
	}
	return &out
}

// WithoutPersonal is a copy without persons and what they said, as [Recall.WithoutPersonal] is.
func (c *Contact) WithoutPersonal() *Contact {
	out := *c
	out.Tries, out.Checks, out.Accounts = slices.Clone(c.Tries), slices.Clone(c.Checks), slices.Clone(c.Accounts)
	for i := range out.Tries {
		out.Tries[i].Who, out.Tries[i].Text = "", ""
	}
	for i := range out.Checks {
		out.Checks[i].Text = ""
	}
	for i, a := range out.Accounts {
		out.Accounts[i] = a.WithoutPersonal()
	}
	if c.Answer != nil {
		out.Answer = withoutPersonal(c.Answer).(*Answered)
	}
	return &out
}

// withoutPersonal is a step without persons outside the house and what they said; one that tells of none is given as it is.
func withoutPersonal(step Step) Step {
	switch s := step.(type) {
	case *Told:
		c := *s
		c.Who, c.Text = "", ""
		return &c
	case *Answered:
		c := *s
		c.Who, c.Text = "", ""
		return &c
	case *PassedOn:
		c := *s
		c.Accounts = make([]deliveries.SubAccount, len(s.Accounts))
		for i, a := range s.Accounts {
			c.Accounts[i] = a.WithoutPersonal()
		}
		return &c
	case *Checked:
		c := *s
		c.Text = ""
		return &c
	case *Spoke:
		c := *s
		c.Text = ""
		return &c
	}
	return step
}
