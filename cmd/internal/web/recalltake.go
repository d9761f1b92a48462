package web

import (
	"errors"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

// actPage is the form of one act.
type actPage struct {
	recallTop
	Action  string
	Token   string
	Heading string
	Lead    string
	Button  string
	Fields  []field
	Said    []string
	Back    string
	Open    []recall.OpenLine // what a review has to answer
}

// act finds the act that an address names.
func (v *visit) act() (string, *recallAct, error) {
	name := v.r.PathValue("act")
	a, ok := recallActs[name]
	if !ok {
		return name, nil, lots.Errorf(lots.NotFound, "nothing is done in a recall at %s", name)
	}
	return name, a, nil
}

func (s *Server) actForm(v *visit) error { return s.showAct(v, nil) }

func (s *Server) showAct(v *visit, refused error) error {
	name, a, err := v.act()
	if err != nil {
		return err
	}
	if a.right != "" && !v.may(a.right) {
		return s.notAllowed(v, a.right)
	}
	return s.showRecall(v, "act", func(tx *store.Tx, b *board, top recallTop) (any, error) {
		page := actPage{recallTop: top, Action: recallPath(top.Code, "do", name), Token: newToken(), Heading: a.heading, Lead: a.lead, Button: a.button, Back: v.backTo(top.Code, a)}
		if top.Mock && a.rehearse != "" {
			page.Button = a.rehearse
		}
		if a.fields != nil {
			if page.Fields, err = a.fields(tx, b.Recall, v.field); err != nil {
				return nil, err
			}
			focus(page.Fields)
		}
		if name == "close" {
			sc, err := b.Recall.Scope(tx)
			if err != nil {
				return nil, err
			}
			if page.Open, err = b.Recall.OpenLines(tx, sc); err != nil {
				return nil, err
			}
			for i := range page.Open {
				page.Open[i].Text = onPage(page.Open[i].Text)
			}
		}
		if refused != nil {
			if lots.KindOf(refused) != lots.Conflict {
				page.Token = v.field("form")
			}
			page.refuse(refused)
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		}
		return page, nil
	})
}

// refuse says why it was refused, beside the field where one is named.
func (p *actPage) refuse(err error) {
	f := form{Fields: p.Fields}
	if faults, ok := errors.AsType[lots.Faults](err); ok {
		f.mark(faults)
	} else {
		f.Said = plainly(err)
	}
	p.Fields, p.Said = f.Fields, f.Said
	if len(p.Said) == 0 {
		p.Said = []string{"Look at what is marked below."}
	}
}

// backTo is the page that an act was opened from, else that it belongs to.
func (v *visit) backTo(code string, a *recallAct) string {
	if typed := v.field("back"); typed != "" {
		return back(typed)
	}
	if from, err := url.Parse(v.r.Referer()); err == nil && strings.HasPrefix(from.Path, recallPath(code)) && !strings.Contains(from.Path, "/do/") {
		q := from.Query()
		q.Del("said")
		return back((&url.URL{Path: from.Path, RawQuery: q.Encode()}).String())
	}
	page, _, _ := strings.Cut(a.back, "#")
	if page == "" {
		return recallPath(code)
	}
	return recallPath(code, page)
}

// takeAct records an act, once, and comes back to the page it was taken on.
func (s *Server) takeAct(v *visit) error {
	_, a, err := v.act()
	if err != nil {
		return err
	}
	if a.right != "" && !v.may(a.right) {
		return s.notAllowed(v, a.right)
	}
	code := strings.ToUpper(v.r.PathValue("code"))
	if err := s.view(v, func(tx *store.Tx) error { _, err := recall.Load(tx, code); return err }); err != nil {
		return err
	}
	t := taking{by: v.by(), get: v.field}
	if a.ahead != nil {
		if t.ahead, err = a.ahead(s, v, code); err != nil {
			return err
		}
	}
	err = s.once(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		t.tx, t.also = tx, nil
		if t.now, err = recall.Load(tx, code); err != nil {
			return nil, err
		}
		if t.at, err = recall.ParseAt(tx, v.field("at")); err != nil {
			return nil, lots.Faults{{Column: "at", Reason: err.Error()}}
		}
		after, err := a.take(&t)
		if err != nil {
			return nil, err
		}
		out := recallOutcome(after)
		out.Warnings = append(out.Warnings, t.also...)
		return out, nil
	})
	switch {
	case err == nil:
		return v.seeOther(withSaid(v.backTo(code, a), v.field("form")))
	case isInternal(err):
		return err
	}
	return s.showAct(v, err)
}

// withSaid adds to an address which form was recorded.
func withSaid(path, form string) string {
	u, err := url.Parse(path)
	if err != nil {
		return path
	}
	q := u.Query()
	q.Set("said", form)
	u.RawQuery = q.Encode()
	return u.String()
}

var (
	flagTold = regexp.MustCompile(`[:;,]? --[a-z-]+ [A-Z]+\b`)
	flagBare = regexp.MustCompile(`--([a-z-]+)`)
)

// plainly says a refusal on a page: there are fields here, and no flags to type.
func plainly(err error) (out []string) {
	for _, text := range reasonsOf(err) {
		text = flagTold.ReplaceAllString(text, "")
		text = flagBare.ReplaceAllStringFunc(text, func(f string) string { return strings.ReplaceAll(strings.TrimPrefix(f, "--"), "-", " ") })
		out = append(out, sentence(text))
	}
	return out
}
