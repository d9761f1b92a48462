package inquiry

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// cardOf gathers what is known of a candidate.
func cardOf(tx *store.Tx, c Candidate, q Question) (*Card, error) {
	p := productOf(tx, c.Product)
	card := &Card{Product: c.Product, Name: p.Name, Runs: c.Runs, Lines: []string{}, Declares: orEmpty(p.Declares), Allergens: []Allergen{}, Lots: []string{}, Recalls: c.Recalls, Shipped: []Sent{}, Findings: []string{}, Held: c.Held}
	card.packed(tx, p)
	if len(c.Runs) == 0 {
		return card, nil
	}
	from := []string{}
	for _, r := range c.Runs {
		from = append(from, "run:"+r)
	}
	back, err := trace.Trace(tx, graph.Back, from...)
	if err != nil {
		return nil, err
	}
	card.inside(tx, back, p)
	return card, card.sent(tx, c, q)
}

// CardOf is what is known of one of the candidates shown: the answer itself brings that of the first.
func (a *Answer) CardOf(tx *store.Tx, i int) (*Card, error) {
	switch {
	case i == 0 && a.Card != nil:
		return a.Card, nil
	case i < 0 || i >= len(a.Candidates):
		return nil, lots.Errorf(lots.NotFound, "there are %d candidates, and none of number %d", len(a.Candidates), i+1)
	}
	return cardOf(tx, a.Candidates[i], a.Question)
}

func (card *Card) packed(tx *store.Tx, p *lots.Product) {
	zone := tx.Site().Zone
	var first, last int64
	for _, code := range card.Runs {
		run, ok := tx.Run(code)
		if !ok {
			continue
		}
		if first == 0 || run.Started.From < first {
			first = run.Started.From
		}
		last = max(last, run.Ended.End())
		if run.Line != "" && !slices.Contains(card.Lines, run.Line) {
			card.Lines = append(card.Lines, run.Line)
		}
	}
	if first == 0 {
		return
	}
	card.Packed = lots.RFC3339(first, zone)[:16] + " to " + lots.RFC3339(last, zone)[:16]
	card.AgeDays = int64(tx.Recorded().Sub(time.Unix(first, 0)).Hours() / 24)
	if p.ShelfLifeDays > 0 {
		card.BestBy = time.Unix(first, 0).In(zone).AddDate(0, 0, int(p.ShelfLifeDays)).Format(time.DateOnly)
	}
}

// inside lists the lots of the lineage and the allergens they carry.
func (card *Card) inside(tx *store.Tx, back *trace.Answer, p *lots.Product) {
	best := map[string]Allergen{}
	for _, l := range back.Lots {
		card.Lots = append(card.Lots, l.Code)
		item, ok := tx.Item(l.Item)
		if !ok {
			continue
		}
		for _, name := range item.Allergens {
			had, known := best[name]
			if !known || had.Band != graph.In.String() && l.Band == graph.In.String() {
				best[name] = Allergen{name, l.Code, l.Band, allergens.Declared(p.Declares, name)}
			}
		}
	}
	for _, a := range best {
		card.Allergens = append(card.Allergens, a)
	}
	slices.SortFunc(card.Allergens, func(a, b Allergen) int { return cmp.Compare(a.Name, b.Name) })
	for _, f := range back.Findings {
		card.Findings = append(card.Findings, f.Code+": "+f.Text)
	}
}

// sent says where the candidate's units went, and whether the caller's place is among them.
func (card *Card) sent(tx *store.Tx, c Candidate, q Question) error {
	sums := map[string]*Sent{}
	zone := tx.Site().Zone
	counted := map[int64]bool{} // rows: one of several units stands in the books of each
	for _, unit := range c.Units {
		first, topped := c.stoodFrom(tx, unit)
		for _, rec := range tx.Touching(unit) {
			sh, ok := rec.(*lots.Shipment)
			if !ok || counted[sh.Seq] {
				continue
			}
			if topped && !sh.Unit.OneOf() && sh.At.To < first && trace.UnitBooksAt(tx, unit, sh.At.To).OnHand() >= 0 {
				continue // what left then was of the runs before
			}
			counted[sh.Seq] = true
			x := sums[sh.Consignee]
			if x == nil {
				x = &Sent{Consignee: sh.Consignee}
				sums[sh.Consignee] = x
			}
			at := lots.RFC3339(sh.At.From, zone)[:10]
			if x.First == "" || at < x.First {
				x.First = at
			}
			x.Last = max(x.Last, at)
			sum := &x.Quantity
			if sh.Unit.OneOf() {
				sum = &x.Possible
			}
			sum.Add(isKeg(tx, unit), float64(sh.Quantity))
			x.bears(tx, c, unit)
		}
	}
	for _, x := range sums {
		card.Shipped = append(card.Shipped, *x)
	}
	slices.SortFunc(card.Shipped, func(a, b Sent) int { return cmp.Compare(a.Consignee, b.Consignee) })
	card.Place, card.Elsewhere = placeFits(tx, card.Shipped, q.Place)
	return tx.Err()
}

// isKeg reports whether a unit is a keg filling.
func isKeg(tx *store.Tx, unit string) bool {
	p, ok := store.First(tx, unit, func(p *lots.Packed) bool { return p.Unit == unit })
	return ok && p.UnitKind == "keg"
}

// bears notes of a unit that went there on how much of it the code stands, where that is not all.
func (x *Sent) bears(tx *store.Tx, c Candidate, unit string) {
	if c.Kind != "date-code" {
		return
	}
	noun := "case"
	if isKeg(tx, unit) {
		noun = "keg"
	}
	for _, part := range trace.ByCode(trace.CodePartsOf(tx, unit)) {
		if text := unit + ": " + part.Text(noun); part.Code == c.Printed && part.Text(noun) != "" && !slices.Contains(x.Parts, text) {
			x.Parts = append(x.Parts, text)
		}
	}
}

// stoodFrom is when the first case of a candidate can have stood on a unit that holds others too;
// false where all of the unit is the candidate's.
func (c Candidate) stoodFrom(tx *store.Tx, unit string) (first int64, topped bool) {
	first = math.MaxInt64
	for _, rec := range tx.Touching(unit) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != unit {
			continue
		}
		run, known := tx.Run(p.Run)
		if !known || !slices.Contains(c.Runs, p.Run) {
			topped = true
			continue
		}
		margin := int64(0)
		if line, ok := tx.Line(run.Line); ok {
			margin = line.Margin
		}
		at := run.Started.From
		if w, _ := lineage.WindowOf(p, run, margin); !w.None {
			at = w.MayFrom
		}
		first = min(first, at)
	}
	return first, topped && first != math.MaxInt64
}

// placeFits compares the place that the caller has it from with who received some. Elsewhere is true where somebody has
// it at a place that by the records received none: of our own customers, or where nobody passes it on.
func placeFits(tx *store.Tx, sent []Sent, place string) (text string, elsewhere bool) {
	if place == "" {
		return "", false
	}
	further := false
	for _, s := range sent {
		p, ok := tx.Party(s.Consignee)
		if !ok {
			continue
		}
		if isPlace(p, place) {
			if s.Quantity.None() {
				return fmt.Sprintf("may fit: %s may have received some since %s, in a shipment of one of several units", p.Name, s.First), false
			}
			return fmt.Sprintf("fits: %s has received some since %s", p.Name, s.First), false
		}
		further = further || p.Channel == "distributor"
	}
	const none = "does not fit: by the records none of it went there, and yet somebody there has it"
	switch name := customer(tx, place); {
	case name != "" && further:
		return none + ": " + name + " had none of it from us; a distributor may have passed it on", true
	case name != "":
		return none + ": " + name + " had none of it from us", true
	case further:
		return "not supplied directly; a distributor may have passed it on", false
	case len(sent) == 0:
		return none + ": by the records none of it has left the house", true
	}
	return none, true
}

// isPlace reports whether a text is a party's code, or part of its name or address.
func isPlace(p *lots.Party, place string) bool {
	return strings.EqualFold(p.Code, place) || strings.Contains(strings.ToLower(p.Name+" "+p.Address), strings.ToLower(place))
}

// customer names the consignee whose code or name is a place; empty where none is.
func customer(tx *store.Tx, place string) string {
	for _, code := range tx.CodesOf(lots.KindParty) {
		if p, ok := tx.Party(code); ok && (strings.EqualFold(p.Code, place) || strings.EqualFold(p.Name, place)) && p.Role != "supplier" {
			return p.Name
		}
	}
	return ""
}
