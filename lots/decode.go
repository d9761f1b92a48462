package lots

import (
	"fmt"
	"maps"
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
	ContainerML int64  // unit, run: millilitres in one container
	PerCase     int64  // unit, run: containers in a case; 1 for a keg
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

// Decode understands one row. First every cell is read by its column's type, whatever the
// sheet; only a row that is sound so far is made a record of. Faults say why it cannot be
// understood; then the record is nil. Warnings are worth showing and stop nothing.
func Decode(sheet *Sheet, row Row, look Lookup) (rec Record, warnings, faults Faults) {
	f := &fields{sheet: sheet, row: row, look: look, site: look.Site()}
	f.shape()
	f.read()
	if len(f.faults) == 0 {
		rec = decoders[sheet.Name](f)
	}
	if len(f.faults) > 0 {
		return nil, f.warnings, f.faults
	}
	return rec, f.warnings, nil
}

// fields is one row being understood, with every fault found in it.
type fields struct {
	sheet            *Sheet
	row              Row
	look             Lookup
	site             Site
	cells            []cell // what stands in each column of the sheet, once read
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
	}
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
	switch r.Kind {
	case KindUnit:
		return f.drawnFromUnit(name, unitName, t)
	case KindRun:
		return f.rejects(name, unitName, t)
	}
	u := f.unit(unitName, ownUnit(r.Kind, t, f.site))
	q = f.qty(name, u)
	if len(f.faults) > 0 {
		return q, 0
	}
	for _, code := range r.Codes {
		f.fits(unitName, code, u)
	}
	return q, 0
}

// ownUnit is the unit that a quantity of a thing is in where none is written; cases or kegs of a unit.
func ownUnit(kind Kind, t Thing, site Site) Unit {
	switch {
	case kind == KindUnit:
		return "case"
	case kind == KindRun:
		return "each"
	case t.Unit == "" && kind == KindVessel:
		return site.VolumeUnit
	}
	return t.Unit
}

// fits refuses a unit that cannot be taken from a lot or vessel.
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

// rejects reads how many containers a run rejected were emptied: they never stood in cases.
func (f *fields) rejects(name, unitName string, t Thing) (Quantity, float64) {
	u := f.unit(unitName, "each")
	q := f.qty(name, u)
	switch u.Dim() {
	case Cases:
		return q, float64(q.N * max(t.PerCase, 1))
	case Pieces:
		return q, float64(q.N)
	}
	return q, q.Millilitres() / float64(max(t.ContainerML, 1))
}

func (f *fields) drawnFromUnit(name, unitName string, t Thing) (Quantity, float64) {
	u := f.unit(unitName, ownUnit(KindUnit, t, f.site))
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
