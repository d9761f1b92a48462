package deliveries

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall/scope"
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
	// Bulk is what it received that was never packed; it is in no count of cases or kegs.
	Bulk  []BulkLine `json:"bulk"`
	Cases Moved      `json:"cases"`
	Kegs  Moved      `json:"kegs"`
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
	Unit      string           `json:"unit"`
	Band      string           `json:"band"`
	Product   string           `json:"product"`
	DateCodes []string         `json:"date_codes"` // of what is affected on it
	Codes     []trace.CodePart `json:"codes"`      // those with the part that each has of the unit
	Kegs      bool             `json:"kegs"`
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

// gathered is what went to whom.
type gathered struct {
	tx    *store.Tx
	units map[string]trace.Unit
	found map[string]*Consignee
	lines map[string]map[string]*Line // party and unit
}

func (g *gathered) to(party string) *Consignee {
	if g.found[party] == nil {
		g.found[party], g.lines[party] = newConsignee(g.tx, party), map[string]*Line{}
	}
	return g.found[party]
}

func (g *gathered) add(sh trace.Shipment, oneOf bool) {
	if c := g.to(sh.Consignee); sh.Band == graph.In.String() {
		c.Band = sh.Band
	}
	l := g.lines[sh.Consignee][sh.Unit]
	if l == nil {
		l = newLine(g.units, sh, oneOf)
		g.lines[sh.Consignee][sh.Unit] = l
	}
	l.ship(sh, oneOf)
}

// keep adds what a last version knew of a consignee and the records do not say any more.
func (g *gathered) keep(i scope.Item) {
	for unit, n := range i.Units() {
		if l := g.lines[i.Code][unit]; l != nil {
			n -= int64(l.Shipped + l.MayBe)
		}
		if n > 0 {
			g.add(trace.Shipment{Reached: trace.Reached{Band: i.Band}, Unit: unit, Consignee: i.Code, Quantity: n}, strings.Contains(unit, "|"))
		}
	}
	if i.Kind == "consignee" {
		g.to(i.Code).Kept = true // an old version does not say what it received
	}
}

// Consignees lists who received anything in scope, by code.
func Consignees(tx *store.Tx, s *scope.Scope) ([]Consignee, error) {
	d := &gathered{tx: tx, units: map[string]trace.Unit{}, found: map[string]*Consignee{}, lines: map[string]map[string]*Line{}}
	for _, u := range s.Answer.Units {
		d.units[u.Code] = u
	}
	for _, sh := range s.Shipments() {
		d.add(sh, sh.OneOf())
	}
	for _, b := range s.Bulk() {
		d.bulk(b)
	}
	for _, i := range s.Kept {
		d.keep(i)
		d.keepBulk(i)
	}
	others := ReturnedByOthers(tx, s)
	var out []Consignee
	for party, c := range d.found {
		for _, l := range d.lines[party] {
			l.takeBack(tx, s, party, d.lines[party])
			for _, o := range others {
				if o.Unit == l.Unit && len(o.Of) == 1 && o.Of[0] == party {
					l.ByOthers += o.Quantity
				}
			}
			c.add(*l, mostAffected(d.units, l.Unit))
		}
		slices.SortFunc(c.Lines, func(a, b Line) int { return cmp.Compare(a.Unit, b.Unit) })
		slices.Sort(c.KegsOut)
		sortBulk(c.Bulk)
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Consignee) int { return cmp.Compare(a.Party, b.Party) })
	return out, tx.Err()
}

func newConsignee(tx *store.Tx, party string) *Consignee {
	c := &Consignee{Party: party, Name: party, Band: graph.Possible.String(), Lines: []Line{}, Bulk: []BulkLine{}, KegsOut: []string{}}
	if p, ok := tx.Party(party); ok {
		c.Name, c.Contact, c.Phone, c.Email, c.Address, c.Channel = p.Name, p.Contact, p.Phone, p.Email, p.Address, p.Channel
		c.Further = p.Channel == "distributor"
	}
	return c
}

// newLine begins a line; one of several units carries what any of them would.
func newLine(units map[string]trace.Unit, sh trace.Shipment, oneOf bool) *Line {
	l := &Line{Unit: sh.Unit, Band: sh.Band, DateCodes: []string{}, Codes: []trace.CodePart{}, Documents: []string{}}
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
		l.Codes = append(l.Codes, affectedCodes(affectedParts(u))...)
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
func (l *Line) takeBack(tx *store.Tx, s *scope.Scope, party string, lines map[string]*Line) {
	codes := strings.Split(l.Unit, "|")
	unknown := map[int64]bool{} // returns of one of several, each once
	for _, code := range codes {
		for _, rec := range tx.Touching(code) {
			r, ok := rec.(*lots.Return)
			if ok && r.Consignee == party && r.Unit.OneOf() && r.OfGoods() && l.OneOf != "" && !unknown[r.Seq] && allIn(r.Unit.Codes, codes) {
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
			switch {
			case s.Over(r.Seq):
				l.older -= float64(r.Quantity)
			case r.OfGoods():
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
func ReturnedByOthers(tx *store.Tx, s *scope.Scope) []OtherReturn {
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
			if !ok || r.Unit.OneOf() || !r.OfGoods() || slices.Contains(of, r.Consignee) {
				continue
			}
			if !s.Over(r.Seq) {
				out = append(out, OtherReturn{u.Code, r.Consignee, float64(r.Quantity), u.Kind == "keg", r.At.Text(tx.Site().Zone), slices.Clone(of), r.Seq})
			}
		}
	}
	return out
}

// Of is what a consignee received in kegs, or in cases.
func (c Consignee) Of(kegs bool) Moved {
	if kegs {
		return c.Kegs
	}
	return c.Cases
}

// ReturnedSince sums what a consignee brought back after it was told.
func (c Consignee) ReturnedSince(kegs bool, told time.Time) float64 {
	sum := 0.0
	for _, l := range c.Lines {
		for _, m := range l.returns {
			if l.Kegs == kegs && m.At.To >= told.Truncate(time.Minute).Unix() {
				sum += float64(m.Quantity)
			}
		}
	}
	return sum
}
