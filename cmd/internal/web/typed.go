package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"heeltap/graph/blank"
	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

var typedRoutes = []route{
	{Method: "GET", Pattern: "/typed/{sheet}", Right: "record", do: (*Server).typedPage},
	{Method: "POST", Pattern: "/typed/{sheet}", Right: "record", do: (*Server).typed},
}

// moreLines is how many lines are added at a time, and mostTyped how many one kind of line may have on a sheet.
const (
	moreLines = 8
	mostTyped = 60
)

// typedForm is a sheet of paper that is typed in: what stands on top, and lines.
type typedForm struct {
	form
	Paper  blank.Written
	Groups []typedGroup
	top    lots.Row
	typed  []blank.Lines
}

// typedGroup are the lines of one kind.
type typedGroup struct {
	N           int
	Title, Note string
	Lines       []typedLine
	Lists       []typedList
	CountName   string // of the field that says how many lines there are
	More        string // what the button for more lines sends
}

// typedLine is one line: its cells, and what is wrong with all of it.
type typedLine struct {
	Legend string
	Fields []field
	Said   []string
}

// typedList are the codes to pick from in one column of the lines of one kind.
type typedList struct {
	ID      string
	Options []option
}

// cellName is the name of a cell of a line.
func cellName(part, line int, column string) string {
	return fmt.Sprintf("%s.%d.%d", column, part, line)
}

// readTyped reads a sheet as far as it was typed.
func readTyped(v *visit, tx *store.Tx) (*typedForm, error) {
	w, ok := blank.WrittenSheet(v.r.PathValue("sheet"))
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "no sheet of paper is called %q here", v.r.PathValue("sheet"))
	}
	f := &typedForm{Paper: w, top: lots.Row{}}
	f.form = form{Action: v.r.URL.Path, Token: v.field("form"), Sheet: w.Top.Sheet, Heading: w.Heading, Button: "Record the sheet", Back: "/blank", Late: true, Overriding: v.field("override")}
	for _, column := range w.Top.Cells {
		f.top[column] = v.field(column)
		x, err := typedTop(tx, w.Top, column, f.top)
		if err != nil {
			return nil, err
		}
		f.Fields = append(f.Fields, x)
	}
	for i, p := range w.Parts {
		g := typedGroup{N: i, Title: p.Title, Note: p.Note, CountName: fmt.Sprintf("lines.%d", i), More: fmt.Sprintf("more %d", i)}
		n, err := strconv.Atoi(v.field(g.CountName))
		if err != nil || n < 1 {
			n = p.Lines
		}
		if v.field("press") == g.More {
			n += moreLines
		}
		var lines blank.Lines
		for l := range min(n, mostTyped) {
			row := lots.Row{}
			for _, column := range p.Cells {
				row[column] = v.field(cellName(i, l, column))
				if unit, ok := unitOf(p.Sheet, columnIn(p.Sheet, column)); ok && row[column] != "" {
					row[unit] = v.field(cellName(i, l, unit))
				}
			}
			lines = append(lines, row)
		}
		if err := g.fill(tx, p, lines); err != nil {
			return nil, err
		}
		f.typed, f.Groups = append(f.typed, lines), append(f.Groups, g)
	}
	f.goOn(v.field("step") != "" || v.field("press") != "")
	return f, tx.Err()
}

// typedTop is a field on top of a sheet.
func typedTop(tx *store.Tx, p blank.Part, column string, row lots.Row) (field, error) {
	if column == blank.Day {
		return field{Name: column, Label: "Day", Help: "Of all times below that name none.", Value: row[column], Kind: "time", Hint: "2026-03-04", Need: true}, nil
	}
	x, err := describeOne(tx, p.Sheet, columnIn(p.Sheet, column), row)
	x.Label, x.Now = first(p.Labels[column], x.Label), false
	if x.Need = x.Need || x.Kind == "time" && column == p.Sheet.When; column == p.Sheet.When {
		x.Hint = "2026-03-04 09:30" // a time alone would be of today
	}
	return x, err
}

// fill makes the fields of the lines. Each column's codes to pick from stand in one list for all of them.
func (g *typedGroup) fill(tx *store.Tx, p blank.Part, lines blank.Lines) error {
	for l, row := range lines {
		line := typedLine{Legend: fmt.Sprintf("%s, line %d", p.Title, l+1)}
		for _, column := range p.Cells {
			x, err := g.cell(tx, p, l, column, row)
			if err != nil {
				return err
			}
			line.Fields = append(line.Fields, x)
		}
		g.Lines = append(g.Lines, line)
	}
	return nil
}

// cell is one field of a line.
func (g *typedGroup) cell(tx *store.Tx, p blank.Part, line int, column string, row lots.Row) (field, error) {
	var x field
	var err error
	if line == 0 {
		if x, err = describeOne(tx, p.Sheet, columnIn(p.Sheet, column), row); err != nil {
			return x, err
		}
		if len(x.Options) > 0 && x.Kind == "code" {
			g.Lists = append(g.Lists, typedList{fmt.Sprintf("l-%d-%s", g.N, column), x.Options})
		}
	} else {
		x = g.Lines[0].Fields[slices.Index(p.Cells, column)]
		x.Value, x.Fault, x.Near, x.Focus = row[column], "", nil, false
		if x.UnitName != "" {
			unit, _ := unitOf(p.Sheet, columnIn(p.Sheet, column))
			x.Unit = row[unit]
		}
	}
	x.Name, x.Label, x.Help, x.Need, x.Now = cellName(g.N, line, column), first(p.Labels[column], labelOf(p.Sheet.Name, column)), "", true, false
	if x.Kind == "choice" { // a line that is left empty says nothing
		var words []string
		for _, o := range x.Options {
			if o.Value != "" {
				words = append(words, o.Value)
			}
		}
		x.Options = options(row[column], false, words...)
	}
	if id := fmt.Sprintf("l-%d-%s", g.N, column); slices.ContainsFunc(g.Lists, func(l typedList) bool { return l.ID == id }) {
		x.List, x.Options = id, nil
	}
	if unit, ok := unitOf(p.Sheet, columnIn(p.Sheet, column)); ok {
		x.UnitName = cellName(g.N, line, unit)
	}
	if x.Kind == "time" {
		x.Kind, x.Hint = "text", "09:30"
	}
	x.Scan = true
	return x, nil
}

// goOn marks the field to go on with: the first that is empty, or behind the last that is filled where somebody is at it.
func (f *typedForm) goOn(going bool) {
	var all []*field
	for i := range f.Fields {
		all = append(all, &f.Fields[i])
	}
	for i := range f.Groups {
		for l := range f.Groups[i].Lines {
			for c := range f.Groups[i].Lines[l].Fields {
				all = append(all, &f.Groups[i].Lines[l].Fields[c])
			}
		}
	}
	at := 0
	for i, x := range all {
		x.Focus = false
		if going && x.Value != "" {
			at = i + 1
		}
	}
	for at < len(all) && all[at].Value != "" {
		at++
	}
	if at < len(all) {
		all[at].Focus = true
	}
}

func (s *Server) typedPage(v *visit) error {
	return s.view(v, func(tx *store.Tx) error {
		f, err := readTyped(v, tx)
		if err != nil {
			return err
		}
		f.Token = newToken()
		return s.show(v, "typed", f.Heading, f)
	})
}

// typed records a whole sheet, or nothing of it.
func (s *Server) typed(v *visit) error {
	var f *typedForm
	if err := s.view(v, func(tx *store.Tx) (err error) { f, err = readTyped(v, tx); return err }); err != nil {
		return err
	}
	if f.Overriding != "" && !v.may("override") {
		return s.notAllowed(v, "override")
	}
	if v.field("press") != "" || v.field("step") != "" {
		return s.show(v, "typed", f.Heading, f)
	}
	var places []blank.Place
	return s.recordOnce(v, f.Token, func(tx *store.Tx) (*outcome, error) {
		acts, at, faults := f.Paper.Acts(tx, f.top, f.typed, desk.Act{By: v.by(), Override: f.Overriding})
		if places = at; len(faults) > 0 {
			return nil, faults
		}
		said, err := desk.Together(tx, acts)
		if err != nil {
			return nil, err
		}
		out := toldOf(said)
		out.Title = "The sheet is recorded"
		for _, x := range said {
			out.goTo(tx, x.Code)
			if len(out.Links) > 0 {
				break // the first of them is what the sheet is of
			}
		}
		out.Links = append(out.Links, link{"Another sheet", v.r.URL.Path}, link{"Blank sheets", "/blank"})
		return out, nil
	}, func(why error) error {
		f.Token = tokenAfter(v, why)
		f.refuse(why, places)
		f.Held = f.Held && v.may("override")
		return s.view(v, func(tx *store.Tx) error {
			lists := [][]field{f.Fields}
			for _, g := range f.Groups {
				for _, l := range g.Lines {
					lists = append(lists, l.Fields)
				}
			}
			if err := suggestAll(tx, lists...); err != nil {
				return err
			}
			v.w.WriteHeader(http.StatusUnprocessableEntity)
			return s.show(v, "typed", f.Heading, f)
		})
	})
}

// refuse puts what is wrong beside where it was typed.
func (f *typedForm) refuse(why error, places []blank.Place) {
	faults, ok := errors.AsType[lots.Faults](why)
	if !ok {
		f.take(why)
		return
	}
	var rest lots.Faults
	marked := false
	for _, x := range faults {
		f.Held = f.Held || x.Held
		if x.Line < 1 || x.Line > len(places) || places[x.Line-1].Part < 0 || !f.Groups[places[x.Line-1].Part].mark(x, places[x.Line-1].Line) {
			rest = append(rest, x)
		} else {
			marked = true
		}
	}
	if f.mark(rest); marked || len(f.Said) == 0 {
		f.Said = append(f.Said, "Nothing of the sheet is recorded yet: put right what is marked below, and send it again.")
	}
}

// mark puts a fault beside its cell, or above its line; false where it is about what stands on top.
func (g *typedGroup) mark(x lots.Fault, line int) bool {
	l := &g.Lines[line]
	column := x.Column
	x.Column = cellName(g.N, line, column)
	for i := range l.Fields {
		if markOne(x, &l.Fields[i]) {
			return true
		}
	}
	if column != "" {
		return false
	}
	l.Said = append(l.Said, capital(onPage(x.Reason)))
	return true
}
