package web

import (
	"bytes"
	"slices"
	"strconv"

	"heeltap/cmd/internal/people"
	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// consigneesView lists whom to tell and hear.
type consigneesView struct {
	recallTop
	Rows      []consigneeRow
	Turn      turn
	Suppliers []deliveries.Supplier
	Uncalled  []string
	Sample    *recall.Sampled
	Checks    []checkRow
	Counts    []link // how many stand where: text and how many
}

type consigneeRow struct {
	recall.Standing
	Wants, Due, Notified, Answered string
	Cases, Kegs                    deliveries.Moved
	Phone, Band                    string
	Bulk                           []deliveries.BulkLine
}

type checkRow struct {
	Party, Name string
	Checks      []recall.Check
}

func rowOfConsignee(b *board, x recall.Standing) consigneeRow {
	row := consigneeRow{Standing: x, Wants: x.Wants(), Due: minute(x.Due), Notified: minute(x.Notified), Answered: minute(x.Answered)}
	if i := slices.IndexFunc(b.People, func(p recall.Recipient) bool { return p.Party == x.Party }); i >= 0 {
		p := b.People[i]
		row.Cases, row.Kegs, row.Phone, row.Bulk, row.Band = p.Cases, p.Kegs, p.Phone, p.Bulk, p.Band
	}
	return row
}

func (s *Server) consigneesPage(v *visit) error {
	return s.showRecall(v, "consignees", func(_ *store.Tx, b *board, top recallTop) (any, error) {
		suppliers := b.Suppliers
		if !v.may(people.Contacts) {
			suppliers = slices.Clone(suppliers) // the board is everybody's
			for i := range suppliers {
				suppliers[i].Phone = ""
			}
		}
		page := consigneesView{recallTop: top, Suppliers: suppliers, Uncalled: b.Uncalled, Sample: b.Recall.Sample}
		page.Turn = turnTo(v, len(b.Standings))
		for _, x := range b.Standings[page.Turn.start:page.Turn.end] {
			row := rowOfConsignee(b, x)
			if !v.may(people.Contacts) {
				row.Phone = ""
			}
			page.Rows = append(page.Rows, row)
		}
		for _, state := range []string{"to tell", "tell again", "tried", "told", "answered", "settled"} {
			n := 0
			for _, x := range b.Standings {
				if x.State == state {
					n++
				}
			}
			if n > 0 {
				page.Counts = append(page.Counts, link{state, strconv.Itoa(n)})
			}
		}
		for _, p := range b.Recall.Drawn() {
			row := checkRow{Party: p}
			if i := slices.IndexFunc(b.Standings, func(x recall.Standing) bool { return x.Party == p }); i >= 0 {
				row.Name = b.Standings[i].Name
			}
			if c := b.Recall.Contacts[p]; c != nil {
				row.Checks = c.Checks
			}
			page.Checks = append(page.Checks, row)
		}
		return page, nil
	})
}

// consigneeView is one consignee in a recall, or a supplier.
type consigneeView struct {
	recallTop
	Row      *consigneeRow
	Who      recall.Recipient
	Contact  *recall.Contact
	Letter   string
	Paper    string // the name of its file, without an ending
	Tries    []told
	Supplier *deliveries.Supplier
	Answer   []answerRow
	Answered string
	By       string
	Checks   []told
	Withheld bool // personal details are, from whoever looks
}

type told struct{ When, By, Text string }

type answerRow struct {
	Of    string
	Cells []string
}

func (s *Server) consigneePage(v *visit) error {
	party := v.r.PathValue("party")
	return s.showRecall(v, "consignee", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		top.Tab = "consignees"
		page := consigneeView{recallTop: top, Contact: b.Recall.Contacts[party]}
		if i := slices.IndexFunc(b.Standings, func(x recall.Standing) bool { return x.Party == party }); i >= 0 {
			row := rowOfConsignee(b, b.Standings[i])
			page.Row = &row
		}
		if i := slices.IndexFunc(b.People, func(x recall.Recipient) bool { return x.Party == party }); i >= 0 {
			page.Who = b.People[i]
		}
		if i := slices.IndexFunc(b.Suppliers, func(x deliveries.Supplier) bool { return x.Party == party }); i >= 0 {
			page.Supplier = &b.Suppliers[i]
		}
		if page.Row == nil && page.Supplier == nil && page.Contact == nil {
			return nil, lots.Errorf(lots.NotFound, "%s has nothing to do with %s by the records", party, top.Code)
		}
		if !v.may(people.Contacts) {
			page.withoutPersonal()
			page.contacts(tx)
			return page, nil
		}
		page.contacts(tx)
		kind := "consignee"
		if page.Row == nil && page.Supplier != nil {
			kind = "supplier"
		}
		return page, page.letter(tx, b.Recall, kind, party)
	})
}

// withoutPersonal leaves out who was spoken to and how to reach them, and whom a consignee supplied: the page is a
// copy, but what it points to is everybody's.
func (p *consigneeView) withoutPersonal() {
	p.Withheld = true
	p.Who.Contact, p.Who.Phone, p.Who.Email, p.Who.Address, p.Who.Accounts = "", "", "", "", nil
	if p.Row != nil {
		p.Row.Phone = ""
	}
	if p.Contact == nil {
		return
	}
	p.Contact = p.Contact.WithoutPersonal()
}

// contacts tells what passed between us and it.
func (p *consigneeView) contacts(tx *store.Tx) {
	if p.Contact == nil {
		return
	}
	for _, t := range p.Contact.Tries {
		text := "told by " + t.How
		if !t.Reached {
			text = "tried by " + t.How + ", nobody was reached"
		}
		if t.Who != "" {
			text += ", spoke to " + t.Who
		}
		if t.Text != "" {
			text += ": " + t.Text
		}
		p.Tries = append(p.Tries, told{minuteOf(tx, t.At), t.By, text})
	}
	for _, c := range p.Contact.Checks {
		text := "by " + c.How + ": had the notice, "
		if !c.Notified {
			text = "by " + c.How + ": never had the notice, "
		}
		text += map[bool]string{true: "did what it says", false: "did not do what it says"}[c.Followed]
		if still := c.StillOnSale(); !still.None() {
			text += ", " + still.String() + " still on sale"
		}
		if c.Text != "" {
			text += ": " + c.Text
		}
		p.Checks = append(p.Checks, told{minuteOf(tx, c.At), c.By, text})
	}
	if a := p.Contact.Answer; a != nil {
		p.Answered, p.By = minuteOf(tx, p.Contact.Answered), a.Who
		for i := range a.Lines {
			l := a.Lines[i]
			row := answerRow{Of: map[bool]string{true: "kegs", false: "cases"}[l.Kegs]}
			if l.Unit != "" {
				row.Of = l.Unit + " in bulk"
			}
			any := false
			for _, part := range answerParts {
				n := *part.of(&l)
				any = any || n != 0
				row.Cells = append(row.Cells, lots.Figure(n))
			}
			if any || len(a.Lines) == 1 {
				p.Answer = append(p.Answer, row)
			}
		}
	}
}

// letter drafts what goes to a party, to be read before it is sent.
func (p *consigneeView) letter(tx *store.Tx, r *recall.Recall, kind, party string) error {
	d, err := letterTo(tx, r, kind, party)
	if err != nil || d == nil {
		return err
	}
	var text bytes.Buffer
	if err := d.Plain(&text); err != nil {
		return err
	}
	p.Letter, p.Paper = text.String(), kind+" "+party
	return nil
}

func letterTo(tx *store.Tx, r *recall.Recall, kind, party string) (*paper.Document, error) {
	m, err := papers.New(tx, r, false)
	if err != nil {
		return nil, err
	}
	return m.Letter(kind, party)
}
