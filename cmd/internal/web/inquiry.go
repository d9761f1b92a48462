package web

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/graph/thing"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

var inquiryRoutes = []route{
	{Method: "GET", Pattern: "/inquiry", Right: "look", do: (*Server).inquiryPage},
	{Method: "POST", Pattern: "/inquiry", Right: "record", do: (*Server).noteInquiry},
	{Method: "GET", Pattern: "/inquiry/noted", Right: "look", do: (*Server).inquiriesPage},
}

// inquiryView is a code as it was read, and what it can be.
type inquiryView struct {
	answering
	Question inquiry.Question
	Size     string // as typed
	Products []option
	Places   []option
	Said     []string // why it could not be asked or noted
	Answer   *inquiry.Answer
	Cautions []string // to be heeded before anything else
	Card     *inquiry.Card
	Picked   int // the candidate that the card is of
	Token    string
	Hidden   []inquiry.Stopped // stopped candidates that are too unlikely to be shown
}

// Pick is the address of the same answer with the card of another candidate.
func (p inquiryView) Pick(i int) string {
	return "/inquiry?" + queryOf("read", p.Question.Read, "product", p.Question.Product, "size", p.Size, "place", p.Question.Place,
		"bought", p.Question.Bought, "note", p.Question.Note, "known_at", p.KnownAt, "pick", strconv.Itoa(i)) + "#card"
}

// readInquiry reads what the caller said.
func readInquiry(v *visit) (inquiryView, error) {
	p := inquiryView{Size: v.field("size"), Question: inquiry.Question{Read: labels.ParsePayload(v.field("read")), Product: v.field("product"),
		Place: v.field("place"), Bought: v.field("bought"), Caller: v.field("caller"), Note: v.field("note")}}
	if p.Size == "" {
		return p, nil
	}
	size, err := strconv.ParseInt(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(p.Size), "ml")), 10, 64)
	if err != nil || size <= 0 {
		return p, lots.Errorf(lots.Invalid, "write the size in mL, such as 440")
	}
	p.Question.SizeML = size
	return p, nil
}

// offer lists the products and places to choose from.
func (p *inquiryView) offer(tx *store.Tx) {
	for _, code := range tx.CodesOf(lots.KindProduct) {
		p.Products = append(p.Products, option{Value: code, Text: thing.NameOf(tx, code)})
	}
	for _, code := range tx.CodesOf(lots.KindParty) {
		if x, ok := tx.Party(code); ok && x.Role != "supplier" {
			p.Places = append(p.Places, option{Value: code, Text: x.Name})
		}
	}
}

// ask looks for what was read.
func (p *inquiryView) ask(tx *store.Tx, pick string) (err error) {
	if p.Answer, err = inquiry.Ask(tx, p.Question); err != nil {
		return err
	}
	a := p.Answer
	if len(a.Urgent) > 0 || len(a.Stopped) > 0 {
		p.Cautions = []string{strings.Join(recall.Cautions(), " ")}
	}
	for _, s := range a.Stopped {
		if !slices.ContainsFunc(a.Candidates, func(c inquiry.Candidate) bool {
			return c.Kind == s.Kind && c.Printed == s.Printed && c.Product == s.Product
		}) {
			p.Hidden = append(p.Hidden, s)
		}
	}
	p.Picked, _ = strconv.Atoi(pick)
	if len(a.Candidates) > 0 {
		p.Card, err = a.CardOf(tx, p.Picked)
	}
	return err
}

// inquiryPage asks for a code as it was read, and answers what it can be.
func (s *Server) inquiryPage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		p, err := readInquiry(v)
		p.answering, p.Token = how, newToken()
		p.offer(tx)
		if err == nil && p.Question.Read != "" {
			err = p.ask(tx, v.field("pick"))
		}
		if err != nil {
			return s.inquiryRefused(v, p, err)
		}
		return s.show(v, "inquiry", "Inquiry", p)
	})
}

// inquiryRefused shows what was typed again, with why it cannot be asked or noted.
func (s *Server) inquiryRefused(v *visit, p inquiryView, why error) error {
	if isInternal(why) {
		return why
	}
	p.Said, p.Answer = []string{onPage(why.Error())}, nil
	v.w.WriteHeader(statusOf(why))
	return s.show(v, "inquiry", "Inquiry", p)
}

// noteInquiry notes an inquiry down, with the text as read and all that it can be.
func (s *Server) noteInquiry(v *visit) error {
	p, err := readInquiry(v)
	p.Token = v.field("form")
	refused := func(why error) error {
		return s.view(v, func(tx *store.Tx) error {
			if lots.KindOf(why) == lots.Conflict {
				p.Token = newToken()
			}
			p.offer(tx)
			return s.inquiryRefused(v, p, why)
		})
	}
	if err != nil {
		return refused(err)
	}
	return s.recordOnce(v, p.Token, func(tx *store.Tx) (*outcome, error) {
		a, err := inquiry.Ask(tx, p.Question)
		if err != nil {
			return nil, err
		}
		entry, err := inquiry.Note(tx, a, v.by())
		if err != nil {
			return nil, err
		}
		return notedInquiry(a, entry), nil
	}, refused)
}

// notedInquiry tells that an inquiry is noted, and says again what the caller should hear.
func notedInquiry(a *inquiry.Answer, entry int64) *outcome {
	out := &outcome{Title: "Inquiry noted", Texts: []string{"Read as “" + a.Question.Read + "”.", a.Says}, Entries: []int64{entry}}
	if len(a.Urgent) > 0 {
		out.Warnings = append(out.Warnings, "Call the quality lead now ("+strings.Join(a.Urgent, ", ")+").", strings.Join(recall.Cautions(), " "))
	}
	if len(a.Candidates) > 0 {
		for _, run := range a.Candidates[0].Runs {
			out.Links = append(out.Links, link{"Open " + run, "/run/" + url.PathEscape(run)})
		}
	}
	out.Links = append([]link{{"Next call", "/inquiry"}}, append(out.Links, link{"All inquiries", "/inquiry/noted"})...)
	return out
}

// notedRow is an inquiry that was noted, as a page lists it.
type notedRow struct {
	inquiry.Noted
	When string
}

// noted makes a row; who called is for those who take calls and those who run recalls.
func noted(v *visit, tx *store.Tx, n inquiry.Noted) notedRow {
	if !v.may(people.Record) && !v.may(people.Contacts) {
		n.Question.Caller = ""
	}
	return notedRow{n, n.At.In(tx.Site().Zone).Format("2006-01-02 15:04")}
}

// inquiriesPage lists the inquiries noted down, the last first.
func (s *Server) inquiriesPage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		all, err := inquiry.All(tx)
		if err != nil {
			return err
		}
		page := struct {
			answering
			Rows []notedRow
		}{answering: how}
		for _, n := range slices.Backward(all) {
			page.Rows = append(page.Rows, noted(v, tx, n))
		}
		return s.show(v, "inquiries", "Inquiries", page)
	})
}
