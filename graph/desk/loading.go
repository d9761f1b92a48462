package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/trace"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Loading is a lorry being loaded: a shipment, and what its paper says. Without a code it is a new one.
type Loading struct{ Shipment, Consignee, Document, Carrier string }

// Scan is one unit that was scanned: all of it that is here, or so many of it.
type Scan struct {
	Unit, Quantity string
	Override       string // why it may go though it is on hold
	By             string
}

// Load records that a unit was put on a lorry, at once, so that the records are true at any moment of the loading.
func Load(tx *store.Tx, l Loading, scan Scan) (*Said, error) {
	sheet, _ := lots.SheetNamed("shipments")
	if l.Shipment != "" {
		first, ok := shipmentRow(tx, l.Shipment)
		if !ok {
			return nil, lots.Errorf(lots.NotFound, "there is no shipment %s: start a new one", l.Shipment)
		}
		l.Consignee, l.Document, l.Carrier = first.Consignee, first.Document, first.Carrier
	}
	unit, err := unitScanned(tx, sheet, scan.Unit)
	if err != nil {
		return nil, err
	}
	if scan.Quantity == "" {
		if scan.Quantity, err = l.allOf(tx, unit); err != nil {
			return nil, err
		}
	}
	row := lots.Row{"unit": unit, "quantity": scan.Quantity, "consignee": l.Consignee}
	for column, text := range map[string]string{"shipment": l.Shipment, "document": l.Document, "carrier": l.Carrier} {
		if text != "" {
			row[column] = text
		}
	}
	return Record(tx, Act{Sheet: sheet, Row: row, By: scan.By, Override: scan.Override})
}

// allOf is how much of a unit is here by the books, as a row says it.
func (l Loading) allOf(tx *store.Tx, unit string) (string, error) {
	if _, ok := tx.Thing(unit); !ok || strings.Contains(unit, "|") {
		return "1", nil // whoever reads the row says what is wrong with the unit, or how many of several it was
	}
	for _, rec := range tx.Touching(unit) {
		if s, ok := rec.(*lots.Shipment); ok && s.Shipment == l.Shipment && l.Shipment != "" {
			return "", lots.Errorf(lots.Conflict, "%s is on this lorry already: %s. If more of it goes on, say how many", unit, packages(tx, unit, float64(s.Quantity)))
		}
	}
	here := trace.BooksOf(tx, unit).OnHand()
	if here < 1 {
		return "", lots.Errorf(lots.Conflict, "by the books nothing of %s is here%s. Read the tag again; if it is here, say how many go, and find out why", unit, lastGone(tx, unit))
	}
	return strconv.FormatInt(int64(here), 10), nil
}

// lastGone tells where a unit went last.
func lastGone(tx *store.Tx, unit string) (text string) {
	for _, rec := range tx.Touching(unit) {
		if s, ok := rec.(*lots.Shipment); ok {
			text = fmt.Sprintf(": it went to %s on %s (%s)", called(tx, s.Consignee), moment(tx, s.At), s.Shipment)
		}
	}
	return text
}

// unitScanned is the unit that a scanned text means; the text itself where it means none.
func unitScanned(tx *store.Tx, sheet *lots.Sheet, text string) (string, error) {
	text = labels.ParsePayload(text)
	if text == "" {
		return "", lots.Faults{{Column: "unit", Reason: "scan the tag, or type its code"}}
	}
	i := slices.IndexFunc(sheet.Columns, func(c lots.Column) bool { return c.Name == "unit" || c.Name == "subject" })
	code, err := codeMeant(tx, sheet.Columns[i], text)
	return cmp.Or(code, text), err
}

// packages counts cases or kegs of a unit.
func packages(tx *store.Tx, unit string, n float64) string {
	var p lots.Packages
	p.Add(isKeg(tx, unit), n)
	return p.String()
}

func isKeg(tx *store.Tx, unit string) bool {
	thing, _ := tx.Thing(unit)
	return thing.UnitKind == "keg"
}

func shipmentRow(tx *store.Tx, code string) (*lots.Shipment, bool) {
	return store.First(tx, code, func(s *lots.Shipment) bool { return s.Shipment == code })
}
