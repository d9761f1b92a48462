package lineage

import (
	"cmp"
	"encoding/json"
	"maps"
	"math"
	"slices"
	"strconv"
)

// A vessel's books, and the passes of a path item or line, are kept in parts, so that an entry works out anew only the part that its time touches. A part
// begins at a moment that nothing else touches: a certain clean, or, in a vessel as long as no clean came after a fill
// (so that no break can be in doubt), the first single inflow of a month. What the part before leaves to it is its
// opening; a part with an equal opening and equal moves has an equal outcome, so what follows need not be looked at.

// Bounds of time.
const (
	Beginning = math.MinInt64
	Ever      = math.MaxInt64
)

// Part is one part of a vessel's books or of an item's passes: it holds what was from Since on until the next part begins.
type Part struct {
	Vessel string // or path item or line
	Since  int64  // Unix seconds; Beginning for the first
	Opens  int64  // entry of the clean or inflow that it begins with; 0 for the first
	State  string // its opening, as JSON
	Moves  []Move // by entry; of a vessel
}

// Move is an entry that moved something in a part, and the span that all its moves there take.
type Move struct{ Entry, From, To int64 }

// partOwner names the cell of a part: v for the books of a vessel, p for passes. No code has an @.
func partOwner(kind, of string, since int64) string {
	if since == Beginning {
		return kind + ":" + of
	}
	return kind + ":" + of + "@" + strconv.FormatInt(since, 10)
}

// month is how long one part without a clean lasts at least, in seconds; tests shorten it.
var month int64 = 30 * 24 * 3600

// opening is where a vessel's books stand just before the moment that a part begins at.
type opening struct {
	Fill    *lastFill `json:"fill,omitempty"`    // the last fill, be it still there or gone
	Current bool      `json:"current,omitempty"` // it is still there
	Broken  bool      `json:"broken,omitempty"`  // a break came after it
	Cleaned bool      `json:"cleaned,omitempty"` // a break came before
	Doubts  bool      `json:"doubts,omitempty"`  // a break came after a fill: it may be in doubt
	Month   int64     `json:"month,omitempty"`   // of the last inflow that began a part
	Washes  []opened  `json:"washes,omitempty"`  // cleans of any method that nothing came in after
}

// opened is a clean before a part.
type opened struct {
	Entry  int64 `json:"entry"`
	Lo     int64 `json:"lo"`
	Hi     int64 `json:"hi"`
	Breaks bool  `json:"breaks,omitempty"`
}

type lastFill struct {
	Since    int64   `json:"since"`
	Root     int64   `json:"root"`
	Total    float64 `json:"total"`
	Drawn    float64 `json:"drawn"`
	Entry    int64   `json:"entry"`
	MayClean bool    `json:"may_clean,omitempty"`
}

func (o opening) text() string {
	b, err := json.Marshal(o)
	if err != nil {
		panic(err) // quantities are finite
	}
	return string(b)
}

func readOpening(text string) (o opening) {
	if text != "" && json.Unmarshal([]byte(text), &o) != nil {
		panic("lineage: a part's state cannot be read: " + text)
	}
	return o
}

// newBook starts the books of a part.
func newBook(vessel string, m *moves, limits Limits, since, opens int64, o opening) *book {
	b := &book{vessel: vessel, moves: m, limits: limits, since: since, until: Ever, opens: opens, opening: o, at: status{cur: -1, last: -1}}
	if o.Cleaned {
		b.at.epoch = 1
	}
	for _, w := range o.Washes {
		b.open = append(b.open, wash{w.Entry, w.Lo, w.Hi, w.Breaks})
	}
	if f := o.Fill; f != nil {
		b.before = 1
		b.fills = []fill{{since: f.Since, until: since, total: f.Total, drawn: f.Drawn, prev: -1, root: f.Root, epoch: b.at.epoch, mayClean: f.MayClean, entry: f.Entry}}
		b.at.last, b.at.broken = 0, o.Broken
		if o.Current {
			b.at.cur = 0
		}
	}
	return b
}

// leaves is the opening of a part that begins at a moment, after all that is in these books.
func (b *book) leaves(at int64, c cluster) opening {
	o := opening{Current: b.at.cur >= 0, Broken: b.at.broken, Cleaned: b.at.epoch > 0, Doubts: b.doubtful(), Month: b.opening.Month}
	if b.at.last >= 0 {
		f := b.fills[b.at.last]
		o.Fill = &lastFill{Since: f.since, Root: f.root, Total: f.total, Drawn: f.drawn, Entry: f.entry, MayClean: f.mayClean}
	}
	if len(c.ins) > 0 {
		o.Month = monthOf(at)
	}
	for _, w := range b.washes() {
		if w.lo < at && !slices.ContainsFunc(b.moves.ins, func(in inflow) bool { return in.lo >= w.hi && in.lo < at }) {
			o.Washes = append(o.Washes, opened{w.entry, w.lo, w.hi, w.breaks})
		}
	}
	slices.SortFunc(o.Washes, func(a, b opened) int { return cmp.Compare(a.Entry, b.Entry) })
	return o
}

// monthOf numbers months from 1.
func monthOf(t int64) int64 { return t/month + 1 }

// doubtful reports whether a break came after a fill so far.
func (b *book) doubtful() bool {
	return b.opening.Doubts || slices.ContainsFunc(b.breaks, func(k broken) bool { return k.before >= 0 })
}

// washes are the cleans by any method that bear on a part: its own, and those that its opening names.
func (b *book) washes() []wash {
	out := slices.Clone(b.open)
	for _, w := range b.moves.washes {
		if w.lo >= b.since && w.lo < b.until {
			out = append(out, w)
		}
	}
	return out
}

// extents are the spans that moves and cleans take, by their start.
func (m *moves) extents() []stretch {
	var out []stretch
	for _, x := range m.ins {
		out = append(out, stretch{x.lo, max(x.hi, x.end)})
	}
	for _, x := range m.outs {
		out = append(out, stretch{x.lo, max(x.hi, x.end)})
	}
	for _, x := range m.cleans {
		out = append(out, stretch{x.lo, x.hi})
	}
	for _, w := range m.washes {
		if !w.breaks { // else it is one of the cleans
			out = append(out, stretch{w.lo, w.hi})
		}
	}
	slices.SortFunc(out, func(a, b stretch) int { return cmp.Compare(a.start, b.start) })
	return out
}

// alone finds the moments that exactly one move or clean touches: those that a part can begin at.
func (m *moves) alone() map[int64]bool {
	all := m.extents()
	out := map[int64]bool{}
	latest := int64(Beginning)
	for i, x := range all {
		if (i == 0 || latest < x.start) && (i+1 == len(all) || all[i+1].start > x.start) {
			out[x.start] = true
		}
		latest = max(latest, x.end)
	}
	return out
}

// begins reports whether a part can begin with a cluster, after what stands in the books, and at which moment and with which entry.
func (b *book) begins(c cluster, alone map[int64]bool) (at, entry int64, ok bool) {
	switch {
	case len(c.cleans) == 1 && len(c.ins)+len(c.outs) == 0:
		k := &b.moves.cleans[c.cleans[0]]
		return k.lo, k.entry, k.certain() && !k.all && alone[k.lo]
	case len(c.ins) == 1 && len(c.cleans)+len(c.outs) == 0:
		in := &b.moves.ins[c.ins[0]]
		return in.lo, in.entry, in.certain() && !in.circ && alone[in.lo] && !b.doubtful() && monthOf(in.lo) != b.opening.Month
	}
	return 0, 0, false
}

// settleParts works a vessel's moves of a window into the books of its parts. It is false where the part after the
// window would begin otherwise than it does: then that belongs to the window.
func (e *engine) settleParts(v string, m *moves, w *window) ([]*book, bool) {
	b := newBook(v, m, e.limits, w.from, w.opens, readOpening(w.state))
	alone := m.alone()
	books := []*book{b}
	for i, c := range m.clusters() {
		at, entry, ok := b.begins(c, alone)
		if ok && !(i == 0 && w.from != Beginning) {
			b.until = at
			next := b.leaves(at, c)
			if b.at.cur >= 0 {
				b.fills[b.at.cur].until = at
			}
			if w.after != nil && at == w.after.Since {
				return books, entry == w.after.Opens && next.text() == w.after.State
			}
			b = newBook(v, m, e.limits, at, entry, next)
			books = append(books, b)
		}
		b.work(c)
	}
	return books, w.after == nil
}

// window is the stretch of a vessel's books that one derivation works out anew. It only grows.
type window struct {
	known    bool   // from and to are set
	from, to int64  // it begins with a part, and ends where one begins
	state    string // opening of its first part
	opens    int64
	stored   []Part // what stood there before
	after    *Part  // what follows; nil where nothing does
	entries  map[int64]bool
	parts    []*Cell // what stands there now, in order of time
	covered  []int64 // the stored parts that they stand for
}

// has reports whether a moment lies in the window.
func (w *window) has(t int64) bool { return w != nil && w.known && t >= w.from && t < w.to }

// reach widens a window to all parts that a span touches.
func (e *engine) reach(v string, w *window, lo, hi int64) {
	if w.known {
		if lo > w.from && hi < w.to {
			return
		}
		lo, hi = min(lo, w.from+1), max(hi, w.to-1) // a bound belongs to one side only
	}
	parts := e.src.Parts(v, lo, hi)
	w.known, w.from, w.to, w.state, w.opens, w.stored, w.after = true, Beginning, Ever, "", 0, parts, nil
	if len(parts) == 0 {
		return
	}
	w.from, w.state, w.opens = parts[0].Since, parts[0].State, parts[0].Opens
	if next, ok := e.src.PartAfter(v, parts[len(parts)-1].Since); ok {
		w.after, w.to = &next, next.Since
	}
}

// widen adds the part after a window to it.
func (e *engine) widen(v string, w *window) { e.reach(v, w, w.from+1, w.to) }

// spansOf are the spans that entries take in a vessel now, and took before.
func (e *engine) spansOf(v string, entries map[int64]bool) (lo, hi int64, ok bool) {
	lo, hi = Ever, Beginning
	m := &moves{}
	for entry := range entries {
		for _, was := range e.src.MovesOf(v, entry) {
			lo, hi = min(lo, was.From), max(hi, was.To)
		}
		if rec, ok := e.src.Record(entry); ok {
			e.move(m, v, rec)
		}
	}
	for _, x := range m.spans() {
		lo, hi = min(lo, x.From), max(hi, x.To)
	}
	return lo, hi, lo <= hi
}

// spans are the spans of all moves, by entry.
func (m *moves) spans() []Move {
	var out []Move
	for _, x := range m.ins {
		out = append(out, Move{x.entry, x.lo, max(x.hi, x.end)})
	}
	for _, x := range m.outs {
		out = append(out, Move{x.entry, x.lo, max(x.hi, x.end)})
	}
	for _, x := range m.cleans {
		out = append(out, Move{x.entry, x.lo, x.hi})
	}
	for _, x := range m.washes {
		out = append(out, Move{x.entry, x.lo, x.hi})
	}
	for _, x := range m.notes {
		out = append(out, Move{x.Entry, x.at, x.at})
	}
	return out
}

// movesIn are the entries that moved something in a part.
func (b *book) movesIn() []Move {
	spans := map[int64]Move{}
	for _, x := range b.moves.all {
		if x.From < b.since || x.From >= b.until {
			continue
		}
		if had, ok := spans[x.Entry]; ok {
			x.From, x.To = min(x.From, had.From), max(x.To, had.To)
		}
		spans[x.Entry] = x
	}
	return slices.SortedFunc(maps.Values(spans), func(a, b Move) int { return cmp.Compare(a.Entry, b.Entry) })
}

// gatherIn reads the moves of a window, with the one that ends it.
func (e *engine) gatherIn(v string, w *window) *moves {
	if len(w.stored) == 0 {
		m := e.gather(v)
		m.all = m.spans()
		return m
	}
	entries := maps.Clone(w.entries)
	for _, p := range w.stored {
		for _, x := range p.Moves {
			entries[x.Entry] = true
		}
	}
	if w.after != nil {
		entries[w.after.Opens] = true
	}
	m := &moves{}
	for _, entry := range slices.Sorted(maps.Keys(entries)) {
		if rec, ok := e.src.Record(entry); ok {
			e.move(m, v, rec)
		}
	}
	outside := func(lo int64) bool { return lo < w.from || lo > w.to }
	m.ins = slices.DeleteFunc(m.ins, func(x inflow) bool { return outside(x.lo) })
	m.outs = slices.DeleteFunc(m.outs, func(x outflow) bool { return outside(x.lo) })
	m.cleans = slices.DeleteFunc(m.cleans, func(x clean) bool { return outside(x.lo) })
	m.washes = slices.DeleteFunc(m.washes, func(x wash) bool { return outside(x.lo) })
	m.notes = slices.DeleteFunc(m.notes, func(x note) bool { return outside(x.at) })
	m.sort()
	m.all = m.spans()
	return m
}

// partAt finds the part of a vessel's books that a moment lies in, as they stand now.
func (e *engine) partAt(v string, t int64) (*Cell, bool) {
	if w := e.windows[v]; w.has(t) {
		for i := len(w.parts) - 1; i >= 0; i-- {
			if w.parts[i].Part.Since <= t {
				return w.parts[i], true
			}
		}
		return nil, false
	}
	p, ok := e.src.PartAt(v, t)
	if !ok {
		return nil, false
	}
	return &Cell{Part: &p, Draws: e.src.PartDraws(v, p.Since), Arrivals: e.src.PartArrivals(v, p.Since)}, true
}

// partAfter finds the part that begins next after a moment, as they stand now.
func (e *engine) partAfter(v string, t int64) (*Cell, bool) {
	w := e.windows[v]
	if w.has(t) {
		for _, c := range w.parts {
			if c.Part.Since > t {
				return c, true
			}
		}
		if w.after == nil {
			return nil, false
		}
		return e.partAt(v, w.to)
	}
	p, ok := e.src.PartAfter(v, t)
	if !ok {
		return nil, false
	}
	return e.partAt(v, p.Since)
}
