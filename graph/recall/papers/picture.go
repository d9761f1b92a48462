package papers

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// Picture draws the scope: suspects on the left, who received it on the right.
func (m *Maker) Picture() (*paper.Flow, error) {
	consignees, err := deliveries.Consignees(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	p := &picture{m: m, back: map[[2]string]float64{}, flow: &paper.Flow{Columns: []string{"Suspects", "Brews", "Fermenters and stores", "Bright tanks", "Package runs", "Where it is"}}, nodes: map[string]*pictured{}, edges: map[[2]string]*edge{}}
	for _, c := range consignees {
		for _, l := range c.Lines {
			p.back[[2]string{c.Party, l.Unit}] = l.Returned
		}
	}
	for _, l := range m.s.Answer.Links() {
		p.link(l)
	}
	p.index()
	for _, u := range m.s.Answer.Units {
		p.unit(u)
	}
	folded := p.fold()
	p.finish()
	p.flow.Caption = "Bands are as wide as what went over them, where that is known; a ring on a thin band says that it is not. Dashed, and with a question mark: possible only."
	if folded {
		p.flow.Caption += " What is smallest is folded into groups so that the picture stays on one page; the annexes name every unit and consignee."
	}
	return p.flow, m.tx.Err()
}

type pictured struct {
	paper.FlowNode
	weight float64           // of the suspect lot, in its unit
	size   float64           // in whole units, to tell large from small where no weight is known
	units  map[string]string // of a run: its units in scope, and what they are
	packs  lots.Packages     // of a place: what is there
	fold   [2]string         // what it is one of, and many of them; empty where it is never folded
}

type edge struct {
	weight float64
	sure   bool
}

type picture struct {
	m     *Maker
	flow  *paper.Flow
	nodes map[string]*pictured
	edges map[[2]string]*edge
	back  map[[2]string]float64 // party and unit to what came back

	shipped, either map[string][]trace.Shipment // by unit; either: one of several, of which it is one
}

// index sorts the shipments by their units.
func (p *picture) index() {
	p.shipped, p.either = map[string][]trace.Shipment{}, map[string][]trace.Shipment{}
	for _, sh := range p.m.s.Shipments() {
		if !sh.OneOf() {
			p.shipped[sh.Unit] = append(p.shipped[sh.Unit], sh)
			continue
		}
		for _, unit := range strings.Split(sh.Unit, "|") {
			p.either[unit] = append(p.either[unit], sh)
		}
	}
}

// place notes on the boxes of its runs that a unit is theirs, and on those of its places what of it is there.
func (p *picture) place(u trace.Unit, places map[string]float64) {
	drawn := false
	for _, run := range u.Runs {
		if n := p.nodes["run "+run]; n != nil {
			n.units[u.Code], n.size, drawn = u.Kind, n.size+1, true
		}
	}
	for to, n := range places {
		if drawn && n > 0 {
			at := p.node("at "+to, 5, to, false)
			at.packs.Add(u.Kind == "keg", n)
			at.size += n / float64(max(1, u.Quantity))
		}
	}
}

// group gives the box that a place of the lineage belongs to; empty for none.
func (p *picture) group(at trace.Place) (id string, column int, title string) {
	switch at.Kind {
	case graph.Lot:
		if slices.ContainsFunc(p.m.s.Answer.Lots, func(l trace.Lot) bool { return l.Code == at.Code && len(l.Why) <= 1 }) {
			return "lot " + at.Code, 0, at.Code
		}
		return "lot " + at.Code, 2, "crop " + at.Code
	case graph.Brew:
		return "brew " + at.Code, 1, at.Code
	case graph.Fill:
		column := 2
		if thing, ok := p.m.tx.Thing(at.Home); ok && (thing.VesselKind == "bright" || thing.VesselKind == "serving") {
			column = 3
		}
		return "tank " + at.Home, column, at.Home
	case graph.Segment, graph.Stretch:
		return "run " + at.Code, 4, at.Code
	}
	return "", 0, ""
}

func (p *picture) node(id string, column int, title string, sure bool) *pictured {
	n := p.nodes[id]
	if n == nil {
		n = &pictured{FlowNode: paper.FlowNode{ID: id, Column: column, Title: title}, units: map[string]string{}, fold: p.kindOf(id, column)}
		p.nodes[id] = n
	}
	n.Sure = n.Sure || sure
	return n
}

// join adds what went between two boxes.
func (p *picture) join(from, to string, amount float64, sure bool) {
	if from == to {
		return
	}
	e := p.edges[[2]string{from, to}]
	if e == nil {
		e = &edge{}
		p.edges[[2]string{from, to}] = e
	}
	e.sure = e.sure || sure
	switch {
	case math.IsNaN(amount) && !sure: // a contact adds nothing that could be measured
	case math.IsNaN(amount):
		e.weight = math.NaN()
	default:
		e.weight += amount
	}
	if !math.IsNaN(amount) {
		p.nodes[to].weight += amount
	}
}

func (p *picture) link(l trace.Link) {
	from, column, title := p.group(l.From)
	to, column2, title2 := p.group(l.To)
	if from == "" || to == "" {
		return
	}
	p.node(from, column, title, l.Sure || column == 0)
	p.node(to, column2, title2, l.Sure)
	p.join(from, to, l.Amount, l.Sure)
}

// unit leads from a unit's runs to where it is: consignees net of returns, the house, or gone.
func (p *picture) unit(u trace.Unit) {
	total := float64(max(1, u.Quantity))
	amount := math.NaN()
	if u.Amount.Amount != nil {
		amount = *u.Amount.Amount
	}
	sure, places := u.Band == graph.In.String(), p.whereabouts(u)
	p.place(u, places)
	for _, run := range u.Runs {
		if p.nodes["run "+run] == nil {
			continue
		}
		share := amount / float64(len(u.Runs))
		for _, to := range slices.Sorted(maps.Keys(places)) {
			if n := places[to]; n > 0 {
				p.node("at "+to, 5, to, sure)
				p.join("run "+run, "at "+to, share*n/total, sure)
			}
		}
		maybe := p.maybeAt(u)
		for _, to := range slices.Sorted(maps.Keys(maybe)) {
			p.node("at "+to, 5, to, maybe[to])
			p.join("run "+run, "at "+to, math.NaN(), false)
		}
	}
}

// whereabouts tells how many cases or kegs of a unit are where.
func (p *picture) whereabouts(u trace.Unit) map[string]float64 {
	out := map[string]float64{"in the house": u.OnHand, "removed here": u.Books.Removed, "repacked": u.Books.Repacked}
	for _, sh := range p.shipped[u.Code] {
		out[sh.Consignee] += float64(sh.Quantity)
	}
	for to := range out {
		out[to] -= p.back[[2]string{to, u.Code}]
	}
	return out
}

// maybeAt tells who received one of several units of which this is one, and whether they have
// something affected for sure: it may be there, and in how much no book says.
func (p *picture) maybeAt(u trace.Unit) map[string]bool {
	out := map[string]bool{}
	for _, sh := range p.either[u.Code] {
		out[sh.Consignee] = out[sh.Consignee] || sh.Band == graph.In.String()
	}
	return out
}

// rename moves the edges of one box to another.
func (p *picture) rename(from, to string) {
	for _, key := range p.edgeKeys() {
		e, moved := p.edges[key], key
		for i := range moved {
			if moved[i] == from {
				moved[i] = to
			}
		}
		if moved == key {
			continue
		}
		delete(p.edges, key)
		if moved[0] == moved[1] {
			continue
		}
		had := p.edges[moved]
		if had == nil {
			had = &edge{}
			p.edges[moved] = had
		}
		had.sure, had.weight = had.sure || e.sure, had.weight+e.weight
	}
}

// edgeKeys lists the edges in a settled order, so that sums do not depend on it.
func (p *picture) edgeKeys() [][2]string {
	return slices.SortedFunc(maps.Keys(p.edges), func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
}

// finish puts boxes and bands into the picture in a settled order.
func (p *picture) finish() {
	for _, n := range p.nodes {
		n.Detail = p.detail(n)
		p.flow.Nodes = append(p.flow.Nodes, n.FlowNode)
	}
	slices.SortFunc(p.flow.Nodes, func(a, b paper.FlowNode) int { return cmp.Or(cmp.Compare(a.Column, b.Column), cmp.Compare(a.ID, b.ID)) })
	for _, key := range p.edgeKeys() {
		e := p.edges[key]
		weight := e.weight
		if weight == 0 {
			weight = math.NaN()
		}
		p.flow.Edges = append(p.flow.Edges, paper.FlowEdge{From: key[0], To: key[1], Sure: e.sure, Weight: weight})
	}
}
