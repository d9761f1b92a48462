package trace

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// runOf finds a run and its product.
func runOf(tx *store.Tx, code string) (*lots.Run, *lots.Product, bool) {
	run, ok := tx.Run(code)
	if !ok {
		return nil, nil, false
	}
	return run, productOf(tx, run.Product), true
}

func productOf(tx *store.Tx, code string) *lots.Product {
	if p, ok := tx.Product(code); ok {
		return p
	}
	return &lots.Product{Code: code, PerCase: 1, ContainerML: 1}
}

// lineOf finds a line's settings; the zero Line where a run names none.
func lineOf(tx *store.Tx, code string) *lots.Line {
	if l, ok := tx.Line(code); ok {
		return l
	}
	return &lots.Line{}
}

// coded is a stretch of a run and what the coder printed in it.
type coded struct {
	span
	code string
}

// codesOf tells what was printed over a run, in order of time.
func codesOf(tx *store.Tx, run *lots.Run) []coded {
	end := run.Ended.End()
	cuts := []int64{run.Started.From, end}
	var changes []coded
	for _, rec := range tx.Touching(run.Run) {
		c, ok := rec.(*lots.CodeChange)
		if !ok || c.Run != run.Run {
			continue
		}
		s := span{max(c.Since.From, run.Started.From), end}
		if c.HasUntil {
			s.until = min(end, c.Until.End())
		}
		changes = append(changes, coded{s, c.DateCode})
		cuts = append(cuts, s.from, s.until)
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out []coded
	for i := 0; i+1 < len(cuts); i++ {
		piece := coded{span{cuts[i], cuts[i+1]}, run.DateCode}
		for _, c := range changes { // the last one entered wins where they overlap
			if c.meets(piece.from, piece.until) {
				piece.code = c.code
			}
		}
		if n := len(out); n > 0 && out[n-1].code == piece.code {
			out[n-1].until = piece.until
			continue
		}
		out = append(out, piece)
	}
	if len(out) == 0 {
		out = []coded{{span{run.Started.From, end}, run.DateCode}}
	}
	return out
}

// parts are the segments and any-of stretches of a run.
func (r *resolver) parts(run string) (segments, stretches []store.Node) {
	for _, n := range r.tx.NodesOf(run) {
		switch n.Kind {
		case graph.Segment:
			segments = append(segments, n)
		case graph.Stretch:
			stretches = append(stretches, n)
		}
	}
	return segments, stretches
}

func (r *resolver) addRun(t *target, code string) {
	segments, _ := r.parts(code)
	t.add("run", code, false, segments...)
	r.addStretches(t, code)
}

// addStretches starts at the any-of stretches all of whose segments are starts.
func (r *resolver) addStretches(t *target, run string) {
	_, stretches := r.parts(run)
	for _, n := range stretches {
		all, possible := true, false
		for _, src := range r.tx.SourcesOf(n.ID, graph.Contact) {
			i := slices.IndexFunc(t.starts, func(s start) bool { return s.ID == src })
			if i < 0 {
				all = all && !r.isSegment(run, src)
				continue
			}
			possible = possible || t.starts[i].possible
		}
		if all {
			t.addStart(start{Node: n, possible: possible})
		}
	}
}

func (r *resolver) isSegment(run string, id int64) bool {
	segments, _ := r.parts(run)
	return slices.ContainsFunc(segments, func(n store.Node) bool { return n.ID == id })
}

// dateCode starts at the stretches of all runs in which a code was printed.
func (r *resolver) dateCode(t *target, m reading) error {
	var fault error
	done := map[string]bool{}
	for _, p := range r.tx.PrintedAs(m.code, true) {
		if p.Kind != kindDateCode {
			continue
		}
		rec, _ := r.tx.Record(p.Entry)
		code := ""
		switch x := rec.(type) {
		case *lots.Run:
			code = x.Run
		case *lots.CodeChange:
			code = x.Run
		}
		if code == "" || done[code] {
			continue
		}
		done[code] = true
		one := &target{}
		if err := r.run(one, code, m.code, m); err != nil {
			fault = cmp.Or(fault, err)
			continue
		}
		t.merge(one)
	}
	switch {
	case len(t.from) > 0 && m.at == nil:
		return nil
	case len(t.from) > 0:
		return r.withinMargin(t, m)
	}
	if m.at != nil && lots.KindOf(fault) == lots.NotFound {
		text, err := r.notThen(m)
		if err != nil {
			return err
		}
		return lots.Errorf(lots.NotFound, "%s", text)
	}
	return fault
}

// run starts at a run, or at what of it carries a printed code or ran at a time as printed.
func (r *resolver) run(t *target, code, printed string, m reading) error {
	run, _, ok := runOf(r.tx, code)
	if !ok {
		return lots.Errorf(lots.NotFound, "there is no run %s", code)
	}
	segments, _ := r.parts(code)
	carries := codesOf(r.tx, run)
	if printed != "" {
		segments = slices.DeleteFunc(segments, func(n store.Node) bool {
			return !slices.ContainsFunc(carries, func(c coded) bool { return c.code == printed && c.meets(n.Since, n.Until) })
		})
	}
	if m.at == nil {
		if len(segments) == 0 {
			return lots.Errorf(lots.NotFound, "%s was printed nowhere in run %s", printed, code)
		}
		t.add("run", code, false, segments...)
		r.addStretches(t, code)
		return nil
	}
	line := lineOf(r.tx, run.Line)
	spans := m.at.printed(run.Started.From, run.Ended.End(), run.ClockOffset, line.Margin)
	near := slices.DeleteFunc(spans, func(s span) bool {
		return !s.meets(run.Started.From-line.Margin, run.Ended.End()+line.Margin)
	})
	if len(near) == 0 {
		return lots.Errorf(lots.NotFound, "run %s printed from %s to %s by its coder's clock: nothing at %s", code,
			r.clock(run.Started.From+run.ClockOffset), r.clock(run.Ended.End()+run.ClockOffset), m.at.text)
	}
	for _, s := range near {
		if r.dir == graph.Back {
			r.segmentsAt(t, run.Run, segments, s, line.Margin)
			continue
		}
		for _, w := range printedIn(carries, printed, s, line.Margin) {
			r.packedAt(t, run, segments, w, line.Margin)
		}
	}
	r.addStretches(t, code)
	t.at(code, r.trueTime(near[0], run.ClockOffset))
	switch {
	case len(t.from) > 0:
		return nil
	case printed != "":
		return lots.Errorf(lots.NotFound, "%s was not printed at %s in run %s", printed, m.at.text, code)
	}
	return lots.Errorf(lots.NotFound, "the line stood at %s in run %s", m.at.text, code)
}

// trueTime tells which time is meant where the coder's clock was out; empty where it was right.
func (r *resolver) trueTime(s span, offset int64) string {
	if offset == 0 {
		return ""
	}
	text := r.clock(s.from)
	if s.until-s.from > 60 {
		text += " to " + r.clock(s.until)
	}
	return text
}

func (r *resolver) clock(unix int64) string {
	return time.Unix(unix, 0).In(r.site.Zone).Format("2006-01-02 15:04")
}

// while is a stretch of true time that is meant, surely or perhaps.
type while struct {
	span
	possible bool
}

// printedIn cuts a stretch of time to where a code was printed; where it was printed only
// within the margin of that time, the time may be meant. Without a code all of it is meant.
func printedIn(carries []coded, code string, s span, margin int64) []while {
	if code == "" {
		return []while{{s, false}}
	}
	var sure, near []while
	for _, c := range carries {
		switch {
		case c.code != code:
		case s.meets(c.from, c.until):
			sure = append(sure, while{span{max(s.from, c.from), min(s.until, c.until)}, false})
		case s.meets(c.from-margin, c.until+margin):
			near = append(near, while{s, true})
		}
	}
	if len(sure) > 0 {
		return sure
	}
	return near
}

// segmentsAt starts, backwards, at what of a run ran at a time, with the neighbours within the margin as possible ones.
func (r *resolver) segmentsAt(t *target, run string, segments []store.Node, s span, margin int64) {
	wide := span{s.from - margin, s.until + margin}
	for _, n := range segments {
		switch {
		case s.meets(n.Since, n.Until):
			t.add("run", run, false, n)
		case wide.meets(n.Since, n.Until):
			t.add("run", run, true, n)
		}
	}
}

// packedAt starts, forwards, at the units of a run packed at a time.
func (r *resolver) packedAt(t *target, run *lots.Run, segments []store.Node, s while, margin int64) {
	ran := slices.ContainsFunc(segments, func(n store.Node) bool { return s.meets(n.Since, n.Until) })
	t.mention("run", run.Run, s.possible || !ran)
	t.meanRun(run.Run, sureness(s.possible))
	r.unitsAt(t, run, s, margin)
}

func sureness(possible bool) graph.Band {
	if possible {
		return graph.Possible
	}
	return graph.In
}

// unitsAt starts at a run's units whose packing window holds a time (in) or may hold it (possible).
func (r *resolver) unitsAt(t *target, run *lots.Run, s while, margin int64) {
	for _, rec := range r.tx.Touching(run.Run) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Run != run.Run {
			continue
		}
		w, _ := lineage.WindowOf(p, run, margin)
		band := graph.Out
		switch {
		case w.None && s.from <= run.Started.From && run.Ended.End() <= s.until:
			band = graph.In
		case w.None:
			band = graph.Possible
		case w.SureFrom <= w.SureUntil && s.meets(w.SureFrom, w.SureUntil):
			band = graph.In
		case s.meets(w.MayFrom, w.MayUntil):
			band = graph.Possible
		}
		if band == graph.Out {
			continue
		}
		for _, n := range r.tx.NodesNamed(p.Unit) {
			if n.Kind == graph.Unit {
				t.addStart(start{Node: n, possible: s.possible || band == graph.Possible, of: run.Run})
			}
		}
	}
}

// line starts at all that ran on a line in an interval, whatever the beer: stretches
// of runs, passes that left residue, and kegs washed on it.
func (r *resolver) line(t *target, m reading) error {
	if m.at == nil {
		return lots.Errorf(lots.Invalid, "a line needs an interval, such as %s@2026-03-04T10:05..10:25", m.code)
	}
	spans, err := r.lineSpans(m)
	if err != nil {
		return err
	}
	for _, s := range spans {
		r.lineAt(t, m.code, s)
		t.notes = append(t.notes, namingNoLine(r.tx, m.code, s)...)
	}
	if len(t.from) == 0 {
		if len(t.notes) > 0 {
			return lots.Errorf(lots.NotFound, "nothing is recorded on %s at %s, but %s", m.code, m.at.text, t.notes[0].Text)
		}
		return lots.Errorf(lots.NotFound, "nothing ran on %s at %s", m.code, m.at.text)
	}
	return nil
}

// lineSpans gives the interval asked for. A time of day without a date means the
// only day on which something ran then; with several it must be said which.
func (r *resolver) lineSpans(m reading) ([]span, error) {
	if s, ok := m.at.span(); ok {
		return []span{s}, nil
	}
	var spans []span
	var days []string
	for _, rec := range r.tx.Touching(m.code) {
		from, until := int64(0), int64(0)
		switch x := rec.(type) {
		case *lots.Run:
			if x.Line == m.code {
				from, until = x.Started.From, x.Ended.End()
			}
		case *lots.Packed:
			if x.Washer == m.code && x.Washed {
				from, until = x.WashedAt.From, x.WashedAt.End()+1
			}
		}
		if until == 0 {
			continue
		}
		for _, s := range m.at.printed(from, until, 0, 0) {
			if !slices.Contains(spans, s) && s.meets(from, until) {
				spans = append(spans, s)
				days = append(days, m.code+"@"+lots.Stamp(s.from, r.site.Zone)+".."+lots.Stamp(s.until, r.site.Zone))
			}
		}
	}
	if len(spans) > 1 {
		slices.Sort(days)
		return nil, lots.Errorf(lots.Conflict, "%s@%s could be %d days: give the date, as in %s", m.code, m.at.text, len(days), strings.Join(days[:min(3, len(days))], " or "))
	}
	return spans, nil
}

func (r *resolver) lineAt(t *target, line string, s span) {
	margin := lineOf(r.tx, line).Margin
	for _, rec := range r.tx.Touching(line) {
		switch x := rec.(type) {
		case *lots.Run:
			if x.Line == line && s.meets(x.Started.From, x.Ended.End()) {
				segments, _ := r.parts(x.Run)
				r.runOn(t, x, segments, s, margin)
			}
		case *lots.Packed:
			if x.Washer == line {
				r.washed(t, x, s)
			}
		}
	}
	for _, n := range r.tx.NodesOf(line) {
		if n.Kind == graph.Fill && s.meets(n.Since, n.Until) {
			t.add(kindFill, n.Code, false, n)
		}
	}
	if l := lineOf(r.tx, line); r.dir == graph.Forward && !l.Residue && len(t.runs) > 0 {
		counted := "is not counted"
		if !l.HasResidue {
			counted = "counts only where an allergen would go undeclared"
		}
		t.notes = append(t.notes, Finding{"line-keeps-nothing", line, fmt.Sprintf(
			"%s is not recorded as a line that keeps residue: what ran on it after %s %s. If something may have stayed in it, set residue to yes (heeltap amend %s residue=yes)",
			line, r.clock(s.until), counted, line)})
	}
}

// runOn starts at what of a run was on its line at a time.
func (r *resolver) runOn(t *target, run *lots.Run, segments []store.Node, s span, margin int64) {
	segments = slices.DeleteFunc(segments, func(n store.Node) bool { return !s.meets(n.Since, n.Until) })
	if len(segments) == 0 {
		return
	}
	if r.dir == graph.Forward {
		t.mention("run", run.Run, false)
		t.meanRun(run.Run, graph.In)
		r.unitsAt(t, run, while{s, false}, margin)
		r.unitsAfter(t, run, s.until, margin)
		return
	}
	t.add("run", run.Run, false, segments...)
	r.addStretches(t, run.Run)
}

// unitsAfter starts, as possible, at what a run packed after a moment on a line that keeps residue, until
// the line was cleaned: what burst or stuck there then may be in what passed next.
func (r *resolver) unitsAfter(t *target, run *lots.Run, from, margin int64) {
	if !lineOf(r.tx, run.Line).Residue {
		return
	}
	until := run.Ended.End()
	for _, rec := range r.tx.Touching(run.Line) {
		if c, ok := rec.(*lots.Clean); ok && c.Breaks() && c.Subject.Code() == run.Line && c.At.From >= from {
			until = min(until, c.At.To)
		}
	}
	if from < until {
		r.unitsAt(t, run, while{span{max(from, run.Started.From), until}, true}, margin)
	}
}

// washed starts at a keg filling whose keg was, or may have been, washed at a time.
func (r *resolver) washed(t *target, p *lots.Packed, s span) {
	possible := true // a wash of unknown time was before the filling, however long
	if run, _, ok := runOf(r.tx, p.Run); !p.Washed && ok && run.Ended.End() <= s.from {
		return
	}
	if p.Washed {
		at := span{p.WashedAt.From, p.WashedAt.To + 1}
		if !s.meets(at.from, at.until) {
			return
		}
		possible = at.from < s.from || at.until > s.until
	}
	r.addNode(t, "unit", p.Unit, possible)
}
