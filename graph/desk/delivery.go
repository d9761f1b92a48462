package desk

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/doubt"
	"heeltap/lots"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// Delivery is what one lorry brought: several lots of one supplier, recorded together or not at all.
type Delivery struct {
	Supplier, Document, Carrier string
	At                          string // when it came in; empty: now
	Expected                    string // the number of the delivery that its supplier told of; empty where none was chosen
	Lots                        []DeliveredLot
	Papers                      []papers.Paper // kept already; they are attached to each lot
	// Seen are the questions that somebody answered: it is so all the same.
	Seen []string
	By   string
}

// DeliveredLot is one lot of a delivery, as typed.
type DeliveredLot struct {
	Item        string
	SupplierLot string // exactly as printed
	Unmarked    bool   // there is no lot on the goods
	Quantity    string // as counted
	Unit        string // empty: the item's own
	OnPapers    string // how much it is by the papers; empty where nobody compared
	BestBy      string
	Where       string // a vessel that it was put into, or a place
	Status      string // accepted, hold or rejected; empty: accepted
	WaitsFor    string // of one on hold: what has to be settled
	Scan        string // the bar code that it was filled in from, as it came
}

// Received is a delivery as recorded.
type Received struct {
	Lots     []*Said
	Warnings []string // what to know, and was not asked before
	Entries  []int64  // of its rows, and of the holds they came in on
}

// Question is what somebody should look at again before a delivery is recorded.
type Question struct {
	Lot  int    // of the delivery, counted from 1; 0: about all of it
	Text string // what is odd; it is what Delivery.Seen answers with
	Near *doubt.Near
}

// Questions refuse a delivery until somebody has looked again, and answers them by Delivery.Seen.
type Questions []Question

// ErrorKind is Invalid: there is something to look at again.
func (q Questions) ErrorKind() lots.ErrKind { return lots.Invalid }

func (q Questions) Error() string {
	texts := make([]string, len(q))
	for i, x := range q {
		texts[i] = x.Text
	}
	return strings.Join(texts, "\n")
}

// Receive records the lots of a delivery. Faults carry in Line the lot, counted from 1; with 0 they are about the whole
// delivery. What is odd about it is asked first: the error is then Questions, and nothing is recorded.
func Receive(tx *store.Tx, d Delivery) (*Received, error) {
	out := &Received{Warnings: []string{}}
	var faults lots.Faults
	var asked Questions
	d.Lots = slices.Clone(d.Lots)
	for i := range d.Lots {
		notes, _, err := d.TakeScan(tx, i) // a bar code is never taken for what is printed in it
		var said *Said
		var questions Questions
		if err == nil {
			said, questions, err = d.receive(tx, d.Lots[i])
		} else if aboutTheText(err) {
			err = lots.Faults{{Column: "supplier_lot", Reason: err.Error()}}
		}
		if err != nil {
			wrong, ok := faultsOf(err)
			if !ok {
				return nil, err
			}
			faults = append(faults, d.placed(wrong, i+1)...)
			continue
		}
		for _, q := range questions {
			if q.Lot = i + 1; !slices.Contains(d.Seen, q.Text) {
				asked = append(asked, q)
			}
		}
		out.Warnings = append(out.Warnings, notes...)
		out.add(said)
	}
	switch {
	case len(d.Lots) == 0:
		return nil, lots.Errorf(lots.Invalid, "nothing is written down yet: fill in at least one lot")
	case len(faults) > 0:
		return nil, faults
	}
	if err := d.against(tx, out, &asked); err != nil {
		return nil, err
	}
	if len(asked) > 0 {
		return nil, asked
	}
	return out, tx.Err()
}

// against compares what came in with what its supplier told of it, and closes that.
func (d Delivery) against(tx *store.Tx, done *Received, asked *Questions) error {
	if d.Expected == "" {
		return nil
	}
	x, err := ExpectedNamed(tx, d.Expected)
	if err != nil {
		return err
	}
	var received, scans []string
	for i, said := range done.Lots {
		received, scans = append(received, *said.Code), append(scans, d.Lots[i].Scan)
	}
	texts, err := x.Against(tx, received, scans, d.By)
	for _, text := range texts {
		if !slices.Contains(d.Seen, text) {
			*asked = append(*asked, Question{Text: text})
		}
	}
	return err
}

func (r *Received) add(said *Said) {
	r.Lots = append(r.Lots, said)
	r.Entries = append(r.Entries, said.Entry)
	r.Warnings = append(append(r.Warnings, said.Warnings...), said.Findings...)
}

// receive records one lot of the delivery, and tells what is odd about it.
func (d Delivery) receive(tx *store.Tx, lot DeliveredLot) (*Said, Questions, error) {
	row, err := d.row(tx, lot)
	if err != nil {
		return nil, nil, err
	}
	sheet, _ := lots.SheetNamed("receipts")
	said, err := Record(tx, Act{Sheet: sheet, Row: row, By: d.By, Reason: lot.WaitsFor})
	if err != nil {
		return nil, nil, err
	}
	asked, err := said.ask(tx)
	if err != nil {
		return nil, nil, err
	}
	if err := noteScan(tx, said.Entry, lot.Scan, d.By); err != nil {
		return nil, nil, err
	}
	short, err := d.compare(tx, said, lot)
	if err != nil {
		return nil, nil, err
	}
	for _, p := range d.Papers {
		if _, err := Attach(tx, *said.Code, p, d.By); err != nil {
			return nil, nil, err
		}
	}
	return said, slices.Concat(asked, short, noVessel(tx, row["place"])), nil
}

// row is a lot of the delivery as a row of its sheet; faults are what only the dock can say.
func (d Delivery) row(tx *store.Tx, lot DeliveredLot) (lots.Row, error) {
	var faults lots.Faults
	switch {
	case lot.Unmarked && lot.SupplierLot != "" && lot.SupplierLot != "-":
		faults = append(faults, lots.Fault{Column: "supplier_lot", Reason: "there is a lot here, and it is said that there is none on the goods: which is it?"})
	case lot.Unmarked:
		lot.SupplierLot = "-"
	case lot.SupplierLot == "":
		faults = append(faults, lots.Fault{Column: "supplier_lot", Reason: "scan or type the supplier's lot exactly as printed; if there is none on the goods, tick that"})
	}
	if lot.Status == "hold" && strings.TrimSpace(lot.WaitsFor) == "" {
		faults = append(faults, lots.Fault{Column: "waits_for", Reason: "say what it waits for: nobody can let it go otherwise"})
	}
	if lot.Status != "hold" {
		if strings.TrimSpace(lot.WaitsFor) != "" {
			faults = append(faults, lots.Fault{Column: "status", Reason: "it waits for something: then it is on hold"})
		}
	}
	into, place, err := whereMeant(tx, lot.Where)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, faults
	}
	row := lots.Row{"item": lot.Item, "supplier": d.Supplier, "supplier_lot": lot.SupplierLot, "quantity": lot.Quantity, "unit": lot.Unit, "received_at": d.At,
		"best_by": lot.BestBy, "into": into, "place": place, "carrier": d.Carrier, "document": d.Document, "status": lot.Status}
	for column, text := range row {
		if text == "" {
			delete(row, column)
		}
	}
	return row, nil
}

// whereMeant tells a vessel from a place.
func whereMeant(tx *store.Tx, text string) (into, place string, err error) {
	if text == "" {
		return "", "", nil
	}
	sheet, _ := lots.SheetNamed("receipts")
	column := lots.Column{}
	for _, c := range sheet.Columns {
		if c.Name == "into" {
			column = c
		}
	}
	code, err := readAsCode(tx, column, text)
	switch {
	case code != "":
		return code, "", tx.Err()
	case err != nil && !aboutTheText(err):
		return "", "", err
	case err != nil:
		return "", "", lots.Faults{{Column: "where", Reason: err.Error()}}
	}
	return "", text, tx.Err()
}

// noVessel asks about a place that is nearly a vessel's code.
func noVessel(tx *store.Tx, place string) Questions {
	near := tx.Nearest(place, lots.KindVessel)
	if place == "" || len(near) == 0 {
		return nil
	}
	return Questions{{Text: fmt.Sprintf("There is no vessel %q: was it put into %s? As it stands, it is a place.", place, strings.Join(near, " or "))}}
}

// ask tells what is odd about a lot that was just recorded. What is asked is no warning afterwards.
func (said *Said) ask(tx *store.Tx) (Questions, error) {
	texts, near, err := doubt.Apart(tx, said.Entry)
	if err != nil {
		return nil, err
	}
	all, err := doubt.Of(tx, said.Entry)
	if err != nil {
		return nil, err
	}
	said.Warnings = slices.DeleteFunc(said.Warnings, func(w string) bool { return slices.Contains(all, w) })
	var out Questions
	for _, t := range texts {
		out = append(out, Question{Text: asQuestion(t, *said.Code)})
	}
	if near != nil {
		known := near.Like[len(near.Like)-1]
		out = append(out, Question{Text: fmt.Sprintf("Did you mean supplier's lot %s? It came in %s as %s, and %s.", known.SupplierLot, day(tx, known.At), known.Lot, known.How), Near: near})
	}
	return out, nil
}

// compare tells where what was counted is not what the papers say, and puts what they say on record.
func (d Delivery) compare(tx *store.Tx, said *Said, lot DeliveredLot) (Questions, error) {
	if lot.OnPapers == "" {
		return nil, nil
	}
	rec, _ := tx.Record(said.Entry)
	r, ok := rec.(*lots.Receipt)
	if !ok {
		return nil, tx.Err()
	}
	sheet, _ := lots.SheetNamed("receipts")
	row := lots.Row{"quantity": lot.OnPapers, "unit": string(r.Unit)}
	if word := strings.TrimLeft(lot.OnPapers, "0123456789.,'’ "); word != "" {
		delete(row, "unit") // it is written beside the number
	}
	_, faults := lots.Plain(sheet, row, tx.Manner())
	unit, err := lots.ParseUnit(row["unit"])
	if len(faults) > 0 || err != nil {
		return nil, lots.Faults{{Column: "on_papers", Reason: "this is no quantity: write a number, and a unit if it is another than beside it"}}
	}
	q, err := lots.ParseQuantity(row["quantity"], unit)
	switch {
	case err != nil:
		return nil, lots.Faults{{Column: "on_papers", Reason: err.Error()}}
	case q.Dim != r.Qty.Dim:
		return nil, lots.Faults{{Column: "on_papers", Reason: fmt.Sprintf("%s cannot be compared with %s", unit, r.Unit)}}
	}
	if err := notePapers(tx, r.Lot, row["quantity"], string(unit), d.By); err != nil || q == r.Qty {
		return nil, err
	}
	return Questions{{Text: fmt.Sprintf("The papers say %s %s of %s, and you counted %s %s. Count again; if it is so, both are kept.", lots.FigureOf(unit.Of(float64(q.N)), string(unit)), unit,
		nameOf(tx, r.Item), lots.FigureOf(r.Unit.Of(float64(r.Qty.N)), string(r.Unit)), r.Unit)}}, nil
}

// placed says which lot of a delivery faults are about, and which are about all of it.
func (d Delivery) placed(faults lots.Faults, lot int) (out lots.Faults) {
	for _, f := range faults {
		f.Line = lot
		switch f.Column {
		case "supplier", "document", "carrier", "received_at":
			if f.Line = 0; lot > 1 {
				continue // it was said of the first
			}
		case "into", "place":
			f.Column = "where"
		}
		out = append(out, f)
	}
	return out
}

// faultsOf is an error about what was typed as faults; false where it is none.
func faultsOf(err error) (lots.Faults, bool) {
	if faults, ok := errors.AsType[lots.Faults](err); ok {
		return faults, true
	}
	if aboutTheText(err) {
		return lots.Faults{{Reason: err.Error()}}, true
	}
	return nil, false
}

// TakeScan fills a lot from the bar code that was scanned where its supplier's lot or its item is typed; what it says
// stands over what was filled in before it. Notes are what else to know; false where it is no bar code.
func (d *Delivery) TakeScan(tx *store.Tx, i int) (notes []string, taken bool, err error) {
	l := &d.Lots[i]
	s, err := ReadLabel(tx, l.SupplierLot)
	if _, ours := tx.Item(l.Item); err == nil && s == nil && !ours {
		if s, err = ReadLabel(tx, l.Item); s != nil {
			l.Item = ""
			if s.Cells["supplier_lot"] == "" {
				s.Cells["supplier_lot"] = l.SupplierLot
			}
		}
	}
	if err != nil || s == nil {
		return nil, false, err
	}
	l.Scan, l.SupplierLot = s.Kept, s.Cells["supplier_lot"]
	for column, cell := range map[string]*string{"item": &l.Item, "best_by": &l.BestBy} {
		if text := s.Cells[column]; text != "" {
			*cell = text
		}
	}
	switch supplier := s.Cells["supplier"]; {
	case supplier == "" || supplier == d.Supplier:
	case d.Supplier == "":
		d.Supplier = supplier
	default:
		s.note("By the bar code it is from %s.", called(tx, supplier))
	}
	if s.Cells["quantity"] != "" && l.Quantity == "" {
		l.Quantity, l.Unit = s.Cells["quantity"], s.Cells["unit"]
	}
	return s.Notes, true, nil
}
