package web

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/scope"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

var recallRoutes = []route{
	{Method: "GET", Pattern: "/recalls", Right: "look", do: (*Server).recallList},
	{Method: "GET", Pattern: "/recalls/new", Right: "recall", do: (*Server).openRecallPage},
	{Method: "POST", Pattern: "/recalls/new", Right: "recall", do: (*Server).openRecall},
	{Method: "GET", Pattern: "/recall/{code}", Right: "look", do: (*Server).casePage},
	{Method: "GET", Pattern: "/recall/{code}/scope", Right: "look", do: (*Server).scopePage},
	{Method: "GET", Pattern: "/recall/{code}/house", Right: "look", do: (*Server).housePage},
	{Method: "POST", Pattern: "/recall/{code}/found", Right: "record", do: (*Server).found},
	{Method: "GET", Pattern: "/recall/{code}/consignees", Right: "look", do: (*Server).consigneesPage},
	{Method: "GET", Pattern: "/recall/{code}/consignee/{party}", Right: "look", do: (*Server).consigneePage},
	{Method: "GET", Pattern: "/recall/{code}/account", Right: "look", do: (*Server).accountPage},
	{Method: "GET", Pattern: "/recall/{code}/papers", Right: "look", do: (*Server).papersPage},
	{Method: "GET", Pattern: "/recall/{code}/paper/{name}", Right: "look", do: (*Server).recallPaper},
	{Method: "GET", Pattern: "/recall/{code}/do/{act}", Right: "recall", do: (*Server).actForm},
	{Method: "POST", Pattern: "/recall/{code}/do/{act}", Right: "recall", do: (*Server).takeAct},
	{Method: "GET", Pattern: "/recall/{code}/events", Right: "look", do: (*Server).events},
}

// recallPath is a page of a recall.
func recallPath(code string, page ...string) string {
	path := "/recall/" + url.PathEscape(code)
	for _, p := range page {
		path += "/" + url.PathEscape(p)
	}
	return path
}

func (s *Server) recallList(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		all, err := recall.All(tx)
		if err != nil {
			return err
		}
		page := recallsPage{May: v.may("recall")}
		for _, x := range slices.Backward(all) {
			line := recallLine{Summary: x.Summary(tx), Mock: x.Mock, Opened: minuteOf(tx, x.OpenedAt)}
			for _, t := range x.Timeline(tx).Targets {
				line.Late = line.Late || t.State == "overdue" && x.Open
			}
			page.Recalls = append(page.Recalls, line)
		}
		return s.show(v, "recalls", "Recalls", page)
	})
}

type recallsPage struct {
	Recalls []recallLine
	May     bool
}

type recallLine struct {
	recall.Summary
	Mock   bool
	Opened string
	Late   bool
}

// minuteOf writes a moment in the site's time.
func minuteOf(tx *store.Tx, at time.Time) string {
	return at.In(tx.Site().Zone).Format("2006-01-02 15:04")
}

// minute writes a time of an answer, which has a zone and seconds, as people read it.
func minute(at string) string {
	if len(at) < 16 {
		return at
	}
	return strings.Replace(at[:16], "T", " ", 1)
}

func (s *Server) openRecallPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error { return s.showOpenRecall(tx, v, nil) })
}

// openForm is the form that opens a recall.
type openForm struct {
	Token    string
	Kind     string // real, exercise or surprise
	Suspects string
	Hazard   string
	Hazards  []hazardChoice
	Reason   string
	Known    string
	Lead     string
	Said     []string
	Cautions []string
}

type hazardChoice struct {
	Value, Text string
	Chosen      bool
}

func hazardChoices(chosen string) (out []hazardChoice) {
	for _, h := range graph.Hazards() {
		out = append(out, hazardChoice{string(h), strings.ReplaceAll(string(h), "-", " ") + ": " + h.Holds(), string(h) == chosen})
	}
	return out
}

func (s *Server) showOpenRecall(_ *store.Tx, v *visit, why error) error {
	f := openForm{Token: newToken(), Kind: v.field("kind"), Suspects: v.field("suspects"), Hazard: v.field("hazard"), Reason: v.field("reason"), Known: v.field("known"), Lead: v.field("lead")}
	if why != nil {
		f.Said = plainly(why)
		if lots.KindOf(why) != lots.Conflict {
			f.Token = v.field("form")
		}
		v.begin(why)
	}
	f.Lead = cmp.Or(f.Lead, v.by())
	f.Hazards, f.Cautions = hazardChoices(cmp.Or(f.Hazard, string(graph.Anything))), recall.Cautions()
	return s.show(v, "recallopen", "Open a recall", f)
}

// namesIn are the things that a field names, one a line or with commas between, scanned or typed. A time after @ keeps its comma-free form.
func namesIn(text string) []string {
	var out []string
	for _, x := range strings.FieldsFunc(text, func(r rune) bool { return r == '\n' || r == '\r' || r == ',' || r == ';' }) {
		if x = strings.TrimSpace(x); x != "" {
			out = append(out, x)
		}
	}
	return labels.ParsePayloads(out)
}

func (s *Server) openRecall(v *visit) error {
	o := recall.Opened{Suspects: namesIn(v.field("suspects")), Hazard: v.field("hazard"), Reason: v.field("reason"), Known: v.field("known"), Lead: v.field("lead")}
	begin, kind := recall.Begin, v.field("kind")
	switch kind {
	case "exercise":
		o.Mock = true
	case "surprise":
		begin, o.Hazard = recall.BeginSurprise, ""
	case "real":
	default: // nobody may take the one for the other
		return s.view(v, func(tx *store.Tx) error {
			return s.showOpenRecall(tx, v, lots.Errorf(lots.Invalid, "say whether it is real or an exercise"))
		})
	}
	code := ""
	err := s.once(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		opened, err := begin(tx, o, recall.At{}, v.by())
		if err != nil {
			return nil, err
		}
		code = opened.Code
		return recallOutcome(opened), nil
	})
	switch {
	case err != nil && isInternal(err):
		return err
	case err != nil:
		return s.view(v, func(tx *store.Tx) error { return s.showOpenRecall(tx, v, err) })
	case code == "": // it was sent twice
		return v.seeOther("/said/" + url.PathEscape(v.field("form")))
	}
	return v.seeOther(recallPath(code) + "?" + queryOf("said", v.field("form")))
}

// recallOutcome tells of the last step of a recall.
func recallOutcome(after *recall.Recall) *outcome {
	l := after.Log[len(after.Log)-1]
	return &outcome{Title: after.Code, Texts: []string{sentence(l.Text())}, Warnings: after.Remarks,
		Links: []link{{"Back to " + after.Code, recallPath(after.Code)}}}
}

// board is all that the pages of one recall show, worked out from one state of the records.
type board struct {
	head      int64
	full      bool // with all that is below the scope: the rest costs more, and the scope's own page is to come first
	Recall    *recall.Recall
	Answer    recall.ScopeAnswer
	Lost      []scope.Lost
	Kept      []scope.Item
	Drift     int
	Next      []recall.Next
	Walk      []recall.Walked
	Standings []recall.Standing
	Account   recall.AccountAnswer
	People    []recall.Recipient
	Line      recall.Timeline
	Not       string // what the hazard leaves out
	Uncalled  []string
	Notify    *recall.Notification
	Suppliers []deliveries.Supplier
}

// boardOf gives the board of a recall as the records stand, or as they stood a little earlier: the standing says so. It is
// worked out once for each state of them, for all who look; nil where there is none yet.
func (s *Server) boardOf(v *visit, tx *store.Tx, code string, full bool) (*board, standing, error) {
	return workOut(v.ctx, s, tx, lasting[*board]{name: fmt.Sprint(s.DB.Path(), "\x00recall ", code, full), lend: s.here(), keeps: true,
		state: func(tx *store.Tx) string { return tx.Recorded().UTC().Format("2006-01-02 15:04") },
		ask: func(tx *store.Tx) (*board, error) {
			now, err := recall.Load(tx, code)
			if err != nil {
				return nil, err
			}
			b, err := newBoard(tx, now, full)
			if err != nil {
				return nil, err
			}
			b.full = full
			b.head, err = tx.Head()
			return b, err
		}})
}

func newBoard(tx *store.Tx, now *recall.Recall, full bool) (*board, error) {
	sc, err := now.Scope(tx)
	if err != nil {
		return nil, err
	}
	b := &board{Recall: now, Lost: sc.Lost, Kept: sc.Kept, Line: now.Timeline(tx), Not: sc.NotCounted()}
	if last := now.Latest(); last != nil {
		b.Drift = len(scope.Diff(last.Items, sc.Items()))
	}
	if b.Answer, err = now.Answer(tx, sc, &scope.WhatIf{}); err != nil || !full {
		return b, err
	}
	for party := range now.Uncalled(sc) {
		b.Uncalled = append(b.Uncalled, party)
	}
	slices.Sort(b.Uncalled)
	if b.Next, err = now.Next(tx, sc); err != nil {
		return nil, err
	}
	if b.Walk, err = now.Walk(tx, sc); err != nil {
		return nil, err
	}
	if b.Standings, err = now.Standings(tx, sc); err != nil {
		return nil, err
	}
	if b.People, err = now.Recipients(tx, sc); err != nil {
		return nil, err
	}
	if b.Notify, err = now.Notify(tx, sc); err != nil {
		return nil, err
	}
	if b.Suppliers, err = deliveries.Suppliers(tx, now.Traced(tx)); err != nil {
		return nil, err
	}
	b.Account, err = now.AccountOf(tx, sc)
	return b, cmp.Or(err, tx.Err())
}

// Sums are of the whole account.
func (b *board) Sums() []account.Sum { return []account.Sum{b.Account.Cases, b.Account.Kegs} }

// recallTop is what stands over every page of a recall.
type recallTop struct {
	recall.Summary
	Mock     bool
	Tab      string
	Clock    string
	Since    int64 // when its clock started, for a clock that goes on
	Now      int64
	Running  bool
	Head     int64 // the journal's last entry that the page knows
	Done     *outcome
	MayRun   bool
	MaySign  bool
	MayCount bool
	Ended    string
	Cautions []string
	Standing standing // of what is worked out of the records
}

func (s *Server) topOf(tx *store.Tx, v *visit, b *board, tab string) (recallTop, error) {
	r := b.Recall
	t := recallTop{Summary: r.Summary(tx), Mock: r.Mock, Tab: tab, Since: r.OpenedAt.Unix(), Now: r.Now.Unix(), Running: r.Open, Head: b.head,
		MayRun: v.may("recall"), MaySign: v.may("sign"), MayCount: v.may("record"), Ended: r.Ended, Cautions: recall.Cautions()}
	t.Opened = minute(t.Opened)
	at := r.Now
	if !r.Open {
		for _, l := range r.Log {
			if l.Name == "close" || l.Name == "terminate" {
				at = l.At
			}
		}
	}
	t.Clock = r.Clock(at)
	var err error
	t.Done, err = answered(tx, v.field("said"))
	return t, err
}

// boardNow is what a page of a recall shows: its steps as they are now, and what is worked out of the records. A form needs
// its steps only, and waits for nothing else.
func (s *Server) boardNow(v *visit, tx *store.Tx, code, tab string) (*board, standing, error) {
	now, err := recall.Load(tx, code)
	if err != nil {
		return nil, standing{}, err
	}
	head, err := tx.Head()
	if err != nil || tab == "act" {
		return &board{Recall: now, head: head}, standing{}, err
	}
	b, how, err := s.boardOf(v, tx, code, tab != "scope" && tab != "papers")
	if err != nil {
		return nil, how, err
	}
	if b == nil {
		return &board{Recall: now, head: head, Line: now.Timeline(tx)}, how, nil
	}
	fresh := *b
	fresh.Recall, fresh.Line = now, now.Timeline(tx)
	return &fresh, how, nil
}

// workingView is the page of a recall of which nothing is worked out yet: what was frozen last is there at once.
type workingView struct {
	recallTop
	Frozen *scope.Version
	When   string
	Units  []scope.Item // the first of them
	Of     int
}

func workingOf(tx *store.Tx, b *board, top recallTop) workingView {
	page := workingView{recallTop: top, Frozen: b.Recall.Latest()}
	if page.Frozen == nil {
		return page
	}
	page.When = minuteOf(tx, page.Frozen.At)
	for _, x := range page.Frozen.Items {
		if x.Kind != "unit" {
			continue
		}
		if page.Of++; page.Of <= perPage {
			page.Units = append(page.Units, x)
		}
	}
	return page
}

// showRecall shows a page of a recall.
func (s *Server) showRecall(v *visit, tab string, fill func(tx *store.Tx, b *board, top recallTop) (any, error)) error {
	return s.view(v, func(tx *store.Tx) error {
		b, how, err := s.boardNow(v, tx, strings.ToUpper(v.r.PathValue("code")), tab)
		if err != nil {
			return err
		}
		top, err := s.topOf(tx, v, b, tab)
		if err != nil {
			return err
		}
		top.Standing = how
		title := top.Code
		if top.Mock {
			title = "EXERCISE " + title
		}
		if how.Working && !how.Has && tab != "papers" {
			return s.show(v, "recallworking", title, workingOf(tx, b, top))
		}
		page, err := fill(tx, b, top)
		if err != nil {
			return err
		}
		return s.show(v, "recall"+tab, title, page)
	})
}

type casePage struct {
	recallTop
	Next      []nextStep
	Line      recall.Timeline
	Steps     []recall.TimelineStep // the last first
	Earlier   []recall.TimelineStep
	Notify    *recall.Notification
	Team      []recall.Member
	Known     string
	HazardIs  hazardChoice
	NoteToken string
	Acts      []link
	Review    string
}

// nextStep is what waits, with where to do it.
type nextStep struct {
	recall.Next
	Go link
}

// doing says where what waits is done, and what its button says. In an exercise it says that it is one.
var doing = map[string]struct{ text, rehearse, page string }{
	recall.DoDecide: {"Decide", "", "scope#yeast"}, recall.DoMend: {"Look", "", "scope"}, recall.DoHold: {"Hold all of it", "Rehearse the hold", "do/hold"},
	recall.DoFind: {"Walk the house", "", "house"}, recall.DoSignOff: {"Look and sign", "", "scope#kept"}, recall.DoFreeze: {"Freeze the scope", "", "do/freeze"},
	recall.DoLetters: {"Draft the letters", "", "do/letters"}, recall.DoTell: {"Tell them", "Rehearse telling them", "consignees"},
	recall.DoHear: {"Enter answers", "", "consignees"}, recall.DoAnswer: {"Say that they have them", "", "do/authority"}, recall.DoCheck: {"Check", "", "consignees#checks"},
	recall.DoAccount: {"Account", "", "account"}, recall.DoSettle: {"Release or destroy", "Rehearse release or destruction", "house"},
	recall.DoSign: {"Read and sign", "", "papers"}, recall.DoClose: {"Close it", "", "do/close"},
}

// nextSteps lists what waits; whoever runs no recall is shown where to look.
func nextSteps(b *board, runs bool) (out []nextStep) {
	for _, n := range b.Next {
		d := doing[n.Do]
		text := d.text
		if b.Recall.Mock && d.rehearse != "" {
			text = d.rehearse
		}
		page, at, _ := strings.Cut(d.page, "#")
		path := recallPath(b.Recall.Code) + "/" + page
		if at != "" {
			path += "#" + at
		}
		if !runs && page != "house" {
			text = "Look"
			if strings.HasPrefix(page, "do/") {
				text, path = "", ""
			}
		}
		out = append(out, nextStep{n, link{text, path}})
	}
	return out
}

func (s *Server) casePage(v *visit) error {
	return s.showRecall(v, "case", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		r := b.Recall
		page := casePage{recallTop: top, Next: nextSteps(b, top.MayRun), Line: b.Line, Team: recall.Team(tx), Known: r.Known, Review: r.Review,
			NoteToken: newToken(), HazardIs: hazardChoice{Value: string(r.Hazard), Text: r.Hazard.Holds()}}
		page.Notify = b.Notify
		for _, x := range slices.Backward(b.Line.Steps) {
			if !v.may(people.Contacts) {
				for _, l := range r.Log {
					if l.Entry == x.Entry {
						x.Text = l.WithoutPersonal()
					}
				}
			}
			x.Text = onPage(x.Text)
			page.Steps = append(page.Steps, x)
		}
		if n := 15; len(page.Steps) > n+5 {
			page.Steps, page.Earlier = page.Steps[:n], page.Steps[n:]
		}
		for _, name := range []string{"note", "suspect", "unsuspect", "hazard", "class", "strategy", "authority", "terminate"} {
			page.Acts = append(page.Acts, link{recallActs[name].heading, recallPath(r.Code, "do", name)})
		}
		return page, nil
	})
}
