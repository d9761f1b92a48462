package web

import (
	"cmp"
	"net/http"
	"strconv"
	"strings"

	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots/store"
)

// perPage is how many rows of a long list one page shows; perTable how many of a table, which are shorter.
const (
	perPage  = 50
	perTable = 200
)

// turn is where somebody is in a long list.
type turn struct {
	Page, Pages, Of int
	Before, After   string
	All             string // the address of the whole list on one page, to print
	First, Last     int
	Asked           bool // the address names a page
	Whole           bool // it asks for all of them
	start, end      int
}

// turnTo cuts a list of n rows into pages; the address keeps what else it asks.
func turnTo(v *visit, n int) turn { return turnOf(v, "page", "rows", n, perPage) }

// turnOf cuts a list into pages of so many rows, of which the address names one; the list stands at a mark of the page.
// Asked for all, it is one page.
func turnOf(v *visit, name, mark string, n, most int) turn {
	return turnAt(v, v.r.URL.Path, name, mark, n, most)
}

func turnAt(v *visit, path, name, mark string, n, most int) turn {
	if v.field(name) == "all" {
		most = max(n, most)
	}
	p, _ := strconv.Atoi(v.field(name))
	t := turn{Pages: max(1, (n+most-1)/most), Of: n, Asked: v.field(name) != "", Whole: v.field(name) == "all"}
	t.Page = min(max(1, p), t.Pages)
	t.start, t.end = min(n, (t.Page-1)*most), min(n, t.Page*most)
	t.First, t.Last = t.start+1, t.end
	at := func(p string) string {
		q := v.r.URL.Query()
		q.Set(name, p)
		q.Del("said")
		return path + "?" + q.Encode() + "#" + mark
	}
	if t.Page > 1 {
		t.Before = at(strconv.Itoa(t.Page - 1))
	}
	if t.Page < t.Pages {
		t.After = at(strconv.Itoa(t.Page + 1))
	}
	t.All = at("all")
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
