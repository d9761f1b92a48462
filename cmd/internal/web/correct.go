package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/graph/desk"
	"heeltap/graph/thing"
	"heeltap/lots"
	"heeltap/lots/store"
)

var correctRoutes = []route{
	{Method: "GET", Pattern: "/entry/{n}", Right: "look", do: (*Server).entryPage},
	{Method: "GET", Pattern: "/entry/{n}/amend", Right: "correct", do: (*Server).amendPage},
	{Method: "POST", Pattern: "/entry/{n}/amend", Right: "correct", do: (*Server).amend},
	{Method: "GET", Pattern: "/entry/{n}/void", Right: "correct", do: (*Server).voidPage},
	{Method: "POST", Pattern: "/entry/{n}/void", Right: "correct", do: (*Server).void},
	{Method: "POST", Pattern: "/takeback/{form}", Right: "correct", do: (*Server).takeBack},
}

// entryView is one entry, or the form that corrects it.
type entryView struct {
	*thing.Told
	form
	Sheet  *lots.Sheet
	May    bool   // whoever looks may correct it
	Voids  bool   // and may take it back
	Reason string // as typed
	Cells  []cell
}

type cell struct{ Label, Text string }

func (s *Server) entryOf(v *visit, tx *store.Tx) (*entryView, error) {
	n, err := strconv.ParseInt(v.r.PathValue("n"), 10, 64)
	if err != nil || n < 1 {
		return nil, lots.Errorf(lots.NotFound, "%q is no number of an entry", v.r.PathValue("n"))
	}
	t, err := thing.EntryOf(tx, n)
	if err != nil {
		return nil, err
	}
	e := &entryView{Told: t, Sheet: t.Sheet, May: v.mayCorrect(t.By) && !t.Void, Reason: v.field("reason")}
	e.Voids = e.May && (v.may(people.Release) || e.Sheet.Name != "holds")
	e.Back = fmt.Sprintf("/entry/%d", t.Seq)
	if !v.may(people.Contacts) {
		e.May, e.Voids = e.May && t.Sheet.Name != "parties", e.Voids && t.Sheet.Name != "parties"
		for i := range t.Fixes {
			t.Fixes[i].Changes = slices.DeleteFunc(t.Fixes[i].Changes, func(c thing.CellChange) bool { return t.Sheet.Personal(c.Column) })
		}
	}
	for _, c := range t.Sheet.Columns {
		if t.Sheet.Personal(c.Name) && !v.may(people.Contacts) {
			continue
		}
		if text := t.Row[c.Name]; text != "" {
			e.Cells = append(e.Cells, cell{labelOf(t.Sheet.Name, c.Name), cellText(tx, c, text)})
		}
	}
	return e, nil
}

// cellText writes a cell as people read it: a moment without its zone, to the minute where it is whole.
func cellText(tx *store.Tx, c lots.Column, text string) string {
	if c.Type != lots.Time {
		return text
	}
	w, _, err := lots.ParseWhen(text, tx.Site().Zone)
	if err != nil || !w.Certain() {
		return text
	}
	at := time.Unix(w.From, 0).In(tx.Site().Zone)
	for _, short := range []string{at.Format("2006-01-02 15:04"), at.Format("2006-01-02 15:04:05")} {
		if back, _, err := lots.ParseWhen(short, tx.Site().Zone); err == nil && back == w {
			return short
		}
	}
	return text
}

func (s *Server) entryPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		e, err := s.entryOf(v, tx)
		if err != nil {
			return err
		}
		return s.show(v, "entry", fmt.Sprintf("Entry %d", e.Seq), e)
	})
}

// correctable refuses what whoever asks may not correct, and what is void already.
func (e *entryView) correctable() error {
	switch {
	case e.Void:
		return lots.Errorf(lots.Conflict, "entry %d was taken back: there is nothing to correct", e.Seq)
	case !e.May:
		return lots.Errorf(lots.Denied, "entry %d was made by %s: ask them, or somebody in quality, to put it right", e.Seq, e.By)
	}
	return nil
}

// amendForm makes the fields of the entry's cells as they are now, or as they were typed.
func (e *entryView) amendForm(v *visit, tx *store.Tx, typed bool) error {
	row := lots.Row{}
	for _, c := range e.Sheet.Columns {
		row[c.Name] = cellText(tx, c, e.Row[c.Name])
		if typed && v.r.PostForm.Has(c.Name) {
			row[c.Name] = v.field(c.Name)
		}
	}
	fields, more, err := describe(tx, e.Sheet, row)
	if err != nil {
		return err
	}
	for _, f := range append(fields, more...) {
		if f.Name == e.Sheet.Code { // a code is never changed: tags and papers carry it
			continue
		}
		if f.Focus = false; f.Kind == "time" {
			f.Need, f.Now = true, false // empty is empty here, and not now
		}
		if e.Row[f.Name] != "" || f.Fault != "" {
			e.Fields = append(e.Fields, f)
		} else {
			e.More = append(e.More, f)
		}
	}
	e.Action, e.Button, e.Token = fmt.Sprintf("/entry/%d/amend", e.Seq), "Put it right", first(v.field("form"), newToken())
	return nil
}

func (s *Server) amendPage(v *visit) error { return s.correctPage(v, "amend") }
func (s *Server) voidPage(v *visit) error  { return s.correctPage(v, "void") }

func (s *Server) correctPage(v *visit, what string) error {
	return s.view(v, func(tx *store.Tx) error {
		e, err := s.entryOf(v, tx)
		if err != nil {
			return err
		}
		if err := e.correctable(); err != nil {
			return err
		}
		if err := e.amendForm(v, tx, false); err != nil {
			return err
		}
		return s.show(v, what, fmt.Sprintf("Correct entry %d", e.Seq), e)
	})
}

// changed are the cells that were typed differently from what the entry says: not those only spelled otherwise.
func (e *entryView) changed(v *visit, tx *store.Tx) (map[string]string, error) {
	set := map[string]string{}
	typed := lots.Row{}
	for _, c := range e.Sheet.Columns {
		typed[c.Name] = e.Row[c.Name]
		if v.r.PostForm.Has(c.Name) && c.Name != "by" && c.Name != e.Sheet.Code {
			typed[c.Name] = v.field(c.Name)
		}
	}
	for _, c := range e.Sheet.Columns {
		if typed[c.Name] == cellText(tx, c, e.Row[c.Name]) {
			typed[c.Name] = e.Row[c.Name]
		}
		if c.Type == lots.Time && typed[c.Name] != e.Row[c.Name] {
			text, err := desk.MomentBeside(tx, typed[c.Name], e.Row[c.Name])
			if err != nil {
				return nil, lots.Faults{{Column: c.Name, Reason: err.Error()}}
			}
			typed[c.Name] = text
		}
	}
	unit := slices.ContainsFunc(e.Sheet.Columns, func(c lots.Column) bool { return c.Type == lots.UnitOf && typed[c.Name] != e.Row[c.Name] })
	for _, c := range e.Sheet.Columns {
		if typed[c.Name] != e.Row[c.Name] && (unit || typed[c.Name] == "" || e.Row[c.Name] == "" || !lots.SameValue(e.Sheet, c.Name, typed, e.Row, tx)) {
			set[c.Name] = typed[c.Name] // with another unit a quantity is never the same as written
		}
	}
	if len(set) == 0 {
		return nil, lots.Errorf(lots.Invalid, "nothing was changed: write what is right where it is wrong")
	}
	return set, nil
}

func (s *Server) amend(v *visit) error {
	return s.correct(v, "amend", "Put right", func(tx *store.Tx, e *entryView) (*desk.Corrected, error) {
		if v.field("seen") != strconv.FormatInt(e.LastFix(), 10) {
			return nil, lots.Errorf(lots.Conflict, "somebody corrected this entry while you were writing: look at what it says now")
		}
		set, err := e.changed(v, tx)
		if err != nil {
			return nil, err
		}
		if !v.may(people.Release) && letsGo(e.Sheet, e.Row, set) {
			return nil, notTheirsToRelease()
		}
		return desk.Amend(tx, desk.Change{Entry: e.Seq, Reason: v.field("reason"), By: v.by(), Override: v.field("override")}, set)
	})
}

func (s *Server) void(v *visit) error {
	return s.correct(v, "void", "Taken back", func(tx *store.Tx, e *entryView) (*desk.Corrected, error) {
		if !v.may(people.Release) && e.Sheet.Name == "holds" {
			return nil, notTheirsToRelease()
		}
		return desk.Void(tx, desk.Change{Entry: e.Seq, Reason: v.field("reason"), By: v.by(), Override: v.field("override")})
	})
}

// notTheirsToRelease refuses a correction by which held goods could go.
func notTheirsToRelease() error {
	return lots.Errorf(lots.Denied, "with this correction held goods could go: ask somebody in quality to release them")
}

// correct makes a correction once, and shows its form again where it was refused.
func (s *Server) correct(v *visit, what, done string, f func(*store.Tx, *entryView) (*desk.Corrected, error)) error {
	if v.field("override") != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	token := v.field("form")
	return s.recordOnce(v, token, func(tx *store.Tx) (*outcome, error) {
		e, err := s.entryOf(v, tx)
		if err != nil {
			return nil, err
		}
		if err := e.correctable(); err != nil {
			return nil, err
		}
		if e.Reason == "" {
			return nil, lots.Errorf(lots.Invalid, "write why: whoever reads the records later sees what it was and why it changed")
		}
		c, err := f(tx, e)
		if err != nil {
			return nil, err
		}
		out := correctedOutcome(c)
		out.Title = done
		out.Links = append([]link{{fmt.Sprintf("See entry %d", e.Seq), e.Back}}, out.Links...)
		return out, nil
	}, func(why error) error { return s.correctAgain(v, what, why) })
}

// correctAgain shows the form of a correction again, with why it was refused.
func (s *Server) correctAgain(v *visit, what string, why error) error {
	return s.view(v, func(tx *store.Tx) error {
		e, fault := s.entryOf(v, tx)
		if fault != nil {
			return fault
		}
		if fault := e.correctable(); fault != nil {
			return fault
		}
		if fault := e.amendForm(v, tx, true); fault != nil {
			return fault
		}
		e.Token = tokenAfter(v, why)
		e.take(why)
		e.Held, e.Overriding = e.Held && v.may("override"), v.field("override")
		v.w.WriteHeader(http.StatusUnprocessableEntity)
		return s.show(v, what, fmt.Sprintf("Correct entry %d", e.Seq), e)
	})
}

// correctedOutcome tells what a correction changed: rows, and faults that it made or put right.
func correctedOutcome(c *desk.Corrected) *outcome {
	out := &outcome{Warnings: c.Warnings}
	for _, x := range c.Changes {
		out.Texts = append(out.Texts, "Was: "+first(x.Was, "void"), "Now: "+first(x.Now, "void, as if it had never been written"))
	}
	for _, g := range c.Gone {
		out.Texts = append(out.Texts, "No longer in doubt: "+onPage(g))
	}
	return out
}

// slip is why a form is taken back, and how long it can be.
const (
	slip     = "a slip, taken back at once"
	slipsFor = 24 * time.Hour
)

// takeBack voids all that a form recorded, the newest first: all of it, or nothing.
func (s *Server) takeBack(v *visit) error {
	form := v.r.PathValue("form")
	token := "taken back " + form
	return s.recordOnce(v, token, func(tx *store.Tx) (*outcome, error) {
		entries, err := s.slipOf(v, tx, form)
		if err != nil {
			return nil, err
		}
		if !v.may(people.Release) && onlyHolds(tx, entries) {
			return nil, notTheirsToRelease()
		}
		out := &outcome{Title: "Taken back", Texts: []string{"It no longer counts. The journal keeps it, with who took it back."}}
		var places []string
		for _, entry := range entries {
			was := desk.Sentence(tx, entry)
			if rec, ok := tx.Record(entry); ok {
				places = append(places, placesOf(rec)...)
			}
			c, err := desk.Void(tx, desk.Change{Entry: entry, Reason: slip, By: v.by()})
			if err != nil {
				return nil, refusedBack(was, err)
			}
			out.Texts = append(out.Texts, was)
			out.Warnings = append(out.Warnings, c.Warnings...)
		}
		slices.Sort(places)
		for _, code := range slices.Compact(places) {
			out.goTo(tx, &code)
		}
		out.Links = append(out.Links, link{"Start page", "/"})
		return out, nil
	}, func(why error) error { return why })
}

// onlyHolds reports whether all that a form recorded are holds: taken back without what they stopped, they let it go.
func onlyHolds(tx *store.Tx, entries []int64) bool {
	return !slices.ContainsFunc(entries, func(entry int64) bool {
		rec, _ := tx.Record(entry)
		_, is := rec.(*lots.Hold)
		return !is
	})
}

// refusedBack says what cannot be taken back, and why.
func refusedBack(was string, why error) error {
	if isInternal(why) {
		return why
	}
	if faults, ok := errors.AsType[lots.Faults](why); ok && len(faults) > 0 {
		why = errors.New(faults[0].Reason)
	}
	return lots.Errorf(lots.Conflict, "Nothing was taken back. %s: %s", was, onPage(why.Error()))
}

// slipOf lists the entries of a form that are still whoever asks's to take back, the newest first.
func (s *Server) slipOf(v *visit, tx *store.Tx, form string) ([]int64, error) {
	text, before, err := tx.Answered(form)
	if err != nil {
		return nil, err
	}
	var out outcome
	if before {
		if err := json.Unmarshal([]byte(text), &out); err != nil {
			return nil, lots.Errorf(lots.Corrupt, "what was told of form %s cannot be read: %w", form, err)
		}
	}
	if len(out.Entries) == 0 {
		return nil, lots.Errorf(lots.NotFound, "this form recorded nothing that can be taken back")
	}
	if out.By != v.by() || !v.may(people.Correct) {
		return nil, lots.Errorf(lots.Invalid, "this was recorded by %s: only they can take it back as a slip", out.By)
	}
	entries := slices.Clone(out.Entries)
	slices.Sort(entries)
	slices.Reverse(entries)
	e, ok, err := tx.Entry(entries[0])
	if err != nil {
		return nil, err
	}
	if ok && tx.Recorded().Sub(e.Recorded) > slipsFor {
		return nil, lots.Errorf(lots.Conflict, "this was recorded on %s, more than a day ago: open the entry and take it back there, with the reason", e.Recorded.In(tx.Site().Zone).Format("2 January, 15:04"))
	}
	return entries, nil
}
