package oracle

import (
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// source is one thing a move may come from, lots in vessels already read as their vessel.
type source struct {
	kind lots.Kind // KindLot, KindVessel, KindUnit or KindBrew
	code string
}

// move is one entry that takes something from somewhere to somewhere.
type move struct {
	entry  int64
	from   []source
	oneOf  bool
	out    float64 // mL out of a vessel
	used   float64 // base units of a lot, cases of a unit
	carry  float64 // mL that a link from a vessel carries
	in     float64 // mL into the receiving vessel
	cause  graph.Cause
	to     string      // receiving vessel, or
	dst    lineage.Ref // what it goes into
	hasDst bool
	blind  bool // a link from a vessel has no known share
	// an instant within [lo, hi], or a flow from s to e
	lo, hi, s, e int64
	long         bool
	transfer     bool
	via          []string
	name         string // of a transfer
	feed         *feed
	outs         map[string]*outflow // by source vessel
	ins          []*inflow
}

func instant(m *move, w lots.When) *move { m.lo, m.hi = w.From, w.To; return m }

// sources reads what a row names: a lot that went into a vessel is that vessel.
func (w *world) sources(r lots.Ref) (out []source) {
	for _, code := range r.Codes {
		s := source{r.Kind, code}
		if l := w.lots[code]; r.Kind == lots.KindLot && l.into != "" {
			w.fault("lot-in-vessel", code)
			if r.OneOf() { // a contact from each, and an outflow of its vessel as well
				out = append(out, s)
			}
			s = source{lots.KindVessel, l.into}
		}
		out = append(out, s)
	}
	return out
}

// gains is the volume that a quantity adds to a vessel.
func (w *world) gains(vessel string, q lots.Quantity) float64 {
	if lots.BeerVessel(w.vessels[vessel].kind) && q.Dim != lots.Volume {
		return 0
	}
	return q.Millilitres()
}

func (w *world) readMoves() {
	for _, rec := range w.Records() {
		switch r := rec.(type) {
		case *lots.Receipt:
			if r.Into != "" {
				w.intoVessel(r.Entry(), r.Lot, r.Into, r.Qty, r.At)
			}
		case *lots.Crop:
			w.readCrop(r)
		case *lots.Brew:
			w.add(instant(&move{entry: r.Entry(), from: []source{{lots.KindBrew, r.Brew}}, to: r.Into, in: float64(r.Volume),
				used: float64(r.Volume), cause: graph.Moved}, r.CastOut))
		case *lots.BrewInput:
			w.readInput(r)
		case *lots.Addition:
			w.readAddition(r)
		case *lots.Transfer:
			w.readTransfer(r)
		case *lots.Removal:
			w.readRemoval(r)
		case *lots.Bulk:
			w.add(instant(&move{entry: r.Entry(), from: w.sources(r.From), oneOf: r.From.OneOf(), out: r.Qty.Millilitres(), used: float64(r.Qty.N)}, r.At))
		case *lots.Clean:
			w.readClean(r)
		case *lots.Circulation:
			if r.Perhaps {
				w.readPerhaps(r)
				continue
			}
			c := &circle{entry: r.Entry(), lo: r.Started.From, hi: r.Started.To}
			for _, code := range r.Vessels {
				v := w.vessels[code]
				i := &inflow{entry: r.Entry(), v: v, lo: c.lo, hi: c.hi, circle: c}
				v.ins = append(v.ins, i)
				c.ins = append(c.ins, i)
			}
			w.circles = append(w.circles, c)
		}
	}
	for _, r := range w.runs {
		w.feedMoves(r)
	}
}

func (w *world) intoVessel(entry int64, lot, into string, q lots.Quantity, at lots.When) {
	w.add(instant(&move{entry: entry, from: []source{{lots.KindLot, lot}}, to: into, in: w.gains(into, q), used: float64(q.N), cause: graph.Moved}, at))
}

func (w *world) readCrop(r *lots.Crop) {
	m := &move{entry: r.Entry(), from: []source{{lots.KindVessel, r.Vessel}}, dst: lotRef(r.Lot), hasDst: true,
		out: w.gains(r.Vessel, r.Qty), blind: true, cause: graph.Cropped}
	w.add(instant(m, r.At))
	if r.Into != "" {
		w.intoVessel(r.Entry(), r.Lot, r.Into, r.Qty, r.At)
	}
}

func (w *world) readInput(r *lots.BrewInput) {
	b, at := w.brews[r.Brew], r.At
	switch {
	case r.HasAt:
	case r.AtCast:
		at = b.cast
	default:
		at = b.start
	}
	m := &move{entry: r.Entry(), from: w.sources(r.From), oneOf: r.From.OneOf(), out: r.Qty.Millilitres(), carry: r.Qty.Millilitres(),
		used: float64(r.Qty.N), dst: lineage.Ref{Kind: graph.Brew, Code: r.Brew}, hasDst: true, cause: graph.Moved}
	w.add(instant(m, at))
}

func (w *world) readAddition(r *lots.Addition) {
	m := &move{entry: r.Entry(), from: w.sources(r.From), oneOf: r.From.OneOf(), out: r.Qty.Millilitres(), carry: r.Qty.Millilitres(),
		used: float64(r.Qty.N), to: r.Vessel, cause: graph.Moved}
	switch {
	case r.HasVolume:
		m.in = float64(r.Volume)
	case r.From.Kind == lots.KindUnit:
		t, _ := w.Thing(r.From.Code())
		m.in = r.Count * float64(t.PerCase*t.ContainerML)
	case r.From.Kind == lots.KindRun:
		m.in = r.Count * float64(w.runOf[r.From.Code()].ml)
	case w.onlyGas(r.From) && lots.BeerVessel(w.vessels[r.Vessel].kind): // it adds no beer
	default:
		m.in = w.gains(r.Vessel, r.Qty)
	}
	if r.From.Kind == lots.KindUnit || r.From.Kind == lots.KindRun {
		m.used, m.cause = r.Count, graph.Unpacked
	}
	w.add(instant(m, r.At))
}

// onlyGas reports whether all that may have been taken is gas.
func (w *world) onlyGas(from lots.Ref) bool {
	for _, code := range from.Codes {
		gas := from.Kind == lots.KindLot && w.lots[code].kind == "gas" || from.Kind == lots.KindVessel && w.vessels[code].kind == "gas"
		if !gas {
			return false
		}
	}
	return true
}

func (w *world) readTransfer(r *lots.Transfer) {
	m := &move{entry: r.Entry(), from: w.sources(r.From), oneOf: r.From.OneOf(), out: float64(r.Out), in: float64(r.In),
		carry: float64(min(r.In, r.Out)), to: r.To, cause: graph.Moved, via: r.Via, transfer: true, name: r.Transfer}
	if w.onlyGas(r.From) && lots.BeerVessel(w.vessels[r.To].kind) {
		m.in = 0
	}
	if from := w.vessels[r.From.Code()]; !m.oneOf && lots.BeerVessel(from.kind) && w.vessels[r.To].kind == "gas" {
		m.out, m.carry = 0, 0 // the gas over the beer
	}
	switch {
	case r.Started.Day || r.Ended.Day:
		m.lo, m.hi = r.Started.From, r.Ended.To
	case r.Started == r.Ended:
		m.lo, m.hi = r.Started.From, r.Started.From
	default:
		m.s, m.e, m.long = r.Started.From, r.Ended.From, true
	}
	w.add(m)
}

func (w *world) readRemoval(r *lots.Removal) {
	if r.All {
		v := w.vessels[r.Subject.Code()]
		v.cleans = append(v.cleans, &clean{entry: r.Entry(), lo: r.At.From, hi: r.At.To, all: true})
		return
	}
	m := &move{entry: r.Entry(), from: w.sources(r.Subject), oneOf: r.Subject.OneOf(), out: r.Qty.Millilitres(), used: float64(r.Qty.N)}
	if r.Subject.Kind == lots.KindUnit {
		m.used = r.Count
	}
	w.add(instant(m, r.At))
}

// add hangs a move on the vessels it leaves and reaches.
func (w *world) add(m *move) {
	w.moves = append(w.moves, m)
	m.outs = map[string]*outflow{}
	for _, s := range m.from {
		switch {
		case s.kind == lots.KindVessel:
			v := w.vessels[s.code]
			if v.kind == "path" || m.outs[s.code] != nil {
				continue
			}
			o := &outflow{move: m, v: v, place: m.lo}
			m.outs[s.code] = o
			v.outs = append(v.outs, o)
		case m.oneOf:
		case s.kind == lots.KindLot:
			w.lots[s.code].used += m.used
		case s.kind == lots.KindUnit:
			w.units[s.code].used += m.used
		case s.kind == lots.KindRun:
			w.runOf[s.code].emptied += m.used
		}
		if s.kind == lots.KindRun {
			w.runOf[s.code].named = true
		}
	}
	if m.to != "" && !m.long {
		i := &inflow{entry: m.entry, v: w.vessels[m.to], lo: m.lo, hi: m.hi, vol: m.in, part: 1, move: m, s: m.lo, e: m.hi}
		m.ins = []*inflow{i}
		i.v.ins = append(i.v.ins, i)
	}
}

// settle works out every vessel's books until no flow is cut anew.
func (w *world) settle() bool {
	for range 200 {
		for _, code := range w.order {
			if v := w.vessels[code]; v.kind != "path" {
				v.settle()
			}
		}
		if !w.recut() {
			return true
		}
	}
	return false
}

// recut cuts what long flows bring at the fills of their sources and the cleans of their receiver; true where a cut moved.
func (w *world) recut() (changed bool) {
	for _, m := range w.moves {
		if m.to == "" || !m.long {
			continue
		}
		to := w.vessels[m.to]
		cuts := []int64{m.s}
		for _, o := range m.outs {
			for _, p := range o.pieces {
				cuts = append(cuts, p.s)
			}
		}
		for _, c := range to.cleans {
			if !c.all && c.lo == c.hi && c.lo > m.s && c.lo < m.e {
				cuts = append(cuts, c.lo)
			}
		}
		slices.Sort(cuts)
		cuts = slices.Compact(cuts)
		old := m.ins
		same := len(old) == len(cuts)
		for k := range cuts {
			same = same && old[k].s == cuts[k]
		}
		if same {
			continue
		}
		changed = true
		to.ins = slices.DeleteFunc(to.ins, func(i *inflow) bool { return i.move == m })
		m.ins = nil
		for k, s := range cuts {
			e := m.e
			if k+1 < len(cuts) {
				e = cuts[k+1]
			}
			part := float64(e-s) / float64(m.e-m.s)
			i := &inflow{entry: m.entry, v: to, lo: s, hi: s, vol: m.in * part, part: part, move: m, s: s, e: e}
			m.ins = append(m.ins, i)
			to.ins = append(to.ins, i)
		}
	}
	return changed
}

// writeMoves writes what moves link, except feeds.
func (w *world) writeMoves() {
	for code, l := range w.lots {
		if l.used > l.total+l.tipped+slack {
			w.fault("used-above-receipt", code)
		}
	}
	for code, u := range w.units {
		if u.used > u.total+slack {
			w.fault("drawn-above-content", code)
		}
	}
	for _, m := range w.moves {
		if m.feed != nil {
			continue
		}
		if m.hasDst {
			w.writeInto(m, m.dst, m.lo, 1)
			w.writeTips(m, m.dst)
			for _, o := range m.outs {
				w.writeMaybes(o.pieces[0], m.dst)
			}
		}
		for _, i := range m.ins {
			dst := w.fillRef(m.to, i.place)
			w.writeInto(m, dst, i.s, i.part)
			w.writeTips(m, dst)
			for _, o := range m.outs {
				w.writeMaybes(o.pieceAt(i.s), dst)
			}
			w.movePasses(m, i, dst)
		}
	}
}

// writeInto links a move's sources, as they were at a time, to what they went into.
func (w *world) writeInto(m *move, dst lineage.Ref, at int64, part float64) {
	for _, s := range m.from {
		if s.kind == lots.KindRun {
			w.writeRejects(s.code, dst, m.oneOf, m.used*part)
			continue
		}
		if s.kind == lots.KindVessel {
			p := m.outs[s.code].pieceAt(at)
			w.writePiece(m, p, dst, m.carry*part)
			continue
		}
		ref := map[lots.Kind]lineage.Ref{lots.KindLot: lotRef(s.code), lots.KindUnit: {Kind: graph.Unit, Code: s.code},
			lots.KindBrew: {Kind: graph.Brew, Code: s.code}}[s.kind]
		if m.oneOf {
			w.contact(ref, dst, graph.OneOf)
			continue
		}
		w.content(ref, dst, m.cause, w.shareOf(s, m.used)*part)
	}
}

// shareOf is the part of a lot, unit or brew that a quantity is.
func (w *world) shareOf(s source, q float64) float64 {
	switch s.kind {
	case lots.KindLot:
		return q / max(w.lots[s.code].total, w.lots[s.code].used)
	case lots.KindUnit:
		return q / max(w.units[s.code].total, w.units[s.code].used)
	}
	return q / w.brews[s.code].total
}

// writePiece links what a piece of an outflow met in its vessel to what it filled.
func (w *world) writePiece(m *move, p *piece, dst lineage.Ref, q float64) {
	switch {
	case p.fill == nil:
	case m.oneOf:
		w.contact(p.fill.ref(), dst, graph.OneOf)
	case p.nothing:
		w.contact(p.fill.ref(), dst, graph.NothingThere)
	case m.blind:
		w.content(p.fill.ref(), dst, m.cause, math.NaN())
	case q == 0: // also of a fill without volume
		w.content(p.fill.ref(), dst, m.cause, 0)
	default:
		w.content(p.fill.ref(), dst, m.cause, q/p.fill.den())
	}
}

// writeMaybes links what may have come in before a piece left.
func (w *world) writeMaybes(p *piece, dst lineage.Ref) {
	for _, src := range w.mayHold(p) {
		if src.Kind != graph.Fill || src != dst {
			w.contact(src, dst, graph.UncertainTime)
		}
	}
}

// inflowSources are the nodes an inflow brings, or may bring by a moment, something from.
func (w *world) inflowSources(i *inflow, by int64, asked map[any]int64) (out []lineage.Ref) {
	if i.circle != nil {
		for _, o := range w.jointVessels(i) {
			if o.v == i.v {
				continue
			}
			if o.before != nil {
				out = append(out, o.before.ref())
			}
			out = append(out, w.mayHaveCirculated(o, by, asked)...)
		}
		return out
	}
	if i.move.transfer && i.move.lo < i.move.hi {
		for _, item := range i.move.via {
			out = append(out, w.openPass(item, i.move))
		}
	}
	for _, s := range i.move.from {
		switch s.kind {
		case lots.KindVessel:
			p := i.move.outs[s.code].pieceAt(i.s)
			if p.out.v == i.v {
				continue
			}
			if p.fill != nil {
				out = append(out, p.fill.ref())
			}
			out = append(out, w.mayHaveLeft(p, by, asked)...)
		case lots.KindLot:
			out = append(out, lotRef(s.code))
			for _, code := range w.tipped(s.code, i.move.hi) {
				out = append(out, lotRef(code))
			}
		case lots.KindUnit:
			out = append(out, lineage.Ref{Kind: graph.Unit, Code: s.code})
		case lots.KindRun:
			if ref, ok := w.runOf[s.code].rejectsRef(w); ok {
				out = append(out, ref)
			}
		case lots.KindBrew:
			out = append(out, lineage.Ref{Kind: graph.Brew, Code: s.code})
		}
	}
	return out
}
