package lineage

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/lots"
)

// pathCells derives anew the parts of a path item's or line's passes that a span touches.
func (e *engine) pathCells(item string, s stretch) {
	w := &window{known: true, from: Beginning, to: Ever}
	if !e.whole {
		w.known = false
		e.reach(item, w, s.start, s.end)
	}
	cells, ok := e.pathParts(item, w)
	for !ok {
		e.widen(item, w)
		cells, ok = e.pathParts(item, w)
	}
	for _, p := range w.stored {
		owner := partOwner("p", item, p.Since)
		e.out.Cells[owner] = &Cell{Owner: owner}
	}
	for _, c := range cells {
		e.out.Cells[c.Owner] = c
	}
}

// pathCleans are an item's cleans in a window, as they bear on its passes.
type pathCleans struct {
	breaks cleanings
	cuts   map[int64]int64 // moments that a part can begin at, and the entries of those cleans
	with   []*lots.Clean   // those that say what they were done with
}

// cleansOf reads an item's cleans in a window. A part of its passes can begin at each certain one that lies within no
// pass: no pass before it leaves anything to one after it.
func (e *engine) cleansOf(item string, w *window, passes []Pass) *pathCleans {
	out := &pathCleans{cuts: map[int64]int64{}}
	for _, rec := range e.src.Moments(item, "cleans", w.from, w.to) {
		k, ok := rec.(*lots.Clean)
		if !ok || k.Subject.Code() != item {
			continue
		}
		if k.Breaks() {
			out.breaks = append(out.breaks, cleaning{k.At.From, k.At.To})
			if k.At.Certain() && k.At.From > w.from && out.cuts[k.At.From] == 0 {
				out.cuts[k.At.From] = k.Seq
			}
		}
		if len(k.From.Codes) > 0 && k.At.From >= w.from {
			out.with = append(out.with, k)
		}
	}
	slices.SortFunc(out.breaks, func(a, b cleaning) int { return cmp.Compare(a.lo, b.lo) })
	lasts, at := int64(Beginning), 0
	for _, t := range slices.Sorted(maps.Keys(out.cuts)) {
		for ; at < len(passes) && passes[at].Start < t; at++ {
			lasts = max(lasts, passes[at].over())
		}
		if lasts > t {
			delete(out.cuts, t)
		}
	}
	return out
}

// pathParts derives the passes of a window part by part. It is false where the part after the window follows from what changed.
func (e *engine) pathParts(item string, w *window) (cells []*Cell, ok bool) {
	passes := e.passesIn(item, w.from, w.to)
	cleans := e.cleansOf(item, w, passes)
	bounds := slices.DeleteFunc(slices.Sorted(maps.Keys(cleans.cuts)), func(t int64) bool { return t >= w.to })
	bounds = append(bounds, w.to)
	open := readOpening(w.state).Washes
	since, opens, rest := w.from, w.opens, passes
	for _, until := range bounds {
		n, _ := slices.BinarySearchFunc(rest, until, func(p Pass, t int64) int { return cmp.Compare(p.Start, t) })
		own := rest[:n:n]
		rest = rest[n:]
		bears := e.cleansAmong(open)
		for _, k := range cleans.with {
			if k.At.From >= since && k.At.From < until {
				bears = append(bears, k)
			}
		}
		c := e.pathCell(item, since, own, cleans.breaks, bears)
		if c.Part = (&Part{Vessel: item, Since: since, Opens: opens, State: opening{Washes: open}.text()}); since == Beginning && until == Ever && len(own)+len(cleans.breaks)+len(cleans.with) == 0 {
			c.Part = nil // nothing ever passed
		}
		cells = append(cells, c)
		open = openAfter(own, bears)
		since, opens = until, cleans.cuts[until]
	}
	if w.after == nil {
		return cells, true
	}
	follows := func(k opened) bool { return e.entries[k.Entry] || e.changed[k.Entry] }
	return cells, opens == w.after.Opens && opening{Washes: open}.text() == w.after.State && !slices.ContainsFunc(open, follows)
}

// cleansAmong reads cleans that come before a part.
func (e *engine) cleansAmong(open []opened) (out []*lots.Clean) {
	for _, k := range open {
		rec, _ := e.src.Record(k.Entry)
		if c, ok := rec.(*lots.Clean); ok {
			out = append(out, c)
		}
	}
	return out
}

// openAfter lists the cleans after which nothing has passed yet.
func openAfter(passes []Pass, cleans []*lots.Clean) (out []opened) {
	for _, k := range cleans {
		if !slices.ContainsFunc(passes, func(p Pass) bool { return p.Start >= k.At.To }) {
			out = append(out, opened{k.Seq, k.At.From, k.At.To, k.Breaks()})
		}
	}
	slices.SortFunc(out, func(a, b opened) int { return cmp.Compare(a.Entry, b.Entry) })
	return out
}

// over is when a pass is over: a moment takes a second.
func (p Pass) over() int64 { return max(p.End, p.Start+1) }

// pathCell derives the passes of one part of a path item, or of a line that keeps or may keep residue:
// what a piece leaves behind reaches the pass after it and what that fills.
func (e *engine) pathCell(item string, since int64, passes []Pass, cleans cleanings, with []*lots.Clean) *Cell {
	c := &Cell{Owner: partOwner("p", item, since)}
	residue := e.residueOf(item, passes, cleans)
	stands := e.standingPasses(item, passes, residue)
	refs := e.passRefs(item, passes)
	for i, p := range passes {
		if !stands[i] {
			continue
		}
		c.Nodes = append(c.Nodes, Node{Ref: refs[i], Home: item, Since: p.Start, Until: p.End, Den: 1, Entry: p.Entry})
		for _, src := range p.Srcs {
			if src != refs[i] {
				c.Links = append(c.Links, contact(src, refs[i], graph.Path, p.Entry, p.Start))
			}
		}
	}
	if since == Beginning {
		e.tellUnprovenPasses(c, item, passes, cleans)
	}
	for _, a := range residue {
		to := passes[a.to]
		if a.pass {
			c.Links = append(c.Links, contact(refs[a.from], refs[a.to], graph.Path, to.Entry, to.Start))
		}
		if a.filled {
			c.Links = append(c.Links, contact(refs[a.from], to.Dst, graph.Path, to.Entry, to.Start))
		}
	}
	e.passCleans(c, item, passes, refs, stands, with)
	return c
}

// standingPasses tells which passes are nodes: those of a transfer, all on an item that keeps residue, and on a line of
// which nobody said so those that leave or take up something that counts.
func (e *engine) standingPasses(item string, passes []Pass, residue []after) []bool {
	out := make([]bool, len(passes))
	rec, _ := e.src.Stated(item)
	line, isLine := rec.(*lots.Line)
	for i, p := range passes {
		out[i] = !isLine || line.HasResidue || e.productOf(p) == nil
	}
	for _, a := range residue {
		out[a.from] = true
		out[a.to] = out[a.to] || a.pass
	}
	return out
}

// passRefs names the passes of an item, sorted by start.
func (e *engine) passRefs(item string, passes []Pass) []Ref {
	refs := make([]Ref, len(passes))
	plain := make([]Ref, len(passes)) // without a number
	for i, p := range passes {
		plain[i] = e.passRef(item, p)
		n := 1
		for k := i - 1; k >= 0 && passes[k].Start == p.Start; k-- {
			if plain[k] == plain[i] {
				n++
			}
		}
		refs[i] = plain[i]
		if n > 1 {
			refs[i].Code += fmt.Sprintf("#%d", n)
		}
	}
	return refs
}

// passRef names a pass by its item and start, and that of a transfer of uncertain time by the transfer too, since what
// may have been drawn after it is linked from it wherever else something passed.
func (e *engine) passRef(item string, p Pass) Ref {
	rec, _ := e.src.Record(p.Entry)
	if t, ok := rec.(*lots.Transfer); ok {
		if _, _, flows := transferTime(t); !flows {
			return openPassRef(item, t, e.zone)
		}
	}
	return FillRef(item, p.Start, e.zone)
}

// openPassRef names the pass of a transfer of uncertain time through an item.
func openPassRef(item string, t *lots.Transfer, zone *time.Location) Ref {
	lo, _, _ := transferTime(t)
	ref := FillRef(item, lo, zone)
	ref.Code += "/" + t.Transfer
	return ref
}

// passesIn lists an item's passes that start within a span: those derived in this pass, and the earlier ones of other entries.
func (e *engine) passesIn(item string, from, until int64) []Pass {
	redone := map[int64]bool{}
	for entry := range e.entries {
		redone[entry] = true
	}
	var out []Pass
	for owner, c := range e.out.Cells {
		if owner[0] == 'e' || owner[0] == 'r' {
			for _, p := range c.Passes {
				if p.Item == item && p.Start >= from && p.Start < until {
					out = append(out, p)
				}
			}
		}
	}
	for _, p := range e.src.Passes(item, from, until) {
		if !redone[p.Entry] && !e.runRedone(p) {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b Pass) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.Entry, b.Entry), cmp.Compare(a.Dst.Code, b.Dst.Code))
	})
	return out
}

// runRedone reports whether a pass belongs to a run that is derived anew, or stands no more.
func (e *engine) runRedone(p Pass) bool {
	rec, ok := e.src.Record(p.Entry)
	if !ok {
		return true
	}
	r, ok := rec.(*lots.Run)
	return ok && e.runs[r.Run]
}

// stretch is when something was: a pass, or the filling of a keg.
type stretch struct{ start, end int64 }

func (p Pass) stretch() stretch { return stretch{p.Start, p.End} }

func stretchesOf(passes []Pass) []stretch {
	out := make([]stretch, len(passes))
	for i, p := range passes {
		out[i] = p.stretch()
	}
	return out
}

// surelyBefore reports whether p ended before q began; what starts together counts both ways.
func (p stretch) surelyBefore(q stretch) bool { return p.end <= q.start && p.start != q.start }

// predecessors lists for each stretch (sorted by start) those just before it,
// with no third lying wholly between, and the earlier ones whose order with it is uncertain.
func predecessors(all []stretch) [][]int {
	out := make([][]int, len(all))
	maxEnd := make([]int64, len(all)) // of all up to this one
	for i, p := range all {
		maxEnd[i] = p.end
		if i > 0 {
			maxEnd[i] = max(p.end, maxEnd[i-1])
		}
	}
	for q := range all {
		latest := all[q].start // start of the latest that surely ended before q
		known := false
		for p := q - 1; p >= 0 && (!known || maxEnd[p] >= latest); p-- {
			if all[p].surelyBefore(all[q]) && !known {
				latest, known = all[p].start, true
			}
			between := known && all[p].surelyBefore(all[q]) && all[p].end <= latest && all[p].start != latest
			if !between {
				out[q] = append(out[q], p)
			}
		}
	}
	return out
}

type cleaning struct{ lo, hi int64 }

type cleanings []cleaning

// between reports whether a clean certainly lies between two passes.
func (cs cleanings) between(p, q Pass) bool {
	i, _ := slices.BinarySearchFunc(cs, p.End, func(c cleaning, t int64) int { return cmp.Compare(c.lo, t) })
	for ; i < len(cs) && cs[i].lo <= q.Start; i++ {
		if cs[i].hi <= q.Start {
			return true
		}
	}
	return false
}
