package common

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Fewest is how many complaints it takes before anything is ranked.
const Fewest = 3

// Question names the complaints and the clean samples. Each is a code, or several parted by |,
// unknown which.
type Question struct {
	Bad, Good []string
	Hazard    graph.Hazard // which links count; empty: all
	Days      int          // how long before the first and after the last complaint's packing units count as sold with them; 0: 45
}

// Answer is what they have in common.
type Answer struct {
	Bad        int      `json:"bad"`
	Good       int      `json:"good"`
	Population int      `json:"population"` // units sold in the period
	From       string   `json:"from"`
	Until      string   `json:"until"`
	TooFew     bool     `json:"too_few"`
	Groups     []Shared `json:"groups"`
	Separate   []string `json:"separate"` // which samples would tell the first ones apart
	Here       int      `json:"here"`     // units still in the house: no complaint from them says nothing
}

// Shared is one group as it is told.
type Shared struct {
	Codes      []string `json:"codes"` // kind and code; nothing that was looked at tells them apart
	Cover      float64  `json:"cover"`
	Base       float64  `json:"base"`
	Lift       float64  `json:"lift"`
	P          float64  `json:"p"`
	Corrected  float64  `json:"p_corrected"`
	Good       int      `json:"good"` // clean samples that come from it too
	Units      int      `json:"units"`
	ScopeUnits int      `json:"scope_units"` // that it would put in scope, whenever packed
	ScopeTo    int      `json:"scope_consignees"`
}

const mostGroups = 25

// search is one question with what it looks at.
type search struct {
	tx    *store.Tx
	keep  func(src, dst graph.Node, l graph.Link) bool
	g     *graph.Graph
	units []unit // sold in the period, the population
	place map[string]int
	named map[string][]int64 // code to nodes
}

type unit struct {
	code  string
	id    int64
	party map[string]bool
	store string
}

// Ask ranks what complaints have in common.
func Ask(tx *store.Tx, q Question) (*Answer, error) {
	if len(q.Bad) == 0 {
		return nil, lots.Errorf(lots.Invalid, "give the complaints: --bad CODE")
	}
	g, err := tx.Snapshot()
	if err != nil {
		return nil, err
	}
	s := &search{tx: tx, g: g, place: map[string]int{}, named: map[string][]int64{}}
	if q.Hazard != "" && q.Hazard != graph.Anything {
		s.keep = q.Hazard.Travels
	}
	for n := range g.Nodes() {
		s.named[n.Code] = append(s.named[n.Code], n.ID)
	}
	badUnits, err := s.resolve(q.Bad)
	if err != nil {
		return nil, err
	}
	goodUnits, err := s.resolve(q.Good)
	if err != nil {
		return nil, err
	}
	a := &Answer{Bad: len(q.Bad), Good: len(q.Good), Groups: []Shared{}, Separate: []string{}, TooFew: len(q.Bad) < Fewest}
	days := cmp.Or(q.Days, 45)
	from, until := s.period(append(slices.Clone(badUnits), goodUnits...), int64(days)*86400)
	zone := tx.Site().Zone
	a.From, a.Until = time.Unix(from, 0).In(zone).Format(time.DateOnly), time.Unix(until, 0).In(zone).Format(time.DateOnly)
	a.Here = s.populate(from, until, append(slices.Clone(badUnits), goodUnits...))
	a.Population = len(s.units)
	groups := Rank(len(s.units), s.suspects(badUnits), s.cases(badUnits), s.cases(goodUnits))
	for _, x := range groups[:min(mostGroups, len(groups))] {
		a.Groups = append(a.Groups, s.told(x))
	}
	if len(groups) > 1 {
		a.Separate = s.separate(groups[0], groups[1])
	}
	return a, tx.Err()
}

// resolve finds the units that each code may mean.
func (s *search) resolve(codes []string) ([][]string, error) {
	var out [][]string
	for _, text := range codes {
		var units []string
		for _, one := range strings.Split(text, "|") {
			a, err := trace.Trace(s.tx, graph.Forward, one)
			if err != nil {
				return nil, err
			}
			for _, u := range a.Units {
				direct := len(u.Why) == 1 || slices.ContainsFunc(a.From, func(f trace.From) bool { return f.Kind == "run" && slices.Contains(u.Runs, f.Code) })
				if direct && !slices.Contains(units, u.Code) {
					units = append(units, u.Code)
				}
			}
		}
		if len(units) == 0 {
			return nil, lots.Errorf(lots.NotFound, "%s leads to no unit: a complaint is of a date code, a run, a pallet or a keg", text)
		}
		out = append(out, units)
	}
	return out, nil
}

// period is when the units of the cases were packed, and some days around it.
func (s *search) period(cases [][]string, around int64) (from, until int64) {
	for _, c := range cases {
		for _, u := range c {
			if at := s.packed(u); at > 0 {
				if from == 0 || at < from {
					from = at
				}
				until = max(until, at)
			}
		}
	}
	return from - around, until + around
}

func (s *search) packed(code string) int64 {
	var at int64
	for _, rec := range s.tx.Touching(code) {
		p, ok := rec.(*lots.Packed)
		if !ok || p.Unit != code {
			continue
		}
		if run, ok := s.tx.Run(p.Run); ok {
			at = max(at, run.Started.From)
		}
	}
	return at
}

// populate takes the units sold in the period, and those of the cases; it gives how many of the period are not sold.
func (s *search) populate(from, until int64, cases [][]string) (here int) {
	wanted := map[string]bool{}
	for _, c := range cases {
		for _, u := range c {
			wanted[u] = true
		}
	}
	for n := range s.g.Nodes() {
		if n.Kind != graph.Unit {
			continue
		}
		if at := s.packed(n.Code); !wanted[n.Code] && (at < from || at > until) {
			continue
		}
		u := unit{code: n.Code, id: n.ID, party: map[string]bool{}}
		sold := false
		for _, rec := range s.tx.Touching(n.Code) {
			switch x := rec.(type) {
			case *lots.Shipment:
				u.party[x.Consignee], sold = true, true
			case *lots.Removal:
				sold = sold || x.Reason == "taproom"
			case *lots.Packed:
				if x.Unit == n.Code {
					u.store = cmp.Or(u.store, x.Place)
				}
			}
		}
		if !sold && !wanted[n.Code] {
			here++
			continue
		}
		s.units = append(s.units, u)
	}
	slices.SortFunc(s.units, func(a, b unit) int { return cmp.Compare(a.code, b.code) })
	for i, u := range s.units {
		s.place[u.code] = i
	}
	return here
}

func (s *search) cases(list [][]string) []Case {
	var out []Case
	for _, units := range list {
		var c Case
		for _, u := range units {
			c = append(c, s.place[u])
		}
		slices.Sort(c)
		out = append(out, c)
	}
	return out
}

// suspects collects what stands behind any complaint, and which units of the population come from it.
func (s *search) suspects(bad [][]string) []Suspect {
	behind := map[int64]bool{}
	complained := map[string]bool{}
	for _, units := range bad {
		for _, u := range units {
			complained[u] = true
		}
	}
	units := map[int64][]int{}
	sure := map[int64]bool{}
	for i, u := range s.units {
		r := s.g.Walk(graph.Query{Dir: graph.Back, Starts: []graph.Start{{ID: u.id}}, Keep: s.keep})
		for n, band := range r.All() {
			units[n.ID] = append(units[n.ID], i)
			sure[n.ID] = sure[n.ID] || band == graph.In
			behind[n.ID] = behind[n.ID] || complained[u.code]
		}
	}
	var out []Suspect
	for id, list := range units {
		if behind[id] {
			n := s.g.Node(id)
			out = append(out, Suspect{Kind: s.kind(n), Code: n.Code, Units: list, Sure: sure[id]})
		}
	}
	out = append(out, s.trade()...)
	slices.SortFunc(out, func(a, b Suspect) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code)) })
	return out
}

func (s *search) kind(n graph.Node) string {
	switch n.Kind {
	case graph.Lot:
		for _, rec := range s.tx.Touching(n.Code) {
			if c, ok := rec.(*lots.Crop); ok && c.Lot == n.Code {
				return "crop"
			}
		}
	case graph.Fill:
		if vessel, _, ok := strings.Cut(n.Code, "@"); ok {
			if thing, _ := s.tx.Thing(vessel); thing.VesselKind == "path" || thing.Kind == lots.KindLine {
				return "pass"
			}
		}
	}
	return n.Kind.String()
}

// trade adds where units stood and who had them: heat and age are causes too.
func (s *search) trade() []Suspect {
	parties, stores := map[string][]int{}, map[string][]int{}
	for i, u := range s.units {
		for p := range u.party {
			parties[p] = append(parties[p], i)
		}
		if u.store != "" {
			stores[u.store] = append(stores[u.store], i)
		}
	}
	var out []Suspect
	for p, list := range parties {
		slices.Sort(list)
		out = append(out, Suspect{"consignee", p, list, true})
	}
	for p, list := range stores {
		out = append(out, Suspect{"place", p, list, true})
	}
	return out
}

const mostCodes = 6

// told says a group, and what it would put in scope: the most of any of its members.
func (s *search) told(g Group) Shared {
	x := Shared{Codes: []string{}, Cover: lots.Nine(g.Cover), Base: lots.Nine(g.Base), Lift: lots.Nine(g.Lift), P: lots.Nine(g.P), Corrected: lots.Nine(g.Corrected), Good: g.Good, Units: len(g.Units)}
	for _, m := range g.Suspects {
		if len(x.Codes) == mostCodes {
			x.Codes = append(x.Codes, fmt.Sprintf("and %d more", len(g.Suspects)-mostCodes))
			break
		}
		x.Codes = append(x.Codes, m.Kind+" "+m.Code)
		units, parties := s.scope(m)
		x.ScopeUnits, x.ScopeTo = max(x.ScopeUnits, units), max(x.ScopeTo, parties)
	}
	return x
}

func (s *search) scope(m Suspect) (units, parties int) {
	who := map[string]bool{}
	count := func(code string) {
		units++
		for _, rec := range s.tx.Touching(code) {
			if sh, ok := rec.(*lots.Shipment); ok {
				who[sh.Consignee] = true
			}
		}
	}
	if m.Kind == "consignee" || m.Kind == "place" {
		for _, u := range m.Units {
			count(s.units[u].code)
		}
		return units, len(who)
	}
	q := graph.Query{Dir: graph.Forward, Keep: s.keep}
	for _, id := range s.named[m.Code] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	for n := range s.g.Walk(q).All() {
		if n.Kind == graph.Unit {
			count(n.Code)
		}
	}
	return units, len(who)
}

// separate names units that come from the one and not from the other: their retained samples tell.
func (s *search) separate(a, b Group) []string {
	var out []string
	only := func(x, y Group) {
		n := 0
		for _, u := range x.Units {
			if _, ok := slices.BinarySearch(y.Units, u); !ok && n < 3 {
				n++
				out = append(out, fmt.Sprintf("a sample of %s: it comes from %s and not from %s", s.units[u].code, x.Suspects[0].Kind+" "+x.Suspects[0].Code, y.Suspects[0].Kind+" "+y.Suspects[0].Code))
			}
		}
	}
	only(a, b)
	only(b, a)
	return out
}
