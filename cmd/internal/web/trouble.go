package web

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/balance"
	"heeltap/graph/check"
	"heeltap/graph/common"
	"heeltap/graph/desk"
	"heeltap/graph/exposure"
	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/graph/stock"
	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

var troubleRoutes = []route{
	{Method: "GET", Pattern: "/office", Right: "look", do: (*Server).officePage},
	{Method: "GET", Pattern: "/readiness", Right: "look", do: (*Server).readinessPage},
	{Method: "GET", Pattern: "/balance", Right: "look", do: (*Server).balancePage},
	{Method: "GET", Pattern: "/exposure", Right: "look", do: (*Server).exposurePage},
	{Method: "GET", Pattern: "/exposure.svg", Right: "look", do: (*Server).exposureSVG},
	{Method: "GET", Pattern: "/common", Right: "look", do: (*Server).commonPage},
}

// report is the readiness check of the records, worked out once for each state of them. It is nil where there is none yet.
func (s *Server) report(v *visit, tx *store.Tx, knownAt string) (*check.Report, standing, error) {
	return remember(v, s, tx, "check", knownAt, func(tx *store.Tx) (*check.Report, error) { return check.Run(tx, nil, time.Time{}) })
}

// officeView is what the quality lead begins the day with.
type officeView struct {
	answering
	Standing   standing // of what is late
	Waiting    []stock.Waiting
	Judge      int
	Complaints []notedRow // of the last days
	Holds      []trace.OpenHold
	Goods      int // lots and units that are stopped for certain
	Late       []check.Hit
	Targets    []lateTarget
	Open       []recall.Summary
	Exercise   *exercise
	Days       int // calendar days since the last exercise
}

type lateTarget struct {
	Recall string
	recall.Target
}

type exercise struct {
	Code, Day, State string
}

// complaintDays is how long a complaint stands on the lead's page.
const complaintDays = 14

// officePage shows what waits, what is held, what is late, and when the last exercise was.
func (s *Server) officePage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		page := officeView{answering: how}
		if err := page.fill(v, tx); err != nil {
			return err
		}
		r, stands, err := s.report(v, tx, how.KnownAt)
		if err != nil {
			return err
		}
		if page.Standing = stands; r == nil {
			r = &check.Report{}
		}
		for _, h := range r.Hits {
			if h.Rule == "late-entry" && h.Muted == "" {
				page.Late = append(page.Late, h)
			}
		}
		return s.show(v, "office", "Office", page)
	})
}

func (p *officeView) fill(v *visit, tx *store.Tx) (err error) {
	if p.Waiting, err = stock.WaitingLots(tx); err != nil {
		return err
	}
	judge, err := desk.ToJudge(tx)
	if err != nil {
		return err
	}
	p.Judge = len(judge)
	if p.Holds, err = trace.OpenHolds(tx); err != nil {
		return err
	}
	standing, err := trace.StandingHolds(tx)
	if err != nil {
		return err
	}
	p.Goods = len(standing.Goods())
	all, err := inquiry.All(tx)
	if err != nil {
		return err
	}
	for _, n := range slices.Backward(all) {
		if n.Complaint() && tx.Recorded().Sub(n.At) < complaintDays*24*time.Hour {
			p.Complaints = append(p.Complaints, noted(v, tx, n))
		}
	}
	return p.recalls(tx)
}

// recalls lists what is open and late of recalls, and finds the last exercise.
func (p *officeView) recalls(tx *store.Tx) error {
	all, err := recall.All(tx)
	if err != nil {
		return err
	}
	for _, r := range all {
		if r.Open {
			p.Open = append(p.Open, r.Summary(tx))
			for _, t := range r.Timeline(tx).Targets {
				if t.State == "overdue" {
					p.Targets = append(p.Targets, lateTarget{r.Code, t})
				}
			}
		}
		if r.Mock {
			p.Exercise = &exercise{r.Code, r.OpenedAt.In(tx.Site().Zone).Format(time.DateOnly), r.State()}
			p.Days = daysBetween(r.OpenedAt.In(tx.Site().Zone), tx.Recorded().In(tx.Site().Zone))
		}
	}
	return nil
}

// daysBetween counts the calendar days from one local time to a later one: an exercise last night was yesterday.
func daysBetween(from, to time.Time) int {
	day := func(t time.Time) time.Time { return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC) }
	return int(day(to).Sub(day(from)).Hours() / 24)
}

// readinessView is how ready the records are, and what is to be mended.
type readinessView struct {
	answering
	Standing standing
	Headline check.Headline
	Findings []finding
	Rules    map[string]check.Rule
	Rule     string // only this one
	Muted    int
	More     int
}

// finding is a hit with where it is mended.
type finding struct {
	check.Hit
	Breaks string
	Mends  []link // the likeliest first
	Text   string // as on a page
	Advice string // where no form mends it
}

// mostFindings are listed of all rules together; those of one rule all are.
const mostFindings = 60

func (s *Server) readinessPage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		r, stands, err := s.report(v, tx, how.KnownAt)
		if err != nil {
			return err
		}
		page := readinessView{answering: how, Standing: stands, Rule: v.field("rule")}
		if r == nil {
			return s.show(v, "readiness", "Readiness", page)
		}
		page.Headline, page.Muted = r.Headline, r.Muted
		breaks := map[string]string{}
		for _, rule := range r.Rules {
			breaks[rule.Name] = rule.Breaks
		}
		for _, h := range r.ByStake() {
			switch {
			case page.Rule != "" && h.Rule != page.Rule:
			case page.Rule == "" && len(page.Findings) == mostFindings:
				page.More++
			default:
				page.Findings = append(page.Findings, s.findingOf(v, tx, h, breaks[h.Rule]))
			}
		}
		return s.show(v, "readiness", "Readiness", page)
	})
}

// findingOf finds the pages on which a hit is mended: the forms its commands stand for, what it is about, and its entry.
func (s *Server) findingOf(v *visit, tx *store.Tx, h check.Hit, breaks string) finding {
	f := finding{Hit: h, Breaks: breaks, Text: onPage(h.Text), Advice: onPage(h.Mend)}
	add := func(text, path string) {
		if path != "" && !slices.ContainsFunc(f.Mends, func(l link) bool { return l.Path == path }) {
			f.Mends = append(f.Mends, link{text, path})
		}
	}
	for _, c := range h.Commands {
		text, path := s.formOf(v, tx, c)
		add(text, path)
	}
	code, _, _ := strings.Cut(h.Code, "@")
	if _, kind, ok := tx.Introduces(code); ok {
		add("Open "+code, pathOf(kind, code))
	}
	if h.Entry > 0 {
		add("Open entry "+strconv.FormatInt(h.Entry, 10), "/entry/"+strconv.FormatInt(h.Entry, 10))
	}
	return f
}

// formOf is the form that stands for a command, with what the command gives filled in; empty where whoever looks has none.
func (s *Server) formOf(v *visit, tx *store.Tx, command string) (text, path string) {
	words := strings.Fields(command)
	if len(words) < 3 {
		return "", ""
	}
	verb, args := words[1], words[2:]
	if verb == "amend" || verb == "void" {
		entry, err := strconv.ParseInt(args[0], 10, 64)
		if err != nil {
			entry, _, _ = tx.Introduces(args[0])
		}
		if entry == 0 || !v.may("correct") {
			return "", ""
		}
		return map[string]string{"amend": "Correct entry ", "void": "Void entry "}[verb] + strconv.FormatInt(entry, 10), "/entry/" + strconv.FormatInt(entry, 10) + "/" + verb
	}
	sheet, err := sheetFor(verb)
	if err != nil || !v.may(rightFor(sheet)) {
		return "", ""
	}
	set := url.Values{}
	named := ""
	for _, a := range args {
		open := strings.Contains(a, "…") || a == strings.ToUpper(a) && !strings.ContainsAny(a, "0123456789")
		switch flag, isFlag := strings.CutPrefix(a, "--"); {
		case isFlag:
			named = strings.ReplaceAll(flag, "-", "_")
		case named == "" && !open:
			set.Set(sheet.Columns[0].Name, a)
		case named != "" && !open && sheet.Has(named):
			set.Set(named, strings.Trim(a, `"`))
			named = ""
		default:
			named = ""
		}
	}
	return headingOf(sheet), "/do/" + sheet.Verb + "?" + set.Encode()
}

// balanceView is a balance asked for, with its arithmetic.
type balanceView struct {
	answering
	Of, From, To string
	Said         string
	Balances     []balance.Balance
}

func (s *Server) balancePage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		page := balanceView{answering: how, Of: labels.ParsePayload(v.field("of")), From: v.field("from"), To: v.field("to")}
		if page.Of != "" {
			period, err := balance.Days(tx, page.From, page.To)
			if err == nil {
				page.Balances, err = balance.Of(tx, page.Of, period)
			}
			if isOurs(err) {
				return err
			}
			if err != nil {
				page.Said = onPage(err.Error())
				v.w.WriteHeader(statusOf(err))
			}
		}
		return s.show(v, "balance", "Balance", page)
	})
}

// isOurs reports whether there is an error, and it is on our side.
func isOurs(err error) bool { return err != nil && isInternal(err) }

// exposureView is what would be in scope if a lot failed today.
type exposureView struct {
	answering
	Standing standing
	*exposure.Answer
	Risks []exposure.Risk
	Unit  lots.Unit
	More  int
}

// Volume writes litres in the site's unit.
func (p exposureView) Volume(litres float64) string {
	return lots.Figure(p.Unit.Of(litres*1000)) + " " + string(p.Unit)
}

// mostRisks are listed.
const mostRisks = 40

func (s *Server) exposed(v *visit, tx *store.Tx, knownAt string) (*exposure.Answer, standing, error) {
	return remember(v, s, tx, "exposure", knownAt, func(tx *store.Tx) (*exposure.Answer, error) { return exposure.Of(tx, time.Time{}) })
}

func (s *Server) exposurePage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		a, stands, err := s.exposed(v, tx, how.KnownAt)
		if err != nil {
			return err
		}
		if a == nil {
			return s.show(v, "exposure", "Exposure", exposureView{answering: how, Standing: stands})
		}
		n := min(mostRisks, len(a.Risks))
		return s.show(v, "exposure", "Exposure", exposureView{how, stands, a, a.Risks[:n], tx.Site().VolumeUnit, len(a.Risks) - n})
	})
}

// exposureSVG is the picture of the exposure.
func (s *Server) exposureSVG(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		a, stands, err := s.exposed(v, tx, how.KnownAt)
		if err != nil {
			return err
		}
		if stands.Working {
			return lots.Errorf(lots.Conflict, "the picture is still being worked out: ask again in a moment")
		}
		v.w.Header().Set("Content-Type", "image/svg+xml")
		return a.SVG(v.w)
	})
}

// commonView is what complaints have in common.
type commonView struct {
	answering
	Bad, Good []string
	Empty     []int // lines to fill in
	Hazards   []option
	Days      string
	Said      string
	Fewest    int
	*common.Answer
}

func (s *Server) commonPage(v *visit) error {
	return s.asked(v, func(tx *store.Tx, how answering) error {
		page := commonView{answering: how, Days: v.field("days"), Fewest: common.Fewest}
		for _, x := range []struct {
			name string
			to   *[]string
		}{{"bad", &page.Bad}, {"good", &page.Good}} {
			for _, text := range v.r.Form[x.name] {
				if text = labels.ParsePayload(strings.TrimSpace(text)); text != "" {
					*x.to = append(*x.to, text)
				}
			}
		}
		for i := range max(2, common.Fewest-len(page.Bad)) {
			page.Empty = append(page.Empty, i)
		}
		err := page.ask(tx, v.field("hazard"))
		if isOurs(err) {
			return err
		}
		if err != nil {
			page.Said = onPage(err.Error())
			v.w.WriteHeader(statusOf(err))
		}
		return s.show(v, "common", "Common source", page)
	})
}

func (p *commonView) ask(tx *store.Tx, hazard string) error {
	chosen, err := graph.ParseHazard(cmp.Or(hazard, string(graph.Anything)))
	for _, h := range graph.Hazards() {
		p.Hazards = append(p.Hazards, option{string(h), strings.ReplaceAll(string(h), "-", " ") + ": " + h.Holds(), h == chosen})
	}
	if err != nil {
		return lots.Errorf(lots.Invalid, "%w", err)
	}
	q := common.Question{Bad: p.Bad, Good: p.Good, Hazard: chosen}
	if p.Days != "" {
		n, err := strconv.Atoi(p.Days)
		if err != nil {
			return lots.Errorf(lots.Invalid, "write the days as a whole number, such as 45")
		}
		q.Days = n
	}
	if len(p.Bad) == 0 {
		return nil
	}
	p.Answer, err = common.Ask(tx, q)
	return err
}
