package web

import (
	"cmp"
	"errors"
	"net/http"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var brewRoutes = []route{
	{Method: "GET", Pattern: "/brew", Right: "record", do: (*Server).brewPage},
	{Method: "POST", Pattern: "/brew", Right: "record", do: (*Server).brew},
}

// brewForm is a brew in the order of the work: mash-in, what goes in, cast-out.
type brewForm struct {
	form
	Beer    string
	Beers   []string // to choose from, where none is chosen yet
	Began   field
	CastOut field
	Plato   field
	Code    field
	Inputs  lotLines
	Into    lotLines
	Lots    []option
	Vessels []option
}

// inputLike and intoLike are lines of a brew with nothing in them.
func inputLike() lotLine {
	stages, _ := columnOf("brew_inputs", "stage")
	return lotLine{Label: "Lot or vessel", Much: "How much", List: "lots", Staged: true, Stages: options("", true, stages.Values...)}
}

func intoLike(tx *store.Tx) lotLine {
	return lotLine{Prefix: "into-", Label: "Into", Much: "Volume", List: "vessels", Unit: string(tx.Site().VolumeUnit)}
}

func columnOf(sheet, column string) (lots.Column, *lots.Sheet) {
	s, _ := lots.SheetNamed(sheet)
	c, _ := s.Column(column)
	return c, s
}

func (s *Server) brewPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := s.readBrew(v, tx)
		if err != nil {
			return err
		}
		f.Token = newToken()
		return s.show(v, "brew", f.Heading, f)
	})
}

// readBrew reads what was typed of a brew; where nothing was, what the last brew of that beer took stands there
// to be scanned anew.
func (s *Server) readBrew(v *visit, tx *store.Tx) (*brewForm, error) {
	f := &brewForm{Beer: v.field("beer")}
	f.form = form{Action: "/brew", Token: v.field("form"), Heading: first(f.Beer, "Brew"), Button: "Record the brew", Back: "/cellar", Late: v.field("late") != "", Overriding: v.field("override")}
	var err error
	if f.Beer == "" {
		f.Beers, err = desk.Beers(tx)
		return f, err
	}
	row := lots.Row{}
	for column, at := range map[string]*field{"started_at": &f.Began, "cast_out_at": &f.CastOut, "plato": &f.Plato, "brew": &f.Code} {
		c, sheet := columnOf("brews", column)
		row[column] = v.field(column)
		if *at, err = describeOne(tx, sheet, c, row); err != nil {
			return nil, err
		}
	}
	f.Began.Label, f.Code.Label = "Mash-in", "Brew's code"
	before, err := desk.BrewedBefore(tx, f.Beer)
	if err != nil {
		return nil, err
	}
	f.Inputs = readLines(v, inputLike(), func() lotLines { return linesAsBefore(before) })
	f.Into = readLines(v, intoLike(tx), func() lotLines { l := intoLike(tx); return lotLines{&l} })
	if f.Lots, err = offersOf(tx, "brew_inputs", "from", row); err != nil {
		return nil, err
	}
	f.Vessels, err = offersOf(tx, "brews", "into", row)
	return f, err
}

// linesAsBefore are empty lines named by what the last brew took, and two more.
func linesAsBefore(before []desk.InputBefore) (out lotLines) {
	for _, b := range before {
		l := inputLike()
		l.Name, l.Unit, l.Stage = b.Name, b.Unit, b.Stage
		if b.Quantity != "" {
			l.Before = "last time " + b.Quantity + " " + b.Unit
		}
		out = append(out, &l)
	}
	for range moreFeeds {
		l := inputLike()
		out = append(out, &l)
	}
	return out
}

// brewed is the brew as the form says it.
func (f *brewForm) brewed(by string) desk.Brewed {
	b := desk.Brewed{Brew: f.Code.Value, Beer: f.Beer, Started: f.Began.Value, CastOut: f.CastOut.Value, Plato: f.Plato.Value, By: by, Override: f.Overriding}
	for _, l := range f.Into.filled() {
		b.Into = append(b.Into, desk.Portion{Vessel: l.From, Volume: l.Quantity, Unit: l.Unit})
	}
	for _, l := range f.Inputs.filled() {
		b.Inputs = append(b.Inputs, desk.Input{From: l.From, Quantity: l.Quantity, Unit: l.Unit, Stage: l.Stage})
	}
	return b
}

func (s *Server) brew(v *visit) error {
	var f *brewForm
	if err := s.view(v, func(tx *store.Tx) (err error) { f, err = s.readBrew(v, tx); return err }); err != nil {
		return err
	}
	if f.Overriding != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	if f.Beer == "" || v.field("more") != "" || v.field("into-more") != "" || v.field("step") != "" {
		return s.brewAgain(v, f)
	}
	return s.recordOnce(v, f.Token, func(tx *store.Tx) (*outcome, error) {
		brew, said, err := desk.Brew(tx, f.brewed(v.by()))
		if err != nil {
			return nil, err
		}
		return f.told(brew, said), nil
	}, func(why error) error {
		f.Token = tokenAfter(v, why)
		f.refuse(why)
		f.Held = f.Held && v.may("override")
		return s.view(v, func(tx *store.Tx) error {
			if err := cmp.Or(f.Inputs.suggest(tx, "brew_inputs", "from"), f.Into.suggest(tx, "brews", "into")); err != nil {
				return err
			}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
			return s.show(v, "brew", f.Heading, f)
		})
	})
}

// brewAgain shows the form with one more line, or with the next field to go on with.
func (s *Server) brewAgain(v *visit, f *brewForm) error {
	names := append([]string{"started_at"}, f.Inputs.names()...)
	names = append(append(append(names, "cast_out_at"), f.Into.names()...), "plato")
	if v.field("into-more") != "" {
		f.Into[len(f.Into)-1].Focus = f.Into[len(f.Into)-1].Field("from")
	} else if f.Beer != "" {
		goOnIn(v, f.Inputs, names)
		for _, l := range f.Into {
			l.Focus = f.Inputs[0].Focus
		}
		for _, x := range []*field{&f.CastOut, &f.Plato} {
			x.Focus = f.Inputs[0].Focus == x.Name
		}
	}
	return s.show(v, "brew", f.Heading, f)
}

// refuse puts what is wrong beside what it is about.
func (f *brewForm) refuse(why error) {
	faults, ok := errors.AsType[lots.Faults](why)
	if !ok {
		f.take(why)
		return
	}
	for _, x := range faults {
		f.Held = f.Held || x.Held
	}
	rest := f.Inputs.take(faults, "brew_inputs", map[string]string{"": "", "from": "from", "quantity": "quantity", "unit": "quantity", "stage": ""})
	rest = f.Into.take(rest, "brews", map[string]string{"into": "from", "volume": "quantity", "unit": "quantity"})
	f.Fields = []field{f.Began, f.CastOut, f.Plato, f.Code}
	f.mark(rest)
	f.Began, f.CastOut, f.Plato, f.Code = f.Fields[0], f.Fields[1], f.Fields[2], f.Fields[3]
	if len(rest) < len(faults) {
		f.Said = append(f.Said, "Something is wrong in the lines below.")
	}
}

// told says what was recorded, and what comes next.
func (f *brewForm) told(brew string, said []*desk.Said) *outcome {
	out := toldOf(said)
	out.Title = "Brew " + brew + " is recorded"
	for _, l := range f.Into.filled() {
		out.Links = append(out.Links, link{"Pitch into " + l.From, pathOf(lots.KindVessel, l.From) + "/pitch"})
	}
	out.Links = append(out.Links, link{"Open " + brew, pathOf(lots.KindBrew, brew)}, link{"Cellar", "/cellar"})
	return out
}
