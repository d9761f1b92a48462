package web

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// form is one row to be filled in.
type form struct {
	Action     string
	Token      string // tells one sending of it from another
	Sheet      *lots.Sheet
	Heading    string
	Lead       string
	Fields     []field // in the order in which the work is done
	More       []field // seldom needed
	Said       []string
	Held       bool   // it was refused because of a hold, and whoever looks may override that
	Overriding string // why, as typed
	Back       string // the page it was opened from
	Button     string
	Late       bool // it is typed in from paper: when it happened is asked first, and is never now
}

// field is one cell to be filled in, or a quantity with its unit.
type field struct {
	Name, Label, Help string
	Value             string
	Kind              string // text code time number choice yesno
	Options           []option
	Need              bool
	Fault             string
	Near              []option // what may have been meant, where what stands here names nothing
	column            lots.Column
	UnitName, Unit    string // of a quantity: the column of its unit, and what is in it
	Units             []string
	Focus             bool   // the first that is empty
	Now               bool   // a time that is now where nothing is written
	List              string // of what may be meant, where it stands elsewhere on the page for several fields
	Hint              string // an example
	Scan              bool   // one of many that are filled in one after the other: Enter goes on to the next
}

type option struct {
	Value, Text string
	Chosen      bool
}

// describe makes the fields of a sheet from what is already filled in.
func describe(tx *store.Tx, s *lots.Sheet, row lots.Row) (fields, more []field, err error) {
	w := words[s.Name]
	first := func(name string) int { return slices.Index(w.first, name) }
	columns := slices.DeleteFunc(slices.Clone(s.Columns), func(c lots.Column) bool { return c.Name == "by" || isUnit(s, c) })
	slices.SortStableFunc(columns, func(a, b lots.Column) int { return cmp.Compare(order(first(a.Name)), order(first(b.Name))) })
	for _, c := range columns {
		f, err := describeOne(tx, s, c, row)
		if err != nil {
			return nil, nil, err
		}
		if first(c.Name) >= 0 || c.Need && c.Type != lots.NewCode && len(w.first) == 0 {
			fields = append(fields, f)
		} else {
			more = append(more, f)
		}
	}
	focus(fields)
	return fields, more, nil
}

// order puts what is named first first, and leaves the rest as it stands.
func order(at int) int {
	if at < 0 {
		return 1 << 20
	}
	return at
}

// focus marks the first field to fill in.
func focus(fields []field) {
	for i := range fields {
		if fields[i].Value == "" && fields[i].Kind != "time" {
			fields[i].Focus = true
			return
		}
	}
}

func describeOne(tx *store.Tx, s *lots.Sheet, c lots.Column, row lots.Row) (field, error) {
	f := field{column: c, Name: c.Name, Label: labelOf(s.Name, c.Name), Help: helpOf(s.Name, c), Value: row[c.Name], Need: c.Need && c.Type != lots.NewCode && !desk.DefaultsToNow(s, c.Name), Kind: "text", Now: desk.DefaultsToNow(s, c.Name)}
	switch c.Type {
	case lots.Time:
		f.Kind = "time"
	case lots.Number, lots.Count, lots.Amount, lots.Offset:
		f.Kind = "number"
	case lots.YesNo:
		f.Kind, f.Options = "choice", options(row[c.Name], f.Need, "yes", "no")
	case lots.Choice:
		f.Kind, f.Options = "choice", options(row[c.Name], f.Need, c.Values...)
	case lots.RefTo, lots.AnyOf, lots.ListOf:
		f.Kind = "code"
		offers, err := desk.Offers(tx, s, c)
		if err != nil {
			return f, err
		}
		for _, o := range offers {
			f.Options = append(f.Options, option{Value: o.Code, Text: o.Name})
		}
	case lots.NewCode:
		f.Kind = "code"
	}
	if unit, ok := unitOf(s, c); ok {
		f.UnitName, f.Unit = unit, row[unit]
		f.Units = lots.UnitNames()
	}
	return f, nil
}

// suggest offers what may have been meant in a field that was refused.
func (f *field) suggest(tx *store.Tx) (err error) {
	if f.Fault != "" {
		f.Near, err = nearOf(tx, f.column, f.Value)
	}
	return err
}

// nearOf are codes near to what was typed, each with its name where it has one.
func nearOf(tx *store.Tx, c lots.Column, text string) (out []option, err error) {
	near, err := desk.Near(tx, c, text)
	for _, o := range near {
		x := option{Value: o.Code, Text: o.Code}
		if o.Name != "" && o.Name != o.Code {
			x.Text = o.Name + " (" + o.Code + ")"
		}
		out = append(out, x)
	}
	return out, err
}

// suggestAll does that for all fields of lists.
func suggestAll(tx *store.Tx, lists ...[]field) error {
	for _, list := range lists {
		for i := range list {
			if err := list[i].suggest(tx); err != nil {
				return err
			}
		}
	}
	return nil
}

// putIn puts what a button offered in place of what was typed in a field, as if it had been typed so.
func (v *visit) putIn() {
	name, text, ok := strings.Cut(v.r.PostForm.Get("put"), "=")
	v.r.PostForm.Del("put")
	v.r.Form.Del("put")
	if ok && v.r.PostForm.Has(name) {
		v.r.PostForm.Set(name, text)
		v.r.Form.Set(name, text)
	}
}

// options offers a closed set of words, and none of them where that is allowed.
func options(chosen string, need bool, values ...string) []option {
	var out []option
	if !need || chosen == "" {
		out = append(out, option{Text: "–"})
	}
	for _, v := range values {
		out = append(out, option{v, strings.ReplaceAll(v, "-", " "), v == chosen})
	}
	return out
}

// unitOf finds the column of a quantity's unit, if it stands beside it.
func unitOf(s *lots.Sheet, c lots.Column) (string, bool) {
	for quantity, unit := range map[string]string{"quantity": "unit", "volume": "volume_unit", "left": "left_unit", "capacity": "unit", "in": "unit"} {
		if c.Name == quantity && s.Has(unit) && columnIn(s, unit).Type == lots.UnitOf { // of a shipment, unit is the pallet
			return unit, true
		}
	}
	if c.Name == "volume" && s.Name == "brews" {
		return "unit", true
	}
	return "", false
}

// isUnit reports whether a column is shown beside its quantity.
func isUnit(s *lots.Sheet, c lots.Column) bool {
	for _, other := range s.Columns {
		if unit, ok := unitOf(s, other); ok && unit == c.Name && other.Name != c.Name {
			return c.Type == lots.UnitOf
		}
	}
	return false
}

// mark puts faults beside the fields they are about; the rest is said above the form.
func (f *form) mark(faults lots.Faults) {
	for _, x := range faults {
		if x.Held {
			f.Held = true
		}
		if x.Column == "" || !f.markField(x) {
			f.Said = append(f.Said, onPage(x.Reason))
		}
	}
}

func (f *form) markField(x lots.Fault) bool {
	for _, list := range [][]field{f.Fields, f.More} {
		for i := range list {
			if list[i].Name == x.Column || list[i].UnitName == x.Column {
				list[i].Fault = onPage(x.Reason)
				return true
			}
		}
	}
	return false
}

// rowOf reads the cells of a sheet that were sent.
func rowOf(v *visit, s *lots.Sheet) lots.Row {
	row := lots.Row{}
	for _, c := range s.Columns {
		if text := v.field(c.Name); text != "" && c.Name != "by" {
			row[c.Name] = text
		}
	}
	return row
}

// fromPaper asks first when it happened, where a form is typed in from paper.
func (f *form) fromPaper(v *visit) {
	if v.field("late") == "" || f.Sheet.When == "" {
		return
	}
	f.Late = true
	all := append(slices.Clone(f.Fields), f.More...)
	isTime := func(x field) bool { return x.Kind == "time" }
	f.Fields = slices.DeleteFunc(slices.Clone(f.Fields), isTime)
	f.More = slices.DeleteFunc(slices.Clone(f.More), isTime)
	times := slices.DeleteFunc(all, func(x field) bool { return !isTime(x) })
	for i := range times {
		times[i].Now = false
		times[i].Need = times[i].Need || times[i].Name == f.Sheet.When
	}
	f.Fields = append(times, f.Fields...)
}

// undated refuses what is typed in from paper without the time at which it happened: that is not now.
func undated(v *visit, s *lots.Sheet, row lots.Row) error {
	if v.field("late") == "" || s.When == "" || row[s.When] != "" {
		return nil
	}
	return lots.Faults{{Column: s.When, Reason: notDated}}
}

const notDated = "write when it happened, as it stands on the paper"
