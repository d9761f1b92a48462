package lineage

import (
	"cmp"
	"slices"

	"heeltap/lots"
)

// What may have come into a vessel before something was drawn from it, as far as the order is open: what the
// inflows came from and what may in turn have come there before, and the fills that they started.

// drawn names a draw.
type drawn struct {
	vessel       string
	entry, start int64
}

// earlier lists what may have been drawn besides the fill that the books say.
func (e *engine) earlier(d Draw) []Ref {
	return dedupe(e.earlierThan(d, e.latestOf(d), map[drawn]int64{}))
}

// earlierThan lists what may have been in a vessel before a draw and by a moment. It remembers by when it has
// asked of each draw.
func (e *engine) earlierThan(d Draw, by int64, asked map[drawn]int64) (out []Ref) {
	by = min(by, e.latestOf(d))
	key := drawn{d.Vessel, d.Entry, d.Start}
	if had, ok := asked[key]; ok && had >= by {
		return nil
	}
	asked[key] = by
	out = append(e.sweptAway(d, by), e.perhapsGot(d, by, asked)...)
	if len(d.Maybe) == 0 {
		return out
	}
	for _, m := range d.Maybe {
		if e.earliest(m) <= by {
			out = append(out, e.sourcesOf(m, d, by, asked)...)
			out = append(out, e.cleanersBefore(m, d, by, asked)...)
		}
	}
	for _, fill := range e.earlierFills(d, by) {
		out = append(out, FillRef(d.Vessel, fill, e.zone))
	}
	return out
}

// cleanersBefore lists what a vessel may have been cleaned with, by a moment, before an inflow that may have come before a draw.
func (e *engine) cleanersBefore(inflow int64, d Draw, by int64, asked map[drawn]int64) (out []Ref) {
	p, ok := e.partAt(d.Vessel, d.Start)
	if !ok {
		return nil
	}
	rec, _ := e.src.Record(inflow)
	started := map[int64]bool{} // by its arrivals that may have come before the draw
	for _, a := range p.Arrivals {
		if a.Entry == inflow && d.before(a) && !(flowsInPieces(rec) && a.Start > by) {
			started[a.Fill] = true
		}
	}
	for _, a := range p.Arrivals {
		rec, _ := e.src.Record(a.Entry)
		if r, ok := rec.(*lots.Clean); ok && started[a.Fill] && r.At.From <= by {
			out = append(out, e.cleanedWithBy(r, by, asked)...)
		}
	}
	return out
}

// sweptAway lists what a vessel held, by a moment, before cleans that may have come after it was circulated: the books
// place a circulation of uncertain time late. Each fill that was current then counts by itself, so that who asks first by which moment makes no difference.
func (e *engine) sweptAway(d Draw, by int64) (out []Ref) {
	rec, _ := e.src.Record(d.Entry)
	r, ok := rec.(*lots.Circulation)
	if !ok || r.Perhaps || r.Started.Certain() {
		return nil
	}
	for _, cleaned := range e.cleanedAt(d.Vessel, r.Started.From+1, r.Started.To+1) {
		fill, ok := e.fillBy(d.Vessel, min(cleaned-1, by))
		for ok && !e.cleanedSurely(d.Vessel, fill, cleaned-1) {
			out = append(out, FillRef(d.Vessel, fill, e.zone))
			if fill <= r.Started.From {
				break
			}
			fill, ok = e.fillBy(d.Vessel, fill-1)
		}
	}
	return out
}

// cleanedSurely reports whether a vessel was cleaned after a moment and by another one, be it known only on which day.
func (e *engine) cleanedSurely(v string, after, by int64) bool {
	return slices.ContainsFunc(e.src.Moments(v, "cleans", after, by), func(rec lots.Record) bool {
		c, ok := rec.(*lots.Clean)
		return ok && c.Breaks() && c.Subject.Code() == v && c.At.From > after && c.At.To <= by
	})
}

// fillBy is the last fill that a vessel had got by a moment.
func (e *engine) fillBy(v string, by int64) (fill int64, ok bool) {
	p, there := e.partAt(v, by)
	if !there {
		return 0, false
	}
	for _, a := range p.Arrivals {
		rec, _ := e.src.Record(a.Entry)
		if _, clean := rec.(*lots.Clean); !clean && a.Fill <= by && (!ok || a.Fill > fill) {
			fill, ok = a.Fill, true
		}
	}
	if last := readOpening(p.Part.State).Fill; !ok && last != nil {
		return last.Since, true
	}
	return fill, ok
}

// earlierFills lists the fills that the books place after a draw, or at the instant of a circulation, and that may
// have been there before it: everything that came in up to them may, and brought nothing that came later. What a fill came
// through at a known time or was perhaps joined with is known of the fill alone.
func (e *engine) earlierFills(d Draw, by int64) (out []int64) {
	p, ok := e.partAt(d.Vessel, d.Start) // what may have come before it moves in the same part
	if !ok {
		return nil
	}
	arrivals := slices.Clone(p.Arrivals)
	slices.SortStableFunc(arrivals, func(a, b Arrival) int { return cmp.Compare(a.Fill, b.Fill) })
	for _, a := range arrivals {
		rec, _ := e.src.Record(a.Entry)
		if _, clean := rec.(*lots.Clean); clean || !d.before(a) {
			continue
		}
		switch {
		case e.mayPrecede(a, rec, d, by):
			if !slices.Contains(out, a.Fill) {
				out = append(out, a.Fill)
			}
		case !e.circulatedAt(a, rec, d):
			return slices.DeleteFunc(out, func(fill int64) bool { return fill == a.Fill })
		}
	}
	return out
}

// before reports whether the books place an arrival after a draw, or at the instant of a circulation.
func (d Draw) before(a Arrival) bool {
	return a.Fill >= d.Start && (d.State == Never || a.Fill != d.Fill)
}

// mayPrecede reports whether an arrival is of an inflow that may have come before a draw, and by a moment; of a
// flow in pieces, whether this piece may.
func (e *engine) mayPrecede(a Arrival, rec lots.Record, d Draw, by int64) bool {
	if flowsInPieces(rec) && a.Start > by {
		return false
	}
	if !slices.Contains(d.Maybe, a.Entry) || e.earliest(a.Entry) > by {
		return false
	}
	if _, crop := rec.(*lots.Crop); crop { // it comes in as a lot
		return true
	}
	return !slices.ContainsFunc(e.drawsBehind(rec, d, by), func(x Draw) bool { return x.Vessel != d.Vessel && e.mayHoldLater(x, by) })
}

// mayHoldLater reports whether a draw may have taken something that came in after a moment.
func (e *engine) mayHoldLater(d Draw, by int64) bool {
	return slices.ContainsFunc(d.Maybe, func(m int64) bool {
		rec, _ := e.src.Record(m)
		if !flowsInPieces(rec) {
			return e.earliest(m) > by
		}
		return slices.ContainsFunc(e.arrivalsOf(m), func(a Arrival) bool {
			return a.Vessel == d.Vessel && d.before(a) && a.Start <= e.latestOf(d) && a.Start > by
		})
	})
}

// earliest is the first moment at which an inflow may have come.
func (e *engine) earliest(inflow int64) int64 {
	rec, _ := e.src.Record(inflow)
	switch r := rec.(type) {
	case *lots.Receipt:
		return r.At.From
	case *lots.Crop:
		return r.At.From
	case *lots.Brew:
		return r.CastOut.From
	case *lots.Addition:
		return r.At.From
	case *lots.Transfer:
		lo, _, _ := transferTime(r)
		return lo
	case *lots.Circulation:
		return r.Started.From
	}
	return 0
}

// circulatedAt reports whether an arrival is of the circulation itself that a draw is part of.
func (e *engine) circulatedAt(a Arrival, rec lots.Record, d Draw) bool {
	drew, _ := e.src.Record(d.Entry)
	return circulates(rec) && circulates(drew) && a.Fill == d.Start
}

// circulates reports whether a record joins vessels for certain.
func circulates(rec lots.Record) bool {
	r, ok := rec.(*lots.Circulation)
	return ok && !r.Perhaps
}

// flowsInPieces reports whether a record is a transfer of known time, which may reach its vessel in pieces.
func flowsInPieces(rec lots.Record) bool {
	t, ok := rec.(*lots.Transfer)
	if !ok {
		return false
	}
	_, _, flows := transferTime(t)
	return flows
}
