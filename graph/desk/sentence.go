package desk

import (
	"fmt"
	"strconv"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Sentence says what an entry recorded, as one would tell a colleague, with quantities, items and
// times as they were understood; empty where the entry is no row that stands.
func Sentence(tx *store.Tx, entry int64) string {
	rec, ok := tx.Record(entry)
	if !ok {
		return ""
	}
	row, _ := tx.Row(entry)
	t := teller{tx, tx.Site(), row.Row}
	if text := t.cellar(rec); text != "" {
		return text
	}
	if text := t.packaging(rec); text != "" {
		return text
	}
	return t.known(rec)
}

type teller struct {
	tx   *store.Tx
	site lots.Site
	row  lots.Row
}

// cellar tells of what came in and what was made of it.
func (t teller) cellar(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Receipt:
		return t.receipt(x)
	case *lots.Brew:
		return fmt.Sprintf("Brew %s of %s: %s cast out into %s at %s", x.Brew, x.Beer, t.volume(x.Volume), x.Into, t.when(x.CastOut))
	case *lots.BrewInput:
		stage := ""
		if x.Stage != "" {
			stage = " at " + x.Stage
		}
		return fmt.Sprintf("%s of %s went into brew %s%s", t.amount(x.Qty), t.from(x.From), x.Brew, stage)
	case *lots.Addition:
		purpose := ""
		if x.Purpose != "" {
			purpose = " (" + x.Purpose + ")"
		}
		return fmt.Sprintf("%s of %s added to %s%s at %s", t.used(x.Qty, x.Count, x.From), t.from(x.From), x.Vessel, purpose, t.when(x.At))
	case *lots.Transfer:
		via := ""
		if len(x.Via) > 0 {
			via = " through " + strings.Join(x.Via, ", ")
		}
		return fmt.Sprintf("Transfer %s: %s left %s and %s arrived in %s%s, %s to %s", x.Transfer, t.volume(x.Out), either(x.From), t.volume(x.In), x.To, via, t.when(x.Started), t.when(x.Ended))
	case *lots.Circulation:
		return fmt.Sprintf("%s circulated together, %s to %s", strings.Join(x.Vessels, " and "), t.when(x.Started), t.when(x.Ended))
	case *lots.Crop:
		into := ""
		if x.Into != "" {
			into = " into " + x.Into
		}
		return fmt.Sprintf("Cropped %s of %s from %s%s as lot %s at %s", t.amount(x.Qty), called(t.tx, x.Item), x.Vessel, into, x.Lot, t.when(x.At))
	case *lots.Clean:
		return t.clean(x)
	case *lots.Clearance:
		return fmt.Sprintf("Line %s cleared at %s: its magazines, hoppers and rolls were empty", x.Line, t.when(x.At))
	}
	return ""
}

func (t teller) receipt(x *lots.Receipt) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Received %s of %s from %s as lot %s", t.amount(x.Qty), called(t.tx, x.Item), called(t.tx, x.Supplier), x.Lot)
	if x.SupplierLot == "-" {
		b.WriteString(", no supplier's lot on the goods")
	} else {
		b.WriteString(", supplier's lot " + x.SupplierLot)
	}
	if x.Into != "" {
		b.WriteString(", into " + x.Into)
	}
	switch x.Status {
	case "hold":
		b.WriteString("; it is on hold")
	case "rejected":
		b.WriteString("; it was REJECTED and must not be used")
	}
	return b.String()
}

func (t teller) clean(x *lots.Clean) string {
	how := map[string]string{"cip": "cleaned in place", "manual": "cleaned by hand", "rinse": "rinsed", "purge": "purged"}[x.Method]
	if how == "" {
		how = x.Method
	}
	text := fmt.Sprintf("%s %s at %s", x.Subject.Code(), how, t.when(x.At))
	switch {
	case x.Breaks():
		return text + ": what follows starts clean"
	case x.Method == "cip" || x.Method == "manual":
		return text + ", not verified: what was in it before may still be there"
	}
	return text + ": this does not count as a clean"
}

// packaging tells of runs, goods and what became of them.
func (t teller) packaging(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Run:
		return t.run(x)
	case *lots.CodeChange:
		until := "the run's end"
		if x.HasUntil {
			until = t.when(x.Until)
		}
		return fmt.Sprintf("Run %s printed %q from %s to %s", x.Run, x.DateCode, t.when(x.Since), until)
	case *lots.Feed:
		return t.feed(x)
	case *lots.Packed:
		return fmt.Sprintf("Packed %s in run %s onto %s", counted(x.Quantity, caseOrKeg(x.UnitKind)), x.Run, x.Unit)
	case *lots.Shipment:
		return fmt.Sprintf("Shipped %s of %s to %s at %s (%s)", t.goods(x.Quantity, x.Unit), either(x.Unit), called(t.tx, x.Consignee), t.when(x.At), x.Shipment)
	case *lots.Return:
		return t.comeBack(x)
	case *lots.Removal:
		return t.removal(x)
	case *lots.StockCount:
		where := ""
		if x.Place != "" {
			where = " in " + x.Place
		}
		return fmt.Sprintf("Counted %s of %s%s at %s", t.used(x.Qty, x.Count, x.Subject), x.Subject.Code(), where, t.when(x.At))
	case *lots.Hold:
		if x.Released {
			return fmt.Sprintf("%s was on hold from %s (%s) and is released since %s", x.Subject.Code(), t.when(x.At), x.Reason, t.when(x.ReleasedAt))
		}
		return fmt.Sprintf("%s is on hold: %s", x.Subject.Code(), x.Reason)
	}
	return ""
}

func (t teller) run(x *lots.Run) string {
	line := ""
	if x.Line != "" {
		line = " on " + x.Line
	}
	code := ""
	if x.DateCode != "" {
		code = fmt.Sprintf(", date code %q", x.DateCode)
	}
	return fmt.Sprintf("Run %s of %s%s, %s to %s: %s good%s", x.Run, called(t.tx, x.Product), line, t.when(x.Started), t.when(x.Ended), counted(x.Good, "container"), code)
}

func (t teller) feed(x *lots.Feed) string {
	amount := ""
	if x.HasQty || x.Count > 0 {
		amount = t.used(x.Qty, x.Count, x.From) + " of "
	}
	span := "for the whole run"
	switch {
	case x.HasSince && x.HasUntil:
		span = "from " + t.when(x.Since) + " to " + t.when(x.Until)
	case x.HasSince:
		span = "from " + t.when(x.Since) + " to the run's end"
	case x.HasUntil:
		span = "from the run's start to " + t.when(x.Until)
	}
	return fmt.Sprintf("Run %s was fed %s%s %s", x.Run, amount, t.from(x.From), span)
}

func (t teller) comeBack(x *lots.Return) string {
	state := map[string]string{"empty": " empty", "part": " part full"}[x.State]
	return fmt.Sprintf("%s of %s came back%s from %s at %s (%s)", t.goods(x.Quantity, x.Unit), either(x.Unit), state, called(t.tx, x.Consignee), t.when(x.At), x.Return)
}

func (t teller) removal(x *lots.Removal) string {
	what := map[string]string{"sample": "taken as a sample", "taproom": "served in the taproom", "destroyed": "destroyed", "dumped": "dumped", "loss": "written off as lost", "supplier-return": "sent back to the supplier"}[x.Reason]
	if x.All {
		return fmt.Sprintf("%s emptied: all of it %s at %s", x.Subject.Code(), what, t.when(x.At))
	}
	return fmt.Sprintf("%s of %s %s at %s", t.used(x.Qty, x.Count, x.Subject), either(x.Subject), what, t.when(x.At))
}

// known tells of what there is.
func (t teller) known(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Site:
		return fmt.Sprintf("Site %s, times in %s", x.Name, x.Zone)
	case *lots.Item:
		return fmt.Sprintf("Item %s: %s (%s), counted in %s", x.Code, x.Name, x.Kind, x.Unit)
	case *lots.Party:
		return fmt.Sprintf("%s %s: %s", map[string]string{"supplier": "Supplier", "consignee": "Consignee", "both": "Supplier and consignee", "own": "Own place"}[x.Role], x.Code, x.Name)
	case *lots.Vessel:
		holds := ""
		if x.Capacity > 0 {
			unit := x.Unit
			if unit == "" {
				unit = t.site.VolumeUnit
			}
			holds = ", holds " + number(x.Capacity) + " " + string(unit)
		}
		return fmt.Sprintf("Vessel %s, %s%s", x.Code, x.Kind, holds)
	case *lots.Line:
		return fmt.Sprintf("Line %s", x.Code)
	case *lots.Product:
		return fmt.Sprintf("Product %s: %s, %d mL, %d to the case", x.Code, x.Name, x.ContainerML, x.PerCase)
	}
	return ""
}

// amount writes a quantity in the unit it was given in, as it was understood.
func (t teller) amount(q lots.Quantity) string {
	unit, err := lots.ParseUnit(t.row["unit"])
	if err != nil || unit.Dim() != q.Dim {
		unit = baseUnit(t.site, q.Dim)
	}
	return number(unit.Of(float64(q.N))) + " " + string(unit)
}

func baseUnit(site lots.Site, dim lots.Dim) lots.Unit {
	switch dim {
	case lots.Volume:
		return site.VolumeUnit
	case lots.Mass:
		return site.MassUnit
	}
	return "each"
}

// used writes a quantity of lots and vessels, or a number of cases and kegs.
func (t teller) used(q lots.Quantity, count float64, of lots.Ref) string {
	if of.Kind != lots.KindUnit || count == 0 && q.N != 0 {
		return t.amount(q)
	}
	thing, _ := t.tx.Thing(of.Code())
	unit := caseOrKeg(thing.UnitKind)
	if count != 1 {
		unit += "s"
	}
	return number(count) + " " + unit
}

func (t teller) goods(n int64, of lots.Ref) string {
	thing, _ := t.tx.Thing(of.Codes[0])
	return counted(n, caseOrKeg(thing.UnitKind))
}

func (t teller) volume(ml int64) string {
	unit, err := lots.ParseUnit(t.row["unit"])
	if err != nil || unit.Dim() != lots.Volume {
		unit = t.site.VolumeUnit
	}
	return number(unit.Of(float64(ml))) + " " + string(unit)
}

// from names where something came from: lots with what they are.
func (t teller) from(r lots.Ref) string {
	parts := make([]string, len(r.Codes))
	for i, code := range r.Codes {
		parts[i] = code
		if rec, ok := t.tx.Receipt(code); ok {
			parts[i] = nameOf(t.tx, rec.Item) + " " + code
		}
	}
	return strings.Join(parts, " or ")
}

func (t teller) when(w lots.When) string {
	if w.Certain() {
		return strings.Replace(w.Text(t.site.Zone)[:16], "T", " ", 1)
	}
	return "some time on " + w.Text(t.site.Zone)[:10]
}

func either(r lots.Ref) string { return strings.Join(r.Codes, " or ") }

func caseOrKeg(unitKind string) string {
	if unitKind == "keg" {
		return "keg"
	}
	return "case"
}

func counted(n int64, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.FormatInt(n, 10) + " " + one + "s"
}

// number writes a quantity with at most three decimals.
func number(x float64) string { return lots.Figure(x) }
