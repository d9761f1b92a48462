// Package exposure says, before anything has failed, what would be in scope if a lot failed
// today: for every lot, yeast and vessel chain how many units, how much of it has left, and to
// how many. It knows the published measures of batch dispersion, and tries what would shrink
// the worst ones by deriving the lineage anew, never by guessing.
package exposure

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Risk is what would be in scope if one thing failed now.
type Risk struct {
	Kind  string `json:"kind"` // lot, crop, or chain: fills of a vessel with no break between
	Code  string `json:"code"`
	Item  string `json:"item"`
	Month string `json:"month"` // of receipt, or of the first fill
	In    Reach  `json:"in"`
	May   Reach  `json:"possible"`
}

// Reach is what one band of a risk holds.
type Reach struct {
	Units      int     `json:"units"`
	Cases      int64   `json:"cases"`
	Kegs       int64   `json:"kegs"`
	VolumeL    float64 `json:"volume_l"`
	Left       float64 `json:"left"` // cases and kegs that were shipped and not returned
	Consignees int     `json:"consignees"`
	Runs       int     `json:"runs"`
}

// Measures are of the whole brewery, over content alone; raw lots are received lots, finished lots runs.
//
// Downward dispersion of a raw lot: finished lots that hold it; upward dispersion of a finished
// lot: raw lots in it; total batch dispersion: the sum of both (Dupuy, Botta-Genoulaz and Guinet
// 2005, Journal of Food Engineering 70:333). Worst and average recall: the most, and the mean, of
// what one raw lot would call back, in cases and kegs of finished goods (Dabbene and Gay 2011,
// Computers and Electronics in Agriculture 75:139).
type Measures struct {
	Lots     int     `json:"lots"`
	Runs     int     `json:"runs"`
	Downward int     `json:"downward"`
	Upward   int     `json:"upward"`
	Total    int     `json:"total"`
	Worst    float64 `json:"worst_recall"`
	Average  float64 `json:"average_recall"`
}

// Month is the trend: the mean downward dispersion, and recall, of the lots received in it.
type Month struct {
	Month    string  `json:"month"`
	Lots     int     `json:"lots"`
	Downward float64 `json:"downward"`
	Recall   float64 `json:"recall"`
}

// Answer is the exposure of the whole.
type Answer struct {
	Risks    []Risk   `json:"risks"` // the worst first
	Measures Measures `json:"measures"`
	Trend    []Month  `json:"trend"`
	Shrink   []Trial  `json:"shrink"` // what was tried on the worst, the best first
	Tried    int      `json:"tried"`
}

// thing is a unit with what counts of it.
type thing struct {
	cases, kegs int64
	litres      float64
	left        float64
	parties     []string
}

// set is a bit set over small numbers.
type set []uint64

func newSet(n int) set { return make(set, (n+63)/64) }

func (s set) add(i int) { s[i/64] |= 1 << (i % 64) }

func (s set) or(o set) {
	for i, w := range o {
		s[i] |= w
	}
}

func (s set) each(f func(i int)) {
	for i, w := range s {
		for w != 0 {
			f(i*64 + bits.TrailingZeros64(w))
			w &= w - 1
		}
	}
}

func (s set) without(o set) set {
	out := newSet(len(s) * 64)
	for i := range s {
		out[i] = s[i] &^ o[i]
	}
	return out
}

// model is the lineage with the units that each node reaches.
type model struct {
	tx    *store.Tx
	g     *graph.Graph
	units []thing
	runs  []string
	sure  map[int64]set // node to units reached over content alone
	any   map[int64]set // over every link
	made  map[int64]set // node to runs over content
}

// Of works out what every lot, crop and vessel chain would put in scope; since leaves out lots
// that came, and chains that began, before it (zero: all).
func Of(tx *store.Tx, since time.Time) (*Answer, error) {
	m, err := read(tx)
	if err != nil {
		return nil, err
	}
	a := &Answer{Risks: []Risk{}, Trend: []Month{}, Shrink: []Trial{}}
	a.Risks = m.risks(since)
	a.Measures = m.measures()
	a.Trend = m.trend()
	return a, tx.Err()
}

func read(tx *store.Tx) (*model, error) {
	g, err := tx.Snapshot()
	if err != nil {
		return nil, err
	}
	m := &model{tx: tx, g: g}
	places, runs := map[int64]int{}, map[string]int{}
	for n := range g.Nodes() {
		switch {
		case n.Kind == graph.Unit:
			places[n.ID] = len(m.units)
			m.units = append(m.units, m.unit(n.Code))
		case n.Run != "":
			if _, ok := runs[n.Run]; !ok {
				runs[n.Run] = len(m.runs)
				m.runs = append(m.runs, n.Run)
			}
		}
	}
	m.sure = m.spread(len(m.units), true, func(n graph.Node) int { return placeOf(places, n.ID) })
	m.any = m.spread(len(m.units), false, func(n graph.Node) int { return placeOf(places, n.ID) })
	m.made = m.spread(len(m.runs), true, func(n graph.Node) int {
		if n.Run == "" {
			return -1
		}
		return runs[n.Run]
	})
	return m, tx.Err()
}

func placeOf(places map[int64]int, id int64) int {
	if p, ok := places[id]; ok {
		return p
	}
	return -1
}

func (m *model) unit(code string) thing {
	var t thing
	seen := map[string]bool{}
	for _, rec := range m.tx.Touching(code) {
		switch x := rec.(type) {
		case *lots.Packed:
			if x.Unit != code {
				continue
			}
			if x.UnitKind == "keg" {
				t.kegs += x.Quantity
			} else {
				t.cases += x.Quantity
			}
			thing, _ := m.tx.Thing(code)
			t.litres += float64(x.Quantity*max(1, thing.PerCase)*thing.ContainerML) / 1000
		case *lots.Shipment:
			if !seen[x.Consignee] {
				seen[x.Consignee] = true
				t.parties = append(t.parties, x.Consignee)
			}
		}
	}
	b := trace.BooksOf(m.tx, code)
	t.left = b.Shipped - b.Returned
	return t
}

// spread gives every node the marks it reaches: those of its products, and its own. Content forms
// no ring, so that products come first; contacts may form rings, and are gone round until nothing changes.
func (m *model) spread(marks int, contentOnly bool, mark func(graph.Node) int) map[int64]set {
	out := map[int64]set{}
	nodes := slices.Collect(m.g.Nodes())
	for _, n := range nodes {
		out[n.ID] = newSet(marks)
		if i := mark(n); i >= 0 {
			out[n.ID].add(i)
		}
	}
	links := slices.Collect(m.g.Links())
	if contentOnly {
		links = slices.DeleteFunc(links, func(l graph.Link) bool { return l.Grade != graph.Content })
	}
	rank := m.g.Rank
	slices.SortFunc(links, func(a, b graph.Link) int { return cmp.Compare(rank(b.Src), rank(a.Src)) })
	for changed := true; changed; {
		changed = false
		for _, l := range links {
			src, dst := out[l.Src], out[l.Dst]
			for i, w := range dst {
				if src[i]|w != src[i] {
					src[i] |= w
					changed = true
				}
			}
		}
		if contentOnly {
			break // in order of content one pass is all
		}
	}
	return out
}

func (m *model) sum(s set) Reach {
	var r Reach
	who := map[string]bool{}
	s.each(func(i int) {
		t := m.units[i]
		r.Units++
		r.Cases += t.cases
		r.Kegs += t.kegs
		r.VolumeL += t.litres
		r.Left += t.left
		for _, p := range t.parties {
			who[p] = true
		}
	})
	r.VolumeL, r.Consignees = lots.Nine(r.VolumeL), len(who)
	return r
}

func (m *model) risk(kind, code, item, month string, ids []int64) Risk {
	sure, any, made := newSet(len(m.units)), newSet(len(m.units)), newSet(len(m.runs))
	for _, id := range ids {
		sure.or(m.sure[id])
		any.or(m.any[id])
		made.or(m.made[id])
	}
	r := Risk{Kind: kind, Code: code, Item: item, Month: month, In: m.sum(sure), May: m.sum(any.without(sure))}
	made.each(func(int) { r.In.Runs++ })
	return r
}

// risks lists lots, crops and vessel chains, the worst first.
func (m *model) risks(since time.Time) []Risk {
	out := []Risk{}
	zone := m.tx.Site().Zone
	month := func(unix int64) string { return time.Unix(unix, 0).In(zone).Format("2006-01") }
	for n := range m.g.Nodes() {
		if n.Kind != graph.Lot {
			continue
		}
		for _, rec := range m.tx.Touching(n.Code) {
			switch x := rec.(type) {
			case *lots.Receipt:
				if x.Lot == n.Code && x.At.From >= since.Unix() {
					out = append(out, m.risk("lot", n.Code, x.Item, month(x.At.From), []int64{n.ID}))
				}
			case *lots.Crop:
				if x.Lot == n.Code && x.At.From >= since.Unix() {
					out = append(out, m.risk("crop", n.Code, x.Item, month(x.At.From), []int64{n.ID}))
				}
			}
		}
	}
	for _, first := range m.chains() {
		vessel, _, _ := strings.Cut(first.code, "@")
		if first.since >= since.Unix() {
			out = append(out, m.risk("chain", first.code, vessel, month(first.since), []int64{first.id}))
		}
	}
	slices.SortFunc(out, func(a, b Risk) int {
		return cmp.Or(cmp.Compare(b.In.VolumeL+b.May.VolumeL, a.In.VolumeL+a.May.VolumeL), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code))
	})
	return out
}

// start is the first fill of a chain.
type start struct {
	code  string
	id    int64
	since int64
}

// chains finds the fills that carry nothing of an earlier fill of their vessel.
func (m *model) chains() []start {
	follows := map[int64]bool{}
	for l := range m.g.Links() {
		from, _, _ := strings.Cut(m.g.Node(l.Src).Code, "@")
		to, _, _ := strings.Cut(m.g.Node(l.Dst).Code, "@")
		if from == to {
			follows[l.Dst] = true
		}
	}
	var out []start
	for _, code := range m.tx.CodesFrom("", lots.KindVessel) {
		if thing, _ := m.tx.Thing(code); thing.VesselKind == "path" {
			continue
		}
		for _, n := range m.tx.NodesOf(code) {
			if n.Kind == graph.Fill && !follows[n.ID] {
				out = append(out, start{n.Code, n.ID, n.Since})
			}
		}
	}
	return out
}

// measures are the published ones, over lots that went into anything packed and runs.
func (m *model) measures() Measures {
	var x Measures
	upward := map[int]int{}
	sum := 0.0
	for n := range m.g.Nodes() {
		if n.Kind != graph.Lot || !m.received(n.Code) {
			continue
		}
		down := 0
		m.made[n.ID].each(func(run int) { down++; upward[run]++ })
		if down == 0 {
			continue
		}
		x.Lots++
		x.Downward += down
		r := m.sum(m.sure[n.ID])
		recall := float64(r.Cases + r.Kegs)
		sum += recall
		x.Worst = max(x.Worst, recall)
	}
	for _, n := range upward {
		x.Upward += n
	}
	x.Runs, x.Total = len(upward), x.Downward+x.Upward
	if x.Lots > 0 {
		x.Average = lots.Nine(math.Round(sum/float64(x.Lots)*100) / 100)
	}
	return x
}

func (m *model) received(lot string) bool {
	return slices.ContainsFunc(m.tx.Touching(lot), func(rec lots.Record) bool {
		r, ok := rec.(*lots.Receipt)
		return ok && r.Lot == lot
	})
}

// trend is the mean dispersion of the lots by the month they came in.
func (m *model) trend() []Month {
	byMonth := map[string]*Month{}
	zone := m.tx.Site().Zone
	for n := range m.g.Nodes() {
		if n.Kind != graph.Lot {
			continue
		}
		for _, rec := range m.tx.Touching(n.Code) {
			x, ok := rec.(*lots.Receipt)
			if !ok || x.Lot != n.Code {
				continue
			}
			down := 0
			m.made[n.ID].each(func(int) { down++ })
			if down == 0 {
				continue
			}
			month := time.Unix(x.At.From, 0).In(zone).Format("2006-01")
			if byMonth[month] == nil {
				byMonth[month] = &Month{Month: month}
			}
			r := m.sum(m.sure[n.ID])
			byMonth[month].Lots++
			byMonth[month].Downward += float64(down)
			byMonth[month].Recall += float64(r.Cases + r.Kegs)
		}
	}
	out := []Month{}
	for _, x := range byMonth {
		x.Downward, x.Recall = lots.Nine(x.Downward/float64(x.Lots)), lots.Nine(x.Recall/float64(x.Lots))
		out = append(out, *x)
	}
	slices.SortFunc(out, func(a, b Month) int { return cmp.Compare(a.Month, b.Month) })
	return out
}
