package desk

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Loaded is what is on a lorry: a shipment with its units, as its loading list says them.
type Loaded struct {
	Shipment, Consignee, Name, Address string
	Document, Carrier                  string
	When                               string // when the first unit went on; of today, the time
	Day                                string // the same with its day, for papers
	Units                              []LoadedUnit
	Total                              lots.Packages
	Pallets                            int // of the units: those that are no kegs
}

// LoadedUnit is one row of a shipment.
type LoadedUnit struct {
	Entry     int64
	Unit      string
	Product   string
	DateCodes []string
	Quantity  string
	Here      string // what of it is still here; empty where it went whole
	At, By    string
	Stopped   bool // it is on hold, whether since or before
}

// LoadedOn tells what is on a shipment, in the order in which it went on.
func LoadedOn(tx *store.Tx, code string) (*Loaded, error) {
	first, ok := shipmentRow(tx, code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "there is no shipment %s", code)
	}
	l := loadedFor(tx, Loading{code, first.Consignee, first.Document, first.Carrier})
	l.When, l.Day = moment(tx, first.At), stampOf(tx, first.At)
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	for _, rec := range tx.Touching(code) {
		s, ok := rec.(*lots.Shipment)
		if !ok || s.Shipment != code {
			continue
		}
		if err := l.add(tx, s, holds); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(l.Units, func(a, b LoadedUnit) int { return cmp.Compare(a.Entry, b.Entry) })
	return l, tx.Err()
}

// loadedFor is a lorry with nothing on it yet.
func loadedFor(tx *store.Tx, l Loading) *Loaded {
	out := &Loaded{Shipment: l.Shipment, Consignee: l.Consignee, Name: nameOf(tx, l.Consignee), Document: l.Document, Carrier: l.Carrier}
	if p, ok := tx.Party(l.Consignee); ok {
		out.Address = p.Address
	}
	return out
}

// Begun is a lorry that is about to be loaded. The error is about the consignee.
func Begun(tx *store.Tx, l Loading) (*Loaded, error) {
	if strings.TrimSpace(l.Consignee) == "" {
		return nil, lots.Errorf(lots.Invalid, "say who it goes to")
	}
	sheet, _ := lots.SheetNamed("shipments")
	i := slices.IndexFunc(sheet.Columns, func(c lots.Column) bool { return c.Name == "consignee" })
	code, err := codeMeant(tx, sheet.Columns[i], l.Consignee)
	if err != nil {
		return nil, err
	}
	l.Consignee = cmp.Or(code, l.Consignee)
	if _, ok := tx.Party(l.Consignee); !ok {
		return nil, noSuch(tx, lots.KindParty, l.Consignee, nil)
	}
	return loadedFor(tx, l), tx.Err()
}

func (l *Loaded) add(tx *store.Tx, s *lots.Shipment, holds *trace.Standing) error {
	u := LoadedUnit{Entry: s.Seq, Unit: strings.Join(s.Unit.Codes, " or "), At: moment(tx, s.At), By: s.By}
	unit := s.Unit.Code()
	u.Product, u.DateCodes = contentsOf(tx, unit)
	u.Quantity = packages(tx, unit, float64(s.Quantity))
	if here := trace.BooksOf(tx, unit).OnHand(); here > 0 && !s.Unit.OneOf() {
		u.Here = packages(tx, unit, here)
	}
	band, err := holds.On(lots.KindUnit, unit)
	u.Stopped = band.String() == "in"
	l.Total.Add(isKeg(tx, unit), float64(s.Quantity))
	if !isKeg(tx, unit) {
		l.Pallets++
	}
	l.Units = append(l.Units, u)
	return err
}

// contentsOf tells what is on a unit: its product by name, and the date codes of its runs.
func contentsOf(tx *store.Tx, unit string) (product string, codes []string) {
	var products []string
	for _, rec := range tx.Touching(unit) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != unit {
			continue
		}
		if run, ok := tx.Run(p.Run); ok {
			products, codes = append(products, nameOf(tx, run.Product)), append(codes, run.DateCode)
		}
	}
	slices.Sort(products)
	slices.Sort(codes)
	return strings.Join(slices.Compact(products), ", "), slices.Compact(codes)
}

// LoadedToday lists the shipments of which something left today, the newest first.
func LoadedToday(tx *store.Tx) (out []*Loaded, err error) {
	records, err := tx.Records("shipments")
	if err != nil {
		return nil, err
	}
	from := today(tx)
	var codes []string
	for _, rec := range records {
		if s := rec.(*lots.Shipment); s.At.To >= from && !slices.Contains(codes, s.Shipment) {
			codes = append(codes, s.Shipment)
		}
	}
	slices.Reverse(codes)
	for _, code := range codes {
		l, err := LoadedOn(tx, code)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// Unload takes the last unit off a shipment again: it was scanned by mistake. Whoever may correct only what is in
// their own names gives these.
func Unload(tx *store.Tx, code string, own []string, by string) (unit string, err error) {
	l, err := LoadedOn(tx, code)
	if err != nil {
		return "", err
	}
	last := l.Units[len(l.Units)-1]
	entry, _, err := tx.Entry(last.Entry)
	if err != nil {
		return "", err
	}
	if own != nil && !slices.Contains(own, entry.By) {
		return "", lots.Errorf(lots.Conflict, "%s was put on by %s: they can take it off, or somebody in quality", last.Unit, entry.By)
	}
	_, err = Void(tx, Change{Name: strconv.FormatInt(last.Entry, 10), Reason: "scanned by mistake while loading", By: by})
	return last.Unit, err
}
