package recall

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Consignee is a party that received units in scope, and what.
type Consignee struct {
	Party   string `json:"party"`
	Name    string `json:"name"`
	Contact string `json:"contact"`
	Phone   string `json:"phone"`
	Email   string `json:"email"`
	Address string `json:"address"`
	Channel string `json:"channel"`
	Band    string `json:"band"` // in where any unit it received is
	// Further is true where it distributes further: its own list is needed.
	Further bool   `json:"distributes_further"`
	Lines   []Line `json:"lines"`
	Cases   Moved  `json:"cases"`
	Kegs    Moved  `json:"kegs"`
	// KegsOut are fillings shipped there whose keg has not come back since.
	KegsOut []string `json:"kegs_out"`
	// Kept is true where a correction took its deliveries away and nobody signed for that: what
	// it received is as the last version has it.
	Kept bool `json:"kept"`
}

// Moved sums what went to a consignee and what came back, in cases or in kegs.
type Moved struct {
	Shipped  float64 `json:"shipped"`
	Returned float64 `json:"returned"`
	// ByOthers came back from parties that had none of it from us, and can only be from here.
	ByOthers float64 `json:"returned_by_others"`
	Net      float64 `json:"net"`
	Affected float64 `json:"affected"` // at most so many of the net
	// MayBe is what may have gone there besides: one of several units, unknown which.
	MayBe float64 `json:"may_be"`
}

// Line is one unit that a consignee received, net of what came back.
type Line struct {
	Unit      string   `json:"unit"`
	Band      string   `json:"band"`
	Product   string   `json:"product"`
	DateCodes []string `json:"date_codes"` // of what is affected on it
	Kegs      bool     `json:"kegs"`
	Moved
	First     string   `json:"first_shipped"`
	Last      string   `json:"last_shipped"`
	Documents []string `json:"documents"`
	// Emptied is true for a keg that came back empty: there is nothing left to recover.
	Emptied bool `json:"emptied"`
	// OneOf names the units of which it received one, unknown which.
	OneOf string `json:"one_of"`

	returns []*lots.Return // goods that came back from it
	emptied float64        // kegs that came back empty
	older   float64        // of the unit, what it received and did not return before anything affected stood on it
}

// deliveries gathers what went to whom.
type deliveries struct {
	tx    *store.Tx
	units map[string]trace.Unit
	found map[string]*Consignee
	lines map[string]map[string]*Line // party and unit
}

func (d *deliveries) to(party string) *Consignee {
	if d.found[party] == nil {
		d.found[party], d.lines[party] = newConsignee(d.tx, party), map[string]*Line{}
	}
	return d.found[party]
}

func (d *deliveries) add(sh trace.Shipment, oneOf bool) {
	if c := d.to(sh.Consignee); sh.Band == graph.In.String() {
		c.Band = sh.Band
	}
	l := d.lines[sh.Consignee][sh.Unit]
	if l == nil {
		l = newLine(d.units, sh, oneOf)
		d.lines[sh.Consignee][sh.Unit] = l
	}
	l.ship(sh, oneOf)
}

// keep adds what a last version knew of a consignee and the records do not say any more.
func (d *deliveries) keep(i Item) {
	for unit, n := range receivedOf(i.Received) {
		if l := d.lines[i.Code][unit]; l != nil {
			n -= int64(l.Shipped + l.MayBe)
		}
		if n > 0 {
			d.add(trace.Shipment{Reached: trace.Reached{Band: i.Band}, Unit: unit, Consignee: i.Code, Quantity: n}, strings.Contains(unit, "|"))
		}
	}
	if i.Kind == "consignee" {
		d.to(i.Code).Kept = true // an old version does not say what it received
	}
}

// Consignees lists who received anything in scope, by code.
func (s *Scope) Consignees(tx *store.Tx) ([]Consignee, error) {
	d := &deliveries{tx: tx, units: map[string]trace.Unit{}, found: map[string]*Consignee{}, lines: map[string]map[string]*Line{}}
	for _, u := range s.Answer.Units {
		d.units[u.Code] = u
	}
	for _, sh := range s.Shipments() {
		d.add(sh, sh.OneOf())
	}
	for _, i := range s.Kept {
		d.keep(i)
	}
	others := s.ReturnedByOthers(tx)
	var out []Consignee
	for party, c := range d.found {
		for _, l := range d.lines[party] {
			s.takeBack(tx, party, l, d.lines[party])
			for _, o := range others {
				if o.Unit == l.Unit && len(o.Of) == 1 && o.Of[0] == party {
					l.ByOthers += o.Quantity
				}
			}
			c.add(*l, mostAffected(d.units, l.Unit))
		}
		slices.SortFunc(c.Lines, func(a, b Line) int { return cmp.Compare(a.Unit, b.Unit) })
		slices.Sort(c.KegsOut)
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Consignee) int { return cmp.Compare(a.Party, b.Party) })
	return out, tx.Err()
}

func newConsignee(tx *store.Tx, party string) *Consignee {
	c := &Consignee{Party: party, Name: party, Band: graph.Possible.String(), Lines: []Line{}, KegsOut: []string{}}
	if p, ok := tx.Party(party); ok {
		c.Name, c.Contact, c.Phone, c.Email, c.Address, c.Channel = p.Name, p.Contact, p.Phone, p.Email, p.Address, p.Channel
		c.Further = p.Channel == "distributor"
	}
	return c
}

// newLine begins a line; one of several units carries what any of them would.
func newLine(units map[string]trace.Unit, sh trace.Shipment, oneOf bool) *Line {
	l := &Line{Unit: sh.Unit, Band: sh.Band, DateCodes: []string{}, Documents: []string{}}
	products := map[string]bool{}
	for _, code := range strings.Split(sh.Unit, "|") {
		u, ok := units[code]
		if !ok {
			continue
		}
		l.Kegs = u.Kind == "keg"
		for _, p := range affectedParts(u) {
			products[p.Product] = true
			l.DateCodes = append(l.DateCodes, p.DateCodes...)
		}
	}
	if oneOf {
		l.OneOf = sh.Unit
	}
	l.Product = strings.Join(slices.Sorted(maps.Keys(products)), ", ")
	slices.Sort(l.DateCodes)
	l.DateCodes = slices.Compact(l.DateCodes)
	return l
}

// affectedParts are the rows of a unit on reached stretches; all where it is affected otherwise.
func affectedParts(u trace.Unit) []trace.Part {
	parts := slices.DeleteFunc(slices.Clone(u.Parts), func(p trace.Part) bool { return p.Affected <= 0 })
	if len(parts) == 0 {
		return u.Parts
	}
	return parts
}

func (l *Line) ship(sh trace.Shipment, oneOf bool) {
	if oneOf {
		l.MayBe += float64(sh.Quantity)
	} else {
		l.Shipped += float64(sh.Quantity)
	}
	if l.First == "" || sh.ShippedAt < l.First {
		l.First = sh.ShippedAt
	}
	l.Last = max(l.Last, sh.ShippedAt)
	if sh.Document != nil && !slices.Contains(l.Documents, *sh.Document) {
		l.Documents = append(l.Documents, *sh.Document)
	}
}

// takeBack subtracts what a party returned of a line's unit; of one of several units, what it
// returned of any that it did not receive for certain besides.
func (s *Scope) takeBack(tx *store.Tx, party string, l *Line, lines map[string]*Line) {
	codes := strings.Split(l.Unit, "|")
	unknown := map[int64]bool{} // returns of one of several, each once
	for _, code := range codes {
		for _, rec := range tx.Touching(code) {
			r, ok := rec.(*lots.Return)
			if ok && r.Consignee == party && r.Unit.OneOf() && r.State != "empty" && l.OneOf != "" && !unknown[r.Seq] && allIn(r.Unit.Codes, codes) {
				unknown[r.Seq] = true
				l.Returned += float64(r.Quantity)
				l.returns = append(l.returns, r)
			}
		}
		if l.OneOf != "" && lines[code] != nil {
			continue
		}
		for _, x := range s.LeftOut {
			if x.Unit == code && x.Consignee == party {
				l.older += float64(x.Quantity)
			}
		}
		for _, rec := range tx.Touching(code) {
			r, ok := rec.(*lots.Return)
			if !ok || r.Consignee != party || r.Unit.OneOf() {
				continue
			}
			_, over := s.before[r.Seq]
			switch {
			case over:
				l.older -= float64(r.Quantity)
			case r.State != "empty":
				l.Returned += float64(r.Quantity)
				l.returns = append(l.returns, r)
			case l.Kegs: // only a keg comes back empty: of a pallet nothing came
				l.emptied += float64(r.Quantity)
			}
		}
	}
	if l.OneOf != "" { // what came back was there
		was := min(l.Returned, l.MayBe)
		l.Shipped, l.Returned, l.MayBe = l.Shipped+was, was, l.MayBe-was
	}
}

func allIn(part, whole []string) bool {
	return !slices.ContainsFunc(part, func(s string) bool { return !slices.Contains(whole, s) })
}

// mostAffected is the most that is affected of a unit, or of any of several.
func mostAffected(units map[string]trace.Unit, unit string) (most float64) {
	for _, code := range strings.Split(unit, "|") {
		most = max(most, float64(units[code].Affected))
	}
	return most
}

// add puts a finished line on a consignee's list.
func (c *Consignee) add(l Line, affected float64) {
	l.Net = lots.Nine(l.Shipped - l.Returned - l.ByOthers)
	l.Emptied = l.emptied > 0 && l.emptied >= l.Net
	// what came back may have been of what it received before anything affected stood on the unit
	out := l.Net + min(l.Returned, max(0, l.older)) - l.emptied
	if l.OneOf != "" && l.Band == graph.In.String() {
		out += l.MayBe // whichever it was, it is affected
	}
	l.Affected = max(0, min(out, affected))
	sum := &c.Cases
	if l.Kegs {
		sum = &c.Kegs
		if l.Net > 0 && !l.Emptied {
			c.KegsOut = append(c.KegsOut, l.Unit)
		}
	}
	sum.Shipped += l.Shipped
	sum.Returned += l.Returned
	sum.ByOthers += l.ByOthers
	sum.Net += l.Net
	sum.Affected += l.Affected
	sum.MayBe += l.MayBe
	c.Lines = append(c.Lines, l)
}

// OtherReturn is goods that came back from a party to which we shipped none of them.
type OtherReturn struct {
	Unit       string   `json:"unit"`
	Party      string   `json:"party"`
	Quantity   float64  `json:"quantity"`
	Kegs       bool     `json:"kegs"`
	ReturnedAt string   `json:"returned_at"`
	Of         []string `json:"of"` // who received the unit from us, and may have passed it on
	Entry      int64    `json:"entry"`
}

// ReturnedByOthers lists what came back from parties that had none of it from us: it counts for
// the only one that received the unit, and for nobody where several did.
func (s *Scope) ReturnedByOthers(tx *store.Tx) []OtherReturn {
	receivers := map[string][]string{}
	for _, sh := range s.Answer.Shipments {
		for _, unit := range strings.Split(sh.Unit, "|") {
			if !slices.Contains(receivers[unit], sh.Consignee) {
				receivers[unit] = append(receivers[unit], sh.Consignee)
			}
		}
	}
	out := []OtherReturn{}
	for _, u := range s.Answer.Units {
		of := receivers[u.Code]
		slices.Sort(of)
		for _, rec := range tx.Touching(u.Code) {
			r, ok := rec.(*lots.Return)
			if !ok || r.Unit.OneOf() || r.State == "empty" || slices.Contains(of, r.Consignee) {
				continue
			}
			if _, over := s.before[r.Seq]; !over {
				out = append(out, OtherReturn{u.Code, r.Consignee, float64(r.Quantity), u.Kind == "keg", r.At.Text(tx.Site().Zone), slices.Clone(of), r.Seq})
			}
		}
	}
	return out
}

// Supplier is whom a suspect lot came from, and what else came in that delivery.
type Supplier struct {
	Party    string     `json:"party"`
	Name     string     `json:"name"`
	Contact  string     `json:"contact"`
	Phone    string     `json:"phone"`
	Email    string     `json:"email"`
	Address  string     `json:"address"`
	Lots     []Received `json:"lots"`      // the suspects
	SameLoad []Received `json:"same_load"` // other lots of the same deliveries
}

// Received is one lot as it came in.
type Received struct {
	Lot         string  `json:"lot"`
	Item        string  `json:"item"`
	SupplierLot string  `json:"supplier_lot"` // as printed
	Quantity    float64 `json:"quantity"`
	Unit        string  `json:"unit"`
	ReceivedAt  string  `json:"received_at"`
	Document    string  `json:"document"`
	Carrier     string  `json:"carrier"`
	BestBy      string  `json:"best_by"`
}

// Suppliers lists whom to ask upstream: the suppliers of the suspect lots. What came on the
// same day from the same supplier, with the same document where one is noted, is the same load.
func (r *Recall) Suppliers(tx *store.Tx) ([]Supplier, error) {
	found := map[string]*Supplier{}
	suspects, _, _ := r.understood(tx, r.Suspects, nil)
	for _, code := range suspects {
		a, err := trace.Ask(tx, trace.Question{Dir: graph.Back, From: []string{code}})
		if err != nil {
			return nil, err
		}
		for _, from := range a.From {
			if from.Kind != "lot" {
				continue
			}
			if rec, ok := tx.Receipt(from.Code); ok {
				addSupplier(tx, found, rec)
			}
		}
	}
	var out []Supplier
	for _, s := range found {
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b Supplier) int { return cmp.Compare(a.Party, b.Party) })
	return out, tx.Err()
}

func addSupplier(tx *store.Tx, found map[string]*Supplier, rec *lots.Receipt) {
	s := found[rec.Supplier]
	if s == nil {
		s = &Supplier{Party: rec.Supplier, Name: rec.Supplier, Lots: []Received{}, SameLoad: []Received{}}
		if p, ok := tx.Party(rec.Supplier); ok {
			s.Name, s.Contact, s.Phone, s.Email, s.Address = p.Name, p.Contact, p.Phone, p.Email, p.Address
		}
		found[rec.Supplier] = s
	}
	s.Lots = append(s.Lots, received(tx, rec))
	s.SameLoad = slices.DeleteFunc(s.SameLoad, func(x Received) bool { return x.Lot == rec.Lot })
	for _, other := range tx.Touching(rec.Supplier) {
		o, ok := other.(*lots.Receipt)
		if !ok || o.Supplier != rec.Supplier || o.Lot == rec.Lot || o.Document != rec.Document || !sameDay(tx, o.At, rec.At) {
			continue
		}
		listed := func(x Received) bool { return x.Lot == o.Lot }
		if !slices.ContainsFunc(s.Lots, listed) && !slices.ContainsFunc(s.SameLoad, listed) {
			s.SameLoad = append(s.SameLoad, received(tx, o))
		}
	}
}

func sameDay(tx *store.Tx, a, b lots.When) bool {
	zone := tx.Site().Zone
	return lots.RFC3339(a.From, zone)[:10] == lots.RFC3339(b.From, zone)[:10]
}

func received(tx *store.Tx, r *lots.Receipt) Received {
	return Received{Lot: r.Lot, Item: r.Item, SupplierLot: r.SupplierLot, Quantity: lots.Nine(r.Unit.Of(float64(r.Qty.N))), Unit: string(r.Unit),
		ReceivedAt: r.At.Text(tx.Site().Zone), Document: r.Document, Carrier: r.Carrier, BestBy: r.BestBy}
}
