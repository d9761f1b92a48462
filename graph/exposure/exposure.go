// Package exposure says, before anything has failed, what would be in scope if a lot failed
// today: for every lot, yeast and vessel chain how many units, how much of it has left, and to
// how many. It knows the published measures of batch dispersion, and tries what would shrink
// the worst ones by deriving the lineage anew, never by guessing.
package exposure

import (
	"cmp"
	"math"
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
	// Consignees is how many received any of it, of either band: some may have had of both.
	Consignees int `json:"consignees"`
	// OneOfSeveral is what left as one of several units, any of which is in scope: some or all of it may be.
	OneOfSeveral lots.Packages `json:"one_of_several"`
}

// Reach is what one band of a risk holds.
type Reach struct {
	Units   int     `json:"units"`
	Cases   int64   `json:"cases"`
	Kegs    int64   `json:"kegs"`
	VolumeL float64 `json:"volume_l"`
	// Left is the cases and kegs that were shipped and not returned: not what left before anything
	// affected stood on its unit, nor what left as one of several.
	Left       lots.Packages `json:"left"`
	Consignees int           `json:"consignees"`
	Runs       int           `json:"runs"`
	Unassigned lots.Packages `json:"unassigned"` // cases and kegs of those runs that are on no unit
}

// packages is what a band holds, cases and kegs apart.
func (r Reach) packages() lots.Packages {
	return lots.Packages{Cases: float64(r.Cases), Kegs: float64(r.Kegs)}
}

// mean is what comes to each of n, to the hundredth.
func mean(sum lots.Packages, n int) lots.Packages {
	each := func(x float64) float64 { return lots.Nine(math.Round(x/float64(n)*100) / 100) }
	return lots.Packages{Cases: each(sum.Cases), Kegs: each(sum.Kegs)}
}

// litres is how much beer a risk would put in scope, in either band.
func (r Risk) litres() float64 { return r.In.VolumeL + r.May.VolumeL }

// Measures are of the whole brewery, over content alone; raw lots are received lots, finished lots runs.
//
// Downward dispersion of a raw lot: finished lots that hold it; upward dispersion of a finished
// lot: raw lots in it; total batch dispersion: the sum of both (Dupuy, Botta-Genoulaz and Guinet
// 2005, Journal of Food Engineering 70:333). Worst and average recall: the most, and the mean, of
// what one raw lot would call back, in litres of finished goods, and counted in cases and kegs
// (Dabbene and Gay 2011, Computers and Electronics in Agriculture 75:139).
type Measures struct {
	Lots     int           `json:"lots"`
	Runs     int           `json:"runs"`
	Downward int           `json:"downward"`
	Upward   int           `json:"upward"`
	Total    int           `json:"total"`
	Worst    lots.Packages `json:"worst_recall"` // the most cases of one lot, and the most kegs
	Average  lots.Packages `json:"average_recall"`
	WorstL   float64       `json:"worst_recall_l"`
	AverageL float64       `json:"average_recall_l"`
}

// Month is the trend: the mean downward dispersion, and recall, of the lots received in it.
type Month struct {
	Month    string        `json:"month"`
	Lots     int           `json:"lots"`
	Downward float64       `json:"downward"`
	Recall   lots.Packages `json:"recall"`
	RecallL  float64       `json:"recall_l"`
}

// Answer is the exposure of the whole.
type Answer struct {
	Risks    []Risk   `json:"risks"` // the worst first
	Measures Measures `json:"measures"`
	Trend    []Month  `json:"trend"`
	Shrink   []Trial  `json:"shrink"` // what was tried on the worst, the best first
	Tried    int      `json:"tried"`
	// Attempts is what was tried, or could not be, for each of the worst: those that helped first.
	Attempts []Attempt `json:"attempts"`
}

// thing is a unit with what counts of it.
type thing struct {
	cases, kegs int64
	litres      float64
	rows        []row // where it has several
	moves       []move
	several     []oneOf
	perhaps     []string // who received one of several
}

// packed is a run with what of it is on no unit.
type packed struct {
	code       string
	unassigned lots.Packages
}

// model is the lineage with what each lot and each first fill of a chain reaches.
type model struct {
	tx     *store.Tx
	g      *graph.Graph
	units  []thing
	places map[int64]int // of the units
	runs   []packed
	runNo  map[string]int
	parts  []int          // of runs: segments and stretches, each by its run
	partNo map[int64]int  // of the parts
	sent   [][]string     // who received in bulk what left from a node
	sentNo map[int64]int  // by that node
	risks  map[int64]Risk // by node, with what it reaches and no more
	behind map[int64]int  // units that a node reaches over any link
	upward map[int]int    // lots received that are in a run, by content
}

// Of works out what every lot, crop and vessel chain would put in scope; since leaves out lots
// that came, and chains that began, before it (zero: all).
func Of(tx *store.Tx, since time.Time) (*Answer, error) {
	m, err := read(tx)
	if err != nil {
		return nil, err
	}
	m.reach()
	a := &Answer{Risks: m.list(since), Trend: []Month{}, Shrink: []Trial{}, Attempts: []Attempt{}}
	a.Measures = m.measures()
	a.Trend = m.trend()
	return a, tx.Err()
}

func read(tx *store.Tx) (*model, error) {
	g, err := tx.Snapshot()
	if err != nil {
		return nil, err
	}
	m := &model{tx: tx, g: g, places: map[int64]int{}, runNo: map[string]int{}, partNo: map[int64]int{}, sentNo: map[int64]int{}, risks: map[int64]Risk{}, behind: map[int64]int{}, upward: map[int]int{}}
	var codes []string
	for n := range g.Nodes() {
		if n.Kind == graph.Lot || n.Kind == graph.Unit {
			codes = append(codes, n.Code)
		} else if n.Run != "" && (len(codes) == 0 || codes[len(codes)-1] != n.Run) {
			codes = append(codes, n.Run)
		}
	}
	tx.Prefetch(codes)
	for n := range g.Nodes() {
		switch {
		case n.Kind == graph.Unit:
			m.places[n.ID] = len(m.units)
			m.units = append(m.units, thing{})
		case n.Run != "":
			if _, ok := m.runNo[n.Run]; !ok {
				m.runNo[n.Run] = len(m.runs)
				m.runs = append(m.runs, packed{n.Run, m.unassigned(n.Run)})
			}
			m.partNo[n.ID] = len(m.parts)
			m.parts = append(m.parts, m.runNo[n.Run])
		}
	}
	for n := range g.Nodes() {
		if n.Kind == graph.Unit {
			m.units[m.places[n.ID]] = m.unit(n.Code)
		}
	}
	return m, m.readBulk()
}

// readBulk notes who received in bulk what left from which node.
func (m *model) readBulk() error {
	rows, err := m.tx.Records("shipments")
	if err != nil {
		return err
	}
	by := map[string][]string{} // kind and code to parties
	for _, rec := range rows {
		x, ok := rec.(*lots.Bulk)
		if !ok {
			continue
		}
		for _, node := range trace.LeftFrom(m.tx, x) {
			by[node] = append(by[node], x.Consignee)
		}
	}
	for n := range m.g.Nodes() {
		if parties := by[n.Kind.String()+" "+n.Code]; len(parties) > 0 {
			m.sentNo[n.ID] = len(m.sent)
			m.sent = append(m.sent, parties)
		}
	}
	return m.tx.Err()
}

// unassigned counts the good cases or kegs of a run that are on no unit.
func (m *model) unassigned(code string) (p lots.Packages) {
	if run, ok := m.tx.Run(code); ok {
		p.Add(trace.OfKegs(m.tx, code), float64(trace.OnNoUnit(m.tx, run)))
	}
	return p
}

// mark is a node's place among the units and, after them, the parts of runs, and what was shipped of in bulk; -1 for
// what is none of them.
func (m *model) mark(n graph.Node) int {
	if n.Kind == graph.Unit {
		return m.places[n.ID]
	}
	if n.Run != "" {
		return len(m.units) + m.partNo[n.ID]
	}
	if k, ok := m.sentNo[n.ID]; ok {
		return len(m.units) + len(m.parts) + k
	}
	return -1
}

// reach works out what every lot and every chain's first fill reaches, over content and over all links.
func (m *model) reach() {
	first := map[int64]bool{}
	for _, c := range m.chains() {
		first[c.id] = true
	}
	marks := len(m.units) + len(m.parts) + len(m.sent)
	sure := map[int64]set{}
	newWeb(m.g, true).spread(marks, m.mark, func(n graph.Node, s set) {
		if n.Kind == graph.Lot || first[n.ID] {
			sure[n.ID] = slices.Clone(s)
		}
	})
	newWeb(m.g, false).spread(marks, m.mark, func(n graph.Node, s set) {
		s.each(func(i int) {
			if i < len(m.units) {
				m.behind[n.ID]++
			}
		})
		in, ok := sure[n.ID]
		if !ok {
			return
		}
		runs := m.runsOf(in)
		all, whole := m.runsOf(s), m.sum(s, nil, s)
		m.risks[n.ID] = Risk{In: m.sum(in, runs, s), May: m.sum(s.without(in), all.without(runs), s), Consignees: whole.Consignees, OneOfSeveral: m.oneOfSeveral(s)}
		if n.Kind == graph.Lot && m.received(n.Code) {
			runs.each(func(i int) { m.upward[i]++ })
		}
	})
}

func (m *model) unit(code string) thing {
	t := thing{rows: m.rows(code)}
	for _, rec := range m.tx.Touching(code) {
		x, ok := rec.(*lots.Packed)
		if !ok {
			m.move(&t, code, rec)
			continue
		}
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
	}
	return t
}

// runsOf lists the runs of which a part is reached.
func (m *model) runsOf(s set) set {
	out := newSet(len(m.runs))
	s.each(func(i int) {
		if i >= len(m.units) && i < len(m.units)+len(m.parts) {
			out.add(m.parts[i-len(m.units)])
		}
	})
	return out
}

// sum adds up the units of a band and its runs; reached is what either band holds.
func (m *model) sum(s, runs, reached set) Reach {
	var r Reach
	who := map[string]bool{}
	s.each(func(i int) {
		if i >= len(m.units) {
			m.inBulk(i, who)
			return
		}
		t := m.units[i]
		r.Units++
		r.Cases += t.cases
		r.Kegs += t.kegs
		r.VolumeL += t.litres
		r.Left.Add(t.kegs > 0, t.moved(reached, who))
	})
	runs.each(func(i int) {
		r.Runs++
		r.Unassigned = r.Unassigned.Plus(m.runs[i].unassigned)
	})
	r.VolumeL, r.Consignees = lots.Nine(r.VolumeL), len(who)
	return r
}

// inBulk adds who received in bulk what left from a node, by its mark.
func (m *model) inBulk(mark int, who map[string]bool) {
	if k := mark - len(m.units) - len(m.parts); k >= 0 {
		for _, party := range m.sent[k] {
			who[party] = true
		}
	}
}

// oneOfSeveral sums the shipments of one of several that name any unit that is reached.
func (m *model) oneOfSeveral(reached set) (sum lots.Packages) {
	seen := map[int64]bool{}
	reached.each(func(i int) {
		if i >= len(m.units) {
			return
		}
		for _, x := range m.units[i].several {
			if !seen[x.entry] {
				seen[x.entry] = true
				sum.Add(m.units[i].kegs > 0, x.n)
			}
		}
	})
	return sum
}

func (m *model) risk(kind, code, item, month string, id int64) Risk {
	r := m.risks[id]
	r.Kind, r.Code, r.Item, r.Month = kind, code, item, month
	return r
}

// list gives lots, crops and vessel chains, the worst first.
func (m *model) list(since time.Time) []Risk {
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
					out = append(out, m.risk("lot", n.Code, x.Item, month(x.At.From), n.ID))
				}
			case *lots.Crop:
				if x.Lot == n.Code && x.At.From >= since.Unix() {
					out = append(out, m.risk("crop", n.Code, x.Item, month(x.At.From), n.ID))
				}
			}
		}
	}
	for _, first := range m.chains() {
		vessel, _, _ := strings.Cut(first.code, "@")
		if first.since >= since.Unix() {
			out = append(out, m.risk("chain", first.code, vessel, month(first.since), first.id))
		}
	}
	slices.SortFunc(out, func(a, b Risk) int {
		return cmp.Or(cmp.Compare(b.litres(), a.litres()), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code))
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
	for _, code := range m.tx.CodesOf(lots.KindVessel) {
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
	var sum lots.Packages
	var litres float64
	for n := range m.g.Nodes() {
		in := m.risks[n.ID].In
		if n.Kind != graph.Lot || in.Runs == 0 || !m.received(n.Code) {
			continue
		}
		x.Lots++
		x.Downward += in.Runs
		recall := in.packages()
		sum, litres = sum.Plus(recall), litres+in.VolumeL
		x.Worst = lots.Packages{Cases: max(x.Worst.Cases, recall.Cases), Kegs: max(x.Worst.Kegs, recall.Kegs)}
		x.WorstL = max(x.WorstL, in.VolumeL)
	}
	for _, n := range m.upward {
		x.Upward += n
	}
	x.Runs, x.Total = len(m.upward), x.Downward+x.Upward
	if x.Lots > 0 {
		x.Average = mean(sum, x.Lots)
		x.AverageL = lots.Nine(litres / float64(x.Lots))
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
			in := m.risks[n.ID].In
			if in.Runs == 0 {
				continue
			}
			month := time.Unix(x.At.From, 0).In(zone).Format("2006-01")
			if byMonth[month] == nil {
				byMonth[month] = &Month{Month: month}
			}
			byMonth[month].Lots++
			byMonth[month].Downward += float64(in.Runs)
			byMonth[month].Recall = byMonth[month].Recall.Plus(in.packages())
			byMonth[month].RecallL += in.VolumeL
		}
	}
	out := []Month{}
	for _, x := range byMonth {
		n := float64(x.Lots)
		x.Downward, x.Recall, x.RecallL = lots.Nine(x.Downward/n), mean(x.Recall, x.Lots), lots.Nine(x.RecallL/n)
		out = append(out, *x)
	}
	slices.SortFunc(out, func(a, b Month) int { return cmp.Compare(a.Month, b.Month) })
	return out
}
