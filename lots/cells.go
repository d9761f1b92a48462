package lots

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
)

// cell is what one cell says, read by its column's type. Which parts are set depends on that type.
type cell struct {
	num  *big.Rat // Number, Count, Offset, Amount (nil where that is a word)
	when When     // Time
	unit Unit     // UnitOf
	yes  bool     // YesNo
	ref  Ref      // RefTo, AnyOf, ListOf
	of   Thing    // what the first code of ref names
}

// read reads every cell by its column's declared type: a column is checked whether or not the
// sheet's decoder ever looks at it, and decoders rely on what was read.
func (f *fields) read() {
	f.cells = make([]cell, len(f.sheet.Columns))
	for i, c := range f.sheet.Columns {
		if v := f.row[c.Name]; v != "" && !f.faulty(c.Name) {
			f.cells[i] = f.readCell(c, v)
		}
	}
}

func (f *fields) readCell(c Column, v string) (x cell) {
	var err error
	switch c.Type {
	case NewCode:
		err = CheckCode(v, f.sheet.Name == "units" && f.row["kind"] == "keg")
	case RefTo:
		x.ref, x.of = f.refs(c, []string{strings.TrimSpace(v)})
	case AnyOf:
		x.ref, x.of = f.refs(c, splitList(v, "|"))
	case ListOf:
		x.ref, x.of = f.refs(c, splitList(v, ";"))
	case Number:
		x.num, err = numberIn(v)
	case Amount:
		if !slices.Contains(c.Values, v) {
			x.num, err = numberIn(v)
		}
	case Count:
		if x.num, err = numberIn(v); err == nil && !x.num.IsInt() {
			err = notWhole(v, "")
		}
	case Offset:
		x.num, err = parseOffset(v)
	case Time:
		var warning string
		x.when, warning, err = ParseWhen(v, f.site.Zone)
		if warning != "" {
			f.warnings = append(f.warnings, Fault{Column: c.Name, Reason: warning})
		}
	case UnitOf:
		x.unit, err = ParseUnit(v)
	case Choice:
		if !slices.Contains(c.Values, v) {
			err = fmt.Errorf("%q is not one of %s", v, strings.Join(c.Values, ", "))
		}
	case YesNo:
		if x.yes = v == "yes"; !x.yes && v != "no" {
			err = fmt.Errorf("%q is neither yes nor no", v)
		}
	}
	if err != nil {
		f.fault(c.Name, "%v", err)
	}
	return x
}

// cell finds what was read in a column; the zero cell where nothing stands there.
func (f *fields) cell(name string) cell {
	for i, c := range f.sheet.Columns {
		if c.Name == name && i < len(f.cells) {
			return f.cells[i]
		}
	}
	return cell{}
}

func (f *fields) has(name string) bool    { return f.row[name] != "" }
func (f *fields) text(name string) string { return f.row[name] }
func (f *fields) meta() Meta              { return Meta{By: f.row["by"]} }
func (f *fields) code(name string) string { return f.row[name] }
func (f *fields) when(name string) When   { return f.cell(name).when }

func (f *fields) words(name string) []string { return splitList(f.row[name], ";") }

func splitList(s, sep string) []string {
	var out []string
	for w := range strings.SplitSeq(s, sep) {
		if w = strings.TrimSpace(w); w != "" {
			out = append(out, w)
		}
	}
	return out
}

func (f *fields) yes(name string, otherwise bool) bool {
	if !f.has(name) {
		return otherwise
	}
	return f.cell(name).yes
}

func (f *fields) count(name string) int64 {
	c := f.cell(name)
	if c.num == nil {
		return 0
	}
	n, err := wholeNumber(c.num, f.row[name])
	if !c.num.IsInt() {
		err = notWhole(f.row[name], "")
	}
	if err != nil {
		f.fault(name, "%v", err)
	}
	return n
}

func (f *fields) positive(name string) int64 {
	n := f.count(name)
	if f.has(name) && n == 0 && !f.faulty(name) {
		f.fault(name, "must be more than zero")
	}
	return n
}

func (f *fields) number(name string) float64 {
	if c := f.cell(name); c.num != nil {
		x, _ := c.num.Float64()
		return x
	}
	return 0
}

// maxMinutes bounds spans of minutes to two years: a clock can be a year out, no more is meant.
const maxMinutes = 2 * 24 * 60 * 366

// minutes reads a number of minutes, which may be negative in a column of type Offset, as whole seconds.
func (f *fields) minutes(name string) int64 {
	x := f.number(name)
	if math.Abs(x) > maxMinutes {
		f.fault(name, "%s minutes is more than two years", f.row[name])
		return 0
	}
	return int64(math.Round(x * 60))
}

func (f *fields) unit(name string, otherwise Unit) Unit {
	if !f.has(name) {
		return otherwise
	}
	return f.cell(name).unit
}

func (f *fields) qty(name string, unit Unit) Quantity {
	c := f.cell(name)
	if c.num == nil {
		return Quantity{}
	}
	q, err := quantityOf(c.num, f.row[name], unit)
	if err != nil {
		f.fault(name, "%v", err)
	}
	return q
}

// volume reads a quantity of beer or liquid in millilitres; mass counts 1 kg as 1 L.
func (f *fields) volume(name, unitName string, otherwise Unit) int64 {
	u := f.unit(unitName, otherwise)
	if d := u.Dim(); d == Pieces || d == Cases {
		f.fault(unitName, "%s is not a unit of volume", u)
		return 0
	}
	return int64(math.Round(f.qty(name, u).Millilitres()))
}

// one is what a column that names one known thing says.
func (f *fields) one(name string) (string, Thing) {
	c := f.cell(name)
	return c.ref.Code(), c.of
}

// any is what a column says that names one thing, or one of several with | between.
func (f *fields) any(name string) (Ref, Thing) {
	c := f.cell(name)
	return c.ref, c.of
}

// list is what a column says that names several things with ; between.
func (f *fields) list(name string) Ref { return f.cell(name).ref }

// refs resolves codes to things of the kinds the column allows. Alternatives must be of one
// kind; the Thing returned is the first's.
func (f *fields) refs(col Column, codes []string) (Ref, Thing) {
	var r Ref
	var first Thing
	seen := map[string]bool{}
	for _, code := range codes {
		if code == "" {
			continue
		}
		t, ok := f.look.Thing(code)
		switch {
		case !ok:
			f.unknown(col.Name, code, col.Kinds)
			continue
		case !slices.Contains(col.Kinds, t.Kind):
			f.fault(col.Name, "%s is %s; this needs %s%s", code, withArticle(string(t.Kind)), withArticle(kindsText(col.Kinds)), f.instead(t.Kind))
			continue
		case seen[code]:
			f.fault(col.Name, "%s is named twice", code)
			continue
		case len(r.Codes) > 0 && col.Type == AnyOf && t.Kind != r.Kind:
			f.fault(col.Name, "%s is a %s and %s a %s: name alternatives of one kind", r.Codes[0], r.Kind, code, t.Kind)
			continue
		}
		seen[code] = true
		if len(r.Codes) == 0 {
			r.Kind, first = t.Kind, t
		}
		r.Codes = append(r.Codes, code)
	}
	if len(r.Codes) == 0 && !f.faulty(col.Name) {
		f.fault(col.Name, "%q does not name anything", f.row[col.Name])
	}
	return r, first
}

// instead says what to record of what cannot come back as it left: it is not told apart from what is there any more.
func (f *fields) instead(k Kind) string {
	if f.sheet.Name == "returns" && (k == KindVessel || k == KindLot || k == KindBrew) {
		return ": what comes back of goods shipped in bulk is a delivery of its own (heeltap receive), with the shipment as its document"
	}
	return ""
}

func (f *fields) unknown(name, code string, kinds []Kind) {
	near := f.look.Nearest(code, kinds...)
	if len(near) == 0 {
		f.fault(name, "there is no %s %q: record it first", kindsText(kinds), code)
		return
	}
	f.fault(name, "there is no %s %q; did you mean %s?", kindsText(kinds), code, strings.Join(near, ", "))
}

// withArticle is a noun, or a list of them, with a or an before it.
func withArticle(noun string) string {
	if strings.HasPrefix(noun, "item") {
		return "an " + noun
	}
	return "a " + noun
}

func kindsText(kinds []Kind) string {
	s := make([]string, len(kinds))
	for i, k := range kinds {
		s[i] = string(k)
	}
	if n := len(s); n > 2 {
		s = []string{strings.Join(s[:n-1], ", "), s[n-1]}
	}
	return strings.Join(s, " or ")
}
