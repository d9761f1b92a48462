package lineage

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// LineMemory is how much running time, in seconds, a line's magazines, hoppers and rolls can hold
// parts for: an overlap above it counts as this much from one run to the next.
const LineMemory = 24 * 60 * 60

// leftover is a lot of a packaging part that may still lie in the line's magazine when a run starts.
type leftover struct {
	lot   string
	run   string // that used it
	entry int64  // of the feed that put it there
	until int64  // possible from the run's start until here
}

// leftovers lists the parts of earlier runs on a run's line that may be in its first packages: what
// was in use at the end of a run lasts for its overlap in running time, unless the line was cleared
// in between. An overlap of runs or an uncertain time never shortens it.
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
		between := runningBetween(near, before, run)
		for _, f := range e.partsFed(before) {
			left := min(f.overlap, LineMemory) - between
			if before.Started.Certain() && before.Ended.Certain() {
				left -= before.Ended.End() - f.until
			}
			until := clearedBy(near, f.until, min(run.Started.To+left, run.Ended.End()))
			for _, lot := range f.From.Codes {
				if left > 0 && until > run.Started.From && !fedFromStart(feeds, lot, run.Started.From, until) {
					out = append(out, leftover{lot, before.Run, f.Seq, until})
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b leftover) int { return cmp.Or(cmp.Compare(a.lot, b.lot), cmp.Compare(a.entry, b.entry)) })
	return out
}

// runningBetween sums the seconds of the runs of known time that lie wholly between two.
func runningBetween(near []lots.Record, before, run *lots.Run) (seconds int64) {
	for _, rec := range near {
		x, ok := rec.(*lots.Run)
		if ok && x.Run != before.Run && x.Run != run.Run && x.Started.From >= before.Ended.End() && x.Ended.End() <= run.Started.From {
			seconds += Running(x)
		}
	}
	return seconds
}

// LineSpan is where a run or clearance lies on its line, in Unix seconds.
type LineSpan struct {
	Line          string
	Start, Finish int64
	Running       int64 // seconds that the line surely ran for it
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

// Running is how many seconds a line surely ran for a run: none where a time is uncertain.
func Running(run *lots.Run) int64 {
	if !run.Started.Certain() || !run.Ended.Certain() {
		return 0
	}
	return run.Ended.End() - run.Started.From
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

// partsFed lists a run's feeds of packaging parts.
func (e *engine) partsFed(run *lots.Run) []*feeding {
	return slices.DeleteFunc(e.feedings(&Cell{}, run), func(f *feeding) bool {
		t, _ := e.src.Thing(f.From.Codes[0])
		return f.From.Kind != lots.KindLot || len(f.vessels) > 0 || !lots.PackagingPart(t.ItemKind)
	})
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
