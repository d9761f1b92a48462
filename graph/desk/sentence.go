package desk

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Sentence says what an entry recorded, as you would tell a colleague, with quantities, items and
// times as they were understood; empty if the entry is not a row or was voided.
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

// cellar says what came in and what was made of it.
func (t teller) cellar(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Receipt:
		return t.receipt(x)
	case *lots.Brew:
		return fmt.Sprintf("Cast out %s of %s (brew %s) into %s%s", t.volume(x.Volume), x.Beer, x.Brew, x.Into, t.at(x.CastOut))
	case *lots.BrewInput:
		return t.input(x)
	case *lots.Addition:
		purpose := ""
		if x.Purpose != "" {
			purpose = ": " + x.Purpose
		}
		return fmt.Sprintf("Added %s to %s%s%s", t.taken(x.Qty, x.Count, x.From), x.Vessel, t.at(x.At), purpose)
	case *lots.Transfer:
		return t.transfer(x)
	case *lots.Circulation:
		if x.Perhaps {
			return fmt.Sprintf("%s were perhaps joined %s: what any of them held may be in the others", and(x.Vessels), t.span(x.Started, x.Ended))
		}
		return fmt.Sprintf("Circulated %s together %s", and(x.Vessels), t.span(x.Started, x.Ended))
	case *lots.Crop:
		into := ""
		if x.Into != "" {
			into = " into " + x.Into
		}
		return fmt.Sprintf("Cropped %s of %s from %s%s%s, as lot %s", t.amount(x.Qty), called(t.tx, x.Item), x.Vessel, into, t.at(x.At), x.Lot)
	case *lots.Clean:
		return t.clean(x)
	case *lots.Tipping:
		return fmt.Sprintf("Tipped %s into lot %s%s: what is used of %s from then on may have it in it", t.taken(x.Qty, 0, x.From), x.Into, t.at(x.At), x.Into)
	case *lots.Clearance:
		return fmt.Sprintf("Cleared line %s%s: its magazines, hoppers and rolls were empty", x.Line, t.at(x.At))
	}
	return ""
}

func (t teller) receipt(x *lots.Receipt) string {
	var b strings.Builder
	into := ""
	if x.Into != "" {
		into = " into " + x.Into
	}
	fmt.Fprintf(&b, "Received %s from %s%s as lot %s", t.of(x.Qty, called(t.tx, x.Item)), called(t.tx, x.Supplier), into, x.Lot)
	if x.SupplierLot == "-" {
		b.WriteString(", with no supplier's lot on the goods")
	} else {
		b.WriteString(", supplier's lot " + x.SupplierLot)
	}
	switch x.Status {
	case "hold":
		b.WriteString("; it is on hold")
	case "rejected":
		b.WriteString("; it was REJECTED and must not be used")
	}
	return b.String()
}

func (t teller) input(x *lots.BrewInput) string {
	what := t.taken(x.Qty, 0, x.From)
	if x.Stage == "pitch" {
		return fmt.Sprintf("Pitched %s into brew %s", what, x.Brew)
	}
	where := map[string]string{"mash": "in the mash of", "boil": "in the boil of", "whirlpool": "in the whirlpool of", "cast-out": "at cast-out of"}[x.Stage]
	if where == "" {
		where = "in"
	}
	return fmt.Sprintf("Used %s %s brew %s", what, where, x.Brew)
}

func (t teller) transfer(x *lots.Transfer) string {
	via, arrived := "", ""
	if len(x.Via) > 0 {
		via = " through " + and(x.Via)
	}
	if x.In != x.Out {
		arrived = ", where " + t.volume(x.In) + " arrived,"
	}
	return fmt.Sprintf("Transferred %s from %s%s to %s%s %s, as %s", t.volume(x.Out), either(x.From), via, x.To, arrived, t.span(x.Started, x.Ended), x.Transfer)
}

func (t teller) clean(x *lots.Clean) string {
	did, how := "Cleaned", ""
	switch x.Method {
	case "cip":
		how = " in place"
	case "manual":
		how = " by hand"
	case "rinse":
		did = "Rinsed"
	case "purge":
		did = "Purged"
	}
	text := did + " " + x.Subject.Code() + how + t.at(x.At)
	switch {
	case x.From.Kind == lots.KindVessel:
		text += " from " + either(x.From)
	case x.From.Kind == lots.KindLot:
		text += " with " + t.named(x.From)
	}
	switch {
	case x.Breaks():
		return text + ": what goes in next starts clean"
	case x.Method == "cip" || x.Method == "manual":
		return text + ", not verified: what was in it before may still be there"
	}
	return text + ", which does not count as a clean"
}

// packaging says what was packed and what became of it.
func (t teller) packaging(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Run:
		return t.run(x)
	case *lots.CodeChange:
		until := "its end"
		if x.HasUntil {
			until = t.when(x.Until)
		}
		return fmt.Sprintf("Run %s printed %q from %s to %s", x.Run, x.DateCode, t.when(x.Since), until)
	case *lots.Feed:
		return t.feed(x)
	case *lots.Packed:
		return packed(x)
	case *lots.Shipment:
		return fmt.Sprintf("Shipped %s to %s%s, as %s", t.goods(float64(x.Quantity), x.Unit), called(t.tx, x.Consignee), t.at(x.At), x.Shipment)
	case *lots.Bulk:
		return fmt.Sprintf("Shipped %s to %s%s, as %s", t.inBulk(x), called(t.tx, x.Consignee), t.at(x.At), x.Shipment)
	case *lots.Return:
		return t.comeBack(x)
	case *lots.Removal:
		return t.removal(x)
	case *lots.StockCount:
		where := ""
		if x.Place != "" {
			where = " (" + x.Place + ")"
		}
		what := t.taken(x.Qty, x.Count, x.Subject)
		if x.Subject.Kind == lots.KindVessel {
			what = t.amount(x.Qty) + " in " + x.Subject.Code()
		}
		return fmt.Sprintf("Counted %s%s%s", what, where, t.at(x.At))
	case *lots.Hold:
		if x.Released {
			return fmt.Sprintf("%s was on hold%s (%s) and was released%s", x.Subject.Code(), t.at(x.At), x.Reason, t.at(x.ReleasedAt))
		}
		return fmt.Sprintf("%s is on hold: %s", x.Subject.Code(), x.Reason)
	}
	return ""
}

// inBulk writes what left without being packed.
func (t teller) inBulk(x *lots.Bulk) string {
	amount := lots.Figure(x.Unit.Of(float64(x.Qty.N))) + " " + string(x.Unit)
	switch {
	case x.From.Kind == lots.KindLot:
		return t.of(x.Qty, t.named(x.From))
	case x.Goods != "" && x.From.Kind == lots.KindBrew:
		return fmt.Sprintf("%s of %s of brew %s", amount, x.Goods, either(x.From))
	case x.From.Kind == lots.KindBrew:
		return fmt.Sprintf("%s of a by-product of brew %s", amount, either(x.From))
	case x.Goods != "":
		return fmt.Sprintf("%s of %s from %s", amount, x.Goods, either(x.From))
	}
	return amount + " from " + either(x.From)
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
	if t.goesOn(x) {
		so := ""
		if x.Good > 0 {
			so = ": " + counted(x.Good, "good container") + " so far"
		}
		return fmt.Sprintf("Run %s of %s begun%s%s%s%s", x.Run, called(t.tx, x.Product), line, t.at(x.Started), so, code)
	}
	return fmt.Sprintf("Packaged %s in run %s%s %s: %s%s", called(t.tx, x.Product), x.Run, line, t.span(x.Started, x.Ended), counted(x.Good, "good container"), code)
}

// longestStill is for how long, in seconds, nothing is entered about a run that goes on; of older ones nobody looks
// whether they do.
const longestStill = 7 * 24 * 60 * 60

// goesOn reports whether a run has begun and not ended.
func (t teller) goesOn(x *lots.Run) bool {
	if x.Line == "" || t.tx.Recorded().Unix()-x.Ended.From > longestStill {
		return false
	}
	on, ok := RunningOn(t.tx, x.Line)
	return ok && on.Code() == x.Run
}

func packed(x *lots.Packed) string {
	if x.UnitKind != "keg" {
		return fmt.Sprintf("Packed %s from run %s onto %s %s", counted(x.Quantity, "case"), x.Run, x.UnitKind, x.Unit)
	}
	if keg, _, ok := lots.SplitFilling(x.Unit); ok && x.Quantity == 1 {
		return fmt.Sprintf("Filled keg %s in run %s", keg, x.Run)
	}
	return fmt.Sprintf("Filled %s in run %s, as %s", counted(x.Quantity, "keg"), x.Run, x.Unit)
}

func (t teller) feed(x *lots.Feed) string {
	span := "for the whole run"
	switch {
	case x.HasSince && x.HasUntil:
		span = t.span(x.Since, x.Until)
	case x.HasSince:
		span = "from " + t.when(x.Since) + " to its end"
	case x.HasUntil:
		span = "from its start to " + t.when(x.Until)
	}
	switch {
	case x.HasQty || x.Count > 0:
		return fmt.Sprintf("Fed %s to run %s %s", t.taken(x.Qty, x.Count, x.From), x.Run, span)
	case x.From.Kind == lots.KindVessel:
		return fmt.Sprintf("Fed run %s from %s %s", x.Run, either(x.From), span)
	}
	return fmt.Sprintf("Fed %s to run %s %s", t.named(x.From), x.Run, span)
}

func (t teller) comeBack(x *lots.Return) string {
	state := map[string]string{"empty": " empty", "part": " part full"}[x.State]
	return capital(t.goods(float64(x.Quantity), x.Unit)) + fmt.Sprintf(" came back%s from %s%s, as %s", state, called(t.tx, x.Consignee), t.at(x.At), x.Return)
}

func (t teller) removal(x *lots.Removal) string {
	did := map[string]string{"sample": "Took %s as a sample", "taproom": "Served %s in the taproom", "destroyed": "Destroyed %s", "dumped": "Dumped %s",
		"loss": "Wrote off %s as lost", "supplier-return": "Sent %s back to the supplier"}[x.Reason]
	what := "all that was left in " + x.Subject.Code()
	if !x.All {
		what = t.taken(x.Qty, x.Count, x.Subject)
	}
	return fmt.Sprintf(did, what) + t.at(x.At)
}

// known says what there is from now on.
func (t teller) known(rec lots.Record) string {
	switch x := rec.(type) {
	case *lots.Site:
		return fmt.Sprintf("The site is %s, with times in %s", x.Name, x.Zone)
	case *lots.Item:
		return fmt.Sprintf("Added item %s: %s (%s), counted in %s", x.Code, x.Name, x.Kind, map[bool]string{true: "pieces", false: string(x.Unit)}[x.Unit == "each"])
	case *lots.Party:
		return fmt.Sprintf("Added %s %s: %s", map[string]string{"supplier": "supplier", "consignee": "consignee", "both": "supplier and consignee", "own": "our own place"}[x.Role], x.Code, x.Name)
	case *lots.Vessel:
		return t.vessel(x)
	case *lots.Line:
		return "Added line " + x.Code
	case *lots.Product:
		size := lots.Figure(float64(x.ContainerML)) + " mL"
		if x.ContainerML >= 1000 {
			size = lots.Figure(float64(x.ContainerML)/1000) + " L"
		}
		if x.PerCase > 1 {
			size += fmt.Sprintf(", %d to the case", x.PerCase)
		}
		return fmt.Sprintf("Added product %s: %s, %s", x.Code, x.Name, size)
	}
	return ""
}

func (t teller) vessel(x *lots.Vessel) string {
	kind := map[string]string{"bright": "bright tank", "serving": "serving tank", "gas": "gas vessel"}[x.Kind]
	switch {
	case x.Kind == "path":
		return fmt.Sprintf("Added path %s: beer passes through it", x.Code)
	case kind == "":
		kind = x.Kind
	}
	holds := ""
	if x.Capacity > 0 {
		unit := x.Unit
		if unit == "" {
			unit = t.site.VolumeUnit
		}
		holds = ", which holds " + lots.Figure(x.Capacity) + " " + string(unit)
	}
	return fmt.Sprintf("Added %s %s%s", kind, x.Code, holds)
}

// amount writes a quantity in the unit it was given in, as it was understood.
func (t teller) amount(q lots.Quantity) string {
	unit, err := lots.ParseUnit(cmp.Or(t.row["quantity_unit"], t.row["unit"]))
	if err != nil || unit.Dim() != q.Dim {
		unit = baseUnit(t.site, q.Dim)
	}
	return lots.Figure(unit.Of(float64(q.N))) + " " + string(unit)
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

// of writes how much there is of something with a name: "60 kg of pale malt", "500 × can end".
func (t teller) of(q lots.Quantity, name string) string {
	if q.Dim == lots.Pieces {
		return lots.Figure(float64(q.N)) + " × " + name
	}
	return t.amount(q) + " of " + name
}

// taken writes what was taken of lots and units, or from vessels.
func (t teller) taken(q lots.Quantity, count float64, from lots.Ref) string {
	switch {
	case from.Kind == lots.KindUnit && (count != 0 || q.N == 0):
		return t.goods(count, from)
	case from.Kind == lots.KindRun && q.Dim == lots.Pieces:
		return counted(q.N, "reject") + " of run " + either(from)
	case from.Kind == lots.KindRun:
		return t.amount(q) + " of rejects of run " + either(from)
	case from.Kind == lots.KindVessel:
		return t.amount(q) + " from " + either(from)
	}
	return t.of(q, t.named(from))
}

// goods writes a number of cases of a unit, or the keg that it is.
func (t teller) goods(n float64, of lots.Ref) string {
	thing, _ := t.tx.Thing(of.Codes[0])
	one := caseOrKeg(thing.UnitKind)
	switch {
	case one == "keg" && n == 1:
		return "keg " + either(of)
	case n == 1:
		return "1 case of " + either(of)
	}
	return lots.Figure(n) + " " + one + "s of " + either(of)
}

func (t teller) volume(ml int64) string {
	unit, err := lots.ParseUnit(t.row["unit"])
	if err != nil || unit.Dim() != lots.Volume {
		unit = t.site.VolumeUnit
	}
	return lots.Figure(unit.Of(float64(ml))) + " " + string(unit)
}

// named writes codes, those of received lots with what they are.
func (t teller) named(r lots.Ref) string {
	parts := make([]string, len(r.Codes))
	for i, code := range r.Codes {
		parts[i] = code
		if rec, ok := t.tx.Receipt(code); ok {
			parts[i] = nameOf(t.tx, rec.Item) + " (" + code + ")"
		}
	}
	return strings.Join(parts, " or ")
}

// at writes when something happened; of a bare date, that the time of day is unknown.
func (t teller) at(w lots.When) string {
	if w.Certain() {
		return " at " + t.when(w)
	}
	return " on " + w.Text(t.site.Zone)[:10] + ", time not given"
}

// span writes from when to when, with the day once where it is the same.
func (t teller) span(from, to lots.When) string {
	a, b := t.when(from), t.when(to)
	if from.Certain() && to.Certain() && a[:10] == b[:10] {
		b = b[11:]
	}
	return "from " + a + " to " + b
}

func (t teller) when(w lots.When) string {
	if w.Certain() {
		return strings.Replace(w.Text(t.site.Zone)[:16], "T", " ", 1)
	}
	return "some time on " + w.Text(t.site.Zone)[:10]
}

func either(r lots.Ref) string { return strings.Join(r.Codes, " or ") }

// and lists things: A, B and C.
func and(list []string) string {
	last := len(list) - 1
	if last < 1 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:last], ", ") + " and " + list[last]
}

// capital begins a sentence; digits and codes stay as they are.
func capital(text string) string {
	if rest, ok := strings.CutPrefix(text, "keg "); ok {
		return "Keg " + rest
	}
	return text
}

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
