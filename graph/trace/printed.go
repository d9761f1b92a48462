package trace

import (
	"cmp"
	"maps"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Printed is a stretch of a run in which one code was printed, and which is wholly affected
// by an answer or not at all.
type Printed struct {
	Run, Product, Line, Code string
	From, Until              int64   // true time
	Offset                   int64   // seconds: what the coder shows is this much ahead
	Containers               float64 // good ones, by duration within the run's stretches
	Affected                 bool
	Hit                      float64    // of the containers, what is affected: less than all where only some were repacked
	Unchecked                bool       // nobody compared the coder's clock with true time: what time it showed is not known
	Band                     graph.Band // of what is affected
}

// Printed tells what was printed on what an answer forward reaches: the reached stretches of
// runs widened by their line's margin, and the windows of units that are reached otherwise. It
// tells too of everything else that bears the same product and code, which a reader of the
// package cannot tell apart from it.
func (a *Answer) Printed() []Printed {
	tx := a.asked.tx
	affected := a.unpacked(a.affectedSpans())
	codes := map[[2]string]bool{} // product and code
	var out []Printed
	for run, spans := range affected {
		for _, p := range printedOf(tx, run, spans) {
			if p.Affected {
				codes[[2]string{p.Product, p.Code}] = true
			}
		}
	}
	runs := map[string]bool{}
	for key := range codes {
		for _, printed := range tx.PrintedAs(key[1], true) {
			rec, ok := tx.Record(printed.Entry)
			if !ok || printed.Kind != store.PrintedDateCode {
				continue
			}
			switch x := rec.(type) {
			case *lots.Run:
				runs[x.Run] = true
			case *lots.CodeChange:
				runs[x.Run] = true
			}
		}
	}
	for _, run := range slices.Sorted(maps.Keys(runs)) {
		for _, p := range printedOf(tx, run, affected[run]) {
			if p.Code != "" && codes[[2]string{p.Product, p.Code}] {
				out = append(out, p)
			}
		}
	}
	out = append(out, nameless(tx, affected)...)
	slices.SortStableFunc(out, func(x, y Printed) int {
		return cmp.Or(cmp.Compare(x.Product, y.Product), cmp.Compare(x.From, y.From), cmp.Compare(x.Run, y.Run))
	})
	return out
}

// nameless is what is affected and bears no date code that is on record.
func nameless(tx *store.Tx, affected map[string][]bandedSpan) (out []Printed) {
	for _, code := range slices.Sorted(maps.Keys(affected)) {
		run, ok := tx.Run(code)
		if !ok || NoCode(tx, run) == "" {
			continue
		}
		for _, p := range printedOf(tx, code, affected[code]) {
			if p.Code == "" && p.Affected {
				out = append(out, p)
			}
		}
	}
	return out
}

// bandedSpan is a stretch of time and how sure it is.
type bandedSpan struct {
	span
	band graph.Band
	part float64 // of what was filled then, how much is affected
}

// affectedSpans gives for each run the stretches of true time that are affected.
func (a *Answer) affectedSpans() map[string][]bandedSpan {
	q := a.asked
	out := map[string][]bandedSpan{}
	touched := map[string]bool{} // units on reached stretches
	for n, band := range q.reach.All() {
		node := q.reached.Nodes[n.ID]
		if n.Kind == graph.Segment {
			out[node.Home] = append(out[node.Home], bandedSpan{span{node.Since, node.Until}, band, 1})
		}
	}
	for _, r := range a.loose { // nobody knows when what is on no unit was packed
		if run, _, ok := runOf(q.tx, r.Code); ok {
			band := graph.Possible
			if r.Band == graph.In.String() {
				band = graph.In
			}
			out[r.Code] = append(out[r.Code], bandedSpan{span{run.Started.From, run.Ended.End()}, band, 1})
		}
	}
	for _, u := range a.Units {
		for _, p := range u.Parts {
			if p.Affected > 0 && len(out[p.Run]) > 0 && !a.adopted[u.Code] && !u.heeled {
				touched[u.Code+"\x00"+p.Run] = true
			}
		}
	}
	for _, u := range a.Units {
		band := graph.Possible
		if u.Band == graph.In.String() {
			band = graph.In
		}
		for _, p := range u.Parts {
			if p.Affected > 0 && !touched[u.Code+"\x00"+p.Run] {
				if s, ok := packedSpan(q.tx, u.Code, p); ok {
					out[p.Run] = append(out[p.Run], bandedSpan{s, band, 1})
				}
			}
		}
	}
	return out
}

// packedSpan is when a row of a unit was packed; the whole run where nobody wrote it down.
func packedSpan(tx *store.Tx, unit string, part Part) (span, bool) {
	run, _, ok := runOf(tx, part.Run)
	if !ok {
		return span{}, false
	}
	whole := span{run.Started.From, run.Ended.End()}
	for _, rec := range tx.Touching(unit) {
		if p, ok := rec.(*lots.Packed); ok && p.Seq == part.Entry {
			if w, _ := lineage.WindowOf(p, run, 0); !w.None {
				return span{w.From, w.Until}, true
			}
		}
	}
	return whole, true
}

// printedOf cuts a run at its codes' changes and at the affected stretches widened by the line's margin.
func printedOf(tx *store.Tx, code string, affected []bandedSpan) []Printed {
	run, _, ok := runOf(tx, code)
	if !ok {
		return nil
	}
	margin := lineOf(tx, run.Line).Margin
	start, end := run.Started.From, run.Ended.End()
	wide := make([]bandedSpan, len(affected))
	cuts := []int64{start, end}
	clip := func(t int64) int64 { return min(max(t, start), end) }
	for i, s := range affected {
		wide[i] = bandedSpan{span{clip(s.from - margin), clip(s.until + margin)}, s.band, s.part}
		cuts = append(cuts, wide[i].from, wide[i].until)
	}
	coded := codesOf(tx, run)
	for _, c := range coded {
		cuts = append(cuts, clip(c.from), clip(c.until))
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out []Printed
	for i := 0; i+1 < len(cuts); i++ {
		p := Printed{Run: code, Product: run.Product, Line: run.Line, From: cuts[i], Until: cuts[i+1], Offset: run.ClockOffset, Unchecked: !run.ClockChecked}
		part := 0.0
		for _, c := range coded {
			if c.meets(p.From, p.Until) {
				p.Code = c.code
			}
		}
		for _, s := range wide {
			if s.meets(p.From, p.Until) {
				p.Affected, p.Band, part = true, max(p.Band, s.band), max(part, s.part)
			}
		}
		p.Containers = containersIn(tx, run, p.From, p.Until)
		p.Hit = p.Containers * part
		if n := len(out); n > 0 && out[n-1].Code == p.Code && out[n-1].Affected == p.Affected && out[n-1].Band == p.Band {
			out[n-1].Until = p.Until
			out[n-1].Containers += p.Containers
			out[n-1].Hit += p.Hit
			continue
		}
		out = append(out, p)
	}
	return out
}

// containersIn is how many good containers a run filled in a time, spread over the stretches in which it ran.
func containersIn(tx *store.Tx, run *lots.Run, from, until int64) float64 {
	var ran, within int64
	for _, n := range tx.NodesOf(run.Run) {
		if n.Kind == graph.Segment {
			ran += n.Until - n.Since
			within += max(0, min(n.Until, until)-max(n.Since, from))
		}
	}
	if ran == 0 {
		ran, within = max(1, run.Ended.End()-run.Started.From), until-from
	}
	return float64(run.Good) * float64(within) / float64(ran)
}
