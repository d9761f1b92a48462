package lineage

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// perhaps is what vessels that may have been joined have in their books: an outflow of nothing, whose
// pieces tell what each of them held when.
func perhaps(r *lots.Circulation) outflow {
	at := r.Started.From
	return outflow{entry: r.Seq, lo: at, hi: at, at: at, end: r.Ended.End(), oneOf: true}
}

// joinPerhaps links what vessels held that may have been joined, each with every other, for as long as that
// may have been: a contact both ways, and no new fill. Beer may have come to a vessel with nothing in it too: then it
// is in what comes next there, unless the vessel is cleaned before.
func (e *engine) joinPerhaps(c *Cell, r *lots.Circulation) {
	draws := e.drawsOf(r.Seq)
	done := map[[2]Ref]bool{}
	for _, from := range draws {
		for _, to := range draws {
			if from.Vessel == to.Vessel || !meet(from, to) {
				continue
			}
			for _, src := range e.mayGive(from, e.latestOf(to), map[drawn]int64{}) {
				for _, dst := range e.mayTake(to) {
					if pair := [2]Ref{src, dst}; src != dst && !done[pair] {
						done[pair] = true
						c.Links = append(c.Links, contact(src, dst, graph.MayBeJoined, r.Seq, max(from.Start, to.Start)))
					}
				}
			}
		}
	}
}

// meet reports whether two pieces have a moment in common.
func meet(a, b Draw) bool {
	if a.Start == a.End || b.Start == b.End {
		return a.Start == b.Start
	}
	return max(a.Start, b.Start) < min(a.End, b.End)
}

// mayGive lists what may have come out of a vessel during a piece: what it held, what was left in it of its last
// fill where it was not cleaned since, and what may have come in before, by a moment.
func (e *engine) mayGive(d Draw, by int64, asked map[drawn]int64) []Ref {
	var out []Ref
	if d.State == Drew || d.State == Nothing && !e.cleanedBetween(d.Vessel, d.Fill, d.Start) {
		out = append(out, FillRef(d.Vessel, d.Fill, e.zone))
	}
	return dedupe(append(out, e.earlierThan(d, by, asked)...))
}

// mayTake lists what may have come to hold what came into a vessel during a piece.
func (e *engine) mayTake(d Draw) []Ref {
	if d.State == Drew {
		return []Ref{FillRef(d.Vessel, d.Fill, e.zone)}
	}
	next := int64(0)
	for p, ok := e.partAt(d.Vessel, d.Start); ok && next == 0; p, ok = e.partAfter(d.Vessel, p.Part.Since) {
		for _, a := range p.Arrivals {
			if a.Fill > d.Start && (next == 0 || a.Fill < next) {
				next = a.Fill
			}
		}
	}
	if next == 0 || e.cleanedBetween(d.Vessel, d.Start, next) {
		return nil
	}
	return []Ref{FillRef(d.Vessel, next, e.zone)}
}

// cleanedBetween reports whether a vessel was certainly cleaned after a moment and by another one.
func (e *engine) cleanedBetween(v string, after, by int64) bool {
	return len(e.cleanedAt(v, after+1, by+1)) > 0
}

// perhapsGot lists what may have come, by a moment, into a vessel that the books say held nothing when it was perhaps
// joined with others, and may be in what was drawn of it before anything else came in and before it was cleaned.
func (e *engine) perhapsGot(d Draw, by int64, asked map[drawn]int64) (out []Ref) {
	for _, r := range e.perhapsOf(d.Vessel, d.Start) {
		draws := e.drawsOf(r.Seq)
		for _, q := range draws {
			if q.Vessel != d.Vessel || q.State == Drew || q.Start > by || e.cleanedBetween(d.Vessel, q.Start, d.Start) {
				continue
			}
			if fill, ok := e.fillBy(d.Vessel, d.Start); ok && fill > q.Start {
				continue // that fill has it
			}
			for _, p := range draws {
				if p.Vessel != q.Vessel && p.Start <= by && meet(p, q) {
					out = append(out, e.mayGive(p, by, asked)...)
				}
			}
		}
	}
	return out
}

// perhapsOf lists the circulations by which a vessel was perhaps joined with others, and that bear on what was drawn of it at a moment: those of
// the same part of its books, since what came before that was cleaned away or has got into a fill.
func (e *engine) perhapsOf(v string, t int64) (out []*lots.Circulation) {
	from, to := int64(Beginning), int64(Ever)
	if p, ok := e.partAt(v, t); ok {
		from = p.Part.Since
		if next, ok := e.partAfter(v, from); ok {
			to = next.Part.Since
		}
	}
	for _, rec := range e.src.Moments(v, "circulations", from, to) {
		if r, ok := rec.(*lots.Circulation); ok && r.Perhaps && slices.Contains(r.Vessels, v) {
			out = append(out, r)
		}
	}
	return out
}

// markPerhaps marks what may have been joined with a vessel in a window, for certain or perhaps: its contacts follow its fills and cleans. Where it was
// perhaps joined, what was drawn of it in all of the window follows, since a clean may just have parted the two.
func (e *engine) markPerhaps(v string, m *moves, draws []Draw) {
	seen := map[int64]bool{}
	for _, x := range m.all {
		rec, _ := e.src.Record(x.Entry)
		r, ok := rec.(*lots.Circulation)
		if !ok || seen[r.Seq] || !slices.Contains(r.Vessels, v) {
			continue
		}
		seen[r.Seq] = true
		if r.Perhaps || !r.Started.Certain() {
			e.markCirculation(r)
		}
		if r.Perhaps {
			e.markDrawn(v, draws)
		}
	}
}

// markJoined marks a circulation that perhaps was one, and what was drawn of its vessels and of all that were perhaps joined
// with those in turn: one that held nothing may have passed on what came in.
func (e *engine) markJoined(r *lots.Circulation) {
	type place struct {
		vessel string
		since  int64
	}
	seen, had := map[place]bool{}, map[int64]bool{}
	for todo := []*lots.Circulation{r}; len(todo) > 0; todo = todo[1:] {
		if had[todo[0].Seq] {
			continue
		}
		had[todo[0].Seq] = true
		e.mark(todo[0].Seq)
		for _, v := range todo[0].Vessels {
			p, ok := e.partAt(v, todo[0].Started.From)
			if !ok || seen[place{v, p.Part.Since}] {
				continue
			}
			seen[place{v, p.Part.Since}] = true
			todo = append(todo, e.perhapsOf(v, p.Part.Since)...)
			e.markDrawn(v, p.Draws)
		}
	}
}

// markDrawn marks what was drawn of a vessel that was perhaps joined with others.
func (e *engine) markDrawn(v string, draws []Draw) {
	for _, d := range draws {
		rec, _ := e.src.Record(d.Entry)
		switch x := rec.(type) { // what it links; the books of no vessel change by it
		case *lots.Transfer, *lots.Clean:
			e.mark(d.Entry)
		case *lots.Circulation:
			if !x.Perhaps { // those come by themselves
				e.markCirculation(x)
			}
		default:
			e.drawChanged(v, d.Entry)
		}
	}
}
