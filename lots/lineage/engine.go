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
		e.change(rec)
	}
	for _, rec := range changed {
		if err := e.refuseCrossing(rec); err != nil {
			return nil, err
		}
		e.expand(rec)
	}
	e.settleVessels()
	e.followAll()
	for entry := range e.entries {
		e.out.Cells[entryOwner(entry)] = e.entryCell(entry)
	}
	for _, run := range slices.Sorted(maps.Keys(e.runs)) {
		e.out.Cells["r:"+run] = e.runCell(run)
	}
	e.passed()
	for item, s := range e.items {
		e.pathCells(item, s)
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

	vessels                  map[string]map[int64]bool // entries that may have changed in them
	windows                  map[string]*window
	whole                    bool                        // everything is derived: nothing stood before
	crossing                 map[string][]*lots.Transfer // changed transfers, by where they go
	items                    map[string]stretch          // the span in which their passes may change
	runs, lots, brews, units map[string]bool
	entries, changed         map[int64]bool
	kegs                     map[string]*keg
	labels                   map[[2]string]bool // product and allergen: it is declared
	washes, followed         map[string]bool    // runs: a wash of one of its kegs is noted; its kegs are marked
	freshDraws               map[int64][]Draw
	freshArrivals            map[int64][]Arrival
	dyed                     int64 // a clean whose traces are looked for; 0 in a derivation
}

func newEngine(src Source, limits Limits) *engine {
	_, whole := src.(ledgerSource)
	return &engine{
		src: cachedSource{Source: src, things: map[string]lots.Thing{}}, limits: limits, zone: src.Site().Zone,
		out:   &Delta{Cells: map[string]*Cell{}},
		whole: whole, vessels: map[string]map[int64]bool{}, windows: map[string]*window{}, crossing: map[string][]*lots.Transfer{}, runs: map[string]bool{}, items: map[string]stretch{},
		lots: map[string]bool{}, brews: map[string]bool{}, units: map[string]bool{}, entries: map[int64]bool{}, changed: map[int64]bool{},
		kegs: map[string]*keg{}, labels: map[[2]string]bool{}, washes: map[string]bool{}, followed: map[string]bool{},
		freshDraws: map[int64][]Draw{}, freshArrivals: map[int64][]Arrival{},
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
		e.usesMoved(r.Lot, r.Into)
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
		lo, hi, _ := transferTime(r)
		e.through(lo, hi+1, r.Via...)
	case *lots.Circulation:
		e.mark(r.Seq, r.Vessels...)
		e.markCirculation(r)
	case *lots.Crop:
		e.mark(r.Seq, r.Vessel, r.Into)
		e.lots[r.Lot] = true
		e.usesMoved(r.Lot, r.Into)
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
		e.through(r.Started.From, r.Ended.End(), r.Line)
		e.followLine(r.Line, r.Started.From, r.Ended.End())
		e.followKegs(r)
	case *lots.CodeChange:
		e.runs[r.Run] = true
	case *lots.Feed:
		e.expandRun(r.Run)
		if run, _, ok := e.runOf(r.Run); ok {
			e.followLine(run.Line, run.Started.From, run.Ended.End())
			e.through(run.Started.From, run.Ended.End(), r.From.Codes...)
		}
		e.moved(r.Seq, e.holders(r.From)...)
		e.used(r.From)
	case *lots.Packed:
		e.runs[r.Run], e.units[r.Unit] = true, true
		e.followPacked(r)
	case *lots.Shipment:
		e.follow(r.Unit)
	case *lots.Return:
		e.follow(r.Unit)
	case *lots.Removal:
		e.moved(r.Seq, e.holders(r.Subject)...)
		e.used(r.Subject)
	case *lots.Bulk:
		e.moved(r.Seq, e.holders(r.From)...)
		e.used(r.From)
	}
}

// change notes a record that changed.
func (e *engine) change(rec lots.Record) {
	if e.whole || !e.changed[rec.Entry()] {
		e.changed[rec.Entry()] = true
		now, _ := e.src.Record(rec.Entry())
		if t, ok := now.(*lots.Transfer); ok && !e.whole {
			e.crossing[t.To] = append(e.crossing[t.To], t)
		}
	}
}

// mark notes an entry whose links, and vessels whose books, are worked out anew.
func (e *engine) mark(entry int64, vessels ...string) {
	e.entries[entry] = true
	e.moved(entry, vessels...)
}

// moved notes vessels in whose books an entry may stand otherwise than before.
func (e *engine) moved(entry int64, vessels ...string) {
	for _, v := range vessels {
		if t, _ := e.src.Thing(v); t.Kind == lots.KindVessel && t.VesselKind != "path" {
			if e.vessels[v] == nil {
				e.vessels[v] = map[int64]bool{}
			}
			e.vessels[v][entry] = true
		}
	}
}

// usesMoved notes that what was used of a lot is, or was, drawn through the vessel that it came into.
func (e *engine) usesMoved(lot, into string) {
	if into == "" || e.whole {
		return
	}
	for _, rec := range e.src.Touching(lot) {
		e.moved(rec.Entry(), into)
	}
}

// through marks path items and lines, of which the passes of a span may change.
func (e *engine) through(lo, hi int64, codes ...string) {
	for _, c := range codes {
		if t, _ := e.src.Thing(c); t.Kind == lots.KindLine || t.VesselKind == "path" {
			s, ok := e.items[c]
			if !ok {
				s = stretch{lo, hi}
			}
			e.items[c] = stretch{min(s.start, lo), max(s.end, hi)}
		}
	}
}

// passed marks the path items and lines that the entries and runs derived anew
// went through: a run changes with its tanks, and its passes with it.
func (e *engine) passed() {
	for owner, c := range e.out.Cells {
		for _, p := range c.Passes {
			e.through(p.Start, p.End, p.Item)
		}
		if owner[0] == 'e' || owner[0] == 'r' {
			for _, p := range e.src.PassesOf(owner) {
				e.through(p.Start, p.End, p.Item)
			}
		}
	}
}

// cleaned marks what was cleaned and what it was cleaned with, and the vessels that were being emptied into it then.
func (e *engine) cleaned(c *lots.Clean) {
	e.mark(c.Seq, append(e.holders(c.From), c.Subject.Codes...)...)
	e.cleanedOther(c)
	if e.whole {
		return // every transfer is marked anyway
	}
	for _, t := range e.transfersInto(c.Subject.Code(), c.At.From, c.At.From) {
		if lo, hi, flows := transferTime(t); flows && lo < c.At.From && c.At.From < hi {
			e.moved(t.Seq, e.holders(t.From)...)
		}
	}
}

// transfersInto lists the transfers into a vessel that its books have in the parts that a span touches, and those that changed.
func (e *engine) transfersInto(v string, lo, hi int64) []*lots.Transfer {
	out := slices.Clone(e.crossing[v])
	for _, p := range e.src.Parts(v, lo, hi) {
		for _, x := range p.Moves {
			rec, _ := e.src.Record(x.Entry)
			if t, ok := rec.(*lots.Transfer); ok && t.To == v && !e.changed[t.Seq] {
				out = append(out, t)
			}
		}
	}
	return out
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
		e.moved(f.Seq, e.holders(f.From)...)
	}
}

// settleVessels works out the books of the marked vessels, and of those that
// receive a flow whose pieces changed, until nothing changes.
func (e *engine) settleVessels() {
	for len(e.vessels) > 0 {
		for _, v := range slices.Sorted(maps.Keys(e.vessels)) {
			entries := e.vessels[v]
			delete(e.vessels, v)
			e.settleVessel(v, entries)
		}
	}
}

// settleVessel works out anew the parts of a vessel's books that entries touch, and those after them that follow from it.
func (e *engine) settleVessel(v string, entries map[int64]bool) {
	w := e.windows[v]
	if w == nil {
		w = &window{entries: map[int64]bool{}}
	}
	maps.Copy(w.entries, entries)
	if e.whole {
		w.known, w.from, w.to = true, Beginning, Ever
	} else {
		lo, hi, ok := e.spansOf(v, entries)
		if !ok {
			return // they do not move anything in it, and did not
		}
		e.reach(v, w, lo, hi)
	}
	e.windows[v] = w
	m := e.gatherIn(v, w)
	books, ok := e.settleParts(v, m, w)
	for !ok {
		e.widen(v, w)
		m = e.gatherIn(v, w)
		books, ok = e.settleParts(v, m, w)
	}
	oldDraws, oldArrivals := e.standingIn(v, w)
	draws, arrivals := e.replace(v, w, books)
	e.markPerhaps(v, m, draws)
	changed := changedEntries(oldDraws, draws, func(d Draw) int64 { return d.Entry }, Draw.Same)
	for entry := range changed {
		e.drawChanged(v, entry)
	}
	arrived := changedEntries(oldArrivals, arrivals, func(a Arrival) int64 { return a.Entry }, func(a, b Arrival) bool { return a == b })
	for entry := range arrived {
		e.entries[entry] = true
	}
	for _, d := range draws {
		if len(arrived) > 0 && len(d.Maybe) > 0 {
			e.drawChanged(v, d.Entry)
		}
	}
}

// standingIn gives the draws and arrivals of a window as they stand so far: as this pass derived them, else as they stood before.
func (e *engine) standingIn(v string, w *window) (draws []Draw, arrivals []Arrival) {
	for _, c := range w.parts {
		draws, arrivals = append(draws, c.Draws...), append(arrivals, c.Arrivals...)
	}
	for _, p := range w.stored {
		if !slices.Contains(w.covered, p.Since) {
			draws, arrivals = append(draws, e.src.PartDraws(v, p.Since)...), append(arrivals, e.src.PartArrivals(v, p.Since)...)
		}
	}
	return draws, arrivals
}

// replace puts a window's new parts in the place of what stood there, and gives their draws and arrivals.
func (e *engine) replace(v string, w *window, books []*book) (draws []Draw, arrivals []Arrival) {
	for _, old := range w.parts {
		for _, d := range old.Draws {
			e.freshDraws[d.Entry] = slices.DeleteFunc(e.freshDraws[d.Entry], func(x Draw) bool { return x.Vessel == v })
		}
		for _, a := range old.Arrivals {
			e.freshArrivals[a.Entry] = slices.DeleteFunc(e.freshArrivals[a.Entry], func(x Arrival) bool { return x.Vessel == v })
		}
		delete(e.out.Cells, old.Owner)
	}
	w.parts, w.covered = nil, nil
	for _, p := range w.stored {
		w.covered = append(w.covered, p.Since)
		owner := partOwner("v", v, p.Since)
		e.out.Cells[owner] = &Cell{Owner: owner}
	}
	for _, b := range books {
		cell := e.vesselCell(b)
		w.parts = append(w.parts, cell)
		e.out.Cells[cell.Owner] = cell
		if b.since == Beginning && b.until == Ever && len(cell.Part.Moves) == 0 {
			e.out.Cells[cell.Owner] = &Cell{Owner: cell.Owner} // nothing ever moved in it
		}
		draws, arrivals = append(draws, cell.Draws...), append(arrivals, cell.Arrivals...)
		for _, d := range cell.Draws {
			e.freshDraws[d.Entry] = append(e.freshDraws[d.Entry], d)
		}
		for _, a := range cell.Arrivals {
			e.freshArrivals[a.Entry] = append(e.freshArrivals[a.Entry], a)
		}
	}
	return draws, arrivals
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
			e.moved(entry, r.To)
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

// followAll marks what depends on the runs and entries marked so far, until nothing more does.
func (e *engine) followAll() {
	for before := -1; before != len(e.runs)+len(e.entries); {
		before = len(e.runs) + len(e.entries)
		e.followRejects()
		e.followMaybes()
	}
}

// followMaybes marks the outflows that an inflow with changed sources, or what was used in a clean before one, may have reached.
func (e *engine) followMaybes() {
	for _, entry := range slices.Collect(maps.Keys(e.entries)) {
		rec, _ := e.src.Record(entry)
		_, clean := rec.(*lots.Clean)
		for _, a := range e.arrivalsOf(entry) {
			p, ok := e.partAt(a.Vessel, a.Fill)
			for _, d := range draws(p, ok) {
				if slices.Contains(d.Maybe, entry) || clean && len(d.Maybe) > 0 {
					e.drawChanged(a.Vessel, d.Entry)
				}
			}
		}
	}
}

// draws are the draws of a part, if there is one.
func draws(p *Cell, ok bool) []Draw {
	if !ok {
		return nil
	}
	return p.Draws
}

// drawsOf gives the draws of an entry on every vessel, as they stand now.
func (e *engine) drawsOf(entry int64) []Draw {
	return standing(e, e.freshDraws[entry], e.src.DrawsOf(entry), func(d Draw) (string, int64, int64) { return d.Vessel, d.Start, d.Start })
}

// arrivalsOf gives the arrivals of an entry in every vessel, as they stand now.
func (e *engine) arrivalsOf(entry int64) []Arrival {
	return standing(e, e.freshArrivals[entry], e.src.ArrivalsOf(entry), func(a Arrival) (string, int64, int64) { return a.Vessel, a.Start, a.Fill })
}

// standing joins what this pass derived with what stood before of vessels it did not touch, by vessel and time.
func standing[T any](e *engine, fresh, before []T, place func(T) (vessel string, start, lies int64)) []T {
	out := slices.Clone(fresh)
	for _, x := range before {
		if vessel, _, lies := place(x); !e.windows[vessel].has(lies) {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b T) int {
		va, sa, _ := place(a)
		vb, sb, _ := place(b)
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
	var others []*lots.Transfer
	if e.whole {
		others = transfersOf(e.src.Touching(t.To))
	} else {
		others = e.transfersInto(t.From.Code(), lo, hi)
	}
	for _, u := range others {
		if u.Seq == t.Seq || u.From.OneOf() || u.From.Code() != t.To || u.To != t.From.Code() {
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

func transfersOf(recs []lots.Record) (out []*lots.Transfer) {
	for _, rec := range recs {
		if t, ok := rec.(*lots.Transfer); ok {
			out = append(out, t)
		}
	}
	return out
}
