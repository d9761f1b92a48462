// Package picture draws the answer of a trace: who supplied what, what it went into, and who has it, from left to
// right. Bands are as wide as what went over them. Where a column would hold too many boxes, what is alike is one box
// until somebody opens it.
package picture

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The columns.
const (
	suppliers = iota
	received
	brews
	stores
	machines
	brights
	lines
	runs
	units
	places
)

var columnNames = []string{"Suppliers", "Lots", "Brews", "Fermenters and stores", "Passed through", "Bright tanks", "Lines", "Package runs", "Pallets and kegs", "Where it went"}

// Picture is the picture of an answer.
type Picture struct {
	paper.Flow
	Opened []Group // what was opened, and can be closed again
}

// Group is what is alike, and is one box until it is opened.
type Group struct{ ID, Title string }

// Links say where the boxes of a picture lead: a thing to its trace, a party to its page, and a group to itself opened.
type Links struct {
	Thing func(codes []string) string
	Party func(code string) string
	Group func(id string) string
}

// box is one thing, before any are put together.
type box struct {
	paper.FlowNode
	path  []group // what it is folded into, the widest first
	packs lots.Packages
	order string // among those alike
}

type band struct {
	weight float64
	sure   bool
}

// maker gathers what an answer shows.
type maker struct {
	tx    *store.Tx
	a     *trace.Answer
	back  bool
	lot   bool // weights are amounts of the starting lot, not litres
	boxes map[string]*box
	bands map[[2]string]*band
	at    map[string]string // codes of the answer to their boxes
}

// Of draws an answer; open names the groups that somebody opened.
func Of(tx *store.Tx, a *trace.Answer, open []string, to Links) (*Picture, error) {
	m := &maker{tx: tx, a: a, back: a.Direction != "forward", lot: a.Measure() != "", boxes: map[string]*box{}, bands: map[[2]string]*band{}, at: map[string]string{}}
	m.things()
	for _, l := range a.Links() {
		from, to := m.boxOf(l.From), m.boxOf(l.To)
		m.join(from, to, m.weight(l), l.Sure)
	}
	m.chains()
	m.supply()
	m.whereabouts()
	p := m.folded(open, to)
	p.Caption = m.caption()
	return p, tx.Err()
}

// caption says what the picture shows and how.
func (m *maker) caption() string {
	width := "the recorded quantity, 1 kg counted as 1 L"
	switch {
	case m.back:
		width = "how much of it is in what was asked about, 1 kg counted as 1 L"
	case m.lot:
		width = "how much of the lot went over them"
	}
	return "From suppliers on the left to consignees on the right. Bands are as wide as " + width + ", where that is known; a ring on a thin band says that it is not. Dashed, and with a question mark: possible only."
}

func (m *maker) weight(l trace.Link) float64 {
	if m.lot {
		return l.Amount
	}
	return l.Litres
}

// things makes a box of each thing that the answer names; the fills of a vessel are one.
func (m *maker) things() {
	for _, l := range m.a.Lots {
		item, _ := m.tx.Item(l.Item)
		kind, name := "other", l.Item
		if item != nil {
			kind, name = item.Kind, item.Name
		}
		column, title := received, l.Code
		if l.Supplier == nil {
			column, title = stores, "crop "+l.Code
		}
		b := m.add("lot "+l.Code, column, title, name, l.Reached)
		b.path, b.order = under(group{"lots/" + kind, kind + " lots", ""}), l.Code
	}
	for _, x := range m.a.Brews {
		b := m.add("brew "+x.Code, brews, x.Code, x.Beer, x.Reached)
		b.path, b.order = under(group{"brews/" + x.Beer, "brews", x.Beer}), x.Code
	}
	for _, f := range m.a.Fills {
		kind := ""
		if v, ok := m.tx.Thing(f.Vessel); ok {
			kind = v.VesselKind
		}
		column := stores
		switch {
		case kind == "bright" || kind == "serving":
			column = brights
		case kind == "path":
			column = machines
		case kind == "": // a line that keeps residue
			column = lines
		}
		b := m.add("vessel "+f.Vessel, column, f.Vessel, "", f.Reached)
		b.path, b.order = under(group{"vessels/" + kind, vesselWords(kind), ""}), f.Vessel
	}
	for _, r := range m.a.Runs {
		b := m.add("run "+r.Code, runs, r.Code, r.Product, r.Reached)
		b.path, b.order = under(group{"runs/" + r.Product, "runs", r.Product}), r.Code
	}
	for _, u := range m.a.Units {
		b := m.add("unit "+u.Code, units, u.Code, "", u.Reached)
		b.packs.Add(u.Kind == "keg", float64(u.Affected))
		product, run := "several products", "several runs"
		if u.Product != nil {
			product = *u.Product
		}
		if len(u.Runs) == 1 {
			run = u.Runs[0]
		}
		b.path, b.order = under(group{"units/" + product, "units", product}, group{"units/" + product + "/" + run, "units", run}), u.Code
	}
}

// vesselWords are the words for several of a kind of vessel.
func vesselWords(kind string) string {
	return cmp.Or(map[string]string{"silo": "silos", "tank": "tanks", "fermenter": "fermenters", "bright": "bright tanks",
		"brink": "yeast brinks", "serving": "serving tanks", "gas": "gas tanks"}[kind], "machines")
}

// add makes a box, or adds to one, what stands in the answer under a code.
func (m *maker) add(id string, column int, title, detail string, at trace.Reached) *box {
	b := m.boxes[id]
	if b == nil {
		b = &box{FlowNode: paper.FlowNode{ID: id, Column: column, Title: title, Detail: detail}}
		m.boxes[id] = b
	}
	b.Sure = b.Sure || at.Band == graph.In.String()
	b.Codes = append(b.Codes, at.Code)
	m.at[at.Code] = id
	return b
}

// boxOf is the box that a place of the lineage belongs to.
func (m *maker) boxOf(p trace.Place) string { return m.at[p.Code] }

// join adds what went between two boxes.
func (m *maker) join(from, to string, weight float64, sure bool) {
	if from == "" || to == "" || from == to {
		return
	}
	b := m.bands[[2]string{from, to}]
	if b == nil {
		b = &band{weight: math.NaN()}
		m.bands[[2]string{from, to}] = b
	}
	b.sure = b.sure || sure
	b.weight = plus(b.weight, weight)
}

// plus adds what is known; unknown and unknown is unknown.
func plus(a, b float64) float64 {
	switch {
	case math.IsNaN(a):
		return b
	case math.IsNaN(b):
		return a
	}
	return a + b
}

// chains makes sure that every step of every chain is a band: a chain begins at what was asked about, such as a run
// whose pallets were meant by the time they were packed, where no link leads.
func (m *maker) chains() {
	each := func(at trace.Reached) {
		for i := 1; i < len(at.Why); i++ {
			from, to := m.at[at.Why[i-1]], m.at[at.Why[i]]
			if m.back {
				from, to = to, from
			}
			if _, drawn := m.bands[[2]string{from, to}]; !drawn {
				m.join(from, to, math.NaN(), at.Band == graph.In.String())
			}
		}
	}
	for _, x := range m.a.Lots {
		each(x.Reached)
	}
	for _, x := range m.a.Brews {
		each(x.Reached)
	}
	for _, x := range m.a.Fills {
		each(x.Reached)
	}
	for _, x := range m.a.Runs {
		each(x.Reached)
	}
	for _, x := range m.a.Units {
		each(x.Reached)
	}
}

// supply leads from suppliers to their lots.
func (m *maker) supply() {
	passed := map[string]float64{}
	for key, b := range m.bands {
		if !math.IsNaN(b.weight) {
			passed[key[0]] += b.weight
		}
	}
	for _, l := range m.a.Lots {
		if l.Supplier == nil {
			continue
		}
		b := m.party("from "+*l.Supplier, suppliers, *l.Supplier, group{"suppliers", "suppliers", ""})
		b.Sure = b.Sure || l.Band == graph.In.String()
		weight := math.NaN()
		if x := passed["lot "+l.Code]; x > 0 {
			weight = x
		}
		m.join(b.ID, "lot "+l.Code, weight, l.Band == graph.In.String())
	}
}

// party makes the box of a supplier or consignee.
func (m *maker) party(id string, column int, code string, g group) *box {
	if b := m.boxes[id]; b != nil {
		return b
	}
	b := &box{FlowNode: paper.FlowNode{ID: id, Column: column, Title: code, Codes: []string{code}}, path: under(g), order: code}
	if p, ok := m.tx.Party(code); ok {
		b.Detail = p.Name
	}
	m.boxes[id] = b
	return b
}

// whereabouts leads from units to who received them, and to what is still here or was removed.
func (m *maker) whereabouts() {
	of := map[string]trace.Unit{}
	for _, u := range m.a.Units {
		of[u.Code] = u
		if m.back {
			continue
		}
		m.stays(u, "in the house", u.OnHand)
		m.stays(u, "removed here", u.Books.Removed)
	}
	for _, s := range m.a.Carrying() {
		sure := s.Band == graph.In.String()
		b := m.consignee(s.Consignee, sure)
		for _, unit := range strings.Split(s.Unit, "|") {
			if _, there := of[unit]; !there {
				continue
			}
			weight := math.NaN()
			if !s.OneOf() {
				b.packs.Add(of[unit].Kind == "keg", float64(s.Quantity))
				weight = m.part(of[unit], float64(s.Quantity))
			}
			m.join("unit "+unit, b.ID, weight, sure)
		}
	}
	for _, x := range m.a.Bulk {
		sure := x.Band == graph.In.String()
		b := m.consignee(x.Consignee, sure)
		if n := len(x.Why); n > 1 {
			m.join(m.at[x.Why[n-2]], b.ID, math.NaN(), sure)
		}
	}
}

func (m *maker) consignee(code string, sure bool) *box {
	channel, words := "", "consignees"
	if p, ok := m.tx.Party(code); ok && p.Channel != "" {
		channel, words = p.Channel, p.Channel+" customers"
		if channel == "distributor" || channel == "retailer" {
			words = channel + "s"
		}
	}
	b := m.party("to "+code, places, code, group{"consignees/" + channel, words, ""})
	b.Sure = b.Sure || sure
	return b
}

// stays leads from a unit to a place in the house.
func (m *maker) stays(u trace.Unit, place string, n float64) {
	if n <= 0 {
		return
	}
	id := "at " + place
	b := m.boxes[id]
	if b == nil {
		b = &box{FlowNode: paper.FlowNode{ID: id, Column: places, Title: place}, order: " " + place}
		m.boxes[id] = b
	}
	sure := u.Band == graph.In.String()
	b.Sure = b.Sure || sure
	b.packs.Add(u.Kind == "keg", n)
	m.join("unit "+u.Code, id, m.part(u, n), sure)
}

// part is the weight of so many cases or kegs of a unit.
func (m *maker) part(u trace.Unit, n float64) float64 {
	if m.lot {
		if u.Amount.Amount == nil || u.Quantity == 0 {
			return math.NaN()
		}
		return *u.Amount.Amount * n / float64(u.Quantity)
	}
	if u.Product == nil || m.back {
		return math.NaN()
	}
	p, ok := m.tx.Product(*u.Product)
	if !ok {
		return math.NaN()
	}
	return n * float64(p.ContainerML*max(1, p.PerCase)) / 1e3
}

// bandKeys lists the bands in a settled order.
func bandKeys(bands map[[2]string]*band) [][2]string {
	return slices.SortedFunc(maps.Keys(bands), func(a, b [2]string) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
}
