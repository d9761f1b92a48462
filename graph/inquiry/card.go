package inquiry

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/store"
)

// cardOf gathers what is known of a candidate.
func cardOf(tx *store.Tx, c Candidate, q Question) (*Card, error) {
	p := productOf(tx, c.Product)
	card := &Card{Product: c.Product, Name: p.Name, Runs: c.Runs, Lines: []string{}, Declares: orEmpty(p.Declares), Allergens: []Allergen{}, Lots: []string{}, Recalls: []string{}, Shipped: []Sent{}, Findings: []string{}, Held: graph.Out.String()}
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
	if err := card.stops(tx, c); err != nil {
		return nil, err
	}
	return card, card.sent(tx, c, q)
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

// stops finds holds on it or anything in its lineage, and recalls with any of it in scope.
func (card *Card) stops(tx *store.Tx, c Candidate) error {
	band := graph.Out
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return err
	}
	for kind, codes := range map[lots.Kind][]string{lots.KindUnit: c.Units, lots.KindRun: c.Runs} {
		for _, code := range codes {
			b, err := holds.On(kind, code)
			if err != nil {
				return err
			}
			band = max(band, b)
		}
	}
	card.Held = band.String()
	all, err := recall.All(tx)
	if err != nil {
		return err
	}
	for _, r := range all {
		s, err := r.Scope(tx)
		if err != nil {
			return err
		}
		hit := slices.ContainsFunc(s.Answer.Runs, func(x trace.Run) bool { return slices.Contains(c.Runs, x.Code) })
		if hit && len(c.Units) > 0 {
			hit = slices.ContainsFunc(s.Answer.Units, func(u trace.Unit) bool { return slices.Contains(c.Units, u.Code) })
		}
		if hit && r.State() != "terminated" {
			card.Recalls = append(card.Recalls, fmt.Sprintf("%s (%s, %s)", r.Code, r.Kind(), r.State()))
		}
	}
	return nil
}

// sent tells where the candidate's units went, and whether the caller's place is among them.
func (card *Card) sent(tx *store.Tx, c Candidate, q Question) error {
	sums := map[string]*Sent{}
	zone := tx.Site().Zone
	for _, unit := range c.Units {
		for _, rec := range tx.Touching(unit) {
			sh, ok := rec.(*lots.Shipment)
			if !ok {
				continue
			}
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
			x.Quantity += sh.Quantity
		}
	}
	for _, x := range sums {
		card.Shipped = append(card.Shipped, *x)
	}
	slices.SortFunc(card.Shipped, func(a, b Sent) int { return cmp.Compare(a.Consignee, b.Consignee) })
	card.Place = placeFits(tx, card.Shipped, q.Place)
	return tx.Err()
}

func placeFits(tx *store.Tx, sent []Sent, place string) string {
	if place == "" {
		return ""
	}
	further := false
	for _, s := range sent {
		p, ok := tx.Party(s.Consignee)
		if !ok {
			continue
		}
		if strings.EqualFold(p.Code, place) || strings.Contains(strings.ToLower(p.Name+" "+p.Address), strings.ToLower(place)) {
			return fmt.Sprintf("fits: %s had some from %s", p.Name, s.First)
		}
		further = further || p.Channel == "distributor"
	}
	if further {
		return "not among those supplied directly; a distributor may have passed it on"
	}
	return "does not fit: none of it went there by the records"
}
