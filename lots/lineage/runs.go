package lineage

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// runOf finds a run and its product.
func (e *engine) runOf(code string) (*lots.Run, *lots.Product, bool) {
	run, ok := stated[*lots.Run](e, code)
	if !ok {
		return nil, nil, false
	}
	if p, ok := stated[*lots.Product](e, run.Product); ok {
		return run, p, true
	}
	return run, &lots.Product{ContainerML: 1, PerCase: 1}, true
}

// FeedSpan is a feed's stretch within its run, in Unix seconds: nothing where until is not after since.
func FeedSpan(f *lots.Feed, run *lots.Run) (since, until int64) {
	since, until = run.Started.From, run.Ended.End()
	if f.HasSince {
		since = max(since, f.Since.From)
	}
	if f.HasUntil {
		until = min(until, f.Until.End())
	}
	return since, until
}

// tankFeed reports whether a feed is from a fermenter, bright or serving tank.
func (e *engine) tankFeed(f *lots.Feed) bool {
	return slices.ContainsFunc(e.holders(f.From), func(v string) bool {
		t, _ := e.src.Thing(v)
		return lots.BeerVessel(t.VesselKind)
	})
}

// feedDraw is what a feed draws from its vessel's books, in mL: what the row
// says; for a tank that says nothing, its part by duration of what the run's
// containers hold beyond what other tanks gave; for gas nothing.
func (e *engine) feedDraw(f *lots.Feed, run *lots.Run, product *lots.Product) float64 {
	if e.feedsGas(f) {
		return 0
	}
	if f.HasQty {
		return f.Qty.Millilitres()
	}
	if !e.tankFeed(f) {
		return 0
	}
	need := float64((run.Good + run.Rejects) * product.ContainerML)
	open := int64(0)
	for _, g := range e.src.Feeds(run.Run) {
		if !e.tankFeed(g) {
			continue
		}
		switch since, until := FeedSpan(g, run); {
		case until <= since: // outside the run: it gives nothing
		case g.HasQty:
			need -= g.Qty.Millilitres()
		default:
			open += until - since
		}
	}
	since, until := FeedSpan(f, run)
	if need <= 0 || open == 0 {
		return 0
	}
	return need * float64(until-since) / float64(open)
}

func (e *engine) feedsGas(f *lots.Feed) bool {
	return slices.ContainsFunc(e.holders(f.From), func(v string) bool {
		t, _ := e.src.Thing(v)
		return t.VesselKind == "gas"
	})
}

// segment is a stretch of a run in which all its feeds stay the same.
type segment struct {
	since, until int64
	ref          Ref
	filled       float64 // containers
	claimed      float64 // containers that units certainly took from it
	in           []supply
}

// supply is one thing feeding a segment.
type supply struct {
	src    Ref
	grade  graph.Grade
	cause  graph.Cause
	qty    float64
	entry  int64
	vessel string // of a fill
	since  int64  // of a fill: its start
	root   int64  // of a fill: start of the earliest fill it surely still carries
	dosed  bool   // leaves residue: beer and ingredients, not packaging parts
}

// feeding is one feed as it bears on its run.
type feeding struct {
	*lots.Feed
	since, until int64
	overlap      int64
	vessels      []string
	tank         bool
	path         bool
}

func (f *feeding) startOverlap(run *lots.Run) int64 {
	if len(f.vessels) > 0 || f.since <= run.Started.From {
		return 0
	}
	return f.overlap
}

func (f *feeding) endOverlap(run *lots.Run) int64 {
	if f.until >= run.Ended.End() {
		return 0
	}
	return f.overlap
}

// runCell derives a run: its segments, what feeds them, and the units packed from them.
func (e *engine) runCell(code string) *Cell {
	c := &Cell{Owner: "r:" + code}
	run, product, ok := e.runOf(code)
	if !ok {
		return c
	}
	feeds := e.feedings(c, run)
	left := e.leftovers(run, feeds)
	e.tellLeft(c, run, left)
	segs := e.segments(run, feeds, left)
	for _, f := range feeds {
		e.supplyFrom(f, run, segs)
	}
	for i := range segs {
		segs[i].supplyLeft(left)
	}
	e.supplyCleans(run, segs)
	e.packUnits(c, run, product, segs)
	for i := range segs {
		s := &segs[i]
		den := max(s.filled, s.claimed)
		if den <= 0 {
			den = 1
		}
		c.Nodes = append(c.Nodes, Node{Ref: s.ref, Home: code, Since: s.since, Until: s.until, Total: s.filled, Den: den, Entry: run.Seq})
		for _, in := range s.in {
			c.Links = append(c.Links, Link{Src: in.src, Dst: s.ref, Grade: in.grade, Cause: in.cause, Qty: in.qty, Entry: in.entry, At: s.since})
		}
	}
	e.passRun(c, run, feeds, segs)
	return c
}

// feedings reads a run's feeds. A feed wholly outside its run is a finding and feeds nothing.
func (e *engine) feedings(c *Cell, run *lots.Run) []*feeding {
	line := e.lineOf(run.Line)
	var out []*feeding
	for _, f := range e.src.Feeds(run.Run) {
		w := &feeding{Feed: f, vessels: e.holders(f.From), tank: e.tankFeed(f), overlap: line.Overlap}
		w.since, w.until = FeedSpan(f, run)
		if f.HasOverlap {
			w.overlap = f.Overlap
		} else if len(w.vessels) > 0 {
			w.overlap = 0 // a tank is shut when the next is opened, unless its own row says otherwise
		}
		for _, v := range w.vessels {
			t, _ := e.src.Thing(v)
			w.path = w.path || t.VesselKind == "path"
		}
		if w.until <= w.since {
			c.Findings = append(c.Findings, Finding{"feed-outside-run", run.Run,
				fmt.Sprintf("the feed from %s lies outside run %s and is left out", f.From.Code(), run.Run), f.Seq})
			continue
		}
		out = append(out, w)
	}
	return out
}

func (e *engine) lineOf(code string) lots.Line {
	if l, ok := stated[*lots.Line](e, code); ok {
		return *l
	}
	return lots.Line{HasResidue: true} // of no line: nothing stays in it
}

// segments cuts a run wherever anything about its feeds changes.
func (e *engine) segments(run *lots.Run, feeds []*feeding, left []leftover) []segment {
	lo, hi := run.Started.From, run.Ended.End()
	cuts := []int64{lo, hi}
	anyTank := false
	for _, f := range feeds {
		anyTank = anyTank || f.tank
		cuts = append(cuts, f.since, f.until, f.since+f.startOverlap(run), f.until+f.endOverlap(run))
		for _, d := range e.drawsOf(f.Seq) {
			cuts = append(cuts, d.Start, d.End)
		}
		cuts = append(cuts, e.tippedAt(f.From, f.until-1)...)
	}
	for _, rec := range e.src.Touching(run.Run) {
		if k, ok := rec.(*lots.CodeChange); ok && k.Run == run.Run {
			cuts = append(cuts, k.Since.From)
			if k.HasUntil {
				cuts = append(cuts, k.Until.End())
			}
		}
	}
	for _, l := range left {
		cuts = append(cuts, l.until)
	}
	slices.Sort(cuts)
	cuts = slices.DeleteFunc(slices.Compact(cuts), func(t int64) bool { return t < lo || t > hi })
	var segs []segment
	var length int64
	for i := range cuts[:len(cuts)-1] {
		s := segment{since: cuts[i], until: cuts[i+1]}
		if anyTank && !slices.ContainsFunc(feeds, func(f *feeding) bool { return f.tank && f.since <= s.since && f.until >= s.until }) {
			continue // the line stood
		}
		s.ref = Ref{graph.Segment, run.Run + "@" + lots.Stamp(s.since, e.zone)}
		length += s.until - s.since
		segs = append(segs, s)
	}
	for i := range segs {
		segs[i].filled = float64(run.Good+run.Rejects) * float64(segs[i].until-segs[i].since) / float64(length)
	}
	return segs
}

// within lists the segments that lie in a stretch.
func within(segs []segment, lo, hi int64) []*segment {
	var out []*segment
	for i := range segs {
		if segs[i].since >= lo && segs[i].until <= hi {
			out = append(out, &segs[i])
		}
	}
	return out
}

func lengthOf(segs []*segment) (n int64) {
	for _, s := range segs {
		n += s.until - s.since
	}
	return n
}

// supplyFrom adds what one feed gives to the segments of its run.
func (e *engine) supplyFrom(f *feeding, run *lots.Run, segs []segment) {
	e.supplyStock(f, run, segs)
	draws := e.drawsOf(f.Seq)
	for _, d := range draws {
		e.supplyDraw(f, d, segs)
	}
	after := within(segs, f.until, f.until+f.endOverlap(run))
	for _, v := range f.vessels {
		last := slices.IndexFunc(draws, func(d Draw) bool { return d.Vessel == v && d.End == f.until && d.State != Never })
		if last < 0 {
			continue
		}
		d := draws[last]
		for _, s := range after {
			s.in = append(s.in, supply{src: FillRef(v, d.Fill, e.zone), grade: graph.Contact, cause: graph.Overlap, qty: unknown, entry: f.Seq, vessel: v, since: d.Fill, root: d.Root, dosed: true})
		}
	}
}

// supplyStock spreads a lot or a unit over the segments it fed: certain once
// what was left of the lot before is used up, possible while either may still be in the magazine.
func (e *engine) supplyStock(f *feeding, run *lots.Run, segs []segment) {
	since := f.since + f.startOverlap(run)
	sure := within(segs, since, f.until)
	doubtful := within(segs, f.since, min(since, f.until))
	if since >= f.until || len(sure) == 0 {
		sure, doubtful = within(segs, f.since, f.until), nil
	}
	doubtful = append(doubtful, within(segs, f.until, f.until+f.endOverlap(run))...)
	qty, length := unknown, lengthOf(sure)
	if f.HasQty {
		qty = float64(f.Qty.N)
		if f.From.Kind == lots.KindUnit || f.From.Kind == lots.KindRun {
			qty = f.Count
		}
	}
	for _, s := range slices.Concat(sure, doubtful) {
		for _, ref := range e.tippedRefs(f.From, min(s.until, f.until)-1) {
			s.in = append(s.in, supply{src: ref, grade: graph.Contact, cause: graph.Tipped, qty: unknown, entry: f.Seq, dosed: e.dosed(ref)})
		}
	}
	for _, ref := range stockRefs(e, f.From) {
		w := supply{src: ref, cause: e.stockCause(ref), grade: graph.Content, entry: f.Seq, dosed: e.dosed(ref)}
		if f.From.OneOf() {
			w.grade, w.cause, w.qty = graph.Contact, graph.OneOf, unknown
		}
		for _, s := range sure {
			if w.grade == graph.Content {
				w.qty = unknown
			}
			if w.grade == graph.Content && ref.Kind != graph.Stretch {
				w.qty = qty * float64(s.until-s.since) / float64(length)
			}
			s.in = append(s.in, w)
		}
		w.grade, w.qty = graph.Contact, unknown
		if !f.From.OneOf() {
			w.cause = graph.Overlap
		}
		for _, s := range doubtful {
			s.in = append(s.in, w)
		}
	}
}

func (e *engine) stockCause(r Ref) graph.Cause {
	if r.Kind == graph.Unit || r.Kind == graph.Segment || r.Kind == graph.Stretch {
		return graph.Unpacked
	}
	if t, _ := e.src.Thing(r.Code); lots.PackagingPart(t.ItemKind) {
		return graph.Part
	}
	return graph.Moved
}

// dosed reports whether a lot leaves residue in what the beer passes.
func (e *engine) dosed(r Ref) bool {
	t, _ := e.src.Thing(r.Code)
	return r.Kind == graph.Lot && !lots.PackagingPart(t.ItemKind)
}

// supplyDraw gives a piece of what a vessel fed to the segments of its time.
func (e *engine) supplyDraw(f *feeding, d Draw, segs []segment) {
	t, _ := e.src.Thing(d.Vessel)
	cause := graph.Moved
	if t.VesselKind == "gas" {
		cause = graph.Gas
	}
	for _, s := range within(segs, d.Start, d.End) {
		qty := unknown
		if cause != graph.Gas && (f.HasQty || lots.BeerVessel(t.VesselKind)) {
			qty = d.Qty * float64(s.until-s.since) / float64(d.End-d.Start)
		}
		c := &Cell{}
		e.linkDraw(c, d, s.ref, qty, cause, s.since)
		for i, l := range c.Links {
			w := supply{src: l.Src, grade: l.Grade, cause: l.Cause, qty: l.Qty, entry: l.Entry, dosed: l.Src.Kind == graph.Fill || e.dosed(l.Src)}
			if i == 0 && d.State != Never {
				w.vessel, w.since, w.root = d.Vessel, d.Fill, d.Root
			}
			s.in = append(s.in, w)
		}
	}
}

// passRun notes that each segment went over the line's residue and the run's path items.
func (e *engine) passRun(c *Cell, run *lots.Run, feeds []*feeding, segs []segment) {
	for i := range segs {
		s := &segs[i]
		var items []string
		if line := e.lineOf(run.Line); line.MayKeepResidue() {
			items = append(items, run.Line)
		}
		for _, f := range feeds {
			if f.path && f.since <= s.since && f.until >= s.until {
				items = append(items, f.vessels...)
			}
		}
		slices.Sort(items)
		for _, item := range slices.Compact(items) {
			p := Pass{Item: item, Entry: run.Seq, Start: s.since, End: s.until, Dst: s.ref}
			for _, in := range s.in {
				if in.dosed {
					p.Srcs = append(p.Srcs, in.src)
				}
			}
			p.Srcs = dedupe(p.Srcs)
			slices.SortFunc(p.Srcs, func(a, b Ref) int {
				return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code))
			})
			c.Passes = append(c.Passes, p)
		}
	}
}
