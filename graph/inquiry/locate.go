package inquiry

import (
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// locate finds the units that a candidate's goods stand on, narrowed by the time read.
func (c *Candidate) locate(tx *store.Tx, q Question) error {
	c.located = true
	if c.Kind != "date-code" {
		return c.locateNumber(tx, q)
	}
	if len(c.clock.Spans()) > 0 {
		runs, units, err := c.printedAt(tx)
		if err != nil {
			return err
		}
		if len(runs) > 0 {
			if _, c.whole, err = c.units(tx, c.code); err != nil {
				return err
			}
			c.Runs, c.Units = runs, units
			return nil
		}
		if err := c.notThen(tx); err != nil {
			return err
		}
	}
	_, units, err := c.units(tx, c.code)
	c.Units = orEmpty(units)
	return err
}

// notThen counts against a code that it was not printed at the time read, and finds what was: either may be misread.
func (c *Candidate) notThen(tx *store.Tx) error {
	for _, s := range c.clock.Spans() {
		at := s[0]
		if !c.clock.Whole() {
			at += ".." + s[1]
		}
		then, text, err := trace.PrintedThen(tx, c.Printed, at)
		if err != nil {
			return err
		}
		for _, t := range then {
			if !slices.Contains(c.Then, t) {
				c.Then = append(c.Then, t)
			}
		}
		if c.clock.Whole() {
			c.against("%s", text)
		}
		for _, t := range then {
			_, units, err := c.unitsOf(tx, "date-code:"+t.Code+"@"+at, []string{t.Run})
			if err != nil {
				return err
			}
			c.whole = append(c.whole, units...)
		}
	}
	if !c.clock.Whole() {
		c.against("%s was not printed at %s", c.Printed, c.Time)
	}
	return nil
}

// printedAt finds the runs that printed the code at any of the times that may have been read, and
// their units of that time.
func (c *Candidate) printedAt(tx *store.Tx) (runs, units []string, err error) {
	units = []string{}
	for _, s := range c.clock.Spans() {
		at := c.code + "@" + s[0]
		if !c.clock.Whole() {
			at += ".." + s[1]
		}
		r, u, err := c.units(tx, at)
		if err != nil {
			return nil, nil, err
		}
		runs, units = append(runs, r...), append(units, u...)
	}
	slices.Sort(runs)
	slices.Sort(units)
	return slices.Compact(runs), slices.Compact(units), nil
}

// units asks for a code's runs of the candidate's product, and for what they packed. What can
// not be found that way is no answer, and stops nothing.
func (c *Candidate) units(tx *store.Tx, code string) (runs, units []string, err error) {
	return c.unitsOf(tx, code, c.Runs)
}

// unitsOf finds what of some runs a code means, and the units that bear it: theirs, and what they were repacked into.
func (c *Candidate) unitsOf(tx *store.Tx, code string, of []string) (runs, units []string, err error) {
	a, err := trace.Trace(tx, graph.Forward, code)
	if err != nil {
		switch lots.KindOf(err) {
		case lots.NotFound, lots.Conflict, lots.Invalid:
			return nil, nil, nil
		}
		return nil, nil, err
	}
	for _, f := range a.From {
		if f.Kind == string(lots.KindRun) && slices.Contains(of, f.Code) {
			runs = append(runs, f.Code)
		}
	}
	for _, u := range a.Units {
		stands := slices.ContainsFunc(u.Runs, func(r string) bool { return slices.Contains(runs, r) })
		bears := slices.ContainsFunc(u.Codes, func(x trace.CodePart) bool { return x.Affected && slices.Contains(runs, x.Run) })
		if stands || bears {
			units = append(units, u.Code)
		}
	}
	return runs, units, nil
}

func (c *Candidate) locateNumber(tx *store.Tx, q Question) error {
	a, err := trace.Trace(tx, graph.Forward, c.code)
	if kind := lots.KindOf(err); err != nil && (kind == lots.NotFound || kind == lots.Conflict) {
		c.against("%s", err)
		return nil
	}
	if err != nil {
		return err
	}
	for _, u := range a.Units {
		if len(u.Why) == 1 {
			c.Units, c.Runs = append(c.Units, u.Code), append(c.Runs, u.Runs...)
			if u.Product != nil && c.Product == "" {
				c.Product = *u.Product
			}
		}
	}
	if c.Product != "" {
		c.weigh(tx, q)
	}
	return nil
}

// goods lists the units and runs that a candidate may mean, located or not: of a keg's number
// that was not looked into, all fillings.
func (c *Candidate) goods(tx *store.Tx) (units, runs []string) {
	units, runs = slices.Clone(c.Units), slices.Clone(c.Runs)
	if c.Kind == "date-code" {
		return units, append(runs, repacks(tx, units, runs)...)
	}
	if len(units) > 0 {
		return units, runs
	}
	if c.Kind == "unit" {
		units = append(units, c.Printed)
	}
	for _, p := range tx.PrintedAs(c.Printed, true) {
		rec, _ := tx.Record(p.Entry)
		if x, ok := rec.(*lots.Packed); ok && !slices.Contains(units, x.Unit) {
			units = append(units, x.Unit)
		}
	}
	for _, unit := range units {
		for _, rec := range tx.Touching(unit) {
			if x, ok := rec.(*lots.Packed); ok && x.Unit == unit && !slices.Contains(runs, x.Run) {
				runs = append(runs, x.Run)
			}
		}
	}
	return units, runs
}

// repacks lists the runs of units that stand on none of some runs: they were repacked from them.
func repacks(tx *store.Tx, units, runs []string) (out []string) {
	for _, unit := range units {
		var of []string
		for _, rec := range tx.Touching(unit) {
			if p, ok := rec.(*lots.Packed); ok && p.Unit == unit {
				of = append(of, p.Run)
			}
		}
		if !slices.ContainsFunc(of, func(r string) bool { return slices.Contains(runs, r) }) {
			out = append(out, of...)
		}
	}
	return out
}

// stops is what is on hold, and what is in the scope of a recall.
type stops struct {
	tx      *store.Tx
	holds   *trace.Standing
	recalls []scoped
	asked   map[string]graph.Band // kind and code to how sure it is held
}

// scoped is one recall with what is in its scope.
type scoped struct {
	name        string
	runs, units map[string]bool
	loose       map[string]bool // runs of which cases on no unit are in scope, or all that is
}

func stopsOf(tx *store.Tx) (*stops, error) {
	holds, err := trace.StandingHolds(tx)
	if err != nil {
		return nil, err
	}
	s := &stops{tx: tx, holds: holds, asked: map[string]graph.Band{}}
	all, err := recall.All(tx)
	if err != nil {
		return nil, err
	}
	for _, r := range all {
		if r.State() == "terminated" || r.Mock && r.State() != "open" {
			continue // an exercise that is over must alarm nobody
		}
		scope, err := r.Scope(tx)
		if err != nil {
			return nil, err
		}
		x := scoped{r.Code + " (" + r.Kind() + ", " + r.State() + ")", map[string]bool{}, map[string]bool{}, map[string]bool{}}
		stands := map[string]bool{}
		for _, u := range scope.Answer.Units {
			x.units[u.Code] = true
			for _, run := range u.Runs {
				stands[run] = true
			}
		}
		for _, run := range scope.Answer.Runs {
			x.runs[run.Code] = true
			x.loose[run.Code] = run.Unassigned > 0 || !stands[run.Code]
		}
		s.recalls = append(s.recalls, x)
	}
	return s, nil
}

// judge says whether a candidate, or anything in its lineage, is on hold or under recall.
func (s *stops) judge(c *Candidate) error {
	units, runs := c.goods(s.tx)
	band := graph.Out
	for kind, codes := range map[lots.Kind][]string{lots.KindUnit: units, lots.KindRun: runs} {
		for _, code := range codes {
			b, err := s.on(kind, code)
			if err != nil {
				return err
			}
			band = max(band, b)
		}
	}
	c.Held = band.String()
	for _, r := range s.recalls {
		hit := slices.ContainsFunc(runs, func(code string) bool { return r.runs[code] })
		if hit && len(units) > 0 {
			hit = slices.ContainsFunc(units, func(code string) bool { return r.units[code] }) || slices.ContainsFunc(runs, func(code string) bool { return r.loose[code] })
		}
		if hit {
			c.Recalls = append(c.Recalls, r.name)
		}
	}
	return s.beside(c)
}

// beside lists what is stopped of the same code at other times of day: a digit of the time may be misread.
func (s *stops) beside(c *Candidate) error {
	for _, unit := range c.whole {
		if slices.Contains(c.Units, unit) {
			continue
		}
		b, err := s.on(lots.KindUnit, unit)
		if err != nil {
			return err
		}
		if b != graph.Out || slices.ContainsFunc(s.recalls, func(r scoped) bool { return r.units[unit] }) {
			c.Beside = append(c.Beside, unit)
		}
	}
	return nil
}

func (s *stops) on(kind lots.Kind, code string) (graph.Band, error) {
	key := strings.Join([]string{string(kind), code}, "\x00")
	if b, ok := s.asked[key]; ok {
		return b, nil
	}
	b, err := s.holds.On(kind, code)
	s.asked[key] = b
	return b, err
}

// stopped reports whether a candidate is on hold, perhaps, or under recall.
func (c *Candidate) stopped() bool { return c.Held != graph.Out.String() || len(c.Recalls) > 0 }
