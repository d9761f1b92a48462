package desk

import (
	"cmp"
	"errors"
	"math"
	"slices"
	"strconv"

	"heeltap/graph/stock"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Counting is the counting of one place, or of all, as it stands: what was counted since it began, and what was not.
type Counting struct {
	Place   string // empty: everywhere
	Counted []Tallied
	Missing []Tallied // must be here by the books, and nobody has counted it
}

// Tallied is one unit or lot, by the books and as counted.
type Tallied struct {
	Code, What string
	Kind       lots.Kind
	Booked     string // by the books: of a unit when it was counted, of a lot now
	Counted    string
	Differs    bool
	Odd        string // why it should not be here; empty where it should
	Where      string // where it was last, before this counting
	At, By     string
}

// Places lists where units and lots are, by their last counts and what was written down.
func Places(tx *store.Tx) ([]string, error) {
	all, err := countable(tx)
	var out []string
	for _, t := range all {
		if t.Where != "" && !slices.Contains(out, t.Where) {
			out = append(out, t.Where)
		}
	}
	slices.Sort(out)
	return out, err
}

// CountingAt tells how far the counting of a place has come that began at a moment (Unix seconds).
func CountingAt(tx *store.Tx, place string, since int64) (*Counting, error) {
	c := &Counting{Place: place}
	records, err := tx.Records("counts")
	if err != nil {
		return nil, err
	}
	since -= since % 60 // counts are written to the minute
	seen := map[string]bool{}
	for _, rec := range slices.Backward(records) {
		n := rec.(*lots.StockCount)
		if n.At.From < since || place != "" && n.Place != place {
			continue
		}
		if !seen[n.Subject.Code()] && n.Subject.Kind != lots.KindVessel {
			c.Counted = append(c.Counted, tallied(tx, n, since, place))
		}
		seen[n.Subject.Code()] = true
	}
	all, err := countable(tx)
	for _, t := range all {
		if t.Where = placeBefore(tx, t.Code, since); !seen[t.Code] && (place == "" || t.Where == place) {
			c.Missing = append(c.Missing, t)
		}
	}
	return c, cmp.Or(err, tx.Err())
}

// countable lists the units and lots of which something is here by the books, with where they are.
func countable(tx *store.Tx) (out []Tallied, err error) {
	units, err := stock.Units(tx, "")
	if err != nil {
		return nil, err
	}
	for _, u := range units {
		if u.Kind != "loose" && u.OnHand > 0 {
			out = append(out, Tallied{Code: u.Unit, Kind: lots.KindUnit, What: nameOf(tx, deref(u.Product)), Booked: packages(tx, u.Unit, u.OnHand), Where: deref(u.Place)})
		}
	}
	rows, err := stock.Lots(tx, "")
	for _, l := range rows {
		if l.Left.Quantity > 0 {
			out = append(out, Tallied{Code: l.Lot, Kind: lots.KindLot, What: nameOf(tx, l.Item), Booked: Amount(l.Left.Quantity, l.Left.Unit), Where: deref(l.Place)})
		}
	}
	return out, err
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// placeBefore is where something was before a counting: where it was counted last, else where it was put.
func placeBefore(tx *store.Tx, code string, since int64) (place string) {
	var last *lots.StockCount
	for _, rec := range tx.Touching(code) {
		switch x := rec.(type) {
		case *lots.Packed:
			if x.Unit == code && x.Place != "" && last == nil {
				place = x.Place
			}
		case *lots.Receipt:
			if x.Lot == code && last == nil {
				place = x.Place
			}
		case *lots.StockCount:
			if x.Subject.Code() == code && x.Place != "" && x.At.From < since && (last == nil || x.At.From >= last.At.From) {
				last, place = x, x.Place
			}
		}
	}
	return place
}

// tallied is a count beside the books as they stood at its time.
func tallied(tx *store.Tx, n *lots.StockCount, since int64, place string) Tallied {
	code := n.Subject.Code()
	t := Tallied{Code: code, Kind: n.Subject.Kind, At: moment(tx, n.At), By: n.By, Where: placeBefore(tx, code, since)}
	booked, counted := 0.0, n.Count
	if t.Kind == lots.KindUnit {
		booked = trace.UnitBooksAt(tx, code, n.At.To+59).OnHand()
		t.What, _ = contentsOf(tx, code)
		t.Booked, t.Counted = packages(tx, code, booked), packages(tx, code, counted)
	} else {
		thing, _ := tx.Thing(code)
		base, _ := trace.LotLeft(tx, code)
		booked, counted = base, float64(n.Qty.N)
		t.What = itemOf(tx, code)
		t.Booked, t.Counted = amountIn(thing.Unit, booked), amountIn(thing.Unit, counted)
	}
	t.Differs = t.Booked != t.Counted
	switch {
	case booked <= 0 && counted > 0:
		t.Odd = "by the books nothing of it is here" + lastGone(tx, code)
	case place != "" && t.Where != "" && t.Where != place:
		t.Odd = "it was in " + t.Where
	}
	return t
}

func amountIn(unit lots.Unit, base float64) string {
	return Amount(unit.Of(base), string(unit))
}

// Amount writes how much of a material there is, for people: what is counted one by one is so many pieces.
func Amount(n float64, unit string) string {
	figure := lots.FigureOf(n, unit)
	switch {
	case unit != "each":
		return figure + " " + unit
	case figure == "1":
		return "1 piece"
	}
	return figure + " pieces"
}

// Tally records the count of a unit or lot: as many as somebody says, else what the books say.
func Tally(tx *store.Tx, subject, quantity, place, by string) (*Said, error) {
	sheet, _ := lots.SheetNamed("counts")
	code, err := unitScanned(tx, sheet, subject)
	if err != nil {
		return nil, err
	}
	row := lots.Row{"subject": code, "quantity": quantity}
	if place != "" {
		row["place"] = place
	}
	switch thing, ok := tx.Thing(code); {
	case quantity != "":
	case ok:
		if err := booked(tx, row, thing.Kind, code); err != nil {
			return nil, err
		}
	default:
		row["quantity"] = "1" // whoever reads the row says that there is no such thing
	}
	said, err := Record(tx, Act{Sheet: sheet, Row: row, By: by})
	if faults, ok := errors.AsType[lots.Faults](err); ok && countedNow(tx, code) && len(faults) == 1 && faults[0].Column == "" {
		return nil, lots.Errorf(lots.Conflict, "%s was counted just now, with the same result: go on with the next", code)
	}
	return said, err
}

// countedNow reports whether something was counted in this very minute: the same count is then recorded already.
func countedNow(tx *store.Tx, code string) bool {
	c, ok := trace.LastCount(tx, code, math.MinInt64)
	return ok && tx.Recorded().Unix()-c.At.From < 60
}

// booked fills in what the books say of a unit or lot.
func booked(tx *store.Tx, row lots.Row, kind lots.Kind, code string) error {
	switch kind {
	case lots.KindUnit:
		here := trace.BooksOf(tx, code).OnHand()
		if here < 1 {
			return lots.Errorf(lots.Conflict, "by the books nothing of %s is here%s. If it is, say how many you counted", code, lastGone(tx, code))
		}
		row["quantity"] = strconv.FormatFloat(here, 'f', -1, 64)
	case lots.KindLot:
		thing, _ := tx.Thing(code)
		base, sure := trace.LotLeft(tx, code)
		if base < 1 || !sure {
			return lots.Errorf(lots.Conflict, "the books do not say how much of %s is here: weigh or count it, and say how much", code)
		}
		row["quantity"], row["unit"] = strconv.FormatFloat(lots.Nine(thing.Unit.Of(base)), 'f', -1, 64), string(thing.Unit)
	default:
		return lots.Errorf(lots.Invalid, "%s is a %s: give how much is in it", code, kind)
	}
	return nil
}

// itemOf is what people call the item of a lot.
func itemOf(tx *store.Tx, lot string) string {
	if r, ok := tx.Receipt(lot); ok {
		return nameOf(tx, r.Item)
	}
	c, _ := store.First(tx, lot, func(c *lots.Crop) bool { return c.Lot == lot })
	if c == nil {
		return ""
	}
	return nameOf(tx, c.Item)
}
