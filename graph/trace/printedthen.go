package trace

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Then is a code that was printed at a time, by the coder's clock, and the run that printed it.
type Then struct {
	Code string `json:"code"`
	Run  string `json:"run"`
}

// PrintedThen tells what was printed at a time as printed at which a date code was not, on the days of the runs that
// bear the code, and says so. Runs of the products that bear it come first.
func PrintedThen(tx *store.Tx, code, at string) (then []Then, text string, err error) {
	r := &resolver{tx: tx, dir: graph.Back, site: tx.Site()}
	m, err := parseMoment(at, r.site.Zone)
	if err != nil {
		return nil, "", err
	}
	then, err = r.printedThen(code, m)
	return then, thenText(code, m, then), err
}

func (r *resolver) printedThen(code string, at *moment) (then []Then, err error) {
	bearing := r.bearing(code)
	rows, err := r.tx.Records("runs")
	if err != nil {
		return nil, err
	}
	alike := func(run *lots.Run) int {
		if slices.ContainsFunc(bearing, func(b *lots.Run) bool { return b.Product == run.Product }) {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(rows, func(x, y lots.Record) int {
		a, b := x.(*lots.Run), y.(*lots.Run)
		return cmp.Or(cmp.Compare(alike(a), alike(b)), cmp.Compare(a.Started.From, b.Started.From))
	})
	for _, rec := range rows {
		then = append(then, r.printedBy(rec.(*lots.Run), at, bearing)...)
	}
	return then, r.tx.Err()
}

// withinMargin notes that a code was not printed at the time asked for, and may be meant only because of the line's margin.
func (r *resolver) withinMargin(t *target, m reading) error {
	if slices.ContainsFunc(t.from, func(f From) bool { return f.Band == graph.In.String() }) {
		return nil
	}
	text, err := r.notThen(m)
	t.notes = append(t.notes, Finding{"not-printed-then", m.code, text})
	return err
}

// bearing lists the runs that printed a code.
func (r *resolver) bearing(code string) (out []*lots.Run) {
	for _, p := range r.tx.PrintedAs(code, true) {
		if run, ok := PrintedBy(r.tx, p); ok && !slices.ContainsFunc(out, func(o *lots.Run) bool { return o.Run == run.Run }) {
			out = append(out, run)
		}
	}
	return out
}

// printedBy lists what a run printed at a time; where it has no date, on the days of the runs that bear the code asked for.
func (r *resolver) printedBy(run *lots.Run, at *moment, bearing []*lots.Run) (out []Then) {
	segments, _ := r.parts(run.Run) // where the line stood nothing was printed
	for _, s := range at.printed(run.Started.From, run.Ended.End(), run.ClockOffset, 0) {
		if !slices.ContainsFunc(bearing, func(b *lots.Run) bool { return !at.from.timeOfDay || r.sameDay(s.from+run.ClockOffset, b) }) {
			continue
		}
		if !slices.ContainsFunc(segments, func(n store.Node) bool { return s.meets(n.Since, n.Until) }) {
			continue
		}
		for _, c := range codesOf(r.tx, run) {
			t := Then{c.code, run.Run}
			if c.code != "" && s.meets(c.from, c.until) && !slices.Contains(out, t) {
				out = append(out, t)
			}
		}
	}
	return out
}

// sameDay reports whether a time of a coder's clock lies on a day on which a run printed, by its coder's.
func (r *resolver) sameDay(shown int64, run *lots.Run) bool {
	day := func(t int64) string { return time.Unix(t, 0).In(r.site.Zone).Format(time.DateOnly) }
	return day(run.Started.From+run.ClockOffset) <= day(shown) && day(shown) <= day(run.Ended.End()-1+run.ClockOffset)
}

// mostThen bounds how many runs and stretches a sentence names.
const mostThen = 5

// thenText says what was printed at a time instead of a code.
func thenText(code string, at *moment, then []Then) string {
	var other []string
	for _, t := range then {
		other = append(other, fmt.Sprintf("%s in run %s", t.Code, t.Run))
	}
	text := fmt.Sprintf("%s was not printed at %s by the coder's clock; ", code, at.text)
	if len(other) == 0 {
		return text + "no run on record printed anything then"
	}
	return text + "printed then was " + few(other)
}

// notThen says that besides, and when the code was printed.
func (r *resolver) notThen(m reading) (string, error) {
	then, err := r.printedThen(m.code, m.at)
	var when []string
	for _, run := range r.bearing(m.code) {
		for _, c := range codesOf(r.tx, run) {
			if c.code == m.code {
				when = append(when, r.shownFrom(run, c.span))
			}
		}
	}
	return fmt.Sprintf("%s. %s was printed %s. Have the code and the time read again: one of the two is misread, or a clock or a record is wrong",
		thenText(m.code, m.at, then), m.code, few(when)), err
}

// shownFrom says when a stretch of a run was printed by the coder's clock.
func (r *resolver) shownFrom(run *lots.Run, s span) string {
	text := fmt.Sprintf("from %s to %s in run %s", r.clock(s.from+run.ClockOffset), r.clock(s.until+run.ClockOffset), run.Run)
	if !run.ClockChecked {
		text += " (true time: nobody noted how far its coder's clock was off)"
	}
	return text
}

func few(list []string) string {
	if len(list) > mostThen {
		return strings.Join(list[:mostThen], ", ") + fmt.Sprintf(" and %d more", len(list)-mostThen)
	}
	return strings.Join(list, ", ")
}
