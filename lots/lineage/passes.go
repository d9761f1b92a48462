package lineage

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/lots"
)

// pathCell derives the passes of one path item, or of a line that keeps or may keep residue:
// what a piece leaves behind reaches the pass after it and what that fills.
func (e *engine) pathCell(item string) *Cell {
	c := &Cell{Owner: "p:" + item}
	passes := e.passesThrough(item)
	residue := e.residueOf(item, passes)
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
	e.tellUnprovenPasses(c, item, passes)
	for _, a := range residue {
		to := passes[a.to]
		if a.pass {
			c.Links = append(c.Links, contact(refs[a.from], refs[a.to], graph.Path, to.Entry, to.Start))
		}
		if a.filled {
			c.Links = append(c.Links, contact(refs[a.from], to.Dst, graph.Path, to.Entry, to.Start))
		}
	}
	e.passCleans(c, item, passes, refs, stands)
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

// passesThrough lists an item's passes: those derived in this pass, and the earlier ones of other entries.
func (e *engine) passesThrough(item string) []Pass {
	redone := map[int64]bool{}
	for entry := range e.entries {
		redone[entry] = true
	}
	var out []Pass
	for owner, c := range e.out.Cells {
		if owner[0] == 'e' || owner[0] == 'r' {
			for _, p := range c.Passes {
				if p.Item == item {
					out = append(out, p)
				}
			}
		}
	}
	for _, p := range e.src.PassesThrough(item) {
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

// cleansOf lists the cleans of an item that break its chain.
func (e *engine) cleansOf(item string) cleanings {
	var out cleanings
	for _, rec := range e.src.Touching(item) {
		if k, ok := rec.(*lots.Clean); ok && k.Breaks() && k.Subject.Code() == item {
			out = append(out, cleaning{k.At.From, k.At.To})
		}
	}
	slices.SortFunc(out, func(a, b cleaning) int { return cmp.Compare(a.lo, b.lo) })
	return out
}

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
