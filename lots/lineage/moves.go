package lineage

import (
	"cmp"
	"slices"

	"heeltap/lots"
)

// A vessel's timeline is made of inflows, outflows and cleans. Each has the
// earliest and latest moment at which it may have been (lo, hi) and the moment
// at which the books place it (at).

type inflow struct {
	entry      int64
	lo, hi, at int64
	start, end int64   // the stretch of its flow it stands for; equal for an instant
	vol        float64 // mL it adds
	circ       bool    // contents joined with other vessels: keeps its volume
}

func (i *inflow) certain() bool { return i.lo == i.hi }

type outflow struct {
	entry      int64
	lo, hi, at int64
	end        int64 // exclusive; equal to at for an instant
	qty        float64
	oneOf      bool
	circ       bool    // takes all that is left
	cuts       []int64 // where its receiver was cleaned while it ran
}

func (o *outflow) certain() bool { return o.lo == o.hi }

// latest is the last second at which some of it may have been drawn.
func (o *outflow) latest() int64 {
	if o.end > o.at {
		return o.end - 1
	}
	return o.hi
}

type clean struct {
	entry      int64
	lo, hi, at int64
	all        bool // a removal that empties the vessel: ordered like a clean, but no break
	late       bool // placed after everything else of its instant
	effective  bool
}

func (c *clean) certain() bool { return c.lo == c.hi }

// moves are all that happened to one vessel, in no order.
type moves struct {
	ins    []inflow
	outs   []outflow
	cleans []clean
	washes []wash
	notes  []note
	all    []Move // the spans of all of them
}

// note is a finding about one entry, and when that was.
type note struct {
	Finding
	at int64
}

// gather reads a vessel's moves from the records that name it, and from those
// that name a lot kept in it.
func (e *engine) gather(v string) *moves {
	m := &moves{}
	seen := map[int64]bool{}
	read := func(recs []lots.Record) {
		for _, rec := range recs {
			if !seen[rec.Entry()] {
				seen[rec.Entry()] = true
				e.move(m, v, rec)
			}
		}
	}
	recs := e.src.Touching(v)
	read(recs)
	for _, rec := range recs {
		switch r := rec.(type) {
		case *lots.Receipt:
			if r.Into == v {
				read(e.src.Touching(r.Lot))
			}
		case *lots.Crop:
			if r.Into == v {
				read(e.src.Touching(r.Lot))
			}
		}
	}
	m.sort()
	return m
}

func (m *moves) sort() {
	slices.SortFunc(m.ins, func(a, b inflow) int {
		return cmp.Or(cmp.Compare(a.entry, b.entry), cmp.Compare(a.start, b.start))
	})
	slices.SortFunc(m.outs, func(a, b outflow) int {
		return cmp.Or(cmp.Compare(a.entry, b.entry), cmp.Compare(a.at, b.at))
	})
	slices.SortFunc(m.cleans, func(a, b clean) int { return cmp.Compare(a.entry, b.entry) })
	slices.SortFunc(m.washes, func(a, b wash) int { return cmp.Compare(a.entry, b.entry) })
}

// move adds what one record does to vessel v.
func (e *engine) move(m *moves, v string, rec lots.Record) {
	switch r := rec.(type) {
	case *lots.Receipt:
		if r.Into == v {
			m.in(r.Seq, r.At, e.adds(v, r.Qty))
		}
	case *lots.Brew:
		if r.Into == v {
			m.in(r.Seq, r.CastOut, float64(r.Volume))
		}
	case *lots.BrewInput:
		if out, oneOf := e.drawsOn(r.From, v); out {
			m.out(r.Seq, e.inputTime(r), r.Qty.Millilitres(), oneOf)
			m.named(e, r.Seq, r.From, v, e.inputTime(r).From)
		}
	case *lots.Addition:
		if r.Vessel == v {
			m.in(r.Seq, r.At, e.addedVolume(r))
		}
		if out, oneOf := e.drawsOn(r.From, v); out {
			m.out(r.Seq, r.At, r.Qty.Millilitres(), oneOf)
			m.named(e, r.Seq, r.From, v, r.At.From)
		}
	case *lots.Transfer:
		e.moveTransfer(m, v, r)
	case *lots.Circulation:
		switch {
		case !slices.Contains(r.Vessels, v):
		case r.Perhaps:
			m.outs = append(m.outs, perhaps(r))
		default:
			w := r.Started
			m.ins = append(m.ins, inflow{entry: r.Seq, lo: w.From, hi: w.To, at: w.To, start: w.To, end: w.To, circ: true})
		}
	case *lots.Crop:
		e.moveCrop(m, v, r)
	case *lots.Clean:
		e.moveClean(m, v, r)
	case *lots.Removal:
		e.moveRemoval(m, v, r)
	case *lots.Bulk:
		if out, oneOf := e.drawsOn(r.From, v); out {
			m.out(r.Seq, r.At, r.Qty.Millilitres(), oneOf)
			m.named(e, r.Seq, r.From, v, r.At.From)
		}
	case *lots.Feed:
		e.moveFeed(m, v, r)
	}
}

func (m *moves) in(entry int64, w lots.When, vol float64) {
	m.ins = append(m.ins, inflow{entry: entry, lo: w.From, hi: w.To, at: w.To, start: w.To, end: w.To, vol: vol})
}

func (m *moves) out(entry int64, w lots.When, qty float64, oneOf bool) {
	if oneOf {
		qty = 0
	}
	m.outs = append(m.outs, outflow{entry: entry, lo: w.From, hi: w.To, at: w.From, end: w.From, qty: qty, oneOf: oneOf})
}

// named notes that a lot which went into a vessel was named as if it still stood beside it.
func (m *moves) named(e *engine, entry int64, from lots.Ref, v string, at int64) {
	if from.Kind != lots.KindLot {
		return
	}
	for _, code := range from.Codes {
		if t, _ := e.src.Thing(code); t.Into == v {
			m.notes = append(m.notes, note{Finding{"lot-in-vessel", code,
				"lot " + code + " was put into " + v + " and is drawn through it: name " + v + " instead", entry}, at})
		}
	}
}

// drawsOn reports whether taking from a Ref is an outflow of vessel v, and
// whether it is one of several.
func (e *engine) drawsOn(from lots.Ref, v string) (out, oneOf bool) {
	for _, code := range from.Codes {
		switch from.Kind {
		case lots.KindVessel:
			out = out || code == v
		case lots.KindLot:
			t, _ := e.src.Thing(code)
			out = out || t.Into == v
		}
	}
	return out, from.OneOf()
}

// holders lists the vessels a Ref draws on.
func (e *engine) holders(from lots.Ref) []string {
	var out []string
	for _, code := range from.Codes {
		v := code
		if from.Kind == lots.KindLot {
			t, _ := e.src.Thing(code)
			v = t.Into
		}
		if (from.Kind == lots.KindVessel || from.Kind == lots.KindLot) && v != "" && !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}

// inputTime is when a brew input was drawn: its own time, else the brew's.
func (e *engine) inputTime(r *lots.BrewInput) lots.When {
	if r.HasAt {
		return r.At
	}
	b, ok := stated[*lots.Brew](e, r.Brew)
	switch {
	case !ok:
		return r.At
	case r.AtCast:
		return b.CastOut
	}
	return b.Started
}

// adds is the volume a quantity adds to a vessel: all of it in a silo, tank,
// brink or gas vessel, only what is measured as volume in a beer vessel.
func (e *engine) adds(v string, q lots.Quantity) float64 {
	t, _ := e.src.Thing(v)
	if lots.BeerVessel(t.VesselKind) && q.Dim != lots.Volume {
		return 0
	}
	return q.Millilitres()
}

func (e *engine) addedVolume(r *lots.Addition) float64 {
	if r.HasVolume {
		return float64(r.Volume)
	}
	if r.From.Kind == lots.KindUnit {
		t, _ := e.src.Thing(r.From.Code())
		return r.Count * float64(t.PerCase*t.ContainerML)
	}
	if r.From.Kind == lots.KindRun {
		t, _ := e.src.Thing(r.From.Code())
		return r.Count * float64(t.ContainerML)
	}
	if e.gasInto(r.From, r.Vessel) {
		return 0
	}
	return e.adds(r.Vessel, r.Qty)
}

// gasInto reports whether gas, and nothing else, goes into a beer vessel: it adds no beer, however
// it is measured.
func (e *engine) gasInto(from lots.Ref, v string) bool {
	t, _ := e.src.Thing(v)
	return lots.BeerVessel(t.VesselKind) && !slices.ContainsFunc(from.Codes, func(code string) bool {
		t, _ := e.src.Thing(code)
		return t.ItemKind != "gas" && t.VesselKind != "gas"
	})
}

// gasFrom reports whether what goes from v to another vessel is gas that stood over the beer: no beer is drawn.
func (e *engine) gasFrom(v, to string) bool {
	from, _ := e.src.Thing(v)
	t, _ := e.src.Thing(to)
	return lots.BeerVessel(from.VesselKind) && t.VesselKind == "gas"
}

// transferTime is the stretch of a transfer, or the interval it lies in where
// one of its ends is a bare date: then it is an instant between them.
func transferTime(r *lots.Transfer) (lo, hi int64, flows bool) {
	if r.Started.Certain() && r.Ended.Certain() {
		return r.Started.From, r.Ended.From, true
	}
	return r.Started.From, r.Ended.To, false
}

func (e *engine) moveTransfer(m *moves, v string, r *lots.Transfer) {
	lo, hi, flows := transferTime(r)
	if out, oneOf := e.drawsOn(r.From, v); out {
		o := outflow{entry: r.Seq, lo: lo, hi: hi, at: lo, end: lo, qty: float64(r.Out), oneOf: oneOf}
		if oneOf || e.gasFrom(v, r.To) {
			o.qty = 0
		}
		if flows {
			o.hi, o.end = lo, hi
			o.cuts = e.cleanedAt(r.To, lo+1, hi)
		}
		m.outs = append(m.outs, o)
	}
	if r.To != v {
		return
	}
	in := float64(r.In)
	if e.gasInto(r.From, v) {
		in = 0
	}
	if !flows || lo == hi {
		m.ins = append(m.ins, inflow{entry: r.Seq, lo: lo, hi: hi, at: hi, start: hi, end: hi, vol: in})
		return
	}
	cuts := e.piecesOf(r, v)
	for i, start := range cuts[:len(cuts)-1] {
		end := cuts[i+1]
		vol := in * float64(end-start) / float64(hi-lo)
		m.ins = append(m.ins, inflow{entry: r.Seq, lo: start, hi: start, at: start, start: start, end: end, vol: vol})
	}
}

// piecesOf gives the bounds of a transfer's pieces as they reach vessel v: cut
// where its source got a new fill or was cleaned, and where v was cleaned.
func (e *engine) piecesOf(r *lots.Transfer, v string) []int64 {
	lo, hi := r.Started.From, r.Ended.From
	cuts := []int64{lo, hi}
	for _, d := range e.drawsOf(r.Seq) {
		cuts = append(cuts, d.Start)
	}
	cuts = append(cuts, e.cleanedAt(v, lo, hi)...)
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	return slices.DeleteFunc(cuts, func(t int64) bool { return t < lo || t > hi })
}

// cleanedAt lists when a vessel was certainly cleaned in [from, until), in no order.
func (e *engine) cleanedAt(v string, from, until int64) []int64 {
	var out []int64
	for _, rec := range e.src.Moments(v, "cleans", from, until) {
		if c, ok := rec.(*lots.Clean); ok && c.Breaks() && c.At.Certain() && c.Subject.Code() == v && from <= c.At.From && c.At.From < until {
			out = append(out, c.At.From)
		}
	}
	return out
}

func (e *engine) moveCrop(m *moves, v string, r *lots.Crop) {
	if r.Into == v {
		m.in(r.Seq, r.At, e.adds(v, r.Qty))
	}
	if r.Vessel != v {
		return
	}
	qty := r.Qty.Millilitres()
	if t, _ := e.src.Thing(v); lots.BeerVessel(t.VesselKind) && r.Qty.Dim != lots.Volume {
		qty = 0
	}
	m.out(r.Seq, r.At, qty, false)
}

// moveClean notes a clean of v, and what it was cleaned with as an outflow of v that draws nothing from the
// books: nobody writes down how much.
func (e *engine) moveClean(m *moves, v string, r *lots.Clean) {
	if r.Subject.Code() == v {
		m.washes = append(m.washes, wash{r.Seq, r.At.From, r.At.To, r.Breaks()})
		if r.Breaks() {
			m.cleans = append(m.cleans, clean{entry: r.Seq, lo: r.At.From, hi: r.At.To, at: r.At.From})
		}
	}
	if out, oneOf := e.drawsOn(r.From, v); out {
		m.out(r.Seq, r.At, 0, oneOf)
		m.named(e, r.Seq, r.From, v, r.At.From)
	}
}

func (e *engine) moveRemoval(m *moves, v string, r *lots.Removal) {
	out, oneOf := e.drawsOn(r.Subject, v)
	switch {
	case !out:
	case r.All:
		m.cleans = append(m.cleans, clean{entry: r.Seq, lo: r.At.From, hi: r.At.To, at: r.At.From, all: true})
	default:
		m.out(r.Seq, r.At, r.Qty.Millilitres(), oneOf)
		m.named(e, r.Seq, r.Subject, v, r.At.From)
	}
}

// moveFeed books what a run draws from v through one of its feeds.
func (e *engine) moveFeed(m *moves, v string, f *lots.Feed) {
	out, oneOf := e.drawsOn(f.From, v)
	if !out {
		return
	}
	run, product, ok := e.runOf(f.Run)
	if !ok {
		m.named(e, f.Seq, f.From, v, 0)
		return
	}
	since, until := FeedSpan(f, run)
	m.named(e, f.Seq, f.From, v, since)
	if until <= since {
		return
	}
	qty := e.feedDraw(f, run, product)
	if oneOf {
		qty = 0
	}
	m.outs = append(m.outs, outflow{entry: f.Seq, lo: since, hi: since, at: since, end: until, qty: qty, oneOf: oneOf})
}
