package printed

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// Rule is what the public can act on: something that a reader finds on the package.
type Rule struct {
	Product string   `json:"product"`
	Name    string   `json:"name"`
	Size    string   `json:"size"`
	Codes   []string `json:"codes"` // as printed
	// Range is true where the codes stand for every date from the first to the last.
	Range bool `json:"range"`
	// FromTime and ToTime narrow it to a time of day as printed, both included; empty where
	// all that bears the codes is meant.
	FromTime string   `json:"from_time"`
	ToTime   string   `json:"to_time"`
	Kegs     []string `json:"kegs"` // numbers of kegs
	// KegsMore are kegs of the same runs whose numbers nobody wrote down: the numbers are not all.
	KegsMore int64  `json:"kegs_without_number"`
	Band     string `json:"band"`
	Affected int64  `json:"affected"` // containers
	Covered  int64  `json:"covered"`  // containers that the rule means
	Innocent int64  `json:"innocent"` // of those, not affected
	// Separates is false where product and code also stand on what is not affected, and
	// nothing printed tells the two apart.
	Separates bool   `json:"separates"`
	Spared    string `json:"spared_by"` // what would have spared the innocent ones
	// ClockUnchecked is true where a time of day is printed and was not used, because nobody noted how far the coder's clock was off.
	ClockUnchecked bool   `json:"clock_unchecked"`
	Inside         string `json:"inside"` // for mixed packs: what is affected within
}

// Text reads a rule out.
func (r Rule) Text() string {
	t := words.NameAndSize(r.Name, r.Size)
	switch {
	case len(r.Codes) == 0:
		t += ", whatever is printed on it: no date code of it is on record"
	case r.Range:
		t += fmt.Sprintf(", all date codes from %s to %s", r.Codes[0], r.Codes[len(r.Codes)-1])
	case len(r.Codes) == 1:
		t += ", date code " + r.Codes[0]
	default:
		t += ", date codes " + strings.Join(r.Codes, ", ")
	}
	switch {
	case r.FromTime != "" && r.FromTime == r.ToTime:
		t += ", time " + r.FromTime
	case r.FromTime != "":
		t += fmt.Sprintf(", times %s to %s", r.FromTime, r.ToTime)
	}
	switch {
	case len(r.Kegs) > 0 && r.KegsMore > 0:
		t += fmt.Sprintf("; keg numbers %s, and %s whose number nobody wrote down: the date code counts", strings.Join(r.Kegs, ", "), words.Plural(int(r.KegsMore), "more keg"))
	case len(r.Kegs) > 0:
		t += "; keg numbers " + strings.Join(r.Kegs, ", ")
	}
	return t
}

// Rules makes the shortest rules by which the public can find what an answer reached, and
// says what innocent containers each drags in.
func Rules(tx *store.Tx, a *trace.Answer) []Rule {
	s := finder{tx, a}
	byCode := map[[2]string][]trace.Printed{}
	var order [][2]string
	for _, p := range s.a.Printed() {
		k := [2]string{p.Product, p.Code}
		if byCode[k] == nil {
			order = append(order, k)
		}
		byCode[k] = append(byCode[k], p)
	}
	rules := []Rule{}
	for _, k := range order {
		rules = append(rules, s.rulesFor(byCode[k])...)
	}
	return s.ranges(rules)
}

// finder makes rules for what an answer reached.
type finder struct {
	tx *store.Tx
	a  *trace.Answer
}

// rulesFor makes the rules of one product and code.
func (s finder) rulesFor(pieces []trace.Printed) []Rule {
	product := Product(s.tx, pieces[0].Product)
	base := Rule{Product: product.Code, Name: product.Name, Size: Size(product), Codes: []string{pieces[0].Code}, Separates: true}
	base.Kegs, base.KegsMore = s.kegNumbers(pieces)
	all, hit := 0.0, 0.0
	for _, p := range pieces {
		all += p.Containers
		if p.Affected {
			hit += p.Hit
			base.Band = better(base.Band, p.Band)
		}
	}
	repacked := partRepacked(pieces)
	pattern, err := datecode.Parse(product.DateCode)
	shows := int64(0) // the finest time of day to be read
	if err == nil {
		shows = pattern.Resolution()
	}
	unchecked := uncheckedClock(pieces)
	if hit >= all-1e-9 || shows == 0 || unchecked != "" {
		base.count(hit, all)
		base.spare(unchecked, repacked, shows == 0)
		base.Inside = s.inside(pieces)
		return []Rule{base}
	}
	var out []Rule
	for _, w := range s.windows(pieces, max(shows, 60)) {
		r := base
		r.FromTime, r.ToTime, r.Band = w.from, w.to, w.band.String()
		r.count(w.hit, w.covered)
		switch {
		case w.strange != "":
			r.Separates = false
			r.Spared = "the line or run printed on the package: " + w.strange + " bears the same code and times"
		case w.coarse:
			r.Separates = false
			r.Spared = "minutes printed on the package: the hour alone also stands on what is not affected"
		case r.Innocent > 0 && repacked != "":
			r.Separates, r.Spared = false, repacked
		case r.Innocent > 0:
			r.Spared = "seconds printed on the package"
		}
		r.Inside = s.inside(pieces)
		out = append(out, r)
	}
	return out
}

// partRepacked says what would tell repacked packages from others of their code, where only some were repacked and are
// affected by that; empty where there are none.
func partRepacked(pieces []trace.Printed) string {
	if slices.ContainsFunc(pieces, func(p trace.Printed) bool { return p.Affected && p.Hit < p.Containers-1e-6 }) {
		return "a code of its own on what was repacked"
	}
	return ""
}

// uncheckedClock names the affected runs of which nobody noted how far the coder's clock was off. What time they show
// is not known, so no time may spare anything of the code; empty where there are none.
func uncheckedClock(pieces []trace.Printed) string {
	var runs []string
	for _, p := range pieces {
		if p.Affected && p.Unchecked && !slices.Contains(runs, p.Run) {
			runs = append(runs, p.Run)
		}
	}
	return strings.Join(runs, ", ")
}

// spare says of a rule for the whole of a code what would have spared the innocent.
func (r *Rule) spare(unchecked, repacked string, untimed bool) {
	r.ClockUnchecked = unchecked != "" && !untimed && r.Innocent > 0
	switch {
	case r.Codes[0] == "":
		r.Codes, r.Separates, r.Spared = []string{}, false, "a date code: there is none on record for these packages"
	case r.Innocent == 0:
	case repacked != "":
		r.Separates, r.Spared = false, repacked
	case r.ClockUnchecked:
		r.Separates, r.Spared = false, fmt.Sprintf("a check of the coder's clock: nobody noted how far it was off from true time in run %s, so the time printed cannot be used (if the clock was checked, heeltap amend %s clock_offset_min=…)", unchecked, strings.Split(unchecked, ", ")[0])
	default:
		r.Separates, r.Spared = false, "a time of day printed on the package"
	}
}

func better(name string, band graph.Band) string {
	if name == graph.In.String() || band == graph.In {
		return graph.In.String()
	}
	return band.String()
}

// count rounds so that a rule never seems to cover less than it does.
func (r *Rule) count(hit, covered float64) {
	r.Affected, r.Covered = int64(math.Ceil(hit-1e-6)), int64(math.Ceil(covered-1e-6))
	r.Covered = max(r.Covered, r.Affected)
	r.Innocent = r.Covered - r.Affected
}

// window is a time of day as printed, in whole minutes or hours.
type window struct {
	from, to     string // minutes, both included
	start, end   int64  // seconds of the day, half open
	band         graph.Band
	hit, covered float64
	strange      string     // a run that is not affected then, and shows the same
	coarse       bool       // it holds more than a minute that is not affected, for want of finer print
	exact        [][2]int64 // what is affected of it, to the second
}

const secondsOfDay = 24 * 60 * 60

// windows gives the times of day that the affected stretches of a code show. The same time of
// another day shows the same, where it bears the same code.
func (s finder) windows(pieces []trace.Printed, shows int64) []window {
	zone := s.tx.Site().Zone
	var out []window
	for _, p := range pieces {
		if !p.Affected {
			continue
		}
		for _, d := range ofDay(p, zone) {
			end := d[1]
			if over := end % shows; over > 0 {
				end += shows - over
			}
			out = append(out, window{start: d[0] - d[0]%shows, end: end, band: p.Band, exact: [][2]int64{d}})
		}
	}
	out = mergeWindows(out)
	for i := range out {
		w := &out[i]
		w.from, w.to = minuteText(w.start), minuteText(w.end-60)
		for _, p := range pieces {
			if p.Unchecked && !p.Affected { // it may show any time
				w.covered, w.strange = w.covered+p.Containers, "run "+p.Run+", whose coder's clock nobody checked,"
				continue
			}
			shown, all, same := int64(0), int64(0), int64(0)
			for _, d := range ofDay(p, zone) {
				shown += max(0, min(d[1], w.end)-max(d[0], w.start))
				all += d[1] - d[0]
				for _, x := range w.exact {
					same += max(0, min(d[1], x[1])-max(d[0], x[0]))
				}
			}
			if shown == 0 {
				continue
			}
			part := float64(shown) / float64(all)
			w.covered += p.Containers * part
			switch {
			case p.Affected:
				w.hit += p.Hit * part
			case same > 60 || same > 0 && all <= 60 || shows == 60 && (shown > 60 || all <= 60):
				w.strange = "run " + p.Run
			case shown > 60:
				w.coarse = true
			}
		}
	}
	return out
}

// ofDay gives when on the coder's clock a stretch was printed: seconds of the day, a part for each day.
func ofDay(p trace.Printed, zone *time.Location) [][2]int64 {
	wall := func(t int64) int64 {
		_, ahead := time.Unix(t, 0).In(zone).Zone()
		return t + int64(ahead)
	}
	from, until := wall(p.From+p.Offset), wall(p.Until+p.Offset)
	if until <= from { // clocks were set back within it: it shows that hour twice
		from, until = min(from, until), max(from+1, until)
	}
	var out [][2]int64
	for from < until {
		start := ((from % secondsOfDay) + secondsOfDay) % secondsOfDay
		n := min(until-from, secondsOfDay-start)
		out = append(out, [2]int64{start, start + n})
		from += n
	}
	return out
}

// mergeWindows joins windows that meet.
func mergeWindows(list []window) []window {
	slices.SortStableFunc(list, func(a, b window) int { return cmp.Compare(a.start, b.start) })
	var out []window
	for _, w := range list {
		if n := len(out); n > 0 && w.start <= out[n-1].end {
			out[n-1].end, out[n-1].band = max(w.end, out[n-1].end), max(w.band, out[n-1].band)
			out[n-1].exact = append(out[n-1].exact, w.exact...)
			continue
		}
		out = append(out, w)
	}
	return out
}

func minuteText(second int64) string {
	return fmt.Sprintf("%02d:%02d", second/3600, second/60%60)
}

// kegNumbers lists the kegs filled in affected stretches, and counts those of the same runs that
// are on no number.
func (s finder) kegNumbers(pieces []trace.Printed) (numbers []string, more int64) {
	runs := map[string]bool{}
	for _, p := range pieces {
		runs[p.Run] = runs[p.Run] || p.Affected
	}
	numbers = []string{}
	for _, u := range s.a.Units {
		if u.Kind != "keg" || !slices.ContainsFunc(u.Runs, func(r string) bool { return runs[r] }) {
			continue
		}
		keg, _, _ := lots.SplitFilling(u.Code)
		numbers = append(numbers, keg)
	}
	for _, r := range s.a.Runs {
		if runs[r.Code] && r.Unassigned > 0 && trace.OfKegs(s.tx, r.Code) {
			more += r.Unassigned
		}
	}
	slices.Sort(numbers)
	return slices.Compact(numbers), more
}

// inside says, for a run packed from other units, how much of what it packed is affected.
func (s finder) inside(pieces []trace.Printed) string {
	reached := map[string]trace.Unit{}
	for _, u := range s.a.Units {
		reached[u.Code] = u
	}
	hit, covered, mixed := 0.0, 0.0, false
	for _, p := range pieces {
		if !p.Affected {
			continue
		}
		covered += p.Containers
		for _, rec := range s.tx.Touching(p.Run) {
			f, ok := rec.(*lots.Feed)
			if !ok || f.Run != p.Run || f.From.Kind != lots.KindUnit || f.From.OneOf() {
				continue
			}
			mixed = true
			if _, ok := reached[f.From.Code()]; !ok {
				continue
			}
			thing, _ := s.tx.Thing(f.From.Code())
			from, until := feedTimes(s.tx, f)
			if until > from {
				hit += f.Count * float64(max(1, thing.PerCase)) * float64(max(0, min(until, p.Until)-max(from, p.From))) / float64(until-from)
			}
		}
	}
	if !mixed || hit >= covered {
		return ""
	}
	return fmt.Sprintf("within, %d of %d containers are affected: their own code tells them apart; %d are not", int64(math.Round(hit)), int64(math.Round(covered)), int64(math.Round(covered-hit)))
}

// feedTimes is when a feed ran: its own times, else its run's.
func feedTimes(tx *store.Tx, f *lots.Feed) (from, until int64) {
	if run, ok := tx.Run(f.Run); ok {
		from, until = run.Started.From, run.Ended.End()
	}
	if f.HasSince {
		from = f.Since.From
	}
	if f.HasUntil {
		until = f.Until.End()
	}
	return from, until
}
