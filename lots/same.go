package lots

import (
	"fmt"
	"slices"
	"strings"
)

// SameValue reports whether two rows of a sheet say the same in a column, however each spells
// it: one moment in two forms, 20 and 20.0, 20 hL and 2000 L, codes in another order. A text is
// the same only to the letter. look tells the units that rows leave out; it may be nil, and
// then a missing unit is like none but another missing one.
func SameValue(s *Sheet, column string, a, b Row, look Lookup) bool {
	if a[column] == b[column] && unitText(s, column, a) == unitText(s, column, b) {
		return true
	}
	c, ok := s.Column(column)
	if !ok || a[column] == "" || b[column] == "" {
		return false
	}
	site := siteOf(look)
	return valueOf(s, c, a, site, look) == valueOf(s, c, b, site, look)
}

func siteOf(look Lookup) Site {
	if look == nil {
		return DefaultSite()
	}
	return look.Site()
}

// SameRow reports whether two rows of a sheet say the same in every column.
func SameRow(s *Sheet, a, b Row, look Lookup) bool {
	return !slices.ContainsFunc(s.Columns, func(c Column) bool {
		if c.Type == UnitOf && measuresBoth(s, c.Name, a, b) {
			return false // compared with its number
		}
		return !SameValue(s, c.Name, a, b, look)
	})
}

// measuresBoth reports whether a unit belongs to a number that both rows give.
func measuresBoth(s *Sheet, unit string, a, b Row) bool {
	return slices.ContainsFunc(s.Columns, func(c Column) bool {
		return s.UnitColumn(c) == unit && a[c.Name] != "" && b[c.Name] != ""
	})
}

func unitText(s *Sheet, column string, row Row) string {
	if c, ok := s.Column(column); ok {
		return row[s.UnitColumn(c)]
	}
	return ""
}

// Key is what a row says but for its measured quantities, so that rows that say the same have
// the same key. It depends on the site's zone, and on nothing else that is recorded.
func Key(s *Sheet, row Row, site Site) string {
	var b strings.Builder
	for _, c := range s.Columns {
		if row[c.Name] == "" || c.Type == UnitOf || s.UnitColumn(c) != "" {
			continue
		}
		fmt.Fprintf(&b, "%s=%q\n", c.Name, valueOf(s, c, row, site, nil))
	}
	return b.String()
}

// valueOf writes what a cell says so that equal values read alike. What cannot be understood
// stands for itself.
func valueOf(s *Sheet, c Column, row Row, site Site, look Lookup) string {
	text := strings.TrimSpace(row[c.Name])
	switch c.Type {
	case Time:
		if w, _, err := ParseWhen(text, site.Zone); err == nil {
			return fmt.Sprintf("%d..%d", w.From, w.To)
		}
	case Number, Count, Amount:
		if column := s.UnitColumn(c); column != "" {
			return amountOf(s, text, row[column], column, row, site, look)
		}
		if r, err := parseDecimal(text); err == nil {
			return r.RatString()
		}
	case Offset:
		if r, err := parseOffset(text); err == nil {
			return r.RatString()
		}
	case UnitOf:
		if u, err := ParseUnit(text); err == nil {
			return string(u)
		}
	case AnyOf:
		return sortedList(text, "|")
	case ListOf, Words:
		return sortedList(text, ";")
	case Choice, YesNo:
		return strings.ToLower(text)
	}
	return text
}

func sortedList(text, sep string) string {
	list := splitList(text, sep)
	slices.Sort(list)
	return strings.Join(list, sep)
}

// amountOf writes a number and its unit as what they come to; a missing unit is the thing's own.
func amountOf(s *Sheet, number, unit, unitColumn string, row Row, site Site, look Lookup) string {
	u, err := ParseUnit(unit)
	if unit == "" && look != nil {
		u, err = missingUnit(s, unitColumn, row, site, look), nil
	}
	if err == nil {
		if q, err := ParseQuantity(number, u); err == nil {
			return fmt.Sprintf("%d %s", q.N, q.Dim)
		}
	}
	if r, err := parseDecimal(number); err == nil {
		number = r.RatString()
	}
	return number + " " + unit
}

// unitIfNone is the unit that a quantity of a thing is in where none is written: a by-product of a brew is weighed.
func unitIfNone(t Thing, site Site) Unit {
	if t.Kind == KindBrew {
		return site.MassUnit
	}
	return ownUnit(t.Kind, t, site)
}

// missingUnit is the unit of a row that leaves it out: the lot's or vessel's own.
func missingUnit(s *Sheet, unitColumn string, row Row, site Site, look Lookup) Unit {
	columns := []string{"from", "subject"}
	switch unitColumn {
	case "unit":
	case "quantity_unit":
		columns = []string{"unit"}
	default:
		return site.VolumeUnit
	}
	for _, name := range columns {
		if codes := splitList(row[name], "|"); s.Has(name) && len(codes) > 0 {
			if t, ok := look.Thing(codes[0]); ok {
				return unitIfNone(t, site)
			}
		}
	}
	return ""
}
