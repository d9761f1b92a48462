package papers

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/recall/printed"
	"heeltap/labels/paper"
)

// toFill is a line in a draft for what nobody has recorded.
const toFill = "____________________"

// addressee is whom a letter goes to.
type addressee struct{ party, name, contact, address string }

// envelope heads a letter: who sends it, to whom, when, and what it is about.
func (m *Maker) envelope(to addressee, subject string) paper.Facts {
	s := recall.SenderOf(m.tx)
	reach := strings.Join(notEmpty(s.Phone, s.Email), ", ")
	attention := ""
	if to.contact != "" {
		attention = "attention: " + to.contact
	}
	return paper.Facts{Rows: [][2]string{
		{"From", strings.Join([]string{s.Name, or(s.Address, toFill+" (postal address)"), or(reach, toFill+" (telephone, e-mail)")}, "\n")},
		{"To", strings.Join(notEmpty(fmt.Sprintf("%s (%s)", to.name, to.party), attention, or(to.address, toFill+" (postal address)")), "\n")},
		{"Date", day(m.time(m.r.Now.Unix()))},
		{"Reference", m.r.Code},
		{"Subject", subject},
	}}
}

// contact is whom to call, or a line to fill in.
func (m *Maker) contact() string {
	return or(m.r.Contact(recall.SenderOf(m.tx)), toFill+" (name, telephone, e-mail)")
}

// note goes with every draft to the responsible person, and not to whom the letter is for.
func (m *Maker) note() []paper.Part {
	parts := []paper.Part{paper.Break{}, paper.Heading{Level: 1, Text: m.heading("To the responsible person: take this page off before sending")}, cautions(),
		paper.Text{Text: "The wording is a draft. Mark the envelope and the subject line as the heading is marked (21 CFR 7.49(b)), confirm telephone calls in writing, and follow up with anyone who does not answer."},
		paper.Text{Text: "It follows " + m.basis() + "."}}
	parts = append(parts, m.leftOut()...)
	if unset := m.unset(); len(unset) > 0 {
		parts = append(parts, paper.Text{Text: "To have these lines filled in on every letter, enter:"}, paper.List{Items: unset})
	}
	return parts
}

// unset lists what would fill in a letter's lines for good.
func (m *Maker) unset() (items []string) {
	s := recall.SenderOf(m.tx)
	if s.Address == "" {
		items = append(items, "heeltap set site "+recall.SettingSenderAddress+" ADDRESS")
	}
	if s.Phone == "" && s.Email == "" {
		items = append(items, "heeltap set site "+recall.SettingSenderPhone+" NUMBER", "heeltap set site "+recall.SettingSenderEmail+" MAILBOX")
	}
	if m.r.Strategy.Depth == "" {
		items = append(items, "heeltap recall strategy --depth consumer, retail or wholesale")
	}
	return items
}

func notEmpty(parts ...string) []string {
	return slices.DeleteFunc(parts, func(p string) bool { return p == "" })
}

// namesOf lists the products that rules are about, each once.
func namesOf(rules []printed.Rule) (names []string) {
	for _, r := range rules {
		if !slices.Contains(names, r.Name) {
			names = append(names, r.Name)
		}
	}
	return names
}

// of puts names behind what is said of them.
func of(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return " of " + andList(names)
}

// andList reads a list out.
func andList(names []string) string {
	n := len(names)
	if n < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
}
