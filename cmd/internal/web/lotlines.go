package web

import (
	"slices"
	"strconv"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// lotLine is one of several lines that are scanned one after the other: a lot or vessel, how much, and where in the work.
type lotLine struct {
	N            int    // tells the names of its fields from those of other lines; it stays with the line
	Prefix       string // tells lists of lines on one page apart
	Label, Much  string // what is scanned, and what the quantity is called
	Name, Before string // what is expected here, and how much it was last time
	From         string
	Quantity     string
	Unit         string
	Stage        string
	Staged       bool // a stage is asked
	Stages       []option
	List         string // of what may be meant
	Focus        string // the field to go on with
	Faults       map[string]string
	Near         []option // what may have been scanned, where what stands there names nothing
}

// Field is the name of one of the line's fields.
func (l *lotLine) Field(name string) string { return l.Prefix + name + strconv.Itoa(l.N) }

// Fault is what is wrong with one of its cells, or with all of it.
func (l *lotLine) Fault(name string) string { return l.Faults[name] }

// Units are all units.
func (l *lotLine) Units() []string { return lots.UnitNames() }

func (l *lotLine) empty() bool { return l.From == "" && l.Quantity == "" }

// mark puts a fault where it was typed.
func (l *lotLine) mark(column, reason string) {
	if l.Faults == nil {
		l.Faults = map[string]string{}
	}
	l.Faults[column] = first(strings.Trim(l.Faults[column]+" "+reason, " "), reason)
}

// mostLines is how many lines one form may have.
const mostLines = 80

// lotLines are the lines of a form, in their order on the page.
type lotLines []*lotLine

// Order is what the form sends along, so that its lines come back as they stood.
func (ls lotLines) Order() string {
	numbers := make([]string, len(ls))
	for i, l := range ls {
		numbers[i] = strconv.Itoa(l.N)
	}
	return strings.Join(numbers, " ")
}

// readLines reads the lines that were sent; where none were, those of an empty form.
func readLines(v *visit, like lotLine, empty func() lotLines) lotLines {
	sent := strings.Fields(v.field(like.Prefix + "order"))
	if len(sent) == 0 {
		out := empty()
		for i, l := range out {
			l.N = i
		}
		return out
	}
	var out lotLines
	for _, text := range sent[:min(len(sent), mostLines)] {
		n, err := strconv.Atoi(text)
		if err != nil || slices.ContainsFunc(out, func(l *lotLine) bool { return l.N == n }) {
			continue
		}
		l := like
		l.N = n
		l.Name, l.Before, l.From, l.Quantity, l.Unit, l.Stage = v.field(l.Field("name")), v.field(l.Field("before")), v.field(l.Field("from")), v.field(l.Field("quantity")), v.field(l.Field("unit")), v.field(l.Field("stage"))
		out = append(out, &l)
	}
	return out.grown(v, like)
}

// grown adds the line that a button asked for: another lot of the same below it, or an empty one at the end. The new
// line has a number of its own, so that nothing typed elsewhere can come to stand in it.
func (ls lotLines) grown(v *visit, like lotLine) lotLines {
	asked := v.field(like.Prefix + "more")
	if asked == "" || len(ls) >= mostLines {
		return ls
	}
	l := like
	for _, x := range ls {
		l.N = max(l.N, x.N+1)
	}
	at := len(ls)
	for i, x := range ls {
		if strconv.Itoa(x.N) == asked {
			l.Name, l.Unit, l.Stage, at = x.Name, x.Unit, x.Stage, i+1
		}
	}
	return slices.Insert(ls, at, &l)
}

// filled are the lines in which something stands.
func (ls lotLines) filled() lotLines {
	return slices.DeleteFunc(slices.Clone(ls), (*lotLine).empty)
}

// take puts faults of rows beside the lines that they were made of.
func (ls lotLines) take(faults lots.Faults, sheet string, columns map[string]string) (rest lots.Faults) {
	filled := ls.filled()
	for _, f := range faults {
		if f.File != sheet || f.Line < 1 || f.Line > len(filled) {
			rest = append(rest, f)
			continue
		}
		column, known := columns[f.Column]
		if !known && f.Column != "" {
			rest = append(rest, f)
			continue
		}
		filled[f.Line-1].mark(column, onPage(f.Reason))
	}
	return rest
}

// suggest offers what may have been meant in lines that were refused; what is scanned stands in a column of a sheet.
func (ls lotLines) suggest(tx *store.Tx, sheet, column string) error {
	c, _ := columnOf(sheet, column)
	for _, l := range ls {
		if l.Faults["from"] == "" {
			continue
		}
		var err error
		if l.Near, err = nearOf(tx, c, l.From); err != nil {
			return err
		}
	}
	return nil
}

// goOnIn says where to go on after what was filled in: at the field behind the last one that is filled, or in the line
// just asked for.
func goOnIn(v *visit, ls lotLines, names []string) {
	asked := v.field("more")
	focus := ""
	for i, name := range names {
		if v.field(name) != "" && i+1 < len(names) {
			focus = names[i+1]
		}
	}
	if asked != "" {
		newest := slices.MaxFunc(ls, func(a, b *lotLine) int { return a.N - b.N })
		focus = newest.Field("from")
	}
	for _, l := range ls {
		l.Focus = focus
	}
}

// names are the fields of the lines in the order in which they are filled in.
func (ls lotLines) names() (out []string) {
	for _, l := range ls {
		out = append(out, l.Field("from"), l.Field("quantity"))
	}
	return out
}

// offersOf are codes to pick from where nothing is scanned.
func offersOf(tx *store.Tx, sheet, column string, row lots.Row) ([]option, error) {
	s, _ := lots.SheetNamed(sheet)
	c, _ := s.Column(column)
	f, err := describeOne(tx, s, c, row)
	return f.Options, err
}
