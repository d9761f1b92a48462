package lineage

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// entryCell writes the links that one entry states, joining what it drew on in
// one vessel with what it filled in another.
func (e *engine) entryCell(entry int64) *Cell {
	c := &Cell{Owner: entryOwner(entry)}
	rec, ok := e.src.Record(entry)
	if !ok {
		return c
	}
	switch r := rec.(type) {
	case *lots.Receipt:
		e.fillFrom(c, entry, Ref{graph.Lot, r.Lot}, float64(r.Qty.N))
	case *lots.Brew:
		e.fillFrom(c, entry, Ref{graph.Brew, r.Brew}, float64(r.Volume))
	case *lots.BrewInput:
		dst, at := Ref{graph.Brew, r.Brew}, e.inputTime(r).From
		e.linkStock(c, entry, r.From, float64(r.Qty.N), dst, at)
		e.linkTipped(c, entry, r.From, e.inputTime(r), dst)
		for _, d := range e.drawsOf(entry) {
			e.linkDraw(c, d, dst, d.Qty, graph.Moved, at)
		}
	case *lots.Addition:
		e.joinAddition(c, r)
	case *lots.Transfer:
		e.joinTransfer(c, r)
	case *lots.Circulation:
		if r.Perhaps {
			e.joinPerhaps(c, r)
		} else {
			e.joinCirculation(c, r)
		}
	case *lots.Crop:
		dst := Ref{graph.Lot, r.Lot}
		for _, d := range e.drawsOf(entry) {
			e.linkDraw(c, d, dst, unknown, graph.Cropped, r.At.From)
		}
		e.fillFrom(c, entry, dst, float64(r.Qty.N))
	case *lots.Clean:
		e.joinClean(c, r)
	}
	return c
}

// fillFrom links a lot or brew to the fill it started.
func (e *engine) fillFrom(c *Cell, entry int64, src Ref, qty float64) {
	for _, a := range e.arrivalsOf(entry) {
		c.Links = append(c.Links, content(src, FillRef(a.Vessel, a.Fill, e.zone), graph.Moved, qty, entry, a.Fill))
	}
}

// linkStock links lots and units named as sources. A lot that went into a
// vessel is drawn through it, but still counts as one of several.
func (e *engine) linkStock(c *Cell, entry int64, from lots.Ref, qty float64, dst Ref, at int64) {
	kind, cause := graph.Lot, graph.Moved
	switch from.Kind {
	case lots.KindVessel:
		return
	case lots.KindUnit:
		kind, cause = graph.Unit, graph.Unpacked
	case lots.KindRun:
		e.linkRejects(c, entry, from, qty, dst, at)
		return
	}
	for _, code := range from.Codes {
		t, _ := e.src.Thing(code)
		switch {
		case from.OneOf():
			c.Links = append(c.Links, contact(Ref{kind, code}, dst, graph.OneOf, entry, at))
		case t.Into == "":
			c.Links = append(c.Links, content(Ref{kind, code}, dst, cause, qty, entry, at))
		}
	}
}

// linkDraw links the fill a piece of an outflow drew on to what it went into,
// and what may have come in before it.
func (e *engine) linkDraw(c *Cell, d Draw, dst Ref, qty float64, cause graph.Cause, at int64) {
	src := FillRef(d.Vessel, d.Fill, e.zone)
	switch {
	case d.State == Never:
	case d.OneOf:
		c.Links = append(c.Links, contact(src, dst, graph.OneOf, d.Entry, at))
	case d.State == Nothing:
		c.Links = append(c.Links, contact(src, dst, graph.NothingThere, d.Entry, at))
	default:
		c.Links = append(c.Links, content(src, dst, cause, qty, d.Entry, at))
	}
	for _, s := range e.earlier(d) {
		if s.Kind != graph.Fill || s != dst {
			c.Links = append(c.Links, contact(s, dst, graph.UncertainTime, d.Entry, at))
		}
	}
}

// sourcesOf lists what an inflow came, or may have come, from that may have come before a draw and by a moment.
func (e *engine) sourcesOf(entry int64, late Draw, by int64, asked map[drawn]int64) []Ref {
	rec, _ := e.src.Record(entry)
	var out []Ref
	switch r := rec.(type) {
	case *lots.Receipt:
		return []Ref{{graph.Lot, r.Lot}}
	case *lots.Crop:
		return []Ref{{graph.Lot, r.Lot}}
	case *lots.Brew:
		return []Ref{{graph.Brew, r.Brew}}
	case *lots.Addition:
		out = append(stockRefs(e, r.From), e.tippedRefs(r.From, r.At.To)...)
	case *lots.Transfer:
		if _, _, flows := transferTime(r); !flows {
			for _, item := range r.Via { // what it came through, and what that held
				out = append(out, openPassRef(item, r, e.zone))
			}
		}
	}
	for _, d := range e.drawsBehind(rec, late, by) {
		if d.Vessel == late.Vessel {
			continue
		}
		if d.State != Never {
			out = append(out, FillRef(d.Vessel, d.Fill, e.zone))
		}
		out = append(out, e.earlierThan(d, by, asked)...)
	}
	return dedupe(out)
}

// drawsBehind lists the draws that feed an inflow: of a flow in pieces only those
// of pieces that come in after a draw and may have come before it, and by a moment.
func (e *engine) drawsBehind(rec lots.Record, late Draw, by int64) []Draw {
	draws := e.drawsOf(rec.Entry())
	switch r := rec.(type) {
	case *lots.Circulation:
		draws = nil
		for _, x := range e.jointCirculations(r) {
			draws = append(draws, e.drawsOf(x.Seq)...)
		}
	case *lots.Transfer:
		if _, _, flows := transferTime(r); !flows {
			break
		}
		var open []Arrival
		for _, a := range e.arrivalsOf(r.Seq) {
			if a.Vessel == late.Vessel && late.before(a) && a.Start <= by {
				open = append(open, a)
			}
		}
		return slices.DeleteFunc(draws, func(d Draw) bool {
			return !slices.ContainsFunc(open, func(a Arrival) bool {
				return d.End <= d.Start || (d.Start <= a.Start && a.Start < d.End)
			})
		})
	}
	return draws
}

// latestOf is the last second at which a draw may have begun, or some of a piece been drawn.
func (e *engine) latestOf(d Draw) int64 {
	if d.End > d.Start {
		return d.End - 1
	}
	rec, _ := e.src.Record(d.Entry)
	switch r := rec.(type) {
	case *lots.BrewInput:
		return e.inputTime(r).To
	case *lots.Addition:
		return r.At.To
	case *lots.Crop:
		return r.At.To
	case *lots.Clean:
		return r.At.To
	case *lots.Transfer:
		if _, hi, flows := transferTime(r); !flows {
			return hi
		}
	}
	return d.Start
}

// stockRefs are the lots or units of a Ref that stand for themselves.
func stockRefs(e *engine, from lots.Ref) []Ref {
	var out []Ref
	for _, code := range from.Codes {
		t, _ := e.src.Thing(code)
		switch {
		case from.Kind == lots.KindRun:
			if ref, ok := e.rejectsOf(code); ok {
				out = append(out, ref)
			}
		case from.Kind == lots.KindUnit:
			out = append(out, Ref{graph.Unit, code})
		case from.Kind == lots.KindLot && (t.Into == "" || from.OneOf()):
			out = append(out, Ref{graph.Lot, code})
		}
	}
	return out
}

func dedupe(refs []Ref) []Ref {
	var out []Ref
	for _, r := range refs {
		if !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

func (e *engine) joinAddition(c *Cell, r *lots.Addition) {
	qty := float64(r.Qty.N)
	if r.From.Kind == lots.KindUnit || r.From.Kind == lots.KindRun {
		qty = r.Count
	}
	for _, a := range e.arrivalsOf(r.Seq) {
		dst := FillRef(a.Vessel, a.Fill, e.zone)
		e.linkStock(c, r.Seq, r.From, qty, dst, a.Fill)
		e.linkTipped(c, r.Seq, r.From, r.At, dst)
		for _, d := range e.drawsOf(r.Seq) {
			e.linkDraw(c, d, dst, d.Qty, graph.Moved, a.Fill)
		}
	}
}

// joinTransfer links piece by piece: the fill drawn on at a piece's start to the fill it started.
func (e *engine) joinTransfer(c *Cell, r *lots.Transfer) {
	lo, hi, flows := transferTime(r)
	draws := e.drawsOf(r.Seq)
	for _, a := range e.arrivalsOf(r.Seq) {
		if a.Vessel != r.To {
			continue
		}
		qty := float64(min(r.Out, r.In))
		if flows && hi > lo {
			qty = qty * float64(a.End-a.Start) / float64(hi-lo)
		}
		dst := FillRef(a.Vessel, a.Fill, e.zone)
		from := len(c.Links)
		for _, d := range draws {
			if !flows || d.End <= d.Start || (d.Start <= a.Start && a.Start < d.End) {
				moved := qty
				if e.gasFrom(d.Vessel, r.To) {
					moved = 0
				}
				e.linkDraw(c, d, dst, moved, graph.Moved, a.Fill)
			}
		}
		e.passTransfer(c, r, a, dst, c.Links[from:])
	}
}

// passTransfer notes that a piece went through the transfer's path items.
func (e *engine) passTransfer(c *Cell, r *lots.Transfer, a Arrival, dst Ref, links []Link) {
	lo, hi, flows := transferTime(r)
	for _, item := range r.Via {
		p := Pass{Item: item, Entry: r.Seq, Start: a.Start, End: a.End, Dst: dst}
		if !flows {
			p.Start, p.End = lo, hi+1
		}
		for _, l := range links {
			p.Srcs = append(p.Srcs, l.Src)
		}
		p.Srcs = dedupe(p.Srcs)
		c.Passes = append(c.Passes, p)
	}
}
