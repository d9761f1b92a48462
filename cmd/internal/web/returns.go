package web

import (
	"errors"
	"net/http"
	"net/url"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var returnRoutes = []route{
	{Method: "GET", Pattern: "/return", Right: "record", do: (*Server).returnPage},
	{Method: "POST", Pattern: "/return", Right: "record", do: (*Server).comeBack},
	{Method: "GET", Pattern: "/judge", Right: "look", do: (*Server).judgePage},
	{Method: "POST", Pattern: "/judge", Right: "record", do: (*Server).judge},
}

// returnForm is one thing after the other that came back.
type returnForm struct {
	*form
	Done *outcome // of the one before
}

func (s *Server) returnPage(v *visit) error { return s.showReturn(v, nil) }

// showReturn shows the form for what came back, with what was wrong with it.
func (s *Server) showReturn(v *visit, why error) error {
	sheet, err := sheetFor("return")
	if err != nil {
		return err
	}
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.newForm(tx, sheet, rowOf(v, sheet))
		if err != nil {
			return err
		}
		f.Action, f.Token, f.Back, f.Heading = "/return", newToken(), "/shipping", "Came back"
		moveFirst(f.Fields, "consignee")
		page := returnForm{form: f}
		if why != nil {
			f.Token = tokenAfter(v, why)
			f.take(why)
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		} else if page.Done, err = answered(tx, v.field("said")); err != nil {
			return err
		}
		for i := range f.Fields {
			f.Fields[i].Focus = false
			switch f.Fields[i].Name {
			case "quantity":
				f.Fields[i].Need, f.Fields[i].Help = false, "A keg is one; of a pallet say how many cases."
			case "unit": // a scan of it sends the form: it is the last that a keg needs
				f.Fields[i].Kind, f.Fields[i].Label, f.Fields[i].Help = "text", "Pallet or keg", ""
			}
		}
		focus(f.Fields)
		return s.show(v, "return", "Came back", page)
	})
}

// moveFirst puts one field before the others.
func moveFirst(fields []field, name string) {
	for i := range fields {
		if fields[i].Name == name {
			f := fields[i]
			copy(fields[1:i+1], fields[:i])
			fields[0] = f
		}
	}
}

// comeBack records what came back, and comes back for the next from the same consignee.
func (s *Server) comeBack(v *visit) error {
	sheet, err := sheetFor("return")
	if err != nil {
		return err
	}
	row, token := rowOf(v, sheet), v.field("form")
	err = s.once(v, token, func(tx *store.Tx) (*outcome, error) {
		said, err := desk.CameBack(tx, rowOf(v, sheet), v.by())
		if err != nil {
			return nil, err
		}
		return outcomeOf(tx, said, sheet), nil
	})
	if err == nil {
		return v.seeOther("/return?" + queryOf("consignee", row["consignee"], "document", row["document"], "state", row["state"], "said", token))
	}
	if isInternal(err) {
		return err
	}
	return s.showReturn(v, err)
}

type judgePage struct {
	Units []judged
	Done  *outcome
	May   struct{ Release, Destroy bool }
}

// judged is a unit to be judged, with what was typed about it and what was wrong with that.
type judged struct {
	desk.ReturnedUnit
	Token        string
	Why, Witness string
	Said         []string
}

func (s *Server) judgePage(v *visit) error { return s.showJudge(v, nil) }

// showJudge lists what came back and waits, with what was wrong with a judgement.
func (s *Server) showJudge(v *visit, why error) error {
	return s.view(v, func(tx *store.Tx) error {
		units, err := desk.ToJudge(tx)
		if err != nil {
			return err
		}
		var page judgePage
		page.May.Release, page.May.Destroy = v.may("release"), v.may("record")
		for _, u := range units {
			j := judged{ReturnedUnit: u, Token: newToken()}
			if why != nil && u.Unit == v.field("unit") {
				j.Token, j.Why, j.Witness, j.Said = tokenAfter(v, why), v.field("why"), v.field("witness"), reasonsOf(why)
			}
			page.Units = append(page.Units, j)
		}
		if why != nil {
			v.w.WriteHeader(http.StatusUnprocessableEntity)
		} else if page.Done, err = answered(tx, v.field("said")); err != nil {
			return err
		}
		return s.show(v, "judge", "Came back, not judged yet", page)
	})
}

// reasonsOf are the texts of a refusal.
func reasonsOf(why error) (out []string) {
	faults, ok := errors.AsType[lots.Faults](why)
	if !ok {
		return []string{capital(onPage(why.Error()))}
	}
	for _, f := range faults {
		out = append(out, capital(onPage(f.Reason)))
	}
	return out
}

// judge records what becomes of a unit that came back.
func (s *Server) judge(v *visit) error {
	j := desk.Judgement{Unit: v.field("unit"), Verdict: v.field("verdict"), Why: v.field("why"), Witness: v.field("witness"), By: v.by()}
	if j.Verdict == desk.VerdictRelease && !v.may("release") {
		return s.notAllowed(v, "release")
	}
	token := v.field("form")
	err := s.once(v, token, func(tx *store.Tx) (*outcome, error) {
		text, entries, err := desk.Judge(tx, j)
		return &outcome{Title: "Judged", Texts: []string{text}, Entries: entries}, err
	})
	if err == nil {
		return v.seeOther("/judge?said=" + url.QueryEscape(token))
	}
	if isInternal(err) {
		return err
	}
	return s.showJudge(v, err)
}
