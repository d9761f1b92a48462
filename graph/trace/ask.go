package trace

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Trace follows the lineage from what the texts name, forward or back, over every link.
func Trace(tx *store.Tx, dir graph.Direction, texts ...string) (*Answer, error) {
	return Ask(tx, Question{Dir: dir, From: texts})
}

// Question is what a trace asks.
type Question struct {
	Dir    graph.Direction
	Hazard graph.Hazard // decides which links count; empty means all
	From   []string     // codes to start at
	// Without names things that the walk does not pass: somebody decided that nothing
	// comes to them, or from them. What is reached past them only is out.
	Without []string
	// Literal reads nothing into the codes: they were put down before as they are recorded.
	Literal bool
}

// Ask follows the lineage as a question says.
func Ask(tx *store.Tx, question Question) (*Answer, error) {
	r := &resolver{tx: tx, dir: question.Dir, site: tx.Site(), literal: question.Literal}
	from, err := r.resolveAll(question.From)
	if err != nil {
		return nil, err
	}
	cut, err := r.cut(question.Without)
	if err != nil {
		return nil, err
	}
	q, err := walkPast(tx, question.Dir, question.Hazard, from.sorted(), cut)
	if err != nil {
		return nil, err
	}
	return q.answer()
}

// cut finds the nodes that a walk does not pass.
func (r *resolver) cut(texts []string) (map[int64]bool, error) {
	without, err := r.resolveAll(texts)
	if err != nil {
		return nil, err
	}
	cut := map[int64]bool{}
	for _, s := range without.starts {
		cut[s.ID] = true
	}
	return cut, nil
}

func (r *resolver) resolveAll(texts []string) (*target, error) {
	all := &target{}
	for _, text := range texts {
		t, err := r.resolve(text)
		if err != nil {
			return nil, err
		}
		all.merge(t)
	}
	return all, nil
}

// asked is one question with its walk done.
type asked struct {
	tx      *store.Tx
	dir     graph.Direction
	site    lots.Site
	target  *target
	reached *store.Reached
	reach   *graph.Reach
	startOf map[int64]start
	hazard  graph.Hazard
	cut     map[int64]bool
	suspect map[string]bool // lines and path items at whose passes it started
	unit    lots.Unit       // the single starting lot's own; empty where amounts forwards have no meaning
}

func walk(tx *store.Tx, dir graph.Direction, hazard graph.Hazard, texts []string) (*asked, error) {
	r := &resolver{tx: tx, dir: dir, site: tx.Site()}
	all, err := r.resolveAll(texts)
	if err != nil {
		return nil, err
	}
	return walkFrom(tx, dir, hazard, all.sorted())
}

func walkFrom(tx *store.Tx, dir graph.Direction, hazard graph.Hazard, t *target) (*asked, error) {
	return walkPast(tx, dir, hazard, t, nil)
}

// walkPast walks over the links that a hazard travels, and not to or from the nodes cut out.
func walkPast(tx *store.Tx, dir graph.Direction, hazard graph.Hazard, t *target, cut map[int64]bool) (*asked, error) {
	q := &asked{tx: tx, dir: dir, site: tx.Site(), target: t, startOf: map[int64]start{}, hazard: cmp.Or(hazard, graph.Anything), cut: cut, suspect: map[string]bool{}}
	query := graph.Query{Dir: dir, Amounts: true, Most: (&parts{tx: tx, rooms: map[room]float64{}}).most}
	if len(cut) > 0 || q.hazard != graph.Anything {
		query.Keep = q.counts
	}
	t.starts = slices.DeleteFunc(t.starts, func(s start) bool { return cut[s.ID] })
	var ids []int64
	for _, s := range t.starts {
		ids = append(ids, s.ID)
		query.Starts = append(query.Starts, graph.Start{ID: s.ID, Possible: s.possible})
		q.startOf[s.ID] = s
		if s.Kind == graph.Fill && isMachine(tx, s.Home) {
			q.suspect[s.Home] = true
		}
	}
	var err error
	if q.reached, err = tx.Reach(dir, ids); err != nil {
		return nil, err
	}
	q.reach = q.reached.Walk(query)
	if dir == graph.Forward && len(t.starts) == 1 && t.starts[0].Kind == graph.Lot {
		q.unit = unitOfLot(tx, t.starts[0].Code)
	}
	return q, tx.Err()
}

// counts reports whether a link counts for what is wrong. Where the suspect is a line or a path item,
// what passes it next without a break counts for every hazard: a machine does not only leave a film.
func (q *asked) counts(src, dst graph.Node, l graph.Link) bool {
	if q.cut[src.ID] || q.cut[dst.ID] {
		return false
	}
	return q.hazard.Travels(src, dst, l) || l.Cause == graph.Path && q.suspect[q.reached.Nodes[src.ID].Home]
}

// isMachine reports whether beer passes a thing and is not kept in it.
func isMachine(tx *store.Tx, code string) bool {
	t, ok := tx.Thing(code)
	return ok && (t.Kind == lots.KindLine || t.VesselKind == "path")
}

func unitOfLot(tx *store.Tx, code string) lots.Unit {
	thing, _ := tx.Thing(code)
	return thing.Unit
}

// answer tells of everything reached.
func (q *asked) answer() (*Answer, error) {
	a := &Answer{Direction: directionName(q.dir), From: q.target.from,
		Lots: []Lot{}, Brews: []Brew{}, Fills: []Fill{}, Runs: []Run{}, Units: []Unit{}, Shipments: []Shipment{}, Findings: []Finding{}}
	q.prefetch()
	held, err := heldNodes(q.tx)
	if err != nil {
		return nil, err
	}
	parts := map[string][]int64{} // run to its reached segments and stretches
	for n, band := range q.reach.All() {
		node := q.reached.Nodes[n.ID]
		at := Reached{Code: n.Code, Band: band.String(), Why: q.why(n.ID)}
		switch n.Kind {
		case graph.Lot:
			a.Lots = append(a.Lots, q.lot(at, n))
		case graph.Brew:
			a.Brews = append(a.Brews, Brew{at, node.Home, q.amount(n.ID), q.within(n.ID)})
		case graph.Fill:
			a.Fills = append(a.Fills, q.fill(at, n.ID, node))
		case graph.Segment, graph.Stretch:
			parts[node.Home] = append(parts[node.Home], n.ID)
		case graph.Unit:
			a.Units = append(a.Units, q.unitElement(at, n.ID, held))
		}
	}
	a.Runs = q.runs(parts)
	moved := q.shipments(a.Units)
	inBulk := q.bulk()
	a.Totals = q.totals(a, moved, inBulk)
	for _, b := range inBulk {
		if q.dir == graph.Forward || q.target.shipments[b.entry] {
			a.Bulk = append(a.Bulk, b)
		}
	}
	for _, s := range moved {
		if q.dir == graph.Forward || q.target.shipments[s.entry] {
			a.Shipments = append(a.Shipments, s)
		}
	}
	a.sort()
	a.Findings = q.findings(a)
	a.asked = q
	a.NotCounted = a.Uncounted()
	a.MayRetain = q.retaining()
	return a, q.tx.Err()
}

// prefetch reads the records of all runs, units and lots reached at once.
func (q *asked) prefetch() {
	codes := map[string]bool{}
	for _, n := range q.reached.Nodes {
		switch n.Kind {
		case graph.Segment, graph.Stretch:
			codes[n.Home] = true
		case graph.Unit, graph.Lot:
			codes[n.Code] = true
		}
	}
	q.tx.Prefetch(slices.Sorted(maps.Keys(codes)))
}

// why is the chain to a node in codes. Units meant by the time they were packed hang on their run.
func (q *asked) why(id int64) []string {
	steps := q.reach.Why(id)
	codes := graph.Codes(steps)
	if of := q.startOf[steps[0].Node.ID].of; of != "" {
		codes = append([]string{of}, codes...)
	}
	return codes
}

// amount gives a node's amount in the unit of the lot it is measured in.
func (q *asked) amount(id int64) Amount {
	if q.dir == graph.Back || q.unit == "" {
		return Amount{}
	}
	return amountIn(q.reach.Amount(id), q.unit)
}

// within is how much of a node is in the starts of a question backwards, in its base unit; NaN where that is not known.
func (q *asked) within(id int64) float64 {
	if q.dir != graph.Back {
		return math.NaN()
	}
	return q.reach.Amount(id)
}

func amountIn(base float64, unit lots.Unit) Amount {
	if math.IsNaN(base) || unit == "" {
		return Amount{}
	}
	v, name := lots.Nine(unit.Of(base)), string(unit)
	return Amount{&v, &name}
}

func (q *asked) lot(at Reached, n graph.Node) Lot {
	l := Lot{Reached: at, Amount: q.amount(n.ID)}
	if q.dir == graph.Back {
		l.Amount = amountIn(q.reach.Amount(n.ID), unitOfLot(q.tx, n.Code))
	}
	for _, rec := range q.tx.Touching(n.Code) {
		switch x := rec.(type) {
		case *lots.Receipt:
			if x.Lot == n.Code {
				l.Item, l.Supplier, l.SupplierLot = x.Item, &x.Supplier, &x.SupplierLot
			}
		case *lots.Crop:
			if x.Lot == n.Code {
				l.Item = x.Item
			}
		}
	}
	return l
}

func (q *asked) fill(at Reached, id int64, n lineage.Node) Fill {
	f := Fill{Reached: at, Vessel: n.Home, Since: lots.RFC3339(n.Since, q.site.Zone), Volume: lots.Nine(n.Total / 1000), Amount: q.amount(id)}
	if n.Until != 0 {
		until := lots.RFC3339(n.Until, q.site.Zone)
		f.Until = &until
	} else if c, ok := ContentOf(q.tx, n.Home); ok {
		f.Left = lots.Nine(c.Left / 1000)
	}
	return f
}

// runs tells of every run with a reached part, and of those whose units were meant by time.
func (q *asked) runs(parts map[string][]int64) []Run {
	out := []Run{}
	codes := slices.Collect(maps.Keys(parts))
	for code := range q.target.runs {
		if _, ok := parts[code]; !ok {
			codes = append(codes, code)
		}
	}
	for _, code := range codes {
		run, product, ok := runOf(q.tx, code)
		if !ok {
			continue
		}
		e := Run{Reached: q.runReached(code, parts[code]), Product: run.Product, Cases: run.Good / max(product.PerCase, 1)}
		e.DateCodes = append([]string{}, CodesOfRun(q.tx, run)...)
		if run.Line != "" {
			e.Line = &run.Line
		}
		e.Unassigned = max(0, e.Cases-packedFrom(q.tx, code))
		out = append(out, e)
	}
	return out
}

// runReached takes a run's band and chain from the best of its parts.
func (q *asked) runReached(code string, parts []int64) Reached {
	best, why := q.target.runs[code], []string(nil)
	if best != graph.Out {
		why = []string{code}
	}
	for _, id := range parts {
		band, chain := q.reach.Band(id), q.why(id)
		if band > best || band == best && (len(chain) < len(why) || len(chain) == len(why) && slices.Compare(chain, why) < 0) {
			best, why = band, chain
		}
	}
	return Reached{code, best.String(), why}
}

// packedFrom sums the cases or kegs of a run that hang on units.
func packedFrom(tx *store.Tx, run string) int64 {
	var sum int64
	for _, rec := range tx.Touching(run) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == run {
			sum += p.Quantity
		}
	}
	return sum
}

func sortedSet(s []string) []string {
	slices.Sort(s)
	return slices.Compact(s)
}

// shipments lists every row that moved a reached unit.
func (q *asked) shipments(units []Unit) []Shipment {
	rows := map[int64]Shipment{}
	for _, u := range units {
		for _, rec := range q.tx.Touching(u.Code) {
			s, ok := rec.(*lots.Shipment)
			if !ok {
				continue
			}
			e := Shipment{Reached: Reached{s.Shipment, u.Band, append(slices.Clone(u.Why), s.Shipment)}, Unit: strings.Join(s.Unit.Codes, "|"),
				Consignee: s.Consignee, Quantity: s.Quantity, ShippedAt: s.At.Text(q.site.Zone), entry: s.Seq, oneOf: s.Unit.OneOf()}
			if s.Unit.OneOf() {
				e.Band = graph.Possible.String()
			}
			if s.Document != "" {
				e.Document = &s.Document
			}
			if had, ok := rows[s.Seq]; !ok || better(e.Reached, had.Reached) {
				rows[s.Seq] = e
			}
		}
	}
	q.asOlder(units, rows)
	return slices.Collect(maps.Values(rows))
}

func better(a, b Reached) bool {
	if a.Band != b.Band {
		return a.Band == graph.In.String()
	}
	return cmp.Or(cmp.Compare(len(a.Why), len(b.Why)), slices.Compare(a.Why, b.Why)) < 0
}

func (a *Answer) sort() {
	slices.SortFunc(a.Lots, func(x, y Lot) int { return cmp.Compare(x.Code, y.Code) })
	slices.SortFunc(a.Brews, func(x, y Brew) int { return cmp.Compare(x.Code, y.Code) })
	slices.SortFunc(a.Fills, func(x, y Fill) int { return cmp.Compare(x.Code, y.Code) })
	slices.SortFunc(a.Runs, func(x, y Run) int { return cmp.Compare(x.Code, y.Code) })
	slices.SortFunc(a.Units, func(x, y Unit) int { return cmp.Compare(x.Code, y.Code) })
	slices.SortFunc(a.Shipments, func(x, y Shipment) int {
		return cmp.Or(cmp.Compare(x.Code, y.Code), cmp.Compare(x.Unit, y.Unit), cmp.Compare(x.entry, y.entry))
	})
}

// totals sums an answer by band; moved are all rows that moved its units, and inBulk those of what was never
// packed. One that moved one of several counts only its consignee.
func (q *asked) totals(a *Answer, moved []Shipment, inBulk []Bulk) Totals {
	var t Totals
	band := func(name string) *Total {
		if name == graph.In.String() {
			return &t.In
		}
		return &t.Possible
	}
	for _, u := range a.Units {
		b := band(u.Band)
		b.Units++
		kegs := u.Kind == "keg"
		if kegs {
			b.Kegs += u.Quantity
		} else {
			b.Cases += u.Quantity
		}
		b.Affected.Add(kegs, float64(u.Affected))
		b.OnHand.Add(kegs, u.OnHand)
		b.Shipped.Add(kegs, u.Books.Shipped)
		b.Returned.Add(kegs, u.Books.Returned)
		b.Removed.Add(kegs, u.Books.Removed)
		b.Repacked.Add(kegs, u.Books.Repacked)
		b.Litres = lots.Nine(b.Litres + q.litres(u))
	}
	for _, r := range a.Runs {
		band(r.Band).Unassigned.Add(OfKegs(q.tx, r.Code), float64(r.Unassigned))
	}
	consignees := map[string]map[string]bool{graph.In.String(): {}, graph.Possible.String(): {}}
	for _, s := range moved {
		consignees[s.Band][s.Consignee] = true
	}
	for _, x := range inBulk {
		consignees[x.Band][x.Consignee] = true
		if !x.oneOf {
			band(x.Band).Bulk.add(x.qty)
		}
	}
	t.In.Consignees, t.Possible.Consignees = len(consignees[graph.In.String()]), len(consignees[graph.Possible.String()])
	return t
}

// litres is how much beer the affected cases or kegs of a unit hold: a case that is touched counts whole.
func (q *asked) litres(u Unit) (sum float64) {
	parts := 0.0
	for _, p := range u.Parts {
		product := productOf(q.tx, p.Product)
		parts += p.Affected
		sum += p.Affected * float64(product.ContainerML*max(1, product.PerCase)) / 1000
	}
	if parts == 0 {
		return 0
	}
	return sum * float64(u.Affected) / parts
}

// Understood says why a text cannot be asked about; nil where it can.
func Understood(tx *store.Tx, text string) error {
	_, err := (&resolver{tx: tx, dir: graph.Forward, site: tx.Site()}).resolve(text)
	return err
}
