package recall

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Stock is something in scope that is in the house: what a hold stops and somebody has
// to find.
type Stock struct {
	Kind     string  `json:"kind"` // tank lot unit, or loose: cases that hang on no unit
	Code     string  `json:"code"` // what a hold names; the run where loose
	Band     string  `json:"band"`
	What     string  `json:"what"`     // beer, item, product with date codes
	Quantity float64 `json:"quantity"` // by the books
	Unit     string  `json:"unit"`
	Sure     bool    `json:"sure"` // false where use in an unknown quantity makes the books a guess
	Place    string  `json:"place"`
	Held     bool    `json:"held"` // has a hold of its own
}

// InHouse lists what is in scope and in the house by the books or by a count: tanks first,
// then lots, then units. What leaves first is what a hold must stop first.
func (s *Scope) InHouse(tx *store.Tx) ([]Stock, error) {
	held, err := trace.OnHold(tx)
	if err != nil {
		return nil, err
	}
	var out []Stock
	for _, list := range [][]Stock{s.tanks(tx), s.lots(tx), s.units(tx), s.loose()} {
		for _, x := range list {
			x.Held = held[x.Code]
			out = append(out, x)
		}
	}
	return out, tx.Err()
}

func (s *Scope) tanks(tx *store.Tx) []Stock {
	site := tx.Site()
	var out []Stock
	for _, f := range s.Answer.Fills {
		thing, ok := tx.Thing(f.Vessel)
		if f.Until != nil || !ok || thing.VesselKind == "path" {
			continue
		}
		c, ok := trace.ContentOf(tx, f.Vessel)
		if !ok || c.Fill.Code != f.Code || c.Left < 1 {
			continue
		}
		out = append(out, Stock{Kind: "tank", Code: f.Vessel, Band: f.Band, What: "since " + f.Since, Sure: true,
			Quantity: lots.Nine(site.VolumeUnit.Of(c.Left)), Unit: string(site.VolumeUnit), Place: vesselPlace(tx, f.Vessel)})
	}
	return out
}

func vesselPlace(tx *store.Tx, vessel string) string {
	for _, rec := range tx.Touching(vessel) {
		if v, ok := rec.(*lots.Vessel); ok && v.Code == vessel {
			return v.Place
		}
	}
	return ""
}

func (s *Scope) lots(tx *store.Tx) []Stock {
	var out []Stock
	for _, l := range s.Answer.Lots {
		thing, _ := tx.Thing(l.Code)
		left, sure := trace.LotLeft(tx, l.Code)
		if left <= 0 && sure || thing.Into != "" {
			continue // used up; or in a tank, which stands among the tanks
		}
		x := Stock{Kind: "lot", Code: l.Code, Band: l.Band, What: l.Item, Quantity: lots.Nine(thing.Unit.Of(left)), Unit: string(thing.Unit), Sure: sure}
		if l.SupplierLot != nil {
			x.What += ", supplier's lot " + *l.SupplierLot
		}
		for _, rec := range tx.Touching(l.Code) {
			switch r := rec.(type) {
			case *lots.Receipt:
				if r.Lot == l.Code {
					x.Place = cmp.Or(x.Place, r.Place)
				}
			case *lots.StockCount:
				x.Place = cmp.Or(r.Place, x.Place)
			}
		}
		out = append(out, x)
	}
	return out
}

func (s *Scope) units(tx *store.Tx) []Stock {
	var out []Stock
	for _, u := range s.Answer.Units {
		count, counted := trace.CountOf(tx, u.Code)
		if u.OnHand <= 0 && !(counted && count.Now > 0) {
			continue
		}
		x := Stock{Kind: "unit", Code: u.Code, Band: u.Band, Quantity: u.OnHand, Unit: unitWord(u.Kind), Sure: true}
		x.What = strings.TrimSpace(orMixed(u.Product) + " " + strings.Join(u.DateCodes, ", "))
		if mayHaveLeft(tx, u.Code) {
			x.What += " (may have left: a shipment names it as one of several)"
		}
		if u.Place != nil {
			x.Place = *u.Place
		}
		if counted && count.Place != "" {
			x.Place = count.Place
		}
		out = append(out, x)
	}
	return out
}

// mayHaveLeft reports whether a shipment names a unit as one of several.
func mayHaveLeft(tx *store.Tx, unit string) bool {
	return slices.ContainsFunc(tx.Touching(unit), func(rec lots.Record) bool {
		s, ok := rec.(*lots.Shipment)
		return ok && s.Unit.OneOf()
	})
}

// loose are cases of affected runs that hang on no unit: no hold can name them.
func (s *Scope) loose() []Stock {
	var out []Stock
	for _, r := range s.Answer.Runs {
		if r.Unassigned > 0 {
			out = append(out, Stock{Kind: "loose", Code: r.Code, Band: r.Band, Quantity: float64(r.Unassigned), Unit: "case",
				What: strings.TrimSpace(r.Product + " " + strings.Join(r.DateCodes, ", ") + ", on no pallet: find them and tag them")})
		}
	}
	return out
}

func unitWord(kind string) string {
	if kind == "keg" {
		return "keg"
	}
	return "case"
}

func orMixed(product *string) string {
	if product == nil {
		return "mixed"
	}
	return *product
}

// HoldAll stops everything in scope that is in the house and not stopped yet, in one step.
// In an exercise it stops nothing and says so.
func (r *Recall) HoldAll(tx *store.Tx, by string) (*Recall, []Stock, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return nil, nil, err
	}
	stock, err := s.InHouse(tx)
	if err != nil {
		return nil, nil, err
	}
	stock = slices.DeleteFunc(stock, func(x Stock) bool {
		return x.Kind == "loose" || r.Mock && slices.Contains(r.Holds, x.Code) || !r.Mock && x.Held
	})
	if len(stock) == 0 {
		return nil, nil, lots.Errorf(lots.Conflict, "nothing more to hold: all that is in scope and in the house is held, or has left")
	}
	step := &Stopped{}
	for _, x := range stock {
		step.Subjects = append(step.Subjects, x.Code)
	}
	if !r.Mock {
		if step.Entries, err = r.stop(tx, step.Subjects, by); err != nil {
			return nil, nil, err
		}
	}
	after, err := r.Take(tx, step, At{}, by)
	return after, stock, err
}

// stop records the holds.
func (r *Recall) stop(tx *store.Tx, subjects []string, by string) ([]int64, error) {
	sheet, _ := lots.SheetNamed("holds")
	at := tx.Recorded().In(tx.Site().Zone).Format("2006-01-02 15:04") // whole minutes, as what it stops is written
	var rows []store.Statement
	for _, c := range subjects {
		rows = append(rows, store.Statement{Sheet: sheet, By: by, Row: lots.Row{"subject": c, "at": at, "reason": r.Code + ": " + r.Reason, "by": by}})
	}
	entries, _, faults, err := tx.RecordRows(rows)
	if err == nil && len(faults) > 0 {
		err = faults
	}
	return entries, err
}

// LetGo releases what was held for the recall: the codes given, or all. In an exercise
// there is nothing to release but the exercise's own list.
func (r *Recall) LetGo(tx *store.Tx, codes []string, reason, by string) (*Recall, error) {
	if strings.TrimSpace(reason) == "" {
		return nil, lots.Errorf(lots.Invalid, "a release needs a reason: --reason TEXT")
	}
	if len(codes) == 0 {
		codes = slices.Clone(r.Holds)
	}
	for _, c := range codes {
		if !slices.Contains(r.Holds, c) {
			return nil, lots.Errorf(lots.NotFound, "%s is not held for %s; held are: %s", c, r.Code, strings.Join(r.Holds, ", "))
		}
		if r.Mock {
			continue
		}
		if _, err := Release(tx, c, "", reason, by); err != nil {
			return nil, err
		}
	}
	if len(codes) == 0 {
		return nil, lots.Errorf(lots.Conflict, "nothing is held for %s", r.Code)
	}
	return r.Take(tx, &LetGo{codes, reason}, At{}, by)
}

// Release ends every open hold of a subject; a lot received on hold gets the row that says
// so. An empty time means now.
func Release(tx *store.Tx, subject, at, reason, by string) ([]int64, error) {
	at = cmp.Or(at, tx.Recorded().In(tx.Site().Zone).Format("2006-01-02 15:04"))
	rows, err := tx.Naming(subject)
	if err != nil {
		return nil, err
	}
	var entries []int64
	stopped := map[string]bool{}
	for _, row := range rows {
		if row.Sheet.Name != "holds" || row.Row["subject"] != subject {
			continue
		}
		stopped[row.Row["at"]] = true
		if row.Row["released_at"] != "" {
			continue
		}
		entry, err := tx.Amend(row.Seq, map[string]string{"released_at": at, "released_by": by, "release_reason": reason}, reason, by)
		if err != nil {
			return nil, err
		}
		entries = append(entries, entry)
	}
	more, err := releaseReceived(tx, rows, subject, stopped, lots.Row{"released_at": at, "released_by": by, "release_reason": reason})
	if err != nil {
		return nil, err
	}
	if entries = append(entries, more...); len(entries) > 0 {
		return entries, nil
	}
	if _, ok := tx.Thing(subject); !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing is called %q; near it are: %s", subject, cmp.Or(strings.Join(tx.Nearest(subject), ", "), "-"))
	}
	return nil, lots.Errorf(lots.Conflict, "%s is not on hold", subject)
}

// releaseReceived gives a lot that came in on hold the hold row that says it was let go.
func releaseReceived(tx *store.Tx, rows []lots.Entered, subject string, stopped map[string]bool, release lots.Row) ([]int64, error) {
	sheet, _ := lots.SheetNamed("holds")
	var entries []int64
	for _, row := range rows {
		if row.Sheet.Name != "receipts" || row.Row["lot"] != subject || row.Row["status"] != "hold" || stopped[row.Row["received_at"]] {
			continue
		}
		by := release["released_by"]
		hold := lots.Row{"subject": subject, "at": row.Row["received_at"], "reason": "received on hold", "by": cmp.Or(row.Row["by"], by)}
		for k, v := range release {
			hold[k] = v
		}
		seqs, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: sheet, Row: hold, By: by}})
		if err == nil && len(faults) > 0 {
			err = faults
		}
		if err != nil {
			return nil, err
		}
		entries = append(entries, seqs...)
	}
	return entries, nil
}

// HasLeft reports whether anything left the brewery's control: without it, it is a stock
// recovery and no recall (21 CFR 7.3(k)). What may have left counts, and what was sold in
// the taproom.
func (s *Scope) HasLeft(tx *store.Tx) bool {
	sold, _ := soldHere(tx, s.Answer)
	return len(s.Answer.Shipments) > 0 || len(sold) > 0
}

// soldHere reports units drawn in the taproom: they reached the public without a shipment.
func soldHere(tx *store.Tx, a *trace.Answer) (units []string, last time.Time) {
	for _, u := range a.Units {
		for _, rec := range tx.Touching(u.Code) {
			if x, ok := rec.(*lots.Removal); ok && x.Reason == "taproom" && !x.Subject.OneOf() {
				units = append(units, u.Code)
				if at := time.Unix(x.At.To, 0); at.After(last) {
					last = at
				}
			}
		}
	}
	slices.Sort(units)
	return slices.Compact(units), last
}
