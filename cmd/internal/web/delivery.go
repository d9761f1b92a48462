package web

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// mostLots is more than one lorry brings.
const mostLots = 60

// delivery is what was sent of a delivery. Where lots were left empty, numbers says at which places those stand that
// the desk was given.
type delivery struct {
	desk.Delivery
	numbers []int
	late    bool // typed in from paper
}

// deliveryOf reads a delivery as it was typed; with no number of lots, one whose cells are named without one.
func deliveryOf(v *visit) delivery {
	d := delivery{Delivery: desk.Delivery{Supplier: v.field("supplier"), Document: v.field("document"), Carrier: v.field("carrier"), At: v.field("received_at"),
		Expected: v.field("expected"), Seen: v.r.Form["seen"], By: v.by()}, late: v.field("late") != ""}
	n, err := strconv.Atoi(v.field("lots"))
	if err != nil || n < 1 {
		d.Lots = []desk.DeliveredLot{deliveredLot(v, "")}
		return d
	}
	for i := range min(n, mostLots) {
		d.Lots = append(d.Lots, deliveredLot(v, fmt.Sprintf(".%d", i+1)))
	}
	return d
}

func deliveredLot(v *visit, at string) desk.DeliveredLot {
	return desk.DeliveredLot{Item: v.field("item" + at), SupplierLot: v.field("supplier_lot" + at), Unmarked: v.field("unmarked"+at) != "", Quantity: v.field("quantity" + at),
		Unit: v.field("unit" + at), OnPapers: v.field("on_papers" + at), BestBy: v.field("best_by" + at), Where: v.field("where" + at), Status: v.field("status" + at),
		WaitsFor: v.field("waits_for" + at), Scan: v.field("scan" + at)}
}

// filled leaves out the lots that nothing was typed for, and says where the others stand. Of nothing at all the last
// stays, so that it is said what is missing. Of a delivery that was told of, what was not counted did not come: that is asked.
func filled(all []desk.DeliveredLot, expected bool) (out []desk.DeliveredLot, numbers []int) {
	for i, l := range all {
		empty := l
		empty.Status, empty.Unit = "", ""
		if expected && l.Quantity == "" && l.Scan == "" {
			empty.Item, empty.SupplierLot = "", ""
		}
		if empty != (desk.DeliveredLot{}) || i == len(all)-1 && len(out) == 0 {
			out, numbers = append(out, l), append(numbers, i)
		}
	}
	return out, numbers
}

// takeFix puts the known lot in place of one that was nearly it, where somebody pressed that.
func (d *delivery) takeFix(press string) {
	rest, ok := strings.CutPrefix(press, "it is ")
	if !ok {
		return
	}
	number, lot, _ := strings.Cut(rest, " ")
	if n, err := strconv.Atoi(number); err == nil && n >= 1 && n <= len(d.Lots) {
		d.Lots[n-1].SupplierLot = lot
	}
}

// deliveryForm is a delivery to be filled in.
type deliveryForm struct {
	Token, Back string
	Expected    *desk.Expected // what its supplier told of it; nil where none was chosen
	Late        bool           // typed in from paper: when it came in is asked first
	Supplier    field
	More        []field // of the whole delivery
	Lots        []lotFields
	Papers      []papers.Paper // kept already
	Said        []string
	Questions   []question
	Seen        []string
}

// lotFields are the fields of one lot.
type lotFields struct {
	N        int
	Legend   string
	Item     field
	Lot      field
	Unmarked bool
	Quantity field
	More     []field
	Open     bool // what is seldom needed is needed now
	Said     []string
	Scan     string   // what its fields were filled in from
	Notes    []string // what else the bar code says
}

// question is something to look at again, with what to press where it was a slip.
type question struct {
	Legend string
	Text   string
	Fix    string // the value of the button that puts it right; empty where there is none
	FixTo  string
}

// newDeliveryForm is the form with what was typed filled in.
func newDeliveryForm(tx *store.Tx, d delivery) (*deliveryForm, error) {
	sheet, err := sheetFor("receive")
	if err != nil {
		return nil, err
	}
	one := func(column, text string) (field, error) {
		return describeOne(tx, sheet, columnIn(sheet, column), lots.Row{column: text})
	}
	f := &deliveryForm{Papers: d.Papers, Seen: d.Seen, Late: d.late}
	if f.Supplier, err = one("supplier", d.Supplier); err != nil {
		return nil, err
	}
	for _, c := range [][2]string{{"document", d.Document}, {"carrier", d.Carrier}, {"received_at", d.At}} {
		x, err := one(c[0], c[1])
		if err != nil {
			return nil, err
		}
		f.More = append(f.More, x)
	}
	f.More[0].Label = "Delivery note"
	if f.Late {
		at := &f.More[2]
		at.Need, at.Now = true, false
	}
	for i, l := range d.Lots {
		lf, err := lotFieldsOf(one, i+1, len(d.Lots), l)
		if err != nil {
			return nil, err
		}
		f.Lots = append(f.Lots, lf)
	}
	if d.Expected != "" {
		if f.Expected, err = desk.ExpectedNamed(tx, d.Expected); err != nil {
			return nil, err
		}
	}
	f.focus()
	return f, nil
}

// lotFieldsOf are the fields of one lot with what was typed.
func lotFieldsOf(one func(column, text string) (field, error), n, of int, l desk.DeliveredLot) (lotFields, error) {
	lf := lotFields{N: n, Legend: legend(n, of), Unmarked: l.Unmarked, Scan: l.Scan}
	var err error
	get := func(column, text string) field {
		x, failed := one(column, text)
		if failed != nil {
			err = failed
		}
		x.Name = fmt.Sprintf("%s.%d", column, n)
		return x
	}
	lf.Item, lf.Lot, lf.Quantity = get("item", l.Item), get("supplier_lot", l.SupplierLot), get("quantity", l.Quantity)
	lf.Lot.Kind, lf.Lot.Help, lf.Quantity.Help = "code", "Scan the label, or type it exactly as printed.", "Without a unit it is the item's own."
	lf.Quantity.UnitName, lf.Quantity.Unit = fmt.Sprintf("unit.%d", n), l.Unit
	where := get("into", l.Where)
	where.Name, where.Label, where.Help = fmt.Sprintf("where.%d", n), "Where it was put", "A place, or the silo or tank it went into."
	status := get("status", l.Status)
	status.Options = options(l.Status, true, "accepted", "hold", "rejected")
	if l.Status == "" {
		status.Options = options("accepted", true, "accepted", "hold", "rejected")
	}
	papers := field{Name: fmt.Sprintf("on_papers.%d", n), Label: "Quantity on the papers", Help: "If you counted: both are kept.", Value: l.OnPapers, Kind: "number"}
	waits := field{Name: fmt.Sprintf("waits_for.%d", n), Label: "On hold: what it waits for", Value: l.WaitsFor, Kind: "text"}
	lf.More = []field{get("best_by", l.BestBy), where, papers, status, waits}
	lf.Open = l.BestBy+l.Where+l.OnPapers+l.WaitsFor != "" || l.Status != "" && l.Status != "accepted"
	return lf, err
}

// columnIn is a column of a sheet by its name.
func columnIn(s *lots.Sheet, name string) lots.Column {
	i := slices.IndexFunc(s.Columns, func(c lots.Column) bool { return c.Name == name })
	return s.Columns[i]
}

// focus marks the first field to fill in.
func (f *deliveryForm) focus() {
	first := []*field{&f.Supplier}
	for i := range f.Lots {
		first = append(first, &f.Lots[i].Item, &f.Lots[i].Lot, &f.Lots[i].Quantity)
	}
	for _, x := range first {
		if x.Value == "" {
			x.Focus = true
			return
		}
	}
}

// focusLast marks the first field of the last lot.
func (f *deliveryForm) focusLast() {
	f.Supplier.Focus = false
	for i := range f.Lots {
		l := &f.Lots[i]
		l.Item.Focus, l.Lot.Focus, l.Quantity.Focus = i == len(f.Lots)-1, false, false
	}
}

// take says on the form why it was refused, or what is asked. Numbers say where the lots stand that the desk was given.
func (f *deliveryForm) take(why error, numbers []int) {
	if asked, ok := errors.AsType[desk.Questions](why); ok {
		for _, q := range asked {
			if q.Lot == 0 { // about the whole delivery
				f.Questions, f.Seen = append(f.Questions, question{Text: q.Text}), append(f.Seen, q.Text)
				continue
			}
			f.ask(q, numbers[q.Lot-1]+1)
		}
		return
	}
	faults, ok := errors.AsType[lots.Faults](why)
	if !ok && why != nil {
		f.Said = append(f.Said, onPage(why.Error()))
	}
	for _, x := range faults {
		if x.Line > 0 {
			f.Lots[numbers[x.Line-1]].mark(x)
		} else if !markOne(x, &f.Supplier) && !markAny(x, f.More) {
			f.Said = append(f.Said, onPage(x.Reason))
		}
	}
	if len(faults) > 0 && len(f.Said) == 0 {
		f.Said = []string{"Put right what is marked below, and send it again."}
	}
}

// suggest offers what may have been meant, in all fields that were refused.
func (f *deliveryForm) suggest(tx *store.Tx) error {
	if err := f.Supplier.suggest(tx); err != nil {
		return err
	}
	for i := range f.Lots {
		if err := f.Lots[i].Item.suggest(tx); err != nil {
			return err
		}
	}
	return nil
}

func (f *deliveryForm) ask(q desk.Question, at int) {
	x := question{Text: q.Text}
	if len(f.Lots) > 1 {
		x.Legend = legend(at, len(f.Lots))
	}
	if q.Near != nil {
		x.FixTo = q.Near.Like[len(q.Near.Like)-1].SupplierLot
		x.Fix = fmt.Sprintf("it is %d %s", at, x.FixTo)
	}
	f.Questions = append(f.Questions, x)
	f.Seen = append(f.Seen, q.Text)
}

// mark puts a fault beside its field; one about the whole lot is said above it.
func (l *lotFields) mark(x lots.Fault) {
	x.Column += fmt.Sprintf(".%d", l.N)
	for _, f := range []*field{&l.Item, &l.Lot, &l.Quantity} {
		if markOne(x, f) {
			return
		}
	}
	if l.Open = markAny(x, l.More) || l.Open; !slices.ContainsFunc(l.More, func(f field) bool { return f.Name == x.Column }) {
		l.Said = append(l.Said, onPage(x.Reason))
	}
}

// markOne puts a fault beside a field, if it is about that.
func markOne(x lots.Fault, f *field) bool {
	if f.Name != x.Column && (f.UnitName == "" || f.UnitName != x.Column) {
		return false
	}
	if f.Fault == "" {
		f.Fault = capital(onPage(x.Reason))
	}
	return true
}

func markAny(x lots.Fault, list []field) bool {
	for i := range list {
		if markOne(x, &list[i]) {
			return true
		}
	}
	return false
}
