package web

import (
	"cmp"
	"errors"
	"net/http"
	"slices"

	"heeltap/graph/desk"
	"heeltap/graph/thing"
	"heeltap/lots"
	"heeltap/lots/store"
)

var actRoutes = []route{
	{Method: "GET", Pattern: "/vessel/{code}/{act}", Right: "record", do: (*Server).actPage},
	{Method: "POST", Pattern: "/vessel/{code}/{act}", Right: "record", do: (*Server).actAt},
}

// actForm is the form of something done at a vessel, with what is in it beside.
type actForm struct {
	form
	Act     *thing.CellarAct
	Vessel  *thing.Thing
	Lines   lotLines
	Lots    []option
	All     bool   // as ticked
	AllText string // what the books say is all of it
}

// vesselActs are the acts that make sense at a vessel now.
func (s *Server) vesselActs(v *visit, tx *store.Tx, t *thing.Thing) (out []act) {
	if t.Kind != lots.KindVessel || !v.may("record") {
		return nil
	}
	for _, a := range thing.CellarActs(tx, t) {
		out = append(out, act{Text: a.Text, Path: pathOf(t.Kind, t.Code) + "/" + a.Name})
	}
	return out
}

func (s *Server) actPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.readAct(v, tx)
		if err != nil {
			return err
		}
		f.Token = newToken()
		return s.show(v, "act", f.Heading, f)
	})
}

// actLines are how many empty lines an act begins with.
const actLines = 3

// readAct reads an act as far as it was typed, and fills in what follows from the vessel.
func (s *Server) readAct(v *visit, tx *store.Tx) (*actForm, error) {
	a, ok := thing.CellarActOf(v.r.PathValue("act"))
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing at a vessel is called %q", v.r.PathValue("act"))
	}
	t, err := thing.Of(tx, lots.KindVessel, v.r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	sheet, _ := lots.SheetNamed(a.Sheet)
	f := &actForm{Act: a, Vessel: t, All: v.field("all") != ""}
	f.form = form{Action: v.r.URL.Path, Token: v.field("form"), Sheet: sheet, Heading: a.Text, Lead: a.Lead, Button: a.Button, Back: pathOf(t.Kind, t.Code), Late: v.field("late") != "", Overriding: v.field("override")}
	row := a.Guess(tx, t)
	for column, text := range rowOf(v, sheet) {
		row[column] = text
	}
	if err := f.ask(tx, row); err != nil {
		return nil, err
	}
	if a.Lines {
		like := lotLine{Label: "Lot or vessel", Much: "How much", List: "lots"}
		f.Lines = readLines(v, like, func() (out lotLines) {
			for range actLines {
				l := like
				out = append(out, &l)
			}
			out[0].Focus = "from0"
			return out
		})
		if f.Lots, err = offersOf(tx, a.Sheet, "from", row); err != nil {
			return nil, err
		}
	}
	if a.All != "" {
		if q, unit, err := desk.AllIn(tx, t.Code, "", row["unit"]); err == nil {
			f.AllText = q + " " + unit
		}
	}
	return f, tx.Err()
}

// ask makes the fields of an act: when it happened comes first where it is written down from paper.
func (f *actForm) ask(tx *store.Tx, row lots.Row) error {
	for _, name := range f.Act.Cells {
		c, _ := f.Sheet.Column(name)
		x, err := describeOne(tx, f.Sheet, c, row)
		if err != nil {
			return err
		}
		if some := f.Act.Options[name]; c.Type == lots.Choice && some != nil {
			x.Options = options(row[name], x.Need, some...)
		} else {
			for _, text := range some {
				x.Options = append(x.Options, option{Value: text})
			}
		}
		x.Label = first(f.Act.Labels[name], x.Label)
		if name == f.Act.All { // it stands first, with the unit of both
			x.UnitName, x.Unit, x.Units = "unit", row["unit"], lots.UnitNames()
		} else if f.Act.All != "" {
			x.UnitName = ""
		}
		x.Need = x.Need && name != f.Act.Now || f.Late && x.Kind == "time"
		x.Now = (x.Now || name == f.Act.Now) && !f.Late
		f.Fields = append(f.Fields, x)
	}
	if f.Late {
		slices.SortStableFunc(f.Fields, func(a, b field) int { return timesFirst(a) - timesFirst(b) })
	}
	if !f.Act.Lines {
		focus(f.Fields)
	}
	return nil
}

func timesFirst(f field) int {
	if f.Kind == "time" {
		return 0
	}
	return 1
}

// acts are the rows that the form says.
func (f *actForm) acts(v *visit, tx *store.Tx) ([]desk.Act, error) {
	row := rowOf(v, f.Sheet)
	for column, text := range f.Act.Set {
		row[column] = first(row[column], text)
	}
	row[f.Act.Column] = f.Vessel.Code
	if late := undated(v, f.Sheet, row); late != nil {
		return nil, late
	}
	if f.All && f.Act.All != "" {
		q, unit, err := desk.AllIn(tx, f.Vessel.Code, row[f.Sheet.When], row["unit"])
		if err != nil {
			return nil, lots.Faults{{Column: f.Act.All, Reason: err.Error()}}
		}
		row[f.Act.All], row["unit"] = q, unit
	}
	if f.Act.Now != "" && row[f.Act.Now] == "" && !f.Late {
		row[f.Act.Now] = tx.Recorded().In(tx.Site().Zone).Format("2006-01-02 15:04")
	}
	one := desk.Act{Sheet: f.Sheet, Row: row, By: v.by(), Override: f.Overriding}
	if !f.Act.Lines {
		return []desk.Act{one}, nil
	}
	var out []desk.Act
	for _, l := range f.Lines.filled() {
		each := one
		each.Row = lots.Row{"from": l.From, "quantity": l.Quantity, "unit": l.Unit}
		for column, text := range row {
			each.Row[column] = text
		}
		out = append(out, each)
	}
	if len(out) == 0 {
		return nil, lots.Errorf(lots.Invalid, "scan what went in")
	}
	return out, nil
}

// actAt records what was done at a vessel.
func (s *Server) actAt(v *visit) error {
	var f *actForm
	if err := s.view(v, func(tx *store.Tx) (err error) { f, err = s.readAct(v, tx); return err }); err != nil {
		return err
	}
	if f.Overriding != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	if f.Act.Lines && (v.field("more") != "" || v.field("step") != "") {
		goOnIn(v, f.Lines, append(f.Lines.names(), "purpose"))
		return s.show(v, "act", f.Heading, f)
	}
	return s.recordOnce(v, f.Token, func(tx *store.Tx) (*outcome, error) {
		acts, err := f.acts(v, tx)
		if err != nil {
			return nil, err
		}
		said, err := desk.Together(tx, acts)
		if err != nil {
			return nil, err
		}
		return f.told(tx, said), nil
	}, func(why error) error {
		f.Token = tokenAfter(v, why)
		f.refuse(why)
		f.Held = f.Held && v.may("override")
		return s.view(v, func(tx *store.Tx) error {
			if err := cmp.Or(suggestAll(tx, f.Fields), f.Lines.suggest(tx, f.Act.Sheet, "from")); err != nil {
				return err
			}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
			return s.show(v, "act", f.Heading, f)
		})
	})
}

// refuse puts what is wrong beside what it is about.
func (f *actForm) refuse(why error) {
	if faults, ok := errors.AsType[lots.Faults](why); ok && f.Act.Lines {
		for _, x := range faults {
			f.Held = f.Held || x.Held
		}
		if why = f.Lines.take(faults, f.Sheet.Name, map[string]string{"": "", "from": "from", "quantity": "quantity", "unit": "quantity"}); len(why.(lots.Faults)) == 0 {
			f.Said = append(f.Said, "Something is wrong in the lines below.")
			return
		}
	}
	f.take(why)
}

// told says what was recorded, and what comes next.
func (f *actForm) told(tx *store.Tx, said []*desk.Said) *outcome {
	out := toldOf(said)
	out.Title = f.Act.Button
	page := pathOf(f.Vessel.Kind, f.Vessel.Code)
	if f.Act.Then != "" && (f.Act.All == "" || f.All) {
		out.Links = append(out.Links, link{f.Act.ThenAsk, page + "/" + f.Act.Then})
	}
	out.Links = append(out.Links, link{"Back to " + f.Vessel.Code, page})
	for _, x := range said {
		rec, _ := tx.Record(x.Entry)
		for _, code := range placesOf(rec) {
			if code != f.Vessel.Code {
				out.goTo(tx, &code)
			}
		}
		out.goTo(tx, x.Code)
	}
	out.Links = append(out.Links, link{"Cellar", "/cellar"})
	return out
}
