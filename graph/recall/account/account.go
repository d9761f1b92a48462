package account

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
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
	// Bulk is what came of what was never packed, by consignee and by what it is measured in: it is in no sum.
	Bulk  []Recovery `json:"bulk"`
	Cases Sum        `json:"cases"`
	Kegs  Sum        `json:"kegs"`
	// Others is what came back from parties that had none of it from us.
	Others []deliveries.OtherReturn `json:"returned_by_others"`
	// Served is what was drawn or sold in the taproom: of a unit it is among removed, of a tank in no unit's account.
	Served []scope.Served `json:"served"`
}

// Sum is an account of many things. Destroyed is among removed. What is missing of one unit
// does not make up for what another has too much.
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
	Unaccounted float64 `json:"unaccounted"` // missing less over
	Missing     float64 `json:"missing"`     // made and not accounted for, unit by unit
	Over        float64 `json:"over"`        // accounted for beyond what was made, unit by unit
	Percent     float64 `json:"percent"`     // of what was made, accounted for; 0 where nothing was produced
	// OneOf is what was shipped of one of several units, less what came back of them: it is in nobody's books, and
	// among what is unaccounted for.
	OneOf float64 `json:"one_of"`
}

// UnitAccount is the account of one unit, or of the cases of a run that are on none.
type UnitAccount struct {
	Unit      string   `json:"unit"` // the run where no unit is named
	Kind      string   `json:"kind"` // pallet keg stack loose
	Band      string   `json:"band"`
	Product   string   `json:"product"`
	DateCodes []string `json:"date_codes"`
	Sum
	IsKegs    bool   `json:"kegs"` // counted in kegs, else in cases
	HasCount  bool   `json:"has_count"`
	LastEntry int64  `json:"last_entry"` // the last entry that touched it
	LastText  string `json:"last_text"`

	oneOf map[int64]float64 // entries that moved one of several, and how much
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
// received + may be - returned before the notice = on hand when the notice came + sold + passed on + elsewhere + unexplained
//
// What may have gone there as one of several counts as received until it answers. Then it explains what it has
// beyond what it surely received, and the rest went elsewhere.
type Recovery struct {
	Party       string  `json:"party"`
	Kegs        bool    `json:"kegs"`
	Unit        string  `json:"unit,omitempty"` // of goods in bulk: L, kg or each
	Distributed float64 `json:"distributed"`
	MayBe       float64 `json:"may_be"`             // of one of several, besides
	Returned    float64 `json:"returned"`           // booked here, ever
	Since       float64 `json:"returned_since"`     // of that, after the notice
	ByOthers    float64 `json:"returned_by_others"` // by parties that can only have it from here
	Says        float64 `json:"says_returned"`      // what it says it sent back
	OnTheWay    float64 `json:"on_the_way"`         // of that, what has not arrived
	Destroyed   float64 `json:"destroyed"`          // there, by its answer
	OnHand      float64 `json:"on_hand"`            // there still: by its answer, less what was sent back and destroyed
	Sold        float64 `json:"sold"`
	PassedOn    float64 `json:"passed_on"`
	Elsewhere   float64 `json:"elsewhere"`   // of what may have gone there, what its answer leaves for the others
	Unexplained float64 `json:"unexplained"` // without an answer all that did not come back; below zero: it has more than it received
	Answered    bool    `json:"answered"`
	Percent     float64 `json:"percent"` // recovered: returned and destroyed, of distributed
	// PercentSince is what came of the notice: returned since and destroyed, of what was there when it came.
	PercentSince float64 `json:"percent_since"`
	// Nothing is true where it received nothing: there is nothing to recover, and the percentages say nothing.
	Nothing bool `json:"nothing"`

	backPassedOn float64 // of what was passed on, what came back by others' hands
}

// Reply is what a consignee was told and said: when it was first reached, or the recall was opened, and
// its last answer.
type Reply struct {
	Told     time.Time
	Answered bool
	Lines    []deliveries.AnswerLine
}

// Strike strikes the account of a scope; replyOf gives what a consignee was told and said.
func Strike(tx *store.Tx, s *scope.Scope, replyOf func(party string) Reply) (*Account, error) {
	a := &Account{Units: []UnitAccount{}, Groups: []GroupAccount{}, Consignees: []Recovery{}, Bulk: []Recovery{}, Others: deliveries.ReturnedByOthers(tx, s), Served: s.Served(tx)}
	for _, u := range s.Answer.Units {
		a.Units = append(a.Units, unitAccount(tx, u))
	}
	for _, run := range s.Answer.Runs {
		if run.Unassigned > 0 {
			a.Units = append(a.Units, looseAccount(tx, run))
		}
	}
	a.group()
	consignees, err := deliveries.Consignees(tx, s)
	if err != nil {
		return nil, err
	}
	for _, c := range consignees {
		for _, kegs := range []bool{false, true} {
			if moved := c.Of(kegs); moved.Shipped+moved.MayBe > 0 {
				a.Consignees = append(a.Consignees, recovery(c, kegs, replyOf(c.Party)))
			}
		}
		a.Bulk = append(a.Bulk, inBulk(c, replyOf(c.Party))...)
	}
	return a, tx.Err()
}

func unitAccount(tx *store.Tx, u trace.Unit) UnitAccount {
	b := u.Books
	x := UnitAccount{Unit: u.Code, Kind: u.Kind, Band: u.Band, Product: words.OrMixed(u.Product), DateCodes: u.DateCodes, IsKegs: u.Kind == "keg", oneOf: map[int64]float64{}}
	x.Sum = Sum{Produced: float64(b.Quantity), Affected: float64(u.Affected), Booked: b.OnHand(), Shipped: b.Shipped, Returned: b.Returned,
		Repacked: b.Repacked, Removed: b.Removed}
	count, ok := trace.CountOf(tx, u.Code)
	x.HasCount, x.Counted = ok, max(0, count.Now) // there is never less than nothing
	for _, rec := range tx.Touching(u.Code) {
		switch m := rec.(type) {
		case *lots.Removal:
			if m.Reason == "destroyed" && m.Subject.Kind == lots.KindUnit && !m.Subject.OneOf() {
				x.Destroyed += m.Count
			}
		case *lots.Shipment:
			if m.Unit.OneOf() {
				x.oneOf[m.Seq] = float64(m.Quantity)
			}
		case *lots.Return: // it is not away any more
			if m.Unit.OneOf() && m.OfGoods() {
				x.oneOf[m.Seq] = -float64(m.Quantity)
			}
		}
		x.LastEntry = max(x.LastEntry, rec.Entry())
	}
	for _, n := range x.oneOf {
		x.OneOf += n
	}
	x.LastText = entryText(tx, x.LastEntry)
	x.strike()
	return x
}

// Find says how what is missing of it is found: cases and kegs that are on no unit are tagged first, since
// only what has a tag can be counted.
func (u UnitAccount) Find() string {
	switch {
	case u.Kind != "loose" || u.Missing <= 0:
		return ""
	case u.IsKegs:
		return fmt.Sprintf("on no number: find them, tag each (heeltap pack KEG --kind keg --run %s --quantity 1), then count", u.Unit)
	}
	return fmt.Sprintf("on no pallet: find them, tag them (heeltap pack --kind stack --run %s --quantity N), then count", u.Unit)
}

func looseAccount(tx *store.Tx, run trace.Run) UnitAccount {
	x := UnitAccount{Unit: run.Code, Kind: "loose", Band: run.Band, Product: run.Product, DateCodes: run.DateCodes, IsKegs: trace.OfKegs(tx, run.Code)}
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

// strike works out what is not accounted for of one unit.
func (s *Sum) strike() {
	accounted := s.Counted + s.Shipped - s.Returned + s.Repacked + s.Removed
	s.Unaccounted = lots.Nine(s.Produced - accounted)
	s.Missing, s.Over = max(0, s.Unaccounted), max(0, -s.Unaccounted)
	s.Percent = percent(s.Produced-s.Missing, s.Produced)
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
	s.Missing, s.Over = lots.Nine(s.Missing+o.Missing), lots.Nine(s.Over+o.Over)
	s.Unaccounted = lots.Nine(s.Missing - s.Over)
	s.Percent = percent(s.Produced-s.Missing, s.Produced)
}

// group sums the units by what is printed on them.
func (a *Account) group() {
	type key struct {
		product, codes string
		kegs           bool
	}
	groups := map[key]*GroupAccount{}
	seen := map[*Sum]map[int64]bool{} // a row that moved one of several counts once in each sum
	add := func(sum *Sum, u UnitAccount) {
		sum.add(u.Sum)
		if seen[sum] == nil {
			seen[sum] = map[int64]bool{}
		}
		for entry, n := range u.oneOf {
			if !seen[sum][entry] {
				seen[sum][entry] = true
				sum.OneOf += n
			}
		}
	}
	var order []key
	for _, u := range a.Units {
		k := key{u.Product, strings.Join(u.DateCodes, ", "), u.IsKegs}
		g := groups[k]
		if g == nil {
			g = &GroupAccount{Product: u.Product, DateCodes: u.DateCodes, Kegs: k.kegs}
			groups[k] = g
			order = append(order, k)
		}
		add(&g.Sum, u)
		if k.kegs {
			add(&a.Kegs, u)
		} else {
			add(&a.Cases, u)
		}
	}
	for _, k := range order {
		a.Groups = append(a.Groups, *groups[k])
	}
	slices.SortFunc(a.Groups, func(x, y GroupAccount) int {
		return cmp.Or(cmp.Compare(x.Product, y.Product), slices.Compare(x.DateCodes, y.DateCodes))
	})
}

// recovery sets what a consignee received against what came back and what it answered.
func recovery(c deliveries.Consignee, kegs bool, said Reply) Recovery {
	x := Recovery{Party: c.Party, Kegs: kegs, Since: c.ReturnedSince(kegs, said.Told)}
	return x.of(c.Of(kegs), said, func(l deliveries.AnswerLine) bool { return l.Of(kegs) })
}

// of sets what was moved against the lines of an answer that are about it.
func (x Recovery) of(moved deliveries.Moved, said Reply, about func(deliveries.AnswerLine) bool) Recovery {
	x.Distributed, x.MayBe, x.Returned, x.ByOthers = moved.Shipped, moved.MayBe, moved.Returned, moved.ByOthers
	there := lots.Nine(x.Distributed - x.Returned + x.Since) // when the notice came
	if !said.Answered {                                      // whatever may have gone there is to be asked about
		x.Unexplained = lots.Nine(moved.Net + moved.MayBe)
		x.recovered(there, x.MayBe)
		return x
	}
	x.Answered = true
	onHand := 0.0
	for _, l := range said.Lines {
		if !about(l) {
			continue
		}
		onHand += l.OnHand
		x.Sold += l.Sold
		x.PassedOn += l.PassedOn
		x.Destroyed += l.Destroyed
		x.Says += l.Returned
	}
	x.OnTheWay = lots.Nine(max(0, x.Says-x.Since))
	x.OnHand = lots.Nine(max(0, onHand-x.Destroyed-max(x.Says, x.Since)))
	x.Unexplained = lots.Nine(there - onHand - x.Sold - x.PassedOn)
	beyond := 0.0
	x.backPassedOn = lots.Nine(max(0, x.ByOthers-max(0, x.Unexplained)))
	switch {
	case x.Unexplained > 0: // what came back by others' hands was passed on, whatever it says
		x.Unexplained = max(0, x.Unexplained-x.ByOthers)
	case x.Unexplained < 0:
		beyond = -x.Unexplained
		x.Unexplained = min(0, lots.Nine(x.Unexplained+x.MayBe))
	}
	x.Elsewhere = lots.Nine(max(0, x.MayBe-beyond))
	x.recovered(there, beyond)
	return x
}

// recovered works out the percentages: of what was there when the notice came, and of all that
// was distributed. What a party has beyond what it received was distributed too, by whatever hand, and so was
// what may have gone there until it says. Where all was back before the notice, nothing is left to recover.
func (x *Recovery) recovered(there, beyond float64) {
	x.Nothing = x.Distributed+beyond <= 0
	x.Percent = percent(x.Returned+x.ByOthers+x.Destroyed, x.Distributed+beyond)
	if there+beyond <= 0 {
		x.PercentSince = 100
		return
	}
	x.PercentSince = percent(x.Since+x.ByOthers+x.Destroyed, there+beyond)
}

// Trade is what of the scope has left and is not back, by what the consignees say of it.
type Trade struct {
	OnHand      lots.Packages `json:"on_hand"`     // with consignees, by their answers
	OnTheWay    lots.Packages `json:"on_the_way"`  // sent back by their word, and not arrived
	PassedOn    lots.Packages `json:"passed_on"`   // to their customers, and not come back from there
	Unexplained lots.Packages `json:"unexplained"` // not answered for, or not explained: at most
	Sold        lots.Packages `json:"sold"`        // or served: in nobody's hands in the trade
}

// Still is what may still be recovered from the trade: at most.
func (t Trade) Still() lots.Packages {
	return t.OnHand.Plus(t.OnTheWay).Plus(t.PassedOn).Plus(t.Unexplained)
}

// InTrade says what is still in the trade.
func (a *Account) InTrade() (t Trade) {
	for _, x := range a.Consignees {
		t.OnHand.Add(x.Kegs, x.OnHand)
		t.OnTheWay.Add(x.Kegs, x.OnTheWay)
		t.PassedOn.Add(x.Kegs, max(0, x.PassedOn-x.backPassedOn))
		t.Unexplained.Add(x.Kegs, max(0, x.Unexplained))
		t.Sold.Add(x.Kegs, x.Sold)
	}
	return t
}

// Missing lists what is not accounted for, unit by unit.
func (a *Account) Missing() []UnitAccount {
	return slices.DeleteFunc(slices.Clone(a.Units), func(u UnitAccount) bool { return u.Missing == 0 })
}
