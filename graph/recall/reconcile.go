package recall

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Account says what became of everything in scope. Quantities are cases or kegs.
//
// produced = counted + shipped - returned + repacked + removed + unaccounted for
//
// On hand by the books is what the sum leaves over, so it proves nothing: only a count
// does. What a consignee sells or destroys is its answer and never a removal here.
type Account struct {
	Units      []UnitAccount  `json:"units"`
	Groups     []GroupAccount `json:"groups"` // by product, date codes and cases or kegs
	Consignees []Recovery     `json:"consignees"`
	Cases      Sum            `json:"cases"`
	Kegs       Sum            `json:"kegs"`
}

// Sum is an account of many things. Destroyed is among removed.
type Sum struct {
	Produced    float64 `json:"produced"`
	Affected    float64 `json:"affected"` // at most so much of it
	Booked      float64 `json:"on_hand_booked"`
	Counted     float64 `json:"counted"`
	Shipped     float64 `json:"shipped"`
	Returned    float64 `json:"returned"`
	Repacked    float64 `json:"repacked"`
	Removed     float64 `json:"removed"`
	Destroyed   float64 `json:"destroyed"`
	Unaccounted float64 `json:"unaccounted"` // below zero: more is accounted for than was made
	Percent     float64 `json:"percent"`     // accounted for; 0 where nothing was produced
	// OneOf is what was shipped or returned of one of several units: it is in nobody's books.
	OneOf float64 `json:"one_of"`
}

// UnitAccount is the account of one unit, or of the cases of a run that hang on none.
type UnitAccount struct {
	Unit      string   `json:"unit"` // the run where no unit is named
	Kind      string   `json:"kind"` // pallet keg stack loose
	Band      string   `json:"band"`
	Product   string   `json:"product"`
	DateCodes []string `json:"date_codes"`
	Sum
	HasCount  bool   `json:"has_count"`
	LastEntry int64  `json:"last_entry"` // the last entry that touched it
	LastText  string `json:"last_text"`
}

// GroupAccount is the account of what bears the same product and date codes.
type GroupAccount struct {
	Product   string   `json:"product"`
	DateCodes []string `json:"date_codes"`
	Kegs      bool     `json:"kegs"`
	Sum
}

// Recovery is what came of what one consignee received: distributed against recovered.
//
// received - returned before the notice = on hand when the notice came + sold + passed on + unexplained
type Recovery struct {
	Party       string  `json:"party"`
	Kegs        bool    `json:"kegs"`
	Distributed float64 `json:"distributed"`
	Returned    float64 `json:"returned"`  // booked here
	Destroyed   float64 `json:"destroyed"` // there, by its answer
	OnHand      float64 `json:"on_hand"`   // there still: by its answer, less what came back since and was destroyed
	Sold        float64 `json:"sold"`
	PassedOn    float64 `json:"passed_on"`
	Unexplained float64 `json:"unexplained"` // without an answer all that did not come back
	Answered    bool    `json:"answered"`
	Percent     float64 `json:"percent"` // recovered: returned and destroyed, of distributed
}

// Reconcile strikes the account of a scope.
func (r *Recall) Reconcile(tx *store.Tx, s *Scope) (*Account, error) {
	a := &Account{Units: []UnitAccount{}, Groups: []GroupAccount{}, Consignees: []Recovery{}}
	for _, u := range s.Answer.Units {
		a.Units = append(a.Units, unitAccount(tx, u))
	}
	for _, run := range s.Answer.Runs {
		if run.Unassigned > 0 {
			a.Units = append(a.Units, looseAccount(tx, run))
		}
	}
	a.group()
	consignees, err := s.Consignees(tx)
	if err != nil {
		return nil, err
	}
	for _, c := range consignees {
		for _, kegs := range []bool{false, true} {
			if moved := c.moved(kegs); moved.Shipped > 0 {
				a.Consignees = append(a.Consignees, r.recovery(tx, c, kegs))
			}
		}
	}
	return a, tx.Err()
}

func (c Consignee) moved(kegs bool) Moved {
	if kegs {
		return c.Kegs
	}
	return c.Cases
}

func unitAccount(tx *store.Tx, u trace.Unit) UnitAccount {
	b := u.Books
	x := UnitAccount{Unit: u.Code, Kind: u.Kind, Band: u.Band, Product: orMixed(u.Product), DateCodes: u.DateCodes}
	x.Sum = Sum{Produced: float64(b.Quantity), Affected: float64(u.Affected), Booked: b.OnHand(), Shipped: b.Shipped, Returned: b.Returned,
		Repacked: b.Repacked, Removed: b.Removed}
	count, ok := trace.CountOf(tx, u.Code)
	x.HasCount, x.Counted = ok, count.Now
	for _, rec := range tx.Touching(u.Code) {
		switch m := rec.(type) {
		case *lots.Removal:
			if m.Reason == "destroyed" && m.Subject.Kind == lots.KindUnit && !m.Subject.OneOf() {
				x.Destroyed += m.Count
			}
		case *lots.Shipment:
			if m.Unit.OneOf() {
				x.OneOf += float64(m.Quantity)
			}
		case *lots.Return:
			if m.Unit.OneOf() {
				x.OneOf += float64(m.Quantity)
			}
		}
		x.LastEntry = max(x.LastEntry, rec.Entry())
	}
	x.LastText = entryText(tx, x.LastEntry)
	x.strike()
	return x
}

func looseAccount(tx *store.Tx, run trace.Run) UnitAccount {
	x := UnitAccount{Unit: run.Code, Kind: "loose", Band: run.Band, Product: run.Product, DateCodes: run.DateCodes}
	x.Produced, x.Affected = float64(run.Unassigned), float64(run.Unassigned)
	for _, rec := range tx.Touching(run.Code) {
		x.LastEntry = max(x.LastEntry, rec.Entry())
	}
	x.LastText = entryText(tx, x.LastEntry)
	x.strike()
	return x
}

// entryText says an entry in a few words.
func entryText(tx *store.Tx, entry int64) string {
	row, ok := tx.Row(entry)
	if !ok {
		return ""
	}
	text := row.Sheet.Noun
	if row.Sheet.Code != "" && row.Row[row.Sheet.Code] != "" {
		text += " " + row.Row[row.Sheet.Code]
	}
	if row.Sheet.When != "" && row.Row[row.Sheet.When] != "" {
		text += ", " + row.Row[row.Sheet.When]
	}
	return text
}

// strike works out what is not accounted for.
func (s *Sum) strike() {
	accounted := s.Counted + s.Shipped - s.Returned + s.Repacked + s.Removed
	s.Unaccounted = lots.Nine(s.Produced - accounted)
	s.Percent = percent(accounted, s.Produced)
}

// percent is a share of a whole in percent, 0 of nothing.
func percent(part, whole float64) float64 {
	if whole == 0 {
		return 0
	}
	return lots.Nine(part / whole * 100)
}

func (s *Sum) add(o Sum) {
	s.Produced += o.Produced
	s.Affected += o.Affected
	s.Booked += o.Booked
	s.Counted += o.Counted
	s.Shipped += o.Shipped
	s.Returned += o.Returned
	s.Repacked += o.Repacked
	s.Removed += o.Removed
	s.Destroyed += o.Destroyed
	s.OneOf += o.OneOf
}

// group sums the units by what is printed on them.
func (a *Account) group() {
	type key struct {
		product, codes string
		kegs           bool
	}
	groups := map[key]*GroupAccount{}
	var order []key
	for _, u := range a.Units {
		k := key{u.Product, strings.Join(u.DateCodes, ", "), u.Kind == "keg"}
		g := groups[k]
		if g == nil {
			g = &GroupAccount{Product: u.Product, DateCodes: u.DateCodes, Kegs: k.kegs}
			groups[k] = g
			order = append(order, k)
		}
		g.add(u.Sum)
		if k.kegs {
			a.Kegs.add(u.Sum)
		} else {
			a.Cases.add(u.Sum)
		}
	}
	for _, k := range order {
		groups[k].strike()
		a.Groups = append(a.Groups, *groups[k])
	}
	a.Cases.strike()
	a.Kegs.strike()
	slices.SortFunc(a.Groups, func(x, y GroupAccount) int {
		return cmp.Or(cmp.Compare(x.Product, y.Product), slices.Compare(x.DateCodes, y.DateCodes))
	})
}

// recovery sets what a consignee received against what came back and what it answered.
func (r *Recall) recovery(tx *store.Tx, c Consignee, kegs bool) Recovery {
	x := Recovery{Party: c.Party, Kegs: kegs, Distributed: c.moved(kegs).Shipped, Returned: c.moved(kegs).Returned}
	net := x.Distributed - x.Returned
	contact := r.Contacts[c.Party]
	if contact == nil || contact.Answer == nil {
		x.Unexplained = net
		x.Percent = percent(x.Returned, x.Distributed)
		return x
	}
	x.Answered = true
	onHand := 0.0
	for _, l := range contact.Answer.Lines {
		if l.Kegs != kegs {
			continue
		}
		onHand += l.OnHand
		x.Sold += l.Sold
		x.PassedOn += l.PassedOn
		x.Destroyed += l.Destroyed
	}
	since := returnedSince(tx, c, kegs, contact.Notified)
	x.OnHand = lots.Nine(onHand - x.Destroyed - since)
	x.Unexplained = lots.Nine(net + since - onHand - x.Sold - x.PassedOn)
	x.Percent = percent(x.Returned+x.Destroyed, x.Distributed)
	return x
}

// returnedSince sums what a consignee brought back after it was told.
func returnedSince(tx *store.Tx, c Consignee, kegs bool, told time.Time) float64 {
	sum := 0.0
	for _, l := range c.Lines {
		if l.Kegs != kegs || l.OneOf != "" {
			continue
		}
		for _, rec := range tx.Touching(l.Unit) {
			m, ok := rec.(*lots.Return)
			if ok && m.Consignee == c.Party && !m.Unit.OneOf() && m.State != "empty" && m.At.To >= told.Truncate(time.Minute).Unix() {
				sum += float64(m.Quantity)
			}
		}
	}
	return sum
}

// LotBalance is the mass balance of one suspect lot, in its own unit.
//
// received = on hand + removed + in tanks + in units + lost + not measured
//
// It rests on perfect mixing within each fill: an estimate, never a reason to call beer safe.
type LotBalance struct {
	Lot      string  `json:"lot"`
	Unit     string  `json:"unit"`
	Received float64 `json:"received"`
	OnHand   float64 `json:"on_hand"` // by the books
	Removed  float64 `json:"removed"` // samples, to the supplier, destroyed …
	InTanks  float64 `json:"in_tanks"`
	InUnits  float64 `json:"in_units"`
	Lost     float64 `json:"lost"`         // rejects, trub, transfers, what was removed from tanks
	Unknown  float64 `json:"not_measured"` // used in a quantity nobody wrote down
}

// LotBalances strikes the balance of each suspect that is a lot.
func (r *Recall) LotBalances(tx *store.Tx) ([]LotBalance, error) {
	out := []LotBalance{}
	for _, code := range r.Suspects {
		a, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{code}})
		if err != nil {
			return nil, err
		}
		for _, from := range a.From {
			if from.Kind != "lot" || slices.ContainsFunc(out, func(b LotBalance) bool { return b.Lot == from.Code }) {
				continue
			}
			b, err := lotBalance(tx, from.Code)
			if err != nil {
				return nil, err
			}
			out = append(out, b)
		}
	}
	return out, tx.Err()
}

func lotBalance(tx *store.Tx, lot string) (LotBalance, error) {
	b := LotBalance{Lot: lot}
	a, err := trace.Ask(tx, trace.Question{Dir: graph.Forward, From: []string{"lot:" + lot}})
	if err != nil {
		return b, err
	}
	thing, _ := tx.Thing(lot)
	of := func(base float64) float64 { return lots.Nine(thing.Unit.Of(base)) }
	b.Unit = string(thing.Unit)
	var tanks, units, lost, left float64
	for _, e := range a.Ends() {
		switch {
		case e.Band != graph.In || math.IsNaN(e.Left):
		case e.Kind == graph.Lot && e.Code == lot:
			left = e.Left
		case e.Kind == graph.Fill && e.Current:
			tanks += e.Left
		case e.Kind == graph.Unit:
			units += e.Left
		default:
			lost += e.Left
		}
	}
	total := 0.0
	for _, n := range tx.NodesNamed(lot) {
		if n.Kind == graph.Lot {
			total = n.Total
		}
	}
	removed := trace.RemovedOf(tx, lot)
	b.Received, b.Removed, b.InTanks, b.InUnits, b.Lost = of(total), of(removed), of(tanks), of(units), of(lost)
	if math.IsNaN(left) {
		left = 0
	}
	b.OnHand = of(left - removed)
	b.Unknown = lots.Nine(b.Received - b.OnHand - b.Removed - b.InTanks - b.InUnits - b.Lost)
	if math.Abs(b.Unknown) < b.Received*1e-9 {
		b.Unknown = 0
	}
	return b, tx.Err()
}
