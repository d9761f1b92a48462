package oracle

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// run is one package run.
type run struct {
	rec          *lots.Run
	s, e         int64
	margin, over int64
	residue      bool
	perCase, ml  int64
	feeds        []*feed
	rows         []*lots.Packed
	codes        []*lots.CodeChange
	segs         []*segment
	emptied      float64 // rejects that were emptied or fed, in containers
	named        bool    // rejects of it were, perhaps as one of several
	left         []left
}

// left is a lot that the run may have found in its line's magazine, until a moment.
type left struct {
	lot   string
	until int64
}

// feed is what fed a run, clipped to it.
type feed struct {
	rec                *lots.Feed
	from               []source
	oneOf              bool
	since, until       int64
	certain            int64 // certain from here to until
	may                int64 // possible until here
	tank, vessel, path bool
	move               *move
}

type segment struct {
	s, e         int64
	code         string
	total, claim float64
	fed          []fed
}

// fed is one link into a segment, kept for the stretches.
type fed struct {
	src     lineage.Ref
	content bool
	film    bool   // what the line was cleaned with: it does not go on to the line's residue by the run
	vessel  string // of a fill
	fill    *fill
}

func (w *world) readRuns() {
	for _, rec := range w.Records() {
		if r, ok := rec.(*lots.Run); ok {
			x := &run{rec: r, s: r.Started.From, e: r.Ended.End(), perCase: w.prods[r.Product].PerCase, ml: w.prods[r.Product].ContainerML}
			if line := w.lines[r.Line]; line != nil {
				x.margin, x.over, x.residue = line.Margin, line.Overlap, line.Residue || !line.HasResidue
			}
			w.runs = append(w.runs, x)
			w.runOf[r.Run] = x
		}
	}
	for _, rec := range w.Records() {
		switch r := rec.(type) {
		case *lots.Packed:
			w.runOf[r.Run].rows = append(w.runOf[r.Run].rows, r)
		case *lots.CodeChange:
			w.runOf[r.Run].codes = append(w.runOf[r.Run].codes, r)
		case *lots.Feed:
			w.readFeed(w.runOf[r.Run], r)
		}
	}
}

func (w *world) readFeed(r *run, rec *lots.Feed) {
	f := &feed{rec: rec, from: w.sources(rec.From), oneOf: rec.From.OneOf(), since: r.s, until: r.e}
	if rec.HasSince {
		f.since = max(r.s, rec.Since.From)
	}
	if rec.HasUntil {
		f.until = min(r.e, rec.Until.End())
	}
	if f.since >= f.until {
		w.fault("feed-outside-run", r.rec.Run)
		for _, s := range f.from { // it feeds nothing, but the lot or unit is used
			switch {
			case f.oneOf:
			case s.kind == lots.KindLot:
				w.lots[s.code].used += float64(rec.Qty.N)
			case s.kind == lots.KindUnit:
				w.units[s.code].used += rec.Count
			case s.kind == lots.KindRun:
				w.runOf[s.code].emptied += rec.Count
			}
			if s.kind == lots.KindRun {
				w.runOf[s.code].named = true
			}
		}
		return
	}
	for _, s := range f.from {
		f.vessel = f.vessel || s.kind == lots.KindVessel
		f.tank = f.tank || s.kind == lots.KindVessel && lots.BeerVessel(w.vessels[s.code].kind)
		f.path = f.path || s.kind == lots.KindVessel && w.vessels[s.code].kind == "path"
	}
	over := rec.Overlap
	if !rec.HasOverlap && !f.vessel {
		over = r.over
	}
	f.certain, f.may = f.since, f.until
	if !f.vessel && f.since > r.s {
		f.certain = f.since + over
	}
	if f.until < r.e {
		f.may = min(r.e, f.until+over)
	}
	r.feeds = append(r.feeds, f)
}

// feedMoves makes the outflows of a run's feeds.
func (w *world) feedMoves(r *run) {
	need := float64((r.rec.Good + r.rec.Rejects) * r.ml)
	span := 0.0
	for _, f := range r.feeds {
		if f.tank && f.rec.HasQty {
			need -= f.rec.Qty.Millilitres()
		}
		if f.tank && !f.rec.HasQty {
			span += float64(f.until - f.since)
		}
	}
	need = max(0, need)
	for _, f := range r.feeds {
		m := &move{entry: f.rec.Entry(), from: f.from, oneOf: f.oneOf, s: f.since, e: f.until, long: true, feed: f, cause: graph.Moved}
		switch {
		case f.tank && !f.rec.HasQty:
			m.out = need * float64(f.until-f.since) / span
		case f.vessel && f.rec.HasQty:
			m.out = f.rec.Qty.Millilitres()
		case f.vessel:
			m.blind = true
		}
		for _, s := range f.from {
			if s.kind == lots.KindVessel && w.vessels[s.code].kind == "gas" {
				m.out, m.blind, m.cause = 0, true, graph.Gas
			}
		}
		m.used = float64(f.rec.Qty.N)
		if f.rec.From.Kind == lots.KindUnit || f.rec.From.Kind == lots.KindRun {
			m.used = f.rec.Count
		}
		f.move = m
		w.add(m)
	}
}

func (w *world) writeRuns() {
	for _, r := range w.runs {
		for _, f := range r.feeds {
			w.writeFeed(r, f)
		}
		for k, g := range r.segs {
			for _, l := range r.left {
				if g.e <= l.until {
					w.contact(lotRef(l.lot), r.segRef(k), graph.Overlap)
					g.fed = append(g.fed, fed{src: lotRef(l.lot)})
				}
			}
			w.res.Nodes[r.segRef(k)] = g.total
		}
		w.writeLineWashes(r)
		w.writeUnits(r)
		w.runPasses(r)
	}
}

func (r *run) segRef(k int) lineage.Ref {
	return lineage.Ref{Kind: graph.Segment, Code: r.rec.Run + "@" + r.segs[k].code}
}

// cutRun cuts a run where a feed, a feed's certainty, a tank's fill or the printed code changes.
func (w *world) cutRun(r *run) {
	cuts := []int64{r.s, r.e}
	hasTank := false
	for _, f := range r.feeds {
		hasTank = hasTank || f.tank
		cuts = append(cuts, f.since, f.until, f.certain, f.may)
		for _, o := range f.move.outs {
			for _, p := range o.pieces {
				cuts = append(cuts, p.s)
			}
		}
		for _, s := range f.from {
			if s.kind == lots.KindLot {
				cuts = append(cuts, w.tippedSince(s.code, f.until-1)...)
			}
		}
	}
	for _, c := range r.codes {
		cuts = append(cuts, c.Since.From)
		if c.HasUntil {
			cuts = append(cuts, c.Until.End())
		}
	}
	for _, l := range r.left {
		cuts = append(cuts, l.until)
	}
	cuts = slices.DeleteFunc(cuts, func(t int64) bool { return t < r.s || t > r.e })
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var span float64
	for k := range len(cuts) - 1 {
		g := &segment{s: cuts[k], e: cuts[k+1], code: lots.Stamp(cuts[k], w.zone)}
		stands := hasTank && !slices.ContainsFunc(r.feeds, func(f *feed) bool { return f.tank && f.since <= g.s && g.e <= f.until })
		if !stands {
			r.segs = append(r.segs, g)
			span += float64(g.e - g.s)
		}
	}
	for _, g := range r.segs {
		g.total = float64(r.rec.Good+r.rec.Rejects) * float64(g.e-g.s) / span
	}
}

// findLeft finds what earlier runs on the line may have left in its magazine: a part lasts for its
// overlap in the time that the line took the same item, unless the line was cleared after it.
func (w *world) findLeft(r *run) {
	for _, q := range w.runs {
		if q == r || r.rec.Line == "" || q.rec.Line != r.rec.Line || q.s > min(r.rec.Started.To, r.e) {
			continue
		}
		between, length := w.between(q, r), int64(0)
		for _, x := range between {
			length += x.e - x.s
		}
		if length >= 86400 { // a day
			continue
		}
		for _, f := range q.feeds {
			if !w.isPart(f) {
				continue
			}
			rest := q.over
			if f.rec.HasOverlap {
				rest = f.rec.Overlap
			}
			for _, x := range between {
				if slices.ContainsFunc(x.feeds, func(g *feed) bool { return w.isPart(g) && w.lots[g.from[0].code].item == w.lots[f.from[0].code].item }) {
					rest -= x.ran(x.s, x.e)
				}
			}
			if q.known() {
				rest -= q.ran(f.until, q.e)
			}
			if rest <= 0 && q.e <= r.s {
				continue
			}
			until := min(r.e, max(r.rec.Started.To, q.e)+rest)
			for _, c := range w.cleared {
				if c.Line == r.rec.Line && c.At.From >= f.until && c.At.To < until {
					until = c.At.To
				}
			}
			for _, s := range f.from {
				for _, code := range append(w.tipped(s.code, f.until-1), s.code) {
					if until > r.s && !r.has(code, until) {
						r.left = append(r.left, left{code, until})
						w.fault("part-changed-between-runs", r.rec.Run)
					}
				}
			}
		}
	}
}

// isPart reports whether a feed is of packaging parts that stand beside the line.
func (w *world) isPart(f *feed) bool {
	return !f.vessel && f.from[0].kind == lots.KindLot && lots.PackagingPart(w.lots[f.from[0].code].kind)
}

// between lists the runs of known time between two, none of which overlaps the one before it.
func (w *world) between(q, r *run) (out []*run) {
	for _, x := range w.runs {
		if x != q && x != r && x.rec.Line == r.rec.Line && x.s >= q.e && x.e <= r.s && x.known() && x.e > x.s {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b *run) int { return cmp.Compare(a.s, b.s) })
	end := q.e
	return slices.DeleteFunc(out, func(x *run) bool {
		if x.s < end {
			return true
		}
		end = x.e
		return false
	})
}

// ran counts the seconds of a stretch in which a tank fed the run; all of it where no tank ever did.
func (r *run) ran(from, until int64) (n int64) {
	tank := slices.ContainsFunc(r.feeds, func(f *feed) bool { return f.tank })
	for t := from; t < until; t += 60 { // all times of a history are whole minutes
		fed := slices.ContainsFunc(r.feeds, func(f *feed) bool { return f.tank && f.since <= t && t < f.until })
		if fed || !tank {
			n += min(60, until-t)
		}
	}
	return n
}

// known reports whether both ends of a run are known.
func (r *run) known() bool { return r.rec.Started.Certain() && r.rec.Ended.Certain() }

// has reports whether a feed of the run says that a lot was on from its start until a moment.
func (r *run) has(lot string, until int64) bool {
	return slices.ContainsFunc(r.feeds, func(f *feed) bool {
		return len(f.from) == 1 && f.from[0].kind == lots.KindLot && f.from[0].code == lot && f.since == r.s && f.until >= until
	})
}

// writeFeed links one feed to the segments it fed or may have fed.
func (w *world) writeFeed(r *run, f *feed) {
	if f.path {
		return
	}
	sure := func(g *segment) bool { return f.certain <= g.s && g.e <= f.until }
	if !slices.ContainsFunc(r.segs, sure) {
		f.certain = f.since
	}
	var span float64
	for _, g := range r.segs {
		if sure(g) {
			span += float64(g.e - g.s)
		}
	}
	for k, g := range r.segs {
		dst, part := r.segRef(k), float64(g.e-g.s)
		for _, s := range f.from {
			if s.kind == lots.KindLot && (sure(g) || f.since <= g.s && g.e <= f.may) {
				for _, code := range w.tipped(s.code, min(g.e, f.until)-1) {
					w.contact(lotRef(code), dst, graph.Tipped)
					g.fed = append(g.fed, fed{src: lotRef(code)})
				}
			}
			switch {
			case sure(g) && s.kind == lots.KindVessel:
				w.writeTankFeed(f, s, g, dst, f.move.out*part/float64(f.until-f.since))
			case sure(g):
				w.writeLotFeed(f, s, g, dst, part/span)
			case f.since <= g.s && g.e <= f.may:
				w.writePossible(f, s, g, dst)
			}
		}
	}
}

// writeTankFeed links what a vessel held to a segment that it fed.
func (w *world) writeTankFeed(f *feed, s source, g *segment, dst lineage.Ref, q float64) {
	p := f.move.outs[s.code].pieceAt(g.s)
	w.writePiece(f.move, p, dst, q)
	w.writeMaybes(p, dst)
	if p.fill != nil {
		g.fed = append(g.fed, fed{src: p.fill.ref(), content: !f.oneOf && !p.nothing, vessel: s.code, fill: p.fill})
	}
	for _, src := range w.mayHold(p) {
		g.fed = append(g.fed, fed{src: src})
	}
}

// writeLotFeed links a lot or a unit to a segment where it is certain.
func (w *world) writeLotFeed(f *feed, s source, g *segment, dst lineage.Ref, part float64) {
	ref, cause := lotRef(s.code), graph.Moved
	if s.kind == lots.KindRun {
		q := math.NaN()
		if f.rec.HasQty {
			q = f.move.used * part
		}
		w.writeRejects(s.code, dst, f.oneOf, q)
		if ref, ok := w.runOf[s.code].rejectsRef(w); ok {
			g.fed = append(g.fed, fed{src: ref, content: !f.oneOf})
		}
		return
	}
	switch {
	case s.kind == lots.KindUnit:
		ref, cause = lineage.Ref{Kind: graph.Unit, Code: s.code}, graph.Unpacked
	case lots.PackagingPart(w.lots[s.code].kind):
		cause = graph.Part
	}
	g.fed = append(g.fed, fed{src: ref, content: !f.oneOf})
	switch {
	case f.oneOf:
		w.contact(ref, dst, graph.OneOf)
	case !f.rec.HasQty:
		w.content(ref, dst, cause, math.NaN())
	default:
		w.content(ref, dst, cause, w.shareOf(s, f.move.used)*part)
	}
}

// writePossible links a feed to a segment that only its overlap touches.
func (w *world) writePossible(f *feed, s source, g *segment, dst lineage.Ref) {
	ref, cause := lotRef(s.code), graph.Overlap
	switch {
	case s.kind == lots.KindVessel:
		p := f.move.outs[s.code].pieceAt(min(g.s, f.until-1))
		if p.fill == nil {
			return
		}
		ref = p.fill.ref()
	case s.kind == lots.KindUnit:
		ref = lineage.Ref{Kind: graph.Unit, Code: s.code}
	case s.kind == lots.KindRun:
		var ok bool
		if ref, ok = w.runOf[s.code].rejectsRef(w); !ok {
			return
		}
	}
	if f.oneOf && s.kind != lots.KindVessel {
		cause = graph.OneOf
	}
	w.contact(ref, dst, cause)
	g.fed = append(g.fed, fed{src: ref})
}

// writeUnits hangs a run's units on its segments.
func (w *world) writeUnits(r *run) {
	hang := make([]*hanging, len(r.rows))
	packed := 0.0
	for n, row := range r.rows {
		hang[n] = w.hang(r, row)
		packed += float64(row.Quantity * r.perCase)
	}
	if packed > float64(r.rec.Good+r.rec.Rejects)+slack {
		w.fault("units-above-run", r.rec.Run)
	}
	if r.named && len(r.segs) > 1 {
		var all []int
		for k := range r.segs {
			all = append(all, k)
		}
		w.writeAnyOf(r, all)
	}
	for n, row := range r.rows {
		dst, h := lineage.Ref{Kind: graph.Unit, Code: row.Unit}, hang[n]
		for _, k := range h.touched {
			part, sure := h.parts[k]
			switch {
			case sure:
				w.content(r.segRef(k), dst, graph.Packed, part*float64(row.Quantity*r.perCase)/max(r.segs[k].total, r.segs[k].claim))
			case len(h.parts) > 0:
				w.contact(r.segRef(k), dst, graph.Margin)
			}
		}
		if len(h.parts) == 0 && len(h.touched) > 0 {
			w.writeStretch(r, h.touched, dst)
		}
	}
}

// hanging says which segments a unit's row touches, and which part of it is certain where.
type hanging struct {
	touched []int
	parts   map[int]float64
}

func (w *world) hang(r *run, row *lots.Packed) *hanging {
	h := &hanging{parts: map[int]float64{}}
	first, last, windowed := r.s, r.e, row.HasFirst || row.HasLast
	if row.HasFirst {
		first = row.First.From
	}
	if row.HasLast {
		last = row.Last.End()
	}
	outside := last <= r.s || first >= r.e
	if first == last {
		outside = last < r.s || first > r.e
	}
	if windowed && outside {
		w.fault("window-outside-run", row.Unit)
		windowed = false
	}
	if !windowed {
		first, last = r.s, r.e
	}
	written, sure := make([]float64, len(r.segs)), []int{}
	sum := 0.0
	for k, g := range r.segs {
		written[k] = float64(max(0, min(g.e, last)-max(g.s, first)))
		sum += written[k]
		in := min(g.e, last-r.margin) > max(g.s, first+r.margin)
		if first+r.margin == last-r.margin {
			p := first + r.margin
			in = g.s <= p && p < g.e || p == r.e && k == len(r.segs)-1 && g.e == p
		}
		in = in && windowed
		edge := row.HasFirst && row.First.Certain() && (!row.HasLast || first == last) && g.s <= first && first <= g.e ||
			row.HasLast && row.Last.Certain() && !row.HasFirst && g.s <= last && last <= g.e
		may := !windowed || edge || min(g.e, last+r.margin) > max(g.s, first-r.margin)
		if in || may {
			h.touched = append(h.touched, k)
		}
		if in {
			sure = append(sure, k)
		}
	}
	if len(h.touched) == 0 { // all of it while the line stood: any part of the run
		for k := range r.segs {
			h.touched = append(h.touched, k)
		}
		return h
	}
	if len(h.touched) == 1 {
		sure = h.touched
	}
	for _, k := range sure {
		h.parts[k] = 1 / float64(len(sure))
		if sum > 0 {
			h.parts[k] = written[k] / sum
		}
	}
	return h
}

// writeStretch writes the node a unit hangs on where none of the segments it touches is certain.
func (w *world) writeStretch(r *run, touched []int, unit lineage.Ref) {
	ref := w.writeAnyOf(r, touched)
	w.res.Links[Key{ref, unit, graph.Content, graph.Packed}] = Share{Unknown: true}
}

func (w *world) stretchRef(r *run, from, to int64) lineage.Ref {
	return lineage.Ref{Kind: graph.Stretch, Code: fmt.Sprintf("%s@%s..%s", r.rec.Run, lots.Stamp(from, w.zone), lots.Stamp(to, w.zone))}
}

// writeAnyOf writes the stretch of segments with what feeds it.
func (w *world) writeAnyOf(r *run, touched []int) lineage.Ref {
	ref := w.stretchRef(r, r.segs[touched[0]].s, r.segs[touched[len(touched)-1]].e)
	w.res.Nodes[ref] = 0
	content, all := map[lineage.Ref]graph.Cause{}, map[lineage.Ref]bool{}
	for _, k := range touched {
		w.contact(r.segRef(k), ref, graph.Margin)
		for _, x := range r.segs[k].fed {
			all[x.src] = true
		}
	}
	for _, x := range r.segs[touched[0]].fed {
		if x.content && w.feedsAll(r, touched, x) {
			content[x.src] = 0
		}
	}
	for src := range all {
		if _, ok := content[src]; ok {
			w.res.Links[Key{src, ref, graph.Content, w.causeInto(r, touched[0], src)}] = Share{Unknown: true}
		} else {
			w.contact(src, ref, graph.Margin)
		}
	}
	return ref
}

// causeInto is the cause of a source's content link to a segment.
func (w *world) causeInto(r *run, k int, src lineage.Ref) graph.Cause {
	for key := range w.res.Links {
		if key.Src == src && key.Dst == r.segRef(k) && key.Grade == graph.Content {
			return key.Cause
		}
	}
	return graph.Packed
}

// feedsAll reports whether what feeds the first touched segment feeds all by content; of a
// vessel, whether every later fill of it there carries the first by content.
func (w *world) feedsAll(r *run, touched []int, x fed) bool {
	for _, k := range touched {
		found := false
		for _, y := range r.segs[k].fed {
			switch {
			case !y.content:
			case x.fill == nil:
				found = found || y.src == x.src
			case y.vessel == x.vessel:
				found = found || carries(y.fill, x.fill)
			}
		}
		if !found {
			return false
		}
	}
	return true
}

// carries reports whether a fill holds an earlier one's content.
func carries(late, early *fill) bool {
	for f := late; f != nil; f = f.before {
		if f == early {
			return true
		}
		if f.carry < 0 {
			return false
		}
	}
	return false
}

func sortPasses(ps []*pass) {
	slices.SortStableFunc(ps, func(a, b *pass) int { return cmp.Or(cmp.Compare(a.s, b.s), cmp.Compare(a.entry, b.entry)) })
}
