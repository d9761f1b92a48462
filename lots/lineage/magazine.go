package lineage

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// LineMemory is how much running time of a line, in seconds, what a run left in its magazines,
// hoppers and rolls may stay there at most, whatever ran since.
const LineMemory = 24 * 60 * 60

// leftover is a lot of a packaging part that may still lie in the line's magazine when a run starts.
type leftover struct {
	lot   string
	run   string // that used it
	entry int64  // of the feed that put it there
	until int64  // possible from the run's start until here
}

// leftovers lists the parts of earlier runs on a run's line that may be in its first packages.
func (e *engine) leftovers(run *lots.Run, feeds []*feeding) []leftover {
	if run.Line == "" {
		return nil
	}
	near := e.src.LineBefore(run.Line, run.Started.From, run.Ended.End())
	var out []leftover
	for _, rec := range near {
		before, ok := rec.(*lots.Run)
		if !ok || before.Run == run.Run || before.Started.From > min(run.Started.To, run.Ended.End()) {
			continue
		}
		if between := wholly(near, before, run); total(between, Running) < LineMemory {
			out = append(out, e.leftBy(before, run, near, between, feeds)...)
		}
	}
	slices.SortFunc(out, func(a, b leftover) int { return cmp.Or(cmp.Compare(a.lot, b.lot), cmp.Compare(a.entry, b.entry)) })
	return out
}

// leftBy lists what one earlier run may have left: what was in use at its end lasts for its overlap,
// in the time that the line ran on the same item since, unless the line was cleared in between.
// A run that did not take the item, a standstill, an overlap of runs and an uncertain time never shorten it.
func (e *engine) leftBy(before, run *lots.Run, near []lots.Record, between []*lots.Run, feeds []*feeding) (out []leftover) {
	fed := e.feedings(&Cell{}, before)
	for _, f := range fed {
		if !e.feedsPart(f) {
			continue
		}
		left := f.overlap
		if before.Started.Certain() && before.Ended.Certain() {
			left -= ran(fed, f.until, before.Ended.End())
		}
		item := e.itemOf(f.From.Codes[0])
		left -= total(between, func(x *lots.Run) int64 { return e.ranOn(x, item) })
		overlapping := before.Ended.End() > run.Started.From
		if left <= 0 && !overlapping {
			continue
		}
		until := min(max(run.Started.To, before.Ended.End())+left, run.Ended.End())
		until = clearedBy(near, f.until, until)
		for _, lot := range e.withTipped(f.From, f.until-1) {
			if until > run.Started.From && !fedFromStart(feeds, lot, run.Started.From, until) {
				out = append(out, leftover{lot, before.Run, f.Seq, until})
			}
		}
	}
	return out
}

// wholly lists the runs of known time that lie between two; of runs that overlap in time only the one
// that began first, so that no time counts twice.
func wholly(near []lots.Record, before, run *lots.Run) (out []*lots.Run) {
	for _, rec := range near {
		x, ok := rec.(*lots.Run)
		if ok && x.Run != before.Run && x.Run != run.Run && x.Started.From >= before.Ended.End() && x.Ended.End() <= run.Started.From && Running(x) > 0 {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b *lots.Run) int {
		return cmp.Or(cmp.Compare(a.Started.From, b.Started.From), cmp.Compare(a.Seq, b.Seq))
	})
	end := before.Ended.End()
	return slices.DeleteFunc(out, func(x *lots.Run) bool {
		if x.Started.From < end {
			return true
		}
		end = x.Ended.End()
		return false
	})
}

// total sums seconds over runs.
func total(runs []*lots.Run, of func(*lots.Run) int64) (seconds int64) {
	for _, x := range runs {
		seconds += of(x)
	}
	return seconds
}

// ranOn is how long a run surely took an item from its magazine: not at all where it was not fed any.
func (e *engine) ranOn(run *lots.Run, item string) int64 {
	fed := e.feedings(&Cell{}, run)
	if !slices.ContainsFunc(fed, func(f *feeding) bool { return e.feedsPart(f) && e.itemOf(f.From.Codes[0]) == item }) {
		return 0
	}
	return ran(fed, run.Started.From, run.Ended.End())
}

// ran is how long a line ran within a stretch of a run: only while a tank fed it, where one did at all.
func ran(fed []*feeding, from, until int64) (seconds int64) {
	if until <= from {
		return 0
	}
	tanks := slices.DeleteFunc(slices.Clone(fed), func(f *feeding) bool { return !f.tank })
	if len(tanks) == 0 {
		return until - from
	}
	slices.SortFunc(tanks, func(a, b *feeding) int { return cmp.Compare(a.since, b.since) })
	for _, f := range tanks {
		if since, end := max(f.since, from), min(f.until, until); end > since {
			seconds += end - since
			from = end
		}
	}
	return seconds
}

// clearedBy cuts what may last until a moment at the first clearance that surely came after the feed.
func clearedBy(near []lots.Record, fedUntil, until int64) int64 {
	for _, rec := range near {
		if c, ok := rec.(*lots.Clearance); ok && c.At.From >= fedUntil {
			until = min(until, c.At.To)
		}
	}
	return until
}

// fedFromStart reports whether a run's own records say that it had the lot all that time.
func fedFromStart(feeds []*feeding, lot string, since, until int64) bool {
	return slices.ContainsFunc(feeds, func(f *feeding) bool {
		return f.From.Kind == lots.KindLot && !f.From.OneOf() && f.From.Code() == lot && f.since <= since && f.until >= until
	})
}

// feedsPart reports whether a feed is of packaging parts.
func (e *engine) feedsPart(f *feeding) bool {
	t, _ := e.src.Thing(f.From.Codes[0])
	return f.From.Kind == lots.KindLot && len(f.vessels) == 0 && lots.PackagingPart(t.ItemKind)
}

// itemOf is the item of a received lot.
func (e *engine) itemOf(lot string) string {
	for _, rec := range e.src.Touching(lot) {
		if r, ok := rec.(*lots.Receipt); ok && r.Lot == lot {
			return r.Item
		}
	}
	return ""
}

// LineSpan is where a run or clearance lies on its line, in Unix seconds.
type LineSpan struct {
	Line          string
	Start, Finish int64
	Running       int64 // seconds that it lasted, where its times are known
}

// SpanOnLine tells where a record lies on its line; false for what is no run on a line and no clearance.
func SpanOnLine(rec lots.Record) (LineSpan, bool) {
	switch r := rec.(type) {
	case *lots.Run:
		return LineSpan{r.Line, r.Started.From, r.Ended.End(), Running(r)}, r.Line != ""
	case *lots.Clearance:
		return LineSpan{r.Line, r.At.From, r.At.To, 0}, true
	}
	return LineSpan{}, false
}

// Running is how many seconds a run lasted as recorded: none where a time is uncertain.
func Running(run *lots.Run) int64 {
	if !run.Started.Certain() || !run.Ended.Certain() {
		return 0
	}
	return run.Ended.End() - run.Started.From
}

// tellLeft is the finding that the line was not recorded as cleared before a run.
func (e *engine) tellLeft(c *Cell, run *lots.Run, left []leftover) {
	for i, l := range left {
		if i > 0 && left[i-1].lot == l.lot && left[i-1].run == l.run {
			continue
		}
		c.Findings = append(c.Findings, Finding{"part-changed-between-runs", run.Run, fmt.Sprintf(
			"the first packages of run %s, until %s, may have %s in them, which run %s left in %s: if the line was cleared between the two, record heeltap clear %s --at TIME",
			run.Run, lots.Stamp(l.until, e.zone), l.lot, l.run, run.Line, run.Line), run.Seq})
	}
}

// supplyLeft adds what earlier runs may have left in the magazine to the segments it may be in.
func (s *segment) supplyLeft(left []leftover) {
	for _, l := range left {
		if s.until <= l.until {
			s.in = append(s.in, supply{src: Ref{graph.Lot, l.lot}, grade: graph.Contact, cause: graph.Overlap, qty: unknown, entry: l.entry})
		}
	}
}

// followLine marks the runs whose first packages may have parts of what ran on a line in a span.
func (e *engine) followLine(line string, since, until int64) {
	if line == "" {
		return
	}
	for _, rec := range e.src.LineAfter(line, since, until) {
		if r, ok := rec.(*lots.Run); ok {
			e.runs[r.Run] = true
		}
	}
}
