package trace

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Stopped says which of the entries just recorded took something that had been stopped:
// beer, lots or units under a hold that stood before them, or that inherit from what is. A
// release lets go what it names, and what comes through it, of every older hold for the same reason. What
// happened before a hold, and samples, destruction and going back to the supplier, are let
// through. A hold that came in together with an act cannot have stopped it. Lots that were rejected
// at the dock are stopped as well, also where they came in together with their use.
func Stopped(tx *store.Tx, entries []int64) (lots.Faults, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	g, err := newGuard(tx, entries[0])
	if err != nil || g.idle() {
		return nil, err
	}
	var faults lots.Faults
	for i, entry := range entries {
		if taken := g.taken(entry); len(taken) > 0 {
			faults = append(faults, lots.Fault{Line: i + 1, Reason: taken[0].why, Held: true})
		}
	}
	return faults, cmp.Or(g.err, tx.Err())
}

// Takes says for each stopped thing that entries take, as they read now, why that may not be:
// by entry and code. It is asked before and after a correction, which may newly take one.
func Takes(tx *store.Tx, entries []int64) (map[int64]map[string]string, error) {
	out := map[int64]map[string]string{}
	g, err := newGuard(tx, math.MaxInt64)
	if err != nil || g.idle() {
		return out, err
	}
	for _, entry := range entries {
		out[entry] = map[string]string{}
		for _, s := range g.taken(entry) {
			out[entry][s.code] = s.why
		}
	}
	return out, cmp.Or(g.err, tx.Err())
}

// idle reports whether there is nothing that could stop anything.
func (g *guard) idle() bool { return len(g.holds) == 0 && !g.tx.AnyRejected() }

// newGuard reads the holds and releases recorded before an entry.
func newGuard(tx *store.Tx, before int64) (*guard, error) {
	g := &guard{tx: tx, r: &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}, grouped: map[int]map[string]*group{}, walks: map[string]*graph.Reach{}, refused: map[string][]*lots.Receipt{}}
	holds, err := openHolds(tx)
	if err != nil {
		return nil, err
	}
	oldest := before
	for _, h := range holds {
		if h.entry < before {
			g.holds = append(g.holds, h)
			oldest = min(oldest, h.entry)
		}
	}
	if len(g.holds) == 0 {
		return g, nil
	}
	slices.SortStableFunc(g.holds, func(a, b held) int { return cmp.Compare(a.at.From, b.at.From) })
	g.releases = g.letGo(oldest, before)
	return g, tx.Err()
}

// LetThrough says which of the entries just recorded took something that is on hold, or holds
// what is, and was not stopped: because it happened before the hold, or because a release let
// it go by name. That stands, and whoever enters it should know.
func LetThrough(tx *store.Tx, entries []int64) ([]string, error) {
	g, err := newGuard(tx, math.MaxInt64)
	if err != nil || len(g.holds) == 0 {
		return nil, err
	}
	g.releases = nil // holds to the letter
	var out []string
	for _, entry := range entries {
		rec, ok := tx.Record(entry)
		if !ok {
			continue
		}
		if text := g.atHeld(rec); text != "" {
			out = append(out, text)
		}
		at, from := g.took(rec)
		for _, ref := range from {
			for _, code := range ref.Codes {
				if text := g.letThrough(at, code, g.nodesTaken(entry, ref.Kind, code)); text != "" {
					out = append(out, text)
				}
			}
		}
	}
	return out, cmp.Or(g.err, tx.Err())
}

// atHeld tells of a crop from a vessel on hold, and of its cleaning: neither is stopped.
func (g *guard) atHeld(rec lots.Record) string {
	vessel, at, text := "", lots.When{}, ""
	switch x := rec.(type) {
	case *lots.Crop:
		vessel, at, text = x.Vessel, x.At, "%s is on hold: what was cropped from it is held too"
	case *lots.Clean:
		if x.Subject.Kind == lots.KindVessel {
			vessel, at, text = x.Subject.Code(), x.At, "%s held goods on hold when it was cleaned: record where they went (heeltap remove)"
		}
	}
	if vessel == "" {
		return ""
	}
	for _, n := range g.tx.NodesOf(vessel) {
		if n.Kind == graph.Fill && n.Since < at.From && at.From <= endOf(n) && g.heldBy(at, n.ID) != nil {
			return fmt.Sprintf(text, vessel)
		}
	}
	return ""
}

// letThrough says why what was taken at a time was not stopped although it is on hold; empty where it is not.
func (g *guard) letThrough(at lots.When, code string, nodes []store.Node) string {
	ever := lots.When{From: math.MaxInt64, To: math.MaxInt64}
	for _, n := range nodes {
		if steps := g.heldBy(at, n.ID); steps != nil {
			return fmt.Sprintf("%s was released, but what went into it, %s, is still on hold", code, steps[0].Node.Shown())
		}
		if g.heldBy(ever, n.ID) != nil {
			return fmt.Sprintf("%s is on hold now: what was recorded happened before that, and what it went into is held too", code)
		}
	}
	return ""
}

type guard struct {
	tx       *store.Tx
	r        *resolver
	holds    []held
	releases []release
	refused  map[string][]*lots.Receipt // by vessel, the rejected lots that were put into one all the same
	grouped  map[int]map[string]*group
	walks    map[string]*graph.Reach // by how many of the holds, in order of time, stood, and what was let go of them
	err      error
}

// release lets go of some nodes: of holds for the same reason that are older, by journal and by time.
type release struct {
	entry  int64
	at     lots.When
	reason string
	nodes  []int64
}

func (r release) of(h held) bool {
	return r.entry > h.entry && r.reason == h.reason && r.at.To >= h.at.From
}

// letGo lists the releases between two entries that may let go of one of the guard's holds, in order: an older
// one lets go of none, nor does one for another reason.
func (g *guard) letGo(after, before int64) []release {
	var reasons []string
	for _, h := range g.holds {
		reasons = append(reasons, h.reason)
	}
	since := g.holds[0].at.From - longestDay // they are in order of time, and a release may be of a day
	holds := g.tx.LetGo(reasons, since, g.tx.Recorded().Unix())
	var entries []int64
	for _, h := range holds {
		entries = append(entries, h.Seq)
	}
	last := g.tx.LastSet(entries, "released_at")
	var out []release
	for _, h := range holds {
		r := release{entry: last[h.Seq], at: h.ReleasedAt, reason: h.Reason}
		if r.entry <= after || r.entry >= before {
			continue
		}
		t := &target{}
		for _, code := range h.Subject.Codes {
			g.r.addHeld(t, h.Subject.Kind, code, h.At)
		}
		for _, s := range t.starts {
			r.nodes = append(r.nodes, s.ID)
		}
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b release) int { return cmp.Compare(a.entry, b.entry) })
	return out
}

// longestDay is more seconds than any day has.
const longestDay = 26 * 60 * 60

// stop is a stopped thing that was taken, and why that may not be.
type stop struct{ code, why string }

// taken lists what stopped things an entry took.
func (g *guard) taken(entry int64) []stop {
	rec, ok := g.tx.Record(entry)
	if !ok {
		return nil
	}
	at, from := g.took(rec)
	out := g.rejected(entry, from)
	if len(g.holds) == 0 {
		return out
	}
	for _, ref := range from {
		for _, code := range ref.Codes {
			for _, n := range g.nodesTaken(entry, ref.Kind, code) {
				if steps := g.heldBy(at, n.ID); steps != nil {
					out = append(out, stop{code, fmt.Sprintf("%s is on hold%s: nothing may be taken from it; release what is held, or go on with --override REASON", code, through(steps))})
					break
				}
			}
		}
	}
	return out
}

// took tells when an act took things, and which.
func (g *guard) took(rec lots.Record) (lots.When, []lots.Ref) {
	switch x := rec.(type) {
	case *lots.BrewInput:
		return InputAt(g.tx, x), []lots.Ref{x.From}
	case *lots.Addition:
		return x.At, []lots.Ref{x.From}
	case *lots.Transfer:
		return x.Started, []lots.Ref{x.From}
	case *lots.Circulation:
		if x.Perhaps { // nobody took anything: what may have happened is told, whatever is on hold
			return lots.When{}, nil
		}
		return x.Started, []lots.Ref{{Kind: lots.KindVessel, Codes: x.Vessels}}
	case *lots.Feed:
		return FedAt(g.tx, x), []lots.Ref{x.From}
	case *lots.Shipment:
		return x.At, []lots.Ref{x.Unit}
	case *lots.Bulk:
		return x.At, []lots.Ref{x.From}
	case *lots.Clean:
		return x.At, []lots.Ref{x.From}
	case *lots.Tipping:
		return x.At, []lots.Ref{x.From}
	case *lots.Removal:
		if x.Reason == "taproom" {
			return x.At, []lots.Ref{x.Subject}
		}
	}
	return lots.When{}, nil
}

// nodesTaken finds the nodes that an entry took of a thing: of a vessel the fills it drew on.
func (g *guard) nodesTaken(entry int64, kind lots.Kind, code string) []store.Node {
	switch kind {
	case lots.KindRun: // its rejects: of any moment of it
		return slices.DeleteFunc(g.tx.NodesOf(code), func(n store.Node) bool { return n.Kind != graph.Segment && n.Kind != graph.Stretch })
	case lots.KindVessel:
	default:
		return g.tx.NodesNamed(code)
	}
	var out []store.Node
	for _, d := range g.tx.DrawsOf(entry) {
		if d.Vessel == code {
			out = append(out, g.tx.NodesNamed(lineage.FillRef(code, d.Fill, g.r.site.Zone).Code)...)
		}
	}
	return out
}

// group are holds of which the same was let go.
type group struct {
	holds    []held
	releases []release
}

// heldBy gives the chain by which a node was held at a time; nil where it was not. Holds of
// which the same was let go are walked together.
func (g *guard) heldBy(at lots.When, node int64) []graph.Step {
	n, _ := slices.BinarySearchFunc(g.holds, at.To, func(h held, to int64) int { // they are in order of time
		if h.at.From <= to {
			return -1
		}
		return 1
	})
	groups := g.groups(n)
	for _, key := range slices.Sorted(maps.Keys(groups)) {
		if reach := g.walk(fmt.Sprint(n, ": ", key), groups[key]); reach != nil && reach.Band(node) == graph.In {
			return reach.Why(node)
		}
	}
	return nil
}

// groups parts the first n holds by what was let go of them.
func (g *guard) groups(n int) map[string]*group {
	if groups, ok := g.grouped[n]; ok {
		return groups
	}
	groups := map[string]*group{}
	for _, h := range g.holds[:n] {
		key := ""
		var of []release
		for i, r := range g.releases {
			if r.of(h) {
				key += fmt.Sprint(i, " ")
				of = append(of, r)
			}
		}
		if groups[key] == nil {
			groups[key] = &group{releases: of}
		}
		groups[key].holds = append(groups[key].holds, h)
	}
	g.grouped[n] = groups
	return groups
}

// walk goes forward from held things, and not through what was let go of them; nil on an error.
func (g *guard) walk(key string, of *group) *graph.Reach {
	reach, ok := g.walks[key]
	if ok {
		return reach
	}
	cut := map[int64]bool{}
	for _, r := range of.releases {
		for _, id := range r.nodes {
			cut[id] = true
		}
	}
	from := &target{}
	for _, h := range of.holds {
		own := &target{}
		for _, code := range h.subject.Codes {
			g.r.addHeld(own, h.subject.Kind, code, h.at)
		}
		for _, s := range own.starts {
			if h.subject.Kind != lots.KindRun || s.Kind != graph.Unit {
				delete(cut, s.ID) // a hold of its own: who released another one left this
			}
		}
		from.merge(own)
	}
	reach, err := walkHeld(g.tx, from, cut)
	if err != nil {
		g.err = err
		return nil
	}
	g.walks[key] = reach
	return reach
}

// StoppedBy tells what stops a thing now, itself or by what went into it, when all that was let go is
// left out; empty where nothing does.
func StoppedBy(tx *store.Tx, kind lots.Kind, code string) (string, error) {
	g, err := newGuard(tx, math.MaxInt64)
	if err != nil || len(g.holds) == 0 {
		return "", err
	}
	t, err := g.r.target(reading{kind: string(kind), code: code})
	if err != nil {
		return "", nil // nothing in the lineage is linked to it
	}
	for _, s := range t.starts {
		if steps := g.heldBy(lots.When{From: math.MaxInt64, To: math.MaxInt64}, s.ID); steps != nil {
			return steps[0].Node.Shown(), nil
		}
	}
	return "", g.err
}

// through tells where a hold came from, where it is inherited.
func through(steps []graph.Step) string {
	if len(steps) < 2 {
		return ""
	}
	return " by " + steps[0].Node.Shown()
}

// LastTaken is when something was last taken of a lot, vessel or unit, as guards see it, or removed from it;
// the beginning of time where nothing was.
func LastTaken(tx *store.Tx, code string) int64 {
	g := &guard{tx: tx}
	last := int64(math.MinInt64)
	for _, rec := range tx.Touching(code) {
		at, from := g.took(rec)
		if r, ok := rec.(*lots.Removal); ok {
			at, from = r.At, []lots.Ref{r.Subject}
		}
		for _, ref := range from {
			if slices.Contains(ref.Codes, code) {
				last = max(last, at.To)
			}
		}
	}
	return last
}
