package web

import (
	"archive/zip"
	"bytes"
	"cmp"
	"errors"
	"mime"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/mailing"
	"heeltap/graph/recall/papers"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// perPage is how many rows of a long list one page shows.
const perPage = 50

// turn is where somebody is in a long list.
type turn struct {
	Page, Pages, Of int
	Before, After   string
	First, Last     int
	start, end      int
}

// turnTo cuts a list of n rows into pages; the address keeps what else it asks.
func turnTo(v *visit, n int) turn {
	p, _ := strconv.Atoi(v.field("page"))
	t := turn{Pages: max(1, (n+perPage-1)/perPage), Of: n}
	t.Page = min(max(1, p), t.Pages)
	t.start, t.end = min(n, (t.Page-1)*perPage), min(n, t.Page*perPage)
	t.First, t.Last = t.start+1, t.end
	at := func(p int) string {
		q := v.r.URL.Query()
		q.Set("page", strconv.Itoa(p))
		q.Del("said")
		return v.r.URL.Path + "?" + q.Encode() + "#rows"
	}
	if t.Page > 1 {
		t.Before = at(t.Page - 1)
	}
	if t.Page < t.Pages {
		t.After = at(t.Page + 1)
	}
	return t
}

// scopeView is the page of the scope.
type scopeView struct {
	recallTop
	*board
	Undecided int
	Units     []scopeUnit
	Turn      turn
	Text      string // what the rows are narrowed to
	Band      string
	Way       string
	Latest    *scope.Version
	Changes   []changeLine
	If        string
	IfSaid    []string
	WhatIf    *scope.WhatIf
	Why       string
	Because   *trace.Because
	Token     string
}

type scopeUnit struct {
	trace.Unit
	How  string // it comes into the scope
	Said string // product and date codes
}

type changeLine struct {
	scope.Change
	Because string
}

func (s *Server) scopePage(v *visit) error {
	return s.showRecall(v, "scope", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		page := scopeView{recallTop: top, board: b, Text: v.field("text"), Band: v.field("band"), Way: v.field("way"), Latest: b.Recall.Latest(), If: v.field("if"), Why: v.field("why"), Token: newToken()}
		for _, y := range b.Answer.Yeast {
			if y.State == scope.Open {
				page.Undecided++
			}
		}
		page.narrow(v)
		if page.Latest != nil {
			for _, c := range page.Latest.Changes {
				page.Changes = append(page.Changes, changeLine{c, b.Recall.EntriesText(tx, c.Entries)})
			}
		}
		if err := page.whatIf(tx); err != nil {
			return nil, err
		}
		return page, page.because(tx)
	})
}

// narrow keeps the rows that were asked for, and of them one page.
func (p *scopeView) narrow(v *visit) {
	ways := map[string]string{}
	for _, w := range p.Answer.Ways {
		ways[w.Way] = w.Text
	}
	text := strings.ToLower(p.Text)
	var rows []*trace.Unit
	for i := range p.Answer.Trace.Units {
		u := &p.Answer.Trace.Units[i]
		if p.Band != "" && u.Band != p.Band || p.Way != "" && u.Way != p.Way {
			continue
		}
		if text == "" || strings.Contains(strings.ToLower(u.Code+" "+saidOf(u)+" "+strings.Join(u.Runs, " ")), text) {
			rows = append(rows, u)
		}
	}
	p.Turn = turnTo(v, len(rows))
	for _, u := range rows[p.Turn.start:p.Turn.end] {
		p.Units = append(p.Units, scopeUnit{*u, cmp.Or(ways[u.Way], u.Way), saidOf(u)})
	}
}

func saidOf(u *trace.Unit) string {
	product := "several products"
	if u.Product != nil {
		product = *u.Product
	}
	return strings.TrimSpace(product + " " + strings.Join(u.DateCodes, ", "))
}

// whatIf works out what other decisions would change, without taking them.
func (p *scopeView) whatIf(tx *store.Tx) error {
	if p.If == "" {
		return nil
	}
	stands, err := p.Recall.Scope(tx)
	if err != nil {
		return err
	}
	p.WhatIf, err = p.Recall.WhatIf(tx, stands, strings.Fields(p.If))
	if err != nil && statusOf(err) != http.StatusInternalServerError {
		p.IfSaid, err = plainly(err), nil
	}
	return err
}

// because tells how one unit comes into the scope, entry by entry.
func (p *scopeView) because(tx *store.Tx) error {
	if p.Why == "" {
		return nil
	}
	for _, suspect := range p.Recall.Suspects {
		because, err := trace.WhyFor(tx, p.Recall.Hazard, suspect, p.Why)
		if err != nil {
			if isInternal(err) {
				return err
			}
			continue
		}
		if p.Because == nil || p.Because.Band == "out" || p.Because.Band == "possible" && because.Band == "in" {
			p.Because = because
		}
	}
	return nil
}

// houseView is the list to walk by.
type houseView struct {
	recallTop
	Places []placeList
	Loose  []house.Stock
	Free   int // not held yet
	Found  int
	All    int
	Token  string
	Said   []string
	Wrong  string // the thing that was refused
	Much   string
}

type placeList struct {
	Place string
	Rows  []walkRow
}

type walkRow struct {
	recall.Walked
	Kind, Token string
	FoundAt     string
	Stopped     bool
	Much        string // to be confirmed or changed
	Wrong       bool
	Counts      string // in what
}

func (s *Server) housePage(v *visit) error { return s.showHouse(v, nil) }

func (s *Server) showHouse(v *visit, why error) error {
	return s.showRecall(v, "house", func(_ *store.Tx, b *board, top recallTop) (any, error) {
		page := houseView{recallTop: top}
		at := map[string]int{}
		for _, x := range b.Walk {
			if x.Kind == "loose" {
				page.Loose = append(page.Loose, x.Stock)
				continue
			}
			row := walkRow{Walked: x, Kind: x.Stock.Kind, Token: newToken(), FoundAt: minute(x.Found), Stopped: x.HeldHere || slices.Contains(b.Recall.Holds, x.Code), Much: lots.Figure(x.Stock.Quantity), Counts: x.Unit}
			if why != nil && v.field("subject") == x.Code {
				row.Wrong, row.Much = true, v.field("quantity")
				if lots.KindOf(why) != lots.Conflict {
					row.Token = v.field("form")
				}
				page.Said = plainly(why)
			}
			page.All++
			if x.Found != "" {
				page.Found++
			}
			if !row.Stopped {
				page.Free++
			}
			place := cmp.Or(x.Place, "Place not known")
			if _, ok := at[place]; !ok {
				at[place] = len(page.Places)
				page.Places = append(page.Places, placeList{Place: place})
			}
			page.Places[at[place]].Rows = append(page.Places[at[place]].Rows, row)
		}
		slices.SortStableFunc(page.Places, func(a, b placeList) int { return strings.Compare(a.Place, b.Place) })
		if why != nil {
			if page.Said == nil {
				page.Said = plainly(why)
			}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return page, nil
	})
}

// found ticks off what somebody found: it is counted.
func (s *Server) found(v *visit) error {
	sheet, err := sheetFor("count")
	if err != nil {
		return err
	}
	code := strings.ToUpper(v.r.PathValue("code"))
	if err := s.view(v, func(tx *store.Tx) error { _, err := recall.Load(tx, code); return err }); err != nil {
		return err
	}
	row := lots.Row{"subject": v.field("subject"), "quantity": v.field("quantity"), "place": v.field("place")}
	if unit := v.field("unit"); unit != "" {
		row["unit"] = unit
	}
	err = s.once(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		said, err := desk.Record(tx, desk.Act{Sheet: sheet, Row: row, By: v.by()})
		if err != nil {
			return nil, err
		}
		return outcomeOf(tx, said, sheet), nil
	})
	switch {
	case err == nil:
		return v.seeOther(recallPath(code, "house") + "?" + queryOf("said", v.field("form")) + "#w-" + v.field("subject"))
	case isInternal(err):
		return err
	}
	return s.showHouse(v, err)
}

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
		page := consigneesView{recallTop: top, Suppliers: b.Suppliers, Uncalled: b.Uncalled, Sample: b.Recall.Sample}
		page.Turn = turnTo(v, len(b.Standings))
		for _, x := range b.Standings[page.Turn.start:page.Turn.end] {
			page.Rows = append(page.Rows, rowOfConsignee(b, x))
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
		page.contacts(tx)
		kind := "consignee"
		if page.Row == nil && page.Supplier != nil {
			kind = "supplier"
		}
		return page, page.letter(tx, b.Recall, kind, party)
	})
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

// accountView is the page of the account.
type accountView struct {
	recallTop
	Sums    []sumOf
	Account recall.AccountAnswer
	Missing []account.UnitAccount
	Turn    turn
	Struck  string
}

type sumOf struct {
	Of string
	account.Sum
}

// MissingText counts what is missing.
func (s sumOf) MissingText() string { return house.Amount(s.Missing, strings.TrimSuffix(s.Of, "s")) }

func (s *Server) accountPage(v *visit) error {
	return s.showRecall(v, "account", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		page := accountView{recallTop: top, Account: b.Account}
		for _, x := range []sumOf{{"cases", b.Account.Cases}, {"kegs", b.Account.Kegs}} {
			if x.Produced > 0 {
				page.Sums = append(page.Sums, x)
			}
		}
		missing := b.Account.Missing()
		page.Turn = turnTo(v, len(missing))
		page.Missing = missing[page.Turn.start:page.Turn.end]
		for _, l := range b.Recall.Log {
			if l.Name == "reconciled" {
				page.Struck = minuteOf(tx, l.At) + " by " + l.By
			}
		}
		return page, nil
	})
}

// papersView lists the papers, versions and signatures.
type papersView struct {
	recallTop
	Papers     []paperLine
	NoPress    string
	Unknown    []string
	Versions   []versionLine
	Signatures []told
	Report     string
	Drafted    string
	Drift      int
	Review     string
	Terminated string
}

type paperLine struct{ Name, Text string }

type versionLine struct {
	Version          int
	When, By, Reason string
	Items, Changes   int
}

func (s *Server) papersPage(v *visit) error {
	return s.showRecall(v, "papers", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		r := b.Recall
		m, err := papers.New(tx, r, false)
		if err != nil {
			return nil, err
		}
		page := papersView{recallTop: top, NoPress: onPage(m.NoPress()), Unknown: m.Unknown(), Drift: b.Drift, Review: r.Review, Terminated: r.Ended,
			Papers: []paperLine{{"report", "Report: picture, timeline, scope, account, checks, gaps, signatures"}, {"status", "Status report, with the six items of 21 CFR 7.53(b)"}, {"holds", "List to walk the house by"}}}
		if page.NoPress == "" {
			page.Papers = append(page.Papers, paperLine{"press", "Press text"})
		}
		for i := range page.Unknown {
			page.Unknown[i] = onPage(page.Unknown[i])
		}
		for _, x := range r.Versions {
			page.Versions = append(page.Versions, versionLine{x.Version, minuteOf(tx, x.At), x.By, x.Reason, len(x.Items), len(x.Changes)})
		}
		for _, x := range r.Signatures {
			page.Signatures = append(page.Signatures, told{minuteOf(tx, x.At), x.By, recallWords(x)})
		}
		for _, l := range r.Log {
			if l.Name == "letters" {
				page.Drafted = sentence(l.Text()) + " " + minuteOf(tx, l.At) + ", " + l.By
			}
		}
		return page, nil
	})
}

func recallWords(x recall.Signature) string {
	return (recall.Logged{Step: &x.Signed}).Text()
}

// ownStyle lets a paper bring its own style along, and nothing else: it is one page that needs nothing.
const ownStyle = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// recallPaper sends a paper of a recall: by its ending as PDF, as a page or as text; and all letters together.
func (s *Server) recallPaper(v *visit) error {
	name := v.r.PathValue("name")
	ending := path.Ext(name)
	base := strings.TrimSuffix(name, ending)
	var data []byte
	err := s.view(v, func(tx *store.Tx) error {
		now, err := recall.Load(tx, strings.ToUpper(v.r.PathValue("code")))
		if err != nil {
			return err
		}
		if name == "letters.zip" {
			data, err = lettersOf(tx, now)
			return err
		}
		d, err := paperOf(tx, now, base)
		if err != nil {
			return err
		}
		if d == nil || !slices.Contains([]string{".pdf", ".html", ".txt"}, ending) {
			return lots.Errorf(lots.NotFound, "%s has no paper %s", now.Code, name)
		}
		data, err = d.File(name)
		return err
	})
	if err != nil {
		return err
	}
	h := v.w.Header()
	h.Set("Content-Type", map[string]string{".pdf": "application/pdf", ".html": "text/html; charset=utf-8", ".txt": "text/plain; charset=utf-8", ".zip": "application/zip"}[ending])
	if ending == ".html" {
		h.Set("Content-Security-Policy", ownStyle)
	} else {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": strings.ToUpper(v.r.PathValue("code")) + " " + name}))
	}
	if _, err := v.w.Write(data); err != nil {
		s.Log.Debug("paper not read to its end", "error", err.Error())
	}
	return nil
}

// paperOf makes a paper by its name; nil where there is none of that name.
func paperOf(tx *store.Tx, now *recall.Recall, name string) (*paper.Document, error) {
	if kind, party, ok := strings.Cut(name, " "); ok {
		return letterTo(tx, now, kind, party)
	}
	m, err := papers.New(tx, now, false)
	if err != nil {
		return nil, err
	}
	switch name {
	case "report":
		return m.Report()
	case "status":
		return m.Status()
	case "holds":
		return m.HoldList()
	case "press":
		if m.NoPress() != "" {
			return nil, nil
		}
		return m.Press()
	}
	return nil, nil
}

// lettersOf puts all letters and tables into one archive.
func lettersOf(tx *store.Tx, now *recall.Recall) ([]byte, error) {
	made, err := mailing.Draft(tx, now, false)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	archive := zip.NewWriter(&out)
	put := func(name string, data []byte) error {
		w, err := archive.Create(name)
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	}
	err = made.Each(put, func() {})
	return out.Bytes(), errors.Join(err, archive.Close())
}
