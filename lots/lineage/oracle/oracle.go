// Package oracle derives lineage a second time, slowly, for tests to compare.
//
// It follows the text of the rules step by step over plain lists and maps and
// shares no code with the engine it checks, only the types of nodes and links.
// It must not be made fast, and nothing but tests may use it.
package oracle

import (
	"fmt"
	"math"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// Key names all links of one sort between two nodes.
type Key struct {
	Src, Dst lineage.Ref
	Grade    graph.Grade
	Cause    graph.Cause
}

// Share is the sum of the known shares of a Key's links; Unknown tells that one of them is not known.
type Share struct {
	Known   float64
	Unknown bool
}

// Fault is a finding by its stable name and the code it is about.
type Fault struct{ Name, Code string }

// Lineage is what the records derive: nodes with their totals, links, findings.
type Lineage struct {
	Nodes    map[lineage.Ref]float64
	Links    map[Key]Share
	Findings map[Fault]bool
}

// slack is below any recorded quantity; parts by duration are fractions.
const slack = 1e-6

// world is everything the derivation works on.
type world struct {
	*lots.Ledger
	limits  lineage.Limits
	zone    *time.Location
	res     *Lineage
	vessels map[string]*vessel
	order   []string // vessels in order of their records
	lots    map[string]*lot
	lines   map[string]*lots.Line
	items   map[string]string   // item to its kind
	carried map[string][]string // item to its allergens
	prods   map[string]*lots.Product
	brews   map[string]*brew
	units   map[string]*unit
	runs    []*run
	runOf   map[string]*run
	moves   []*move
	circles []*circle
	perhaps []*move // vessels that may have been joined
	passes  []*pass
	cleared []*lots.Clearance
	washes  []*wash
	tips    []*lots.Tipping
}

type lot struct {
	code, kind, into string
	item             string
	total, used      float64
	tipped           float64 // into it
}

type brew struct {
	total float64
	start lots.When
	cast  lots.When
}

type unit struct {
	rows        []*lots.Packed
	total, used float64
}

// Derive derives the whole lineage of a ledger; an error says that it holds a ring.
func Derive(l *lots.Ledger, limits lineage.Limits) (*Lineage, error) {
	w := &world{Ledger: l, limits: limits, zone: l.Site().Zone,
		res:     &Lineage{Nodes: map[lineage.Ref]float64{}, Links: map[Key]Share{}, Findings: map[Fault]bool{}},
		vessels: map[string]*vessel{}, lots: map[string]*lot{}, lines: map[string]*lots.Line{}, items: map[string]string{}, carried: map[string][]string{},
		prods: map[string]*lots.Product{}, brews: map[string]*brew{}, units: map[string]*unit{}, runOf: map[string]*run{}}
	w.readThings()
	w.readTips()
	w.readRuns()
	w.readMoves()
	if w.crossing() {
		return nil, fmt.Errorf("transfers cross")
	}
	if !w.settle() {
		return nil, fmt.Errorf("flows cut one another without end")
	}
	if w.flowRing() {
		return nil, fmt.Errorf("flows run in a ring")
	}
	w.cutRuns()
	w.writeBooks()
	w.writeMoves()
	w.writePerhaps()
	w.writeVesselWashes()
	w.writeRuns()
	w.writePasses()
	w.writeKegs()
	if w.contentRing() {
		return nil, fmt.Errorf("something would be its own source")
	}
	return w.res, nil
}

func (w *world) readThings() {
	for _, rec := range w.Records() {
		switch r := rec.(type) {
		case *lots.Vessel:
			w.vessels[r.Code] = &vessel{w: w, code: r.Code, kind: r.Kind, alien: r.Elsewhere(w.Site())}
			w.order = append(w.order, r.Code)
		case *lots.Line:
			w.lines[r.Code] = r
		case *lots.Item:
			w.items[r.Code], w.carried[r.Code] = r.Kind, r.Allergens
		case *lots.Product:
			w.prods[r.Code] = r
		}
	}
	for _, rec := range w.Records() {
		switch r := rec.(type) {
		case *lots.Receipt:
			w.lots[r.Lot] = &lot{code: r.Lot, item: r.Item, kind: w.items[r.Item], into: r.Into, total: float64(r.Qty.N)}
			w.res.Nodes[lotRef(r.Lot)] = float64(r.Qty.N)
		case *lots.Crop:
			w.lots[r.Lot] = &lot{code: r.Lot, item: r.Item, kind: w.items[r.Item], into: r.Into, total: float64(r.Qty.N)}
			w.res.Nodes[lotRef(r.Lot)] = float64(r.Qty.N)
		case *lots.Brew:
			b := w.brews[r.Brew]
			if b == nil {
				b = &brew{start: r.Started, cast: r.CastOut}
				w.brews[r.Brew] = b
			}
			b.total += float64(r.Volume)
			w.res.Nodes[lineage.Ref{Kind: graph.Brew, Code: r.Brew}] = b.total
		case *lots.Packed:
			u := w.units[r.Unit]
			if u == nil {
				u = &unit{}
				w.units[r.Unit] = u
			}
			u.rows = append(u.rows, r)
			u.total += float64(r.Quantity)
			w.res.Nodes[lineage.Ref{Kind: graph.Unit, Code: r.Unit}] = u.total
		case *lots.Tipping:
			w.tips = append(w.tips, r)
		case *lots.Clearance:
			w.cleared = append(w.cleared, r)
		case *lots.Clean:
			if v := w.vessels[r.Subject.Code()]; v != nil && r.Breaks() {
				v.cleans = append(v.cleans, &clean{entry: r.Entry(), lo: r.At.From, hi: r.At.To})
			}
		}
	}
}

func lotRef(code string) lineage.Ref { return lineage.Ref{Kind: graph.Lot, Code: code} }

func (w *world) fillRef(code string, at int64) lineage.Ref {
	return lineage.Ref{Kind: graph.Fill, Code: code + "@" + lots.Stamp(at, w.zone)}
}

// content writes a content link; a share that is not a number is unknown.
func (w *world) content(src, dst lineage.Ref, cause graph.Cause, share float64) {
	k := Key{src, dst, graph.Content, cause}
	s := w.res.Links[k]
	if math.IsNaN(share) {
		s.Unknown = true
	} else {
		s.Known += share
	}
	w.res.Links[k] = s
}

func (w *world) contact(src, dst lineage.Ref, cause graph.Cause) {
	w.res.Links[Key{src, dst, graph.Contact, cause}] = Share{}
}

func (w *world) fault(name, code string) { w.res.Findings[Fault{name, code}] = true }
