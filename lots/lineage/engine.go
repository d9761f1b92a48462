package lineage

import (
	"cmp"
	"maps"
	"reflect"
	"slices"
	"time"

	"heeltap/lots"
)

// Delta is what a derivation found: the cells that replace what stood before
// under the same owner. A cell without content means that nothing stands there any more.
type Delta struct {
	Cells map[string]*Cell
}

// Derive works out again every cell that the given records touch, and every
// cell whose result depends on one that changed. Given all records it derives
// the whole lineage. For an amended or void entry, give the record as it was and as it is.
func Derive(src Source, limits Limits, changed []lots.Record) (*Delta, error) {
	e := newEngine(src, limits)
	for _, rec := range changed {
		e.changed[rec.Entry()] = true
	}
	for _, rec := range changed {
		if err := e.refuseCrossing(rec); err != nil {
			return nil, err
		}
		e.expand(rec)
	}
	e.settleVessels()
	for before := -1; before != len(e.runs)+len(e.entries); {
		before = len(e.runs) + len(e.entries)
		e.followRejects()
		e.followMaybes()
	}
	for entry := range e.entries {
		e.out.Cells[entryOwner(entry)] = e.entryCell(entry)
	}
	for _, run := range slices.Sorted(maps.Keys(e.runs)) {
		e.out.Cells["r:"+run] = e.runCell(run)
	}
	e.passed()
	for item := range e.items {
		e.out.Cells["p:"+item] = e.pathCell(item)
	}
	for code := range e.lots {
		e.out.Cells["l:"+code] = e.lotCell(code)
	}
	for code := range e.brews {
		e.out.Cells["b:"+code] = e.brewCell(code)
	}
	for code := range e.units {
		e.out.Cells["u:"+code] = e.unitCell(code)
	}
	return e.out, nil
}

// engine holds one derivation. Its sets name what has to be worked out anew.
type engine struct {
	src    cachedSource
	limits Limits
	zone   *time.Location
	out    *Delta

	vessels, runs, items, lots, brews, units map[string]bool
	entries, changed                         map[int64]bool
	kegs                                     map[string]*keg
	labels                                   map[[2]string]bool             // product and allergen: it is declared
	perhaps                                  map[string][]*lots.Circulation // by vessel
	washes, followed                         map[string]bool                // runs: a wash of one of its kegs is noted; its kegs are marked
	fresh                                    map[string]*Cell               // vessels derived in this pass
	freshDraws                               map[int64][]Draw
	freshArrivals                            map[int64][]Arrival
}

func newEngine(src Source, limits Limits) *engine {
	return &engine{
		src: cachedSource{Source: src, things: map[string]lots.Thing{}}, limits: limits, zone: src.Site().Zone,
		out:     &Delta{Cells: map[string]*Cell{}},
		vessels: map[string]bool{}, runs: map[string]bool{}, items: map[string]bool{},
		lots: map[string]bool{}, brews: map[string]bool{}, units: map[string]bool{}, entries: map[int64]bool{}, changed: map[int64]bool{},
		perhaps: map[string][]*lots.Circulation{}, kegs: map[string]*keg{}, labels: map[[2]string]bool{}, washes: map[string]bool{}, followed: map[string]bool{},
		fresh: map[string]*Cell{}, freshDraws: map[int64][]Draw{}, freshArrivals: map[int64][]Arrival{},
	}
}

// cachedSource remembers what codes mean: a derivation asks thousands of times.
type cachedSource struct {
	Source
	things map[string]lots.Thing
}

func (c cachedSource) Thing(code string) (lots.Thing, bool) {
	if t, ok := c.things[code]; ok {
		return t, t.Kind != ""
	}
	t, _ := c.Source.Thing(code)
	c.things[code] = t
	return t, t.Kind != ""
}

// stated finds the record of one kind that introduced a code, without reading all that name it.
func stated[T lots.Record](e *engine, code string) (found T, ok bool) {
	rec, _ := e.src.Stated(code)
	found, ok = rec.(T)
	return found, ok
}

// expand marks what one record bears on.
func (e *engine) expand(rec lots.Record) {
	switch r := rec.(type) {
	case *lots.Receipt:
		e.mark(r.Seq, r.Into)
		e.lots[r.Lot] = true
	case *lots.Brew:
		e.mark(r.Seq, r.Into)
		e.brews[r.Brew] = true
		for _, other := range e.src.Touching(r.Brew) {
			if in, ok := other.(*lots.BrewInput); ok && !in.HasAt {
				e.mark(in.Seq, e.holders(in.From)...)
			}
		}
	case *lots.BrewInput:
		e.mark(r.Seq, e.holders(r.From)...)
		e.used(r.From)
	case *lots.Addition:
		e.mark(r.Seq, append(e.holders(r.From), r.Vessel)...)
		e.used(r.From)
	case *lots.Transfer:
		e.mark(r.Seq, append(e.holders(r.From), r.To)...)
		e.through(r.Via...)
	case *lots.Circulation:
		e.mark(r.Seq, r.Vessels...)
		e.markCirculation(r)
	case *lots.Crop:
		e.mark(r.Seq, r.Vessel, r.Into)
		e.lots[r.Lot] = true
	case *lots.Clean:
		e.cleaned(r)
	case *lots.Tipping:
		e.lots[r.Into] = true
		e.used(r.From)
		e.tippedOn(r.Into, map[string]bool{})
	case *lots.Clearance:
		e.followLine(r.Line, r.At.From, r.At.To)
	case *lots.Run:
		e.expandRun(r.Run)
		e.through(r.Line)
		e.followLine(r.Line, r.Started.From, r.Ended.End())
		e.followKegs(r)
	case *lots.CodeChange:
		e.runs[r.Run] = true
	case *lots.Feed:
		e.expandRun(r.Run)
		if run, _, ok := e.runOf(r.Run); ok {
			e.followLine(run.Line, run.Started.From, run.Ended.End())
		}
		e.mark(0, e.holders(r.From)...)
		e.through(r.From.Codes...)
		e.used(r.From)
	case *lots.Packed:
		e.runs[r.Run], e.units[r.Unit] = true, true
		e.followPacked(r)
	case *lots.Shipment:
		e.follow(r.Unit)
	case *lots.Return:
		e.follow(r.Unit)
	case *lots.Removal:
		e.mark(0, e.holders(r.Subject)...)
		e.used(r.Subject)
	case *lots.Bulk:
		e.mark(0, e.holders(r.From)...)
		e.used(r.From)
	}
}

// mark notes an entry whose links, and vessels whose books, are worked out anew.
func (e *engine) mark(entry int64, vessels ...string) {
	if entry != 0 {
		e.entries[entry] = true
	}
	for _, v := range vessels {
		if t, _ := e.src.Thing(v); t.Kind == lots.KindVessel && t.VesselKind != "path" {
			e.vessels[v] = true
		}
	}
}

// through marks path items and lines, of which the passes may change.
func (e *engine) through(codes ...string) {
	for _, c := range codes {
		if t, _ := e.src.Thing(c); t.Kind == lots.KindLine || t.VesselKind == "path" {
			e.items[c] = true
		}
	}
}

// passed marks the path items and lines that the entries and runs derived anew
// went through: a run changes with its tanks, and its passes with it.
func (e *engine) passed() {
	for _, c := range e.out.Cells {
		for _, p := range c.Passes {
			e.items[p.Item] = true
		}
	}
}

// cleaned marks what was cleaned and what it was cleaned with, and the vessels that were being emptied into it then.
func (e *engine) cleaned(c *lots.Clean) {
	e.mark(c.Seq, append(e.holders(c.From), c.Subject.Codes...)...)
	e.cleanedOther(c)
	for _, rec := range e.src.Touching(c.Subject.Code()) {
		if t, ok := rec.(*lots.Transfer); ok && t.To == c.Subject.Code() {
			if lo, hi, flows := transferTime(t); flows && lo < c.At.From && c.At.From < hi {
				e.mark(0, e.holders(t.From)...)
			}
		}
	}
}

// used marks lots and units of which more or less is used now.
func (e *engine) used(from lots.Ref) {
	for _, code := range from.Codes {
		switch from.Kind {
		case lots.KindLot:
			e.lots[code] = true
		case lots.KindUnit:
			e.units[code] = true
			e.followUnit(code)
		case lots.KindRun:
			e.runs[code] = true
		}
	}
}

// follow marks the keg fillings that may have come next after those a row names.
func (e *engine) follow(units lots.Ref) {
	for _, code := range units.Codes {
		e.followUnit(code)
	}
}

// expandRun marks a run and the tanks that feed it: what one feed gives the others need not.
func (e *engine) expandRun(code string) {
	e.runs[code] = true
	for _, f := range e.src.Feeds(code) {
		e.mark(0, e.holders(f.From)...)
	}
}

// settleVessels works out the books of the marked vessels, and of those that
// receive a flow whose pieces changed, until nothing changes.
func (e *engine) settleVessels() {
	for len(e.vessels) > 0 {
		for _, v := range slices.Sorted(maps.Keys(e.vessels)) {
			delete(e.vessels, v)
			e.settleVessel(v)
		}
	}
}

func (e *engine) settleVessel(v string) {
	oldDraws, oldArrivals := e.known(v)
	cell := e.vesselCell(settle(v, e.gather(v), e.limits))
	e.replace(v, cell)
	e.markPerhaps(v)
	changed := changedEntries(oldDraws, cell.Draws, func(d Draw) int64 { return d.Entry }, Draw.Same)
	for entry := range changed {
		e.drawChanged(v, entry)
	}
	arrived := changedEntries(oldArrivals, cell.Arrivals, func(a Arrival) int64 { return a.Entry }, func(a, b Arrival) bool { return a == b })
	for entry := range arrived {
		e.entries[entry] = true
	}
	for _, d := range cell.Draws {
		if len(arrived) > 0 && len(d.Maybe) > 0 {
			e.drawChanged(v, d.Entry)
		}
	}
}

// known gives a vessel's draws and arrivals as they stand so far.
func (e *engine) known(v string) ([]Draw, []Arrival) {
	if c, ok := e.fresh[v]; ok {
		return c.Draws, c.Arrivals
	}
	return e.src.VesselDraws(v), e.src.VesselArrivals(v)
}

// replace puts a vessel's new cell in the place of an earlier one.
func (e *engine) replace(v string, cell *Cell) {
	if old, ok := e.fresh[v]; ok {
		for _, d := range old.Draws {
			e.freshDraws[d.Entry] = slices.DeleteFunc(e.freshDraws[d.Entry], func(x Draw) bool { return x.Vessel == v })
		}
		for _, a := range old.Arrivals {
			e.freshArrivals[a.Entry] = slices.DeleteFunc(e.freshArrivals[a.Entry], func(x Arrival) bool { return x.Vessel == v })
		}
	}
	e.fresh[v] = cell
	e.out.Cells["v:"+v] = cell
	for _, d := range cell.Draws {
		e.freshDraws[d.Entry] = append(e.freshDraws[d.Entry], d)
	}
	for _, a := range cell.Arrivals {
		e.freshArrivals[a.Entry] = append(e.freshArrivals[a.Entry], a)
	}
}

// changedEntries lists the entries whose items differ between two lists.
func changedEntries[T any](old, now []T, entry func(T) int64, same func(a, b T) bool) map[int64]bool {
	was, is := map[int64][]T{}, map[int64][]T{}
	for _, x := range old {
		was[entry(x)] = append(was[entry(x)], x)
	}
	for _, x := range now {
		is[entry(x)] = append(is[entry(x)], x)
	}
	changed := map[int64]bool{}
	for id, xs := range is {
		if !slices.EqualFunc(was[id], xs, same) {
			changed[id] = true
		}
	}
	for id := range was {
		if _, ok := is[id]; !ok {
			changed[id] = true
		}
	}
	return changed
}

// drawChanged marks what depends on how an entry drew on a vessel.
func (e *engine) drawChanged(v string, entry int64) {
	rec, ok := e.src.Record(entry)
	if !ok {
		return
	}
	switch r := rec.(type) {
	case *lots.Feed:
		e.runs[r.Run] = true
	case *lots.Transfer:
		e.mark(entry)
		if _, _, flows := transferTime(r); flows && r.To != v {
			e.mark(0, r.To)
		}
	case *lots.Circulation:
		e.markCirculation(r)
	case *lots.BrewInput, *lots.Crop, *lots.Addition:
		e.entries[entry] = true
	case *lots.Clean:
		e.entries[entry] = true
		e.cleanedOther(r)
	}
}

// followMaybes marks the outflows that an inflow with changed sources may have reached.
func (e *engine) followMaybes() {
	receivers := map[string][]int64{}
	for entry := range e.entries {
		for _, a := range e.arrivalsOf(entry) {
			receivers[a.Vessel] = append(receivers[a.Vessel], entry)
		}
	}
	for v, entries := range receivers {
		draws, _ := e.known(v)
		for _, d := range draws {
			if slices.ContainsFunc(d.Maybe, func(m int64) bool { return slices.Contains(entries, m) }) {
				e.drawChanged(v, d.Entry)
			}
		}
	}
}

// drawsOf gives the draws of an entry on every vessel, as they stand now.
func (e *engine) drawsOf(entry int64) []Draw {
	return standing(e, e.freshDraws[entry], e.src.DrawsOf(entry), func(d Draw) (string, int64) { return d.Vessel, d.Start })
}

// arrivalsOf gives the arrivals of an entry in every vessel, as they stand now.
func (e *engine) arrivalsOf(entry int64) []Arrival {
	return standing(e, e.freshArrivals[entry], e.src.ArrivalsOf(entry), func(a Arrival) (string, int64) { return a.Vessel, a.Start })
}

// standing joins what this pass derived with what stood before of vessels it did not touch, by vessel and time.
func standing[T any](e *engine, fresh, before []T, place func(T) (vessel string, start int64)) []T {
	out := slices.Clone(fresh)
	for _, x := range before {
		if vessel, _ := place(x); e.fresh[vessel] == nil {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b T) int {
		va, sa := place(a)
		vb, sb := place(b)
		return cmp.Or(cmp.Compare(va, vb), cmp.Compare(sa, sb))
	})
	return out
}

// refuseCrossing refuses two transfers that run between the same vessels in
// opposite directions at one time: what each carried cannot be told.
func (e *engine) refuseCrossing(rec lots.Record) error {
	t, ok := rec.(*lots.Transfer)
	if !ok || t.From.OneOf() {
		return nil
	}
	if now, ok := e.src.Record(t.Seq); !ok || !reflect.DeepEqual(now, rec) {
		return nil // the record as it was before a correction
	}
	lo, hi, flows := transferTime(t)
	if !flows {
		return nil
	}
	for _, other := range e.src.Touching(t.To) {
		u, ok := other.(*lots.Transfer)
		if !ok || u.Seq == t.Seq || u.From.OneOf() || u.From.Code() != t.To || u.To != t.From.Code() {
			continue
		}
		ulo, uhi, uflows := transferTime(u)
		if uflows && (lo < uhi && ulo < hi || lo == ulo) {
			return lots.Errorf(lots.Conflict, "transfers %s (%s to %s) and %s (%s to %s) overlap in time: record a circulation instead",
				t.Transfer, t.From.Code(), t.To, u.Transfer, u.From.Code(), u.To)
		}
	}
	return nil
}
