package lots

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"
)

// Thing is what a code means to somebody who has to read a row naming it.
type Thing struct {
	Kind        Kind
	Unit        Unit   // lot, vessel: its own unit
	VesselKind  string // vessel
	ItemKind    string // item, lot
	Into        string // lot: vessel it was received or cropped into
	Status      string // lot: accepted, hold or rejected
	UnitKind    string // unit: pallet, keg or stack
	ContainerML int64  // unit: millilitres in one container
	PerCase     int64  // unit: containers in a case; 1 for a keg
}

// Lookup tells a row's reader what codes mean.
type Lookup interface {
	Site() Site
	Thing(code string) (Thing, bool)
	// Nearest names known codes of the kinds that look like code, best first.
	Nearest(code string, kinds ...Kind) []string
}

// DefaultSite stands until the site row is recorded.
func DefaultSite() Site { return Site{Zone: time.UTC, VolumeUnit: "L", MassUnit: "kg"} }

// Decode understands one row. Faults say why it can not be understood; then the
// record is nil. Warnings are worth showing and stop nothing.
func Decode(sheet *Sheet, row Row, look Lookup) (rec Record, warnings, faults Faults) {
	f := &fields{sheet: sheet, row: row, look: look, site: look.Site()}
	f.shape()
	if len(f.faults) == 0 {
		rec = decoders[sheet.Name](f)
	}
	if len(f.faults) > 0 {
		return nil, f.warnings, f.faults
	}
	return rec, f.warnings, nil
}

// fields reads the cells of one row, collecting every fault.
type fields struct {
	sheet            *Sheet
	row              Row
	look             Lookup
	site             Site
	warnings, faults Faults
}

// fault notes what is wrong, once: several cells may need the same unit.
func (f *fields) fault(column, format string, args ...any) {
	bad := Fault{Column: column, Reason: fmt.Sprintf(format, args...)}
	if !slices.Contains(f.faults, bad) {
		f.faults = append(f.faults, bad)
	}
}

func (f *fields) faulty(column string) bool {
	return slices.ContainsFunc(f.faults, func(x Fault) bool { return x.Column == column })
}

// maxText is the longest text of one cell in UTF-16 units: what a workbook's cell can hold.
const maxText = 32_767

// shape checks that only known columns with readable text stand in the row and that none is missing.
func (f *fields) shape() {
	for _, name := range slices.Sorted(maps.Keys(f.row)) {
		if !f.sheet.Has(name) {
			f.fault(name, "%s has no such column", f.sheet.Name)
		}
		switch v := f.row[name]; {
		case !utf8.ValidString(v) || strings.ContainsRune(v, 0):
			f.fault(name, "is not readable text (UTF-8)")
		case len(v) > maxText && len(utf16.Encode([]rune(v))) > maxText:
			f.fault(name, "is longer than %d characters", maxText)
		}
	}
	for _, c := range f.sheet.Columns {
		v := f.row[c.Name]
		if v == "" && c.Need {
			f.fault(c.Name, "is needed")
		}
		if c.Type == Choice && v != "" {
			f.choose(c, v)
		}
	}
}

func (f *fields) choose(c Column, v string) {
	for _, w := range c.Values {
		if w == v {
			return
		}
	}
	f.fault(c.Name, "%q is not one of %s", v, strings.Join(c.Values, ", "))
}

func (f *fields) has(name string) bool    { return f.row[name] != "" }
func (f *fields) text(name string) string { return f.row[name] }
func (f *fields) meta() Meta              { return Meta{By: f.row["by"]} }

func (f *fields) code(name string) string {
	code := f.row[name]
	slash := f.sheet.Name == "units" && f.row["kind"] == "keg"
	if err := CheckCode(code, slash); err != nil {
		f.fault(name, "%v", err)
	}
	return code
}

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

func (f *fields) when(name string) When {
	if !f.has(name) {
		return When{}
	}
	w, warning, err := ParseWhen(f.row[name], f.site.Zone)
	if err != nil {
		f.fault(name, "%v", err)
	}
	if warning != "" {
		f.warnings = append(f.warnings, Fault{Column: name, Reason: warning})
	}
	return w
}

func (f *fields) yes(name string, otherwise bool) bool {
	switch f.row[name] {
	case "":
		return otherwise
	case "yes":
		return true
	case "no":
		return false
	}
	f.fault(name, "%q is neither yes nor no", f.row[name])
	return otherwise
}

func (f *fields) count(name string) int64 {
	if !f.has(name) {
		return 0
	}
	n, err := ParseCount(f.row[name])
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
	if !f.has(name) {
		return 0
	}
	x, err := ParseNumber(f.row[name])
	if err != nil {
		f.fault(name, "%v", err)
	}
	return x
}

// maxMinutes bounds spans of minutes to two years: a clock can be a year out, no more is meant.
const maxMinutes = 2 * 24 * 60 * 366

// minutes reads a number of minutes as whole seconds.
func (f *fields) minutes(name string) int64 {
	if !f.has(name) {
		return 0
	}
	return f.seconds(name, f.row[name])
}

func (f *fields) seconds(name, minutes string) int64 {
	x, err := ParseNumber(minutes)
	if err != nil || x > maxMinutes {
		f.fault(name, "%q is not a number of minutes", f.row[name])
		return 0
	}
	return int64(math.Round(x * 60))
}

// offset reads minutes that may be negative, as whole seconds.
func (f *fields) offset(name string) int64 {
	if !f.has(name) {
		return 0
	}
	text := strings.TrimSpace(f.row[name])
	if after, negative := strings.CutPrefix(text, "-"); negative {
		return -f.seconds(name, after)
	}
	return f.seconds(name, strings.TrimPrefix(text, "+"))
}

func (f *fields) unit(name string, otherwise Unit) Unit {
	if !f.has(name) {
		return otherwise
	}
	u, err := ParseUnit(f.row[name])
	if err != nil {
		f.fault(name, "%v", err)
	}
	return u
}

func (f *fields) qty(name string, unit Unit) Quantity {
	if !f.has(name) {
		return Quantity{}
	}
	if unit == "" && len(f.faults) > 0 { // what is wrong with the unit was said
		f.number(name)
		return Quantity{}
	}
	q, err := ParseQuantity(f.row[name], unit)
	if err != nil {
		f.fault(name, "%v", err)
	}
	return q
}

// volume reads a quantity of beer or liquid in millilitres; mass counts 1 kg as 1 L.
func (f *fields) volume(name, unitName string, otherwise Unit) int64 {
	u := f.unit(unitName, otherwise)
	if d := u.Dim(); d == Pieces || d == Cases {
		f.fault(unitName, "%s is no unit of volume", u)
		return 0
	}
	return int64(math.Round(f.qty(name, u).Millilitres()))
}

// one reads a column that names one known thing.
func (f *fields) one(name string) (string, Thing) {
	if !f.has(name) {
		return "", Thing{}
	}
	r, t := f.refs(name, "")
	if len(r.Codes) == 0 {
		return "", Thing{}
	}
	return r.Codes[0], t
}

// any reads a column that names one thing, or one of several with | between.
func (f *fields) any(name string) (Ref, Thing) { return f.refs(name, "|") }

// list reads a column that names several things with ; between.
func (f *fields) list(name string) Ref {
	r, _ := f.refs(name, ";")
	return r
}

// refs resolves codes to things of the kinds the column allows. All codes of one
// cell with | must be of one kind; the Thing returned is the first's.
func (f *fields) refs(name, sep string) (Ref, Thing) {
	col, _ := f.sheet.Column(name)
	codes := []string{strings.TrimSpace(f.row[name])}
	if sep != "" {
		codes = splitList(f.row[name], sep)
	}
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
			f.unknown(name, code, col.Kinds)
			continue
		case !kindIn(t.Kind, col.Kinds):
			f.fault(name, "%s is a %s; here a %s is meant", code, t.Kind, kindsText(col.Kinds))
			continue
		case seen[code]:
			f.fault(name, "%s is named twice", code)
			continue
		case len(r.Codes) > 0 && sep == "|" && t.Kind != r.Kind:
			f.fault(name, "%s is a %s and %s a %s: name alternatives of one kind", r.Codes[0], r.Kind, code, t.Kind)
			continue
		}
		seen[code] = true
		if len(r.Codes) == 0 {
			r.Kind, first = t.Kind, t
		}
		r.Codes = append(r.Codes, code)
	}
	if len(r.Codes) == 0 && len(f.faults) == 0 && f.has(name) {
		f.fault(name, "%q names nothing", f.row[name])
	}
	return r, first
}

func (f *fields) unknown(name, code string, kinds []Kind) {
	near := f.look.Nearest(code, kinds...)
	if len(near) == 0 {
		f.fault(name, "there is no %s %q: record it first", kindsText(kinds), code)
		return
	}
	f.fault(name, "there is no %s %q; did you mean %s?", kindsText(kinds), code, strings.Join(near, ", "))
}

func kindIn(k Kind, kinds []Kind) bool {
	for _, x := range kinds {
		if x == k {
			return true
		}
	}
	return false
}

func kindsText(kinds []Kind) string {
	s := make([]string, len(kinds))
	for i, k := range kinds {
		s[i] = string(k)
	}
	return strings.Join(s, " or ")
}

// order refuses a span that ends before it starts; strict refuses one of no length too.
func (f *fields) order(start, end When, endName string, strict bool) {
	if len(f.faults) > 0 {
		return
	}
	if end.End() < start.From || (strict && end.End() <= start.From) {
		f.fault(endName, "ends before it starts")
	}
}

// drawn reads a quantity taken from r in a unit that fits it; count is cases or
// kegs where r is units. The thing's own unit stands in for a missing one.
func (f *fields) drawn(name, unitName string, r Ref, t Thing) (q Quantity, count float64) {
	if r.Kind == KindUnit {
		return f.drawnFromUnit(name, unitName, t)
	}
	own := t.Unit
	if own == "" && r.Kind == KindVessel {
		own = f.site.VolumeUnit
	}
	u := f.unit(unitName, own)
	q = f.qty(name, u)
	if len(f.faults) > 0 {
		return q, 0
	}
	for _, code := range r.Codes {
		f.fits(unitName, code, u)
	}
	return q, 0
}

// fits refuses a unit that can not be taken from a lot or vessel.
func (f *fields) fits(unitName, code string, u Unit) {
	t, _ := f.look.Thing(code)
	d := u.Dim()
	if t.Kind == KindVessel || t.Into != "" {
		if d != Mass && d != Volume {
			f.fault(unitName, "%s holds kilograms or litres, not %s", code, u)
		}
		return
	}
	if own := t.Unit.Dim(); own != d {
		f.fault(unitName, "lot %s is kept in %s (%s); %s is a unit of %s", code, t.Unit, own, u, d)
	}
}

func (f *fields) drawnFromUnit(name, unitName string, t Thing) (Quantity, float64) {
	if !f.has(unitName) {
		q := f.qty(name, "case")
		return q, float64(q.N)
	}
	u := f.unit(unitName, "")
	q := f.qty(name, u)
	perCase, ml := float64(max(t.PerCase, 1)), float64(max(t.ContainerML, 1))
	switch {
	case u.Dim() == Mass || u.Dim() == Volume:
		return q, q.Millilitres() / ml / perCase
	case u.Dim() == Pieces && t.UnitKind != "keg":
		return q, float64(q.N) / perCase
	}
	return q, float64(q.N)
}
