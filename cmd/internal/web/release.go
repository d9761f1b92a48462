package web

import (
	"net/http"
	"net/url"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/graph/thing"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

var releaseRoutes = []route{
	{Method: "GET", Pattern: "/release/{code}", Right: people.Release, do: (*Server).releasePage},
	{Method: "POST", Pattern: "/release/{code}", Right: people.Release, do: (*Server).release},
}

// releaseForm lets go what stands on hold.
type releaseForm struct {
	*thing.Thing
	Token, Action, Back string
	At, Why             string
	Said                []string
}

// readRelease is the form about a thing, as far as it was typed.
func readRelease(v *visit, tx *store.Tx) (*releaseForm, error) {
	code, err := desk.Subject(tx, v.r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	_, kind, _ := tx.Introduces(code)
	t, err := thing.Of(tx, kind, code)
	return &releaseForm{Thing: t, Token: first(v.field("form"), newToken()), Action: v.r.URL.EscapedPath(), Back: pathOf(kind, code), At: v.field("at"), Why: v.field("reason")}, err
}

func (s *Server) releasePage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := readRelease(v, tx)
		if err != nil {
			return err
		}
		return s.show(v, "release", "Release "+f.Code, f)
	})
}

// release ends all holds on a thing itself.
func (s *Server) release(v *visit) error {
	return s.recordOnce(v, v.field("form"), func(tx *store.Tx) (*outcome, error) {
		f, err := readRelease(v, tx)
		if err != nil {
			return nil, err
		}
		if f.Why == "" {
			return nil, lots.Errorf(lots.Invalid, "say why it may go: your name and the reason go into the record")
		}
		at, err := desk.Moment(tx, f.At)
		if err != nil {
			return nil, err
		}
		entries, err := recall.Release(tx, f.Code, at, f.Why, v.by())
		if err != nil {
			return nil, err
		}
		out := &outcome{Title: "Released", Texts: []string{f.Code + " is released: " + f.Why}, Entries: entries}
		if by, err := trace.StoppedBy(tx, f.Kind, f.Code); err != nil {
			return nil, err
		} else if by != "" && by != f.Code {
			out.Warnings = []string{f.Code + " still stands on hold by " + by + ", which went into it."}
		}
		out.goTo(tx, &f.Code)
		return out, nil
	}, func(why error) error {
		return s.view(v, func(tx *store.Tx) error {
			f, err := readRelease(v, tx)
			if err != nil {
				return err
			}
			f.Token, f.Said = tokenAfter(v, why), []string{capital(onPage(why.Error()))}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
			return s.show(v, "release", "Release "+f.Code, f)
		})
	})
}

// releaseOf is the act that lets a thing go, where it is on hold itself and whoever looks may release it.
func releaseOf(v *visit, tx *store.Tx, t *thing.Thing) ([]act, error) {
	if !v.may(people.Release) || len(t.Stopped) == 0 {
		return nil, nil
	}
	by, err := trace.StoppedBy(tx, t.Kind, t.Code)
	if err != nil || by != t.Code {
		return nil, err
	}
	return []act{{Text: "Release", Path: "/release/" + url.PathEscape(t.Code)}}, nil
}
