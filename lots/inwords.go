package lots

import (
	"fmt"
	"strings"
)

// Named finds the row that introduced a code (the first, where it has several).
type Named func(code string) (*Sheet, Row, bool)

// InWords reads back what a row's quantities were understood as, with unit and name, so that
// whoever entered it can see a slip at once: "12 kg of Pale malt (MALT)". Empty where the row
// measures nothing. A unit that the row leaves out is told where look knows it.
func InWords(s *Sheet, row Row, get Named, look Lookup) string {
	w := wording{s, row, get, look}
	var parts []string
	for _, c := range s.Columns {
		if amount := w.amount(c); amount != "" {
			parts = append(parts, amount+w.role(c))
		}
	}
	return strings.Join(parts, ", ")
}

type wording struct {
	sheet *Sheet
	row   Row
	get   Named
	look  Lookup
}

// amount writes a measured or counted cell; empty for every other.
func (w wording) amount(c Column) string {
	v := w.row[c.Name]
	column := w.sheet.UnitColumn(c)
	switch {
	case v == "" || c.Name == "capacity":
		return ""
	case column == "quantity_unit" && w.keg():
		return amountText(v, "keg")
	case column != "" && v == "all":
		return "all"
	case column != "":
		unit, err := ParseUnit(w.row[column])
		if err != nil {
			unit = missingUnit(w.sheet, column, w.row, siteOf(w.look), w.look)
		}
		return amountText(v, unit)
	case c.Name == "quantity" && w.keg():
		return amountText(v, "keg")
	case c.Name == "quantity":
		return amountText(v, "case")
	case c.Name == "good":
		return v + " good containers"
	case c.Name == "rejects":
		return v + " rejected"
	}
	return ""
}

// amountText writes a number and its unit; pieces and cases in the plural where they are more.
func amountText(number string, u Unit) string {
	number = trimZeros(number)
	switch {
	case u == "":
		return number
	case u == "gal" || u == "bbl":
		return number + " US " + string(u)
	case u == "each" && number == "1":
		return "1 piece"
	case u == "each":
		return number + " pieces"
	case (u == "case" || u == "keg") && number != "1":
		return number + " " + string(u) + "s"
	}
	return number + " " + string(u)
}

func (w wording) keg() bool {
	return w.row["kind"] == "keg" || w.row["kind"] == "" && strings.Contains(w.row["unit"], "/")
}

// role says what the amount is of, where it came from or where it went.
func (w wording) role(c Column) string {
	switch {
	case c.Name == "out":
		return " out of " + w.row["from"]
	case c.Name == "in":
		return " into " + w.row["to"]
	case c.Name == "left":
		return " still in it"
	case c.Name == "volume" && w.sheet.Has("volume_unit"):
		return " of volume added"
	case c.Name == "volume":
		return " into " + w.row["into"]
	case c.Name == "good":
		return w.of(w.row["product"])
	case w.row["item"] != "":
		return w.of(w.row["item"])
	case c.Name != "quantity":
		return ""
	}
	for _, name := range []string{"from", "subject", "unit"} {
		if code := w.row[name]; code != "" && w.names(name) {
			return w.source(code)
		}
	}
	return ""
}

// names reports whether a column holds codes.
func (w wording) names(column string) bool {
	c, ok := w.sheet.Column(column)
	return ok && (len(c.Kinds) > 0)
}

// of is an item or product by its name and code.
func (w wording) of(code string) string {
	if _, row, ok := w.get(code); ok && row["name"] != "" {
		return fmt.Sprintf(" of %s (%s)", row["name"], code)
	}
	return " of " + code
}

// source is what was taken or counted: of which material, and from where.
func (w wording) source(code string) string {
	codes := splitList(code, "|")
	where := strings.Join(codes, " or ")
	if len(codes) == 0 {
		return ""
	}
	sheet, row, ok := w.get(codes[0])
	if w.sheet.Name == "units" { // its own row is only being entered
		sheet, row, ok = w.sheet, w.row, true
	}
	if !ok {
		return " from " + where
	}
	switch sheet.Name {
	case "receipts", "crops":
		return w.of(row["item"]) + ", lot " + where
	case "units":
		if _, run, ok := w.get(row["run"]); ok {
			return w.of(run["product"]) + ", " + where
		}
	}
	return ", " + where
}
