package web

import (
	"cmp"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var recordRoutes = []route{
	{Method: "GET", Pattern: "/do/{verb}", Right: "record", do: (*Server).formPage},
	{Method: "POST", Pattern: "/do/{verb}", Right: "record", do: (*Server).record},
	{Method: "GET", Pattern: "/said/{form}", Right: "look", do: (*Server).said},
}

// rightFor is what somebody must be allowed to, to record a row of a sheet.
func rightFor(s *lots.Sheet) people.Right {
	switch {
	case s.Name == "holds":
		return "hold"
	case s.When == "" && s.Name != "feeds" && s.Name != "codes" && s.Name != "units":
		return "manage"
	}
	return "record"
}

// letsGo reports whether a row with some cells changed no longer stops what it stopped: that is a release, whoever wrote the row.
func letsGo(s *lots.Sheet, was lots.Row, set map[string]string) bool {
	for column := range set {
		switch {
		case s.Name == "holds" && (strings.HasPrefix(column, "release") || was["subject"] != "" && column != "reason"):
			return true
		case s.Name == "receipts" && column == "status" && (was[column] == "hold" || was[column] == "rejected"):
			return true
		}
	}
	return false
}

// sheetFor finds the sheet that a form is a row of.
func sheetFor(verb string) (*lots.Sheet, error) {
	for _, s := range lots.Sheets {
		if s.Verb == verb && s.Name != "site" {
			return s, nil
		}
	}
	return nil, lots.Errorf(lots.NotFound, "nothing is recorded at /do/%s", verb)
}

// formPage shows an empty form, with what the address gives filled in.
func (s *Server) formPage(v *visit) error {
	sheet, err := sheetFor(v.r.PathValue("verb"))
	if err != nil {
		return err
	}
	if !v.may(rightFor(sheet)) {
		return s.notAllowed(v, rightFor(sheet))
	}
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.newForm(tx, sheet, rowOf(v, sheet))
		if err != nil {
			return err
		}
		f.Token, f.Back = newToken(), back(v.r.Referer())
		f.fromPaper(v)
		return s.show(v, "form", f.Heading, f)
	})
}

// newForm is the form of a sheet with cells filled in.
func (s *Server) newForm(tx *store.Tx, sheet *lots.Sheet, row lots.Row) (*form, error) {
	fields, more, err := describe(tx, sheet, row)
	if err != nil {
		return nil, err
	}
	w := words[sheet.Name]
	return &form{Action: "/do/" + sheet.Verb, Sheet: sheet, Heading: headingOf(sheet), Lead: w.lead, Button: buttonOf(sheet), Fields: fields, More: more}, nil
}

// newToken is a number that no other form has.
func newToken() string { return rand.Text() }

// record takes a form to the desk, once.
func (s *Server) record(v *visit) error {
	sheet, err := sheetFor(v.r.PathValue("verb"))
	if err != nil {
		return err
	}
	if !v.may(rightFor(sheet)) {
		return s.notAllowed(v, rightFor(sheet))
	}
	row, token := rowOf(v, sheet), v.field("form")
	if !v.may(people.Release) && letsGo(sheet, lots.Row{}, row) {
		return s.notAllowed(v, people.Release)
	}
	override := v.field("override")
	if override != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	return s.recordOnce(v, token, func(tx *store.Tx) (*outcome, error) {
		if late := undated(v, sheet, row); late != nil {
			return nil, late
		}
		said, err := desk.Record(tx, desk.Act{Sheet: sheet, Row: row, By: v.by(), Override: override, Reason: v.field("reason_for_hold")})
		if err != nil {
			return nil, err
		}
		return outcomeOf(tx, said, sheet), nil
	}, func(why error) error { return s.refused(v, sheet, row, why) })
}

// recordOnce records what a form says, as once does, and goes on to what became of it. Where it was refused, refused shows it
// again with why; a failure on our side is none of the form's.
func (s *Server) recordOnce(v *visit, token string, f func(tx *store.Tx) (*outcome, error), refused func(why error) error) error {
	switch err := s.once(v, token, f); {
	case err == nil:
		return v.seeOther("/said/" + url.PathEscape(token))
	case isInternal(err):
		return err
	default:
		return refused(err)
	}
}

// tokenAfter is the number of a form that is shown again: after a conflict the old one may be used up.
func tokenAfter(v *visit, why error) string {
	if lots.KindOf(why) == lots.Conflict {
		return newToken()
	}
	return v.field("form")
}

// refused shows a form again with all that was typed, and what was wrong with it.
func (s *Server) refused(v *visit, sheet *lots.Sheet, row lots.Row, why error) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.newForm(tx, sheet, row)
		if err != nil {
			return err
		}
		f.Token, f.Back, f.Overriding = tokenAfter(v, why), back(v.field("back")), v.field("override")
		f.fromPaper(v)
		f.take(why)
		f.Held = f.Held && v.may("override")
		if err := suggestAll(tx, f.Fields, f.More); err != nil {
			return err
		}
		v.w.WriteHeader(http.StatusUnprocessableEntity)
		return s.show(v, "form", f.Heading, f)
	})
}

// take says on a form why it was refused.
func (f *form) take(why error) {
	if faults, ok := errors.AsType[lots.Faults](why); ok {
		if f.mark(faults); len(f.Said) == 0 {
			f.Said = []string{"Look at what is marked below."}
		}
		return
	}
	f.Said = append(f.Said, onPage(why.Error()))
}

// outcome is what somebody is told of a form that was recorded, kept so that the same form gets the same answer.
type outcome struct {
	Title    string   `json:"title"`
	Texts    []string `json:"texts"`    // what was recorded
	Stops    []string `json:"stops"`    // what must not go on
	Warnings []string `json:"warnings"` // what to look at
	Entries  []int64  `json:"entries"`  // to take back
	Links    []link   `json:"links"`    // where to go on, the likeliest first
	By       string   `json:"by"`
	Tags     []tagged `json:"tags,omitempty"` // what to print tags for
	Sent     string   `json:"sent"`           // tells what was sent from anything else sent under the form's number
}

type link struct {
	Text string `json:"text"`
	Path string `json:"path"`
}

// once records what a form says, if it was not sent before: whoever sends it again is told the same.
func (s *Server) once(v *visit, token string, f func(tx *store.Tx) (*outcome, error)) error {
	defer s.live.look()
	sent, err := v.sent()
	if err != nil {
		return err
	}
	return s.DB.Update(v.ctx, func(tx *store.Tx) error {
		if text, before, err := tx.Answered(token); err != nil || before {
			return cmp.Or(err, sameAgain(text, sent))
		}
		out, err := f(tx)
		if err != nil {
			return err
		}
		out.By, out.Sent = v.by(), sent
		text, err := json.Marshal(out)
		if err != nil {
			return err
		}
		return tx.Answer(token, string(text))
	})
}

// sent is a number for all that a form says, with the photos and papers sent along, and of what it says it.
func (v *visit) sent() (string, error) {
	said := maps.Clone(v.r.PostForm)
	said.Del("form")
	said.Del("back")
	sum := sha256.New()
	fmt.Fprintln(sum, v.r.URL.Path, said.Encode())
	if v.r.MultipartForm != nil {
		for _, name := range slices.Sorted(maps.Keys(v.r.MultipartForm.File)) {
			for _, h := range v.r.MultipartForm.File[name] {
				if err := addFile(sum, h); err != nil {
					return "", err
				}
			}
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:12]), nil
}

func addFile(sum io.Writer, h *multipart.FileHeader) error {
	f, err := h.Open()
	if err != nil {
		return err
	}
	defer f.Close()
	fmt.Fprintf(sum, "%q %d\n", h.Filename, h.Size)
	_, err = io.Copy(sum, f)
	return err
}

// sameAgain refuses a form that was recorded before if it says something else now: nobody may take the one for the other.
func sameAgain(answer, sent string) error {
	var before outcome
	if err := json.Unmarshal([]byte(answer), &before); err != nil {
		return err
	}
	if before.Sent == sent {
		return nil
	}
	return lots.Errorf(lots.Conflict, "this form was recorded before, and said something else: %s What stands here now is not recorded: send it once more if it is to be", strings.Join(before.Texts, " "))
}

// outcomeOf tells of one recorded row, and where to go on.
func outcomeOf(tx *store.Tx, said *desk.Said, sheet *lots.Sheet) *outcome {
	out := &outcome{Title: "Recorded", Texts: append([]string{said.Text}, said.Also...), Warnings: append(said.Warnings, said.Findings...), Entries: []int64{said.Entry}}
	out.goTo(tx, said.Code)
	rec, _ := tx.Record(said.Entry)
	for _, code := range placesOf(rec) {
		out.goTo(tx, &code)
	}
	out.Links = append(out.Links, link{"Another one", "/do/" + sheet.Verb})
	return out
}

// goTo adds the page of a code.
func (o *outcome) goTo(tx *store.Tx, code *string) {
	if code == nil {
		return
	}
	if _, kind, ok := tx.Introduces(*code); ok {
		o.Links = append(o.Links, link{"Open " + *code, pathOf(kind, *code)})
	}
}

// placesOf are the things whose pages somebody is likely to go back to after an act.
func placesOf(rec lots.Record) []string {
	switch x := rec.(type) {
	case *lots.Addition:
		return []string{x.Vessel}
	case *lots.Transfer:
		return append([]string{x.To}, x.From.Codes...)
	case *lots.Crop:
		return []string{x.Vessel}
	case *lots.Clean:
		return x.Subject.Codes
	case *lots.Packed:
		return []string{x.Run}
	case *lots.Feed:
		return []string{x.Run}
	case *lots.CodeChange:
		return []string{x.Run}
	case *lots.Removal:
		return x.Subject.Codes
	case *lots.StockCount:
		return x.Subject.Codes
	case *lots.Hold:
		return x.Subject.Codes
	case *lots.BrewInput:
		return []string{x.Brew}
	}
	return nil
}

// onPage words an outcome for a page.
func (o *outcome) onPage() {
	for _, texts := range [][]string{o.Texts, o.Warnings} {
		for i, t := range texts {
			texts[i] = onPage(t)
		}
	}
}

type saidPage struct {
	outcome
	Form   string
	Mine   bool
	Stocks []option
}

// said tells what became of a form: recorded, or not.
func (s *Server) said(v *visit) error {
	form := v.r.PathValue("form")
	var page saidPage
	err := s.view(v, func(tx *store.Tx) error {
		text, before, err := tx.Answered(form)
		if err != nil {
			return err
		}
		if !before {
			return lots.Errorf(lots.NotFound, "this form is not recorded: send it again, or start a new one")
		}
		return json.Unmarshal([]byte(text), &page.outcome)
	})
	if err != nil {
		return err
	}
	page.Form, page.Mine, page.Stocks = form, page.By == v.by(), stocks(v)
	page.onPage()
	return s.show(v, "said", page.Title, page)
}
