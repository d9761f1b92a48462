package desk

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/store"
)

// Scanned is what a bar code on goods says about a delivery, for a person to check.
type Scanned struct {
	Kept  string            // the scan exactly as it came, with separators visible
	Cells map[string]string // by column of receipts; the supplier's lot stands as it was printed
	Notes []string          // what else it says, and what is to be looked at
}

// aboutGTIN begins what the steps about a supplier's GTIN are about; its 14 digits follow.
const aboutGTIN = "gtin "

// stepGTIN says which item of which supplier bears a GTIN. It is stored.
const stepGTIN = "is"

type gtinStep struct {
	Do       string `json:"do"`
	Item     string `json:"item"`
	Supplier string `json:"supplier"`
}

// ReadLabel reads a bar code on goods that came in. A text that is none gives nil: it may be a supplier's lot as it stands.
// One that is meant to be one and cannot be read is an error that names the character.
func ReadLabel(tx *store.Tx, text string) (*Scanned, error) {
	m, err := gs1.Scan(text)
	if errors.Is(err, gs1.ErrNone) {
		return nil, nil
	}
	if wrong, ok := errors.AsType[*gs1.Error](err); ok {
		return nil, lots.Errorf(lots.Invalid, "%w; scan it again, or type the supplier's lot as printed", wrong)
	}
	if err != nil {
		return nil, err
	}
	s := &Scanned{Kept: gs1.Keep(text), Cells: map[string]string{}}
	if m.Doubt != "" {
		s.note("%s.", m.Doubt)
	}
	s.lot(m)
	s.dates(tx, m)
	if err := s.names(tx, m); err != nil {
		return nil, err
	}
	s.quantity(tx, m)
	return s, tx.Err()
}

func (s *Scanned) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// lot takes the supplier's lot, and what identifies the goods besides.
func (s *Scanned) lot(m gs1.Message) {
	if lot, ok := m.Value("10"); ok {
		s.Cells["supplier_lot"] = lot
	} else {
		s.note("The bar code holds no lot: scan the other one on the label, or type it.")
	}
	for _, x := range [][2]string{{"00", "pallet (SSCC)"}, {"21", "serial number"}, {"400", "our order"}} {
		if value, ok := m.Value(x[0]); ok {
			s.note("The label says %s %s.", x[1], value)
		}
	}
}

// dates takes the day until when it may be used; where only a month is printed, its last day.
func (s *Scanned) dates(tx *store.Tx, m gs1.Message) {
	now := tx.Recorded()
	for _, id := range []string{"17", "15", "16"} {
		if digits, ok := m.Value(id); ok && s.Cells["best_by"] == "" {
			day := gs1.ReadDay(digits, now)
			s.Cells["best_by"] = day.Last().String()
			if day.Day == 0 {
				s.note("The label gives the best-by as the month %s: that is until its last day.", day)
			}
		}
	}
	if digits, ok := m.Value("7003"); ok && s.Cells["best_by"] == "" {
		s.Cells["best_by"] = gs1.ReadDay(digits[:6], now).String()
	}
	for _, x := range [][2]string{{"11", "produced"}, {"13", "packed"}} {
		if digits, ok := m.Value(x[0]); ok {
			s.note("The label says %s %s.", x[1], gs1.ReadDay(digits, now))
		}
	}
}

// gtinsOf lists the trade items that a bar code names: what it is on, and what that holds.
func gtinsOf(m gs1.Message) (out []string) {
	for _, id := range []string{"01", "02"} {
		if gtin, ok := m.Value(id); ok {
			out = append(out, gtin)
		}
	}
	return out
}

// names finds the item and the supplier: by the GTIN as it was received before, by our own code where the supplier
// prints it, and by a location number of a party we know.
func (s *Scanned) names(tx *store.Tx, m gs1.Message) error {
	for _, gtin := range gtinsOf(m) {
		known, err := knownGTIN(tx, gtin)
		if err != nil {
			return err
		}
		if known == nil {
			s.note("Nothing came in with GTIN %s before: once this is logged, it is known.", gtin)
			continue
		}
		s.Cells["item"], s.Cells["supplier"] = known.Item, known.Supplier
	}
	if ours, ok := m.Value("241"); ok && s.Cells["item"] == "" {
		if _, ok := tx.Item(ours); ok {
			s.Cells["item"] = ours
		}
	}
	for _, id := range []string{"412", "416", "414", "417"} {
		gln, ok := m.Value(id)
		if !ok {
			continue
		}
		for _, code := range tx.CodesOf(lots.KindParty) {
			if p, ok := tx.Party(code); ok && p.GLN == gln && s.Cells["supplier"] == "" {
				s.Cells["supplier"] = code
			}
		}
	}
	for column, text := range s.Cells {
		if text == "" {
			delete(s.Cells, column)
		}
	}
	return tx.Err()
}

// quantity takes the net weight or volume, or the count where the item is counted in pieces.
func (s *Scanned) quantity(tx *store.Tx, m gs1.Message) {
	item, known := tx.Item(s.Cells["item"])
	if number, unit, ok := m.Measure(); ok {
		if count, several := m.Value("37"); several && count != "1" {
			s.note("The label says %s %s and %s pieces: how much all of it is, is yours to say.", number, unit, count)
			return
		}
		s.Cells["quantity"], s.Cells["unit"] = number, unit
		return
	}
	count, ok := m.Value("30")
	if !ok {
		count, ok = m.Value("37")
	}
	switch {
	case !ok:
	case known && item.Unit.Dim() == lots.Pieces:
		_, single := m.Value("30")
		if single {
			s.Cells["quantity"], s.Cells["unit"] = count, "each"
			return
		}
		s.note("The label says that there are %s trade units on it: how many pieces that is, is yours to say.", count)
	default:
		s.note("The label says %s of it.", count)
	}
}

// knownGTIN is what bore a GTIN when it last came in; nil where none did.
func knownGTIN(tx *store.Tx, gtin string) (*gtinStep, error) {
	var last *gtinStep
	err := tx.Acts(aboutGTIN+gtin, func(e *store.Entry, step []byte) error {
		s := &gtinStep{}
		if err := json.Unmarshal(step, s); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
		}
		last = s
		return nil
	})
	return last, cmp.Or(err, tx.Err())
}

// noteScan puts on record what was scanned for a lot, and what its GTIN is from now on.
func noteScan(tx *store.Tx, entry int64, scan, by string) error {
	rec, _ := tx.Record(entry)
	r, ok := rec.(*lots.Receipt)
	if !ok || scan == "" {
		return tx.Err()
	}
	if _, err := tx.Act(aboutPapers+r.Lot, paperStep{Do: stepScan, Scan: scan}, by); err != nil {
		return err
	}
	m, err := gs1.Scan(scan)
	if err != nil {
		return nil // it was kept from a form as it came, and says no more than that
	}
	for _, gtin := range gtinsOf(m) {
		known, err := knownGTIN(tx, gtin)
		if err != nil {
			return err
		}
		is := gtinStep{stepGTIN, r.Item, r.Supplier}
		if known != nil && *known == is {
			continue
		}
		if _, err := tx.Act(aboutGTIN+gtin, is, by); err != nil {
			return err
		}
	}
	return nil
}

// FillFromScan puts what a bar code says into the cells of a receipt that are empty. What was typed and says something
// else is refused: one of the two is wrong.
func FillFromScan(tx *store.Tx, row lots.Row, scan string) (s *Scanned, err error) {
	if s, err = ReadLabel(tx, scan); err != nil {
		return nil, err
	}
	if s == nil {
		return nil, lots.Errorf(lots.Invalid, "%q is no GS1 bar code: give what is printed with --supplier-lot", scan)
	}
	var faults lots.Faults
	measured := row["quantity"] != ""
	for column, text := range s.Cells {
		switch {
		case (column == "quantity" || column == "unit") && measured: // what was counted stands over what is printed
		case column == "supplier_lot" && row[column] != "" && row[column] != text:
			faults = append(faults, lots.Fault{Column: column, Reason: fmt.Sprintf("the bar code says %q, and %q was typed: look at the goods again", text, row[column])})
		case row[column] == "":
			row[column] = text
		case (column == "item" || column == "supplier") && row[column] != text && !strings.EqualFold(row[column], nameOf(tx, text)):
			s.note("By the bar code the %s is %s, as it came in before; %s was typed.", column, called(tx, text), row[column])
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return s, nil
}

// FromOutside reports whether a text is the bar code of goods with a lot that is not recorded, and of nothing that is
// packed here: of a delivery, most likely, that has just come in.
func FromOutside(tx *store.Tx, text string) bool {
	s, err := ReadLabel(tx, text)
	if err != nil || s == nil || s.Cells["supplier_lot"] == "" {
		return false
	}
	for _, code := range tx.CodesOf(lots.KindProduct) {
		if p, ok := tx.Product(code); ok && p.GTIN != "" && strings.Contains(s.Kept, strings.TrimLeft(p.GTIN, "0")) {
			return false
		}
	}
	return true
}
