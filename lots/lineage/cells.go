package lineage

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"heeltap/graph"
	"heeltap/lots"
)

var unknown = math.NaN()

func entryOwner(entry int64) string { return "e:" + strconv.FormatInt(entry, 10) }

func contact(src, dst Ref, cause graph.Cause, entry, at int64) Link {
	return Link{Src: src, Dst: dst, Grade: graph.Contact, Cause: cause, Qty: unknown, Entry: entry, At: at}
}

func content(src, dst Ref, cause graph.Cause, qty float64, entry, at int64) Link {
	return Link{Src: src, Dst: dst, Grade: graph.Content, Cause: cause, Qty: qty, Entry: entry, At: at}
}

// vesselCell writes a part of a vessel's books as nodes, links, draws and arrivals.
func (e *engine) vesselCell(b *book) *Cell {
	c := &Cell{Owner: partOwner("v", b.vessel, b.since), Part: &Part{Vessel: b.vessel, Since: b.since, Opens: b.opens, State: b.opening.text(), Moves: b.movesIn()}}
	for _, n := range b.moves.notes {
		if n.at >= b.since && n.at < b.until {
			c.Findings = append(c.Findings, n.Finding)
		}
	}
	refs := make([]Ref, len(b.fills))
	for i, f := range b.fills {
		refs[i] = FillRef(b.vessel, f.since, e.zone)
		if i < b.before {
			continue
		}
		c.Nodes = append(c.Nodes, Node{Ref: refs[i], Home: b.vessel, Since: f.since, Until: f.until, Total: f.total, Den: f.den(), Entry: f.entry})
		if f.prev < 0 {
			continue
		}
		switch f.carry {
		case carried:
			c.Links = append(c.Links, content(refs[f.prev], refs[i], graph.Carried, f.carried, f.entry, f.since))
		case heeled:
			c.Links = append(c.Links, contact(refs[f.prev], refs[i], graph.Heel, f.entry, f.since))
		case maybeCleaned:
			c.Links = append(c.Links, contact(refs[f.prev], refs[i], graph.UncertainClean, f.entry, f.since))
		}
	}
	e.tellUnproven(c, b, refs)
	e.writeBreaks(c, b, refs)
	e.writeDraws(c, b, refs)
	for _, a := range b.arrivals {
		in := b.moves.ins[a.in]
		c.Arrivals = append(c.Arrivals, Arrival{Vessel: b.vessel, Entry: in.entry, Start: in.start, End: in.end, Fill: b.fills[a.fill].since})
	}
	for _, w := range b.washes() {
		for _, f := range b.filledAfter(w) {
			c.Arrivals = append(c.Arrivals, Arrival{Vessel: b.vessel, Entry: w.entry, Start: w.lo, End: w.hi, Fill: b.fills[f].since})
		}
	}
	return c
}

// writeBreaks adds what was lost at breaks, and the contacts of breaks in doubt.
func (e *engine) writeBreaks(c *Cell, b *book, refs []Ref) {
	in, out := b.doubts()
	for _, k := range b.breaks {
		if k.before < 0 {
			continue
		}
		if since, next := b.perhapsAfter(k); next >= 0 {
			for _, f := range since {
				c.Links = append(c.Links, contact(refs[f], refs[next], graph.UncertainTime, b.fills[f].entry, b.fills[next].since))
			}
		}
		before := b.fills[k.before]
		if k.lost > b.limits.EmptyShare*before.total+eps {
			c.Findings = append(c.Findings, Finding{"unrecorded-loss", refs[k.before].Code,
				fmt.Sprintf("%s was cleaned with %s L still on the books", b.vessel, litres(k.lost)), k.entry})
		}
		if !b.inDoubt(k, in, out) {
			continue
		}
		c.Findings = append(c.Findings, Finding{"break-in-doubt", refs[k.before].Code,
			fmt.Sprintf("after its clean of %s, %s gave %s L but received only %s L: the clean or an inflow is wrong",
				lots.Stamp(k.at, e.zone), b.vessel, litres(out[k.epoch]), litres(in[k.epoch])), k.entry})
		for _, f := range b.drawnIn(k.epoch) {
			c.Links = append(c.Links, contact(refs[k.before], refs[f], graph.BreakInDoubt, k.entry, b.fills[f].since))
		}
	}
}

// drawnIn lists the fills that outflows of one stretch between breaks drew on.
func (b *book) drawnIn(epoch int) []int {
	var out []int
	for _, d := range b.draws {
		o := &b.moves.outs[d.out]
		if d.epoch == epoch && d.state == Drew && !o.oneOf && !o.circ && !slices.Contains(out, d.fill) {
			out = append(out, d.fill)
		}
	}
	slices.Sort(out)
	return out
}

func (e *engine) writeDraws(c *Cell, b *book, refs []Ref) {
	for _, d := range b.draws {
		o := &b.moves.outs[d.out]
		w := Draw{Vessel: b.vessel, Entry: o.entry, Start: d.start, End: d.end, Qty: d.qty, State: d.state, OneOf: o.oneOf || d.unsure, Maybe: d.maybe}
		if d.fill >= 0 {
			w.Fill, w.Root = b.fills[d.fill].since, b.fills[d.fill].root
		}
		c.Draws = append(c.Draws, w)
		if !o.oneOf && !o.circ {
			e.drawFindings(c, b, d, o, refs)
		}
	}
}

func (e *engine) drawFindings(c *Cell, b *book, d draw, o *outflow, refs []Ref) {
	who, code := e.nameOf(o.entry)
	if code == "" {
		code = b.vessel
		if d.fill >= 0 {
			code = refs[d.fill].Code
		}
	}
	switch {
	case d.state == Never:
		c.Findings = append(c.Findings, Finding{"nothing-there", code,
			fmt.Sprintf("%s drew on %s, which was never filled", who, b.vessel), o.entry})
	case d.state == Nothing:
		c.Findings = append(c.Findings, Finding{"nothing-there", code,
			fmt.Sprintf("%s drew on %s at %s, when nothing was in it: it may hold what %s held before", who, b.vessel, lots.Stamp(d.start, e.zone), refs[d.fill].Code), o.entry})
	case d.short:
		f := b.fills[d.fill]
		c.Findings = append(c.Findings, Finding{"drawn-above-content", code,
			fmt.Sprintf("%s drew more from %s than it held: %s L in, %s L out", who, refs[d.fill].Code, litres(f.total), litres(f.drawn)), o.entry})
	}
}

// nameOf is what a person calls an outflow, and the code of what it went into
// where that is a node of its own.
func (e *engine) nameOf(entry int64) (who, code string) {
	rec, _ := e.src.Record(entry)
	switch r := rec.(type) {
	case *lots.BrewInput:
		return "brew " + r.Brew, r.Brew
	case *lots.Addition:
		return "an addition to " + r.Vessel, ""
	case *lots.Transfer:
		return "transfer " + r.Transfer, ""
	case *lots.Crop:
		return "crop " + r.Lot, r.Lot
	case *lots.Feed:
		return "run " + r.Run, r.Run
	case *lots.Removal:
		return "a removal", ""
	case *lots.Bulk:
		return "shipment " + r.Shipment, ""
	case *lots.Clean:
		return "a clean of " + r.Subject.Code(), ""
	}
	return "entry " + strconv.FormatInt(entry, 10), ""
}

func litres(ml float64) string { return strconv.FormatFloat(math.Round(ml/10)/100, 'f', -1, 64) }

// lotCell is a lot's node. More used than received scales every share.
func (e *engine) lotCell(code string) *Cell {
	c := &Cell{Owner: "l:" + code}
	node := Node{Ref: Ref{graph.Lot, code}}
	var used, tipped int64
	found := false
	for _, rec := range e.src.Touching(code) {
		switch r := rec.(type) {
		case *lots.Receipt:
			if r.Lot == code {
				node.Total, node.Since, node.Entry, found = float64(r.Qty.N), r.At.From, r.Seq, true
			}
		case *lots.Crop:
			if r.Lot == code {
				node.Total, node.Since, node.Entry, found = float64(r.Qty.N), r.At.From, r.Seq, true
			}
		}
		used += lotUse(rec, code)
		if t, ok := rec.(*lots.Tipping); ok && t.Into == code {
			tipped += t.Qty.N
		}
	}
	if !found {
		return c
	}
	if t, _ := e.src.Thing(code); t.Into != "" {
		used = 0 // it was used through the vessel it went into
	}
	node.Den = max(node.Total, float64(used))
	if float64(used) > node.Total+float64(tipped) {
		c.Findings = append(c.Findings, Finding{"used-above-receipt", code,
			fmt.Sprintf("more of lot %s is used than came in: a lot, a quantity or a receipt is wrong", code), node.Entry})
	}
	c.Nodes = []Node{node}
	return c
}

// lotUse is how much of a lot a record uses, in the lot's base unit.
func lotUse(rec lots.Record, code string) int64 {
	from, qty := lots.Ref{}, lots.Quantity{}
	switch r := rec.(type) {
	case *lots.BrewInput:
		from, qty = r.From, r.Qty
	case *lots.Addition:
		from, qty = r.From, r.Qty
	case *lots.Feed:
		from, qty = r.From, r.Qty
	case *lots.Removal:
		from, qty = r.Subject, r.Qty
	case *lots.Tipping:
		from, qty = r.From, r.Qty
	case *lots.Bulk:
		from, qty = r.From, r.Qty
	}
	if from.Kind != lots.KindLot || from.OneOf() || from.Code() != code {
		return 0
	}
	return qty.N
}

// brewCell is a brew's node: the sum of what was cast out.
func (e *engine) brewCell(code string) *Cell {
	c := &Cell{Owner: "b:" + code}
	node := Node{Ref: Ref{graph.Brew, code}}
	for _, rec := range e.src.Touching(code) {
		if b, ok := rec.(*lots.Brew); ok && b.Brew == code {
			node.Total += float64(b.Volume)
			if node.Entry == 0 {
				node.Entry, node.Since, node.Until, node.Home = b.Seq, b.Started.From, b.CastOut.From, b.Beer
			}
		}
	}
	if node.Entry == 0 {
		return c
	}
	node.Den = max(node.Total, 1)
	c.Nodes = []Node{node}
	return c
}

// unitCell is a unit's node: the cases or kegs on it.
func (e *engine) unitCell(code string) *Cell {
	c := &Cell{Owner: "u:" + code}
	node := Node{Ref: Ref{graph.Unit, code}}
	used := 0.0
	for _, rec := range e.src.Touching(code) {
		switch r := rec.(type) {
		case *lots.Packed:
			if r.Unit == code {
				node.Total += float64(r.Quantity)
				if node.Entry == 0 {
					node.Entry, node.Since = r.Seq, r.First.From
				}
			}
		case *lots.Addition:
			used += unitUse(r.From, r.Count)
		case *lots.Feed:
			used += unitUse(r.From, r.Count)
		case *lots.Removal:
			used += unitUse(r.Subject, r.Count)
		}
	}
	if node.Entry == 0 {
		return c
	}
	node.Den = max(node.Total, used)
	e.fromBefore(c, code, node.Entry)
	if used > node.Total+eps {
		c.Findings = append(c.Findings, Finding{"drawn-above-content", code,
			fmt.Sprintf("more of %s is used or removed than was packed: a unit or a quantity is wrong", code), node.Entry})
	}
	c.Nodes = []Node{node}
	return c
}

func unitUse(from lots.Ref, count float64) float64 {
	if from.Kind != lots.KindUnit || from.OneOf() {
		return 0
	}
	return count
}
