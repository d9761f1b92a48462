package common

import (
	"cmp"
	"fmt"
	"maps"
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
	Distinct   int      `json:"distinct"` // complaints that can each be of a unit of its own: what counts as evidence
	Good       int      `json:"good"`
	Population int      `json:"population"` // units sold in the period; one that holds cases of two runs counts once for each
	Tested     int      `json:"tested"`     // groups that any of them have in common: so many comparisons are corrected for
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
	units []unit // sold in the period, the population
	place map[held][]int
}

// unit is what of one run stands on a unit: what is printed on a package names its run, so that
// a complaint of one run is not one of what a topped-up pallet holds of another.
type unit struct {
	code, run string
	id        int64
	party     map[string]bool
	store     string
}

// held names a unit, or (with a run) what of that run stands on it.
type held struct{ unit, run string }

// Ask ranks what complaints have in common.
func Ask(tx *store.Tx, q Question) (*Answer, error) {
	if len(q.Bad) == 0 {
		return nil, lots.Errorf(lots.Invalid, "give the complaints with --bad CODE")
	}
	if q.Days < 0 {
		return nil, lots.Errorf(lots.Invalid, "%d days around the complaints is not possible: give 0 (for 45) or more", q.Days)
	}
	s := &search{tx: tx, place: map[held][]int{}}
	if q.Hazard != "" && q.Hazard != graph.Anything {
		s.keep = q.Hazard.Travels
	}
	badUnits, err := s.resolve(q.Bad)
	if err != nil {
		return nil, err
	}
	goodUnits, err := s.resolve(q.Good)
	if err != nil {
		return nil, err
	}
	a := &Answer{Bad: len(q.Bad), Good: len(q.Good), Groups: []Shared{}, Separate: []string{}}
	days := cmp.Or(q.Days, 45)
	from, until := s.period(append(slices.Clone(badUnits), goodUnits...), int64(days)*86400)
	zone := tx.Site().Zone
	a.From, a.Until = time.Unix(from, 0).In(zone).Format(time.DateOnly), time.Unix(until, 0).In(zone).Format(time.DateOnly)
	a.Here = s.populate(from, until, append(slices.Clone(badUnits), goodUnits...))
	a.Population = len(s.units)
	suspects, err := s.suspects(badUnits)
	if err != nil {
		return nil, err
	}
	bad := s.cases(badUnits)
	a.Distinct, a.Tested = Distinct(bad), len(grouped(suspects))
	a.TooFew = a.Distinct < Fewest
	groups := Rank(len(s.units), suspects, bad, s.cases(goodUnits))
	first := groups[:min(mostGroups, len(groups))]
	reach, err := s.ahead(first)
	if err != nil {
		return nil, err
	}
	for _, x := range first {
		a.Groups = append(a.Groups, s.told(x, reach))
	}
	if len(groups) > 1 {
		a.Separate = s.separate(groups[0], groups[1])
	}
	return a, tx.Err()
}

// resolve finds the units that each code may mean; of a run or date code only what of it stands on them.
func (s *search) resolve(codes []string) ([][]held, error) {
	var out [][]held
	for _, text := range codes {
		var units []held
		add := func(h held) {
			if !slices.Contains(units, h) {
				units = append(units, h)
			}
		}
		for _, one := range strings.Split(text, "|") {
			a, err := trace.Trace(s.tx, graph.Forward, one)
			if err != nil {
				return nil, err
			}
			for _, u := range a.Units {
				if len(u.Why) == 1 {
					add(held{u.Code, ""})
				}
				for _, f := range a.From {
					if f.Kind == "run" && slices.Contains(u.Runs, f.Code) {
						add(held{u.Code, f.Code})
					}
				}
			}
		}
		if len(units) == 0 {
			return nil, lots.Errorf(lots.NotFound, "%s leads to no unit: name a date code, a run, a pallet or a keg", text)
		}
		out = append(out, units)
	}
	return out, nil
}

// period is when the units of the cases were packed, and some days around it.
func (s *search) period(cases [][]held, around int64) (from, until int64) {
	for _, c := range cases {
		for _, u := range c {
			if at := s.packed(u.unit); at > 0 {
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
func (s *search) populate(from, until int64, cases [][]held) (here int) {
	wanted := map[string]bool{}
	for _, c := range cases {
		for _, u := range c {
			wanted[u.unit] = true
		}
	}
	for _, code := range s.perhaps(from, until, wanted) {
		if at := s.packed(code); !wanted[code] && (at < from || at > until) {
			continue
		}
		for _, n := range s.tx.NodesNamed(code) {
			if n.Kind != graph.Unit {
				continue
			}
			rows, sold := s.rows(code, n.ID)
			if !sold && !wanted[code] {
				here++
				continue
			}
			s.units = append(s.units, rows...)
		}
	}
	slices.SortFunc(s.units, func(a, b unit) int { return cmp.Or(cmp.Compare(a.code, b.code), cmp.Compare(a.run, b.run)) })
	for i, u := range s.units {
		s.place[held{u.code, u.run}] = append(s.place[held{u.code, u.run}], i)
		s.place[held{u.code, ""}] = append(s.place[held{u.code, ""}], i)
	}
	return here
}

// perhaps lists the units that may have been packed in a period, and those wanted: all on which something stands of a run that began then.
func (s *search) perhaps(from, until int64, wanted map[string]bool) []string {
	if from <= 0 && until >= 0 { // of none is it known when it was packed
		return s.tx.CodesOf(lots.KindUnit)
	}
	codes := maps.Clone(wanted)
	for _, run := range s.tx.RunsBegun(from, until) {
		for _, rec := range s.tx.TouchingOf(run.Run, "units") {
			if p, ok := rec.(*lots.Packed); ok && p.Run == run.Run {
				codes[p.Unit] = true
			}
		}
	}
	list := slices.Sorted(maps.Keys(codes))
	s.tx.Prefetch(list)
	return list
}

// rows gives what of each run stands on a unit, and whether it was sold.
func (s *search) rows(code string, id int64) (out []unit, sold bool) {
	party := map[string]bool{}
	for _, rec := range s.tx.Touching(code) {
		switch x := rec.(type) {
		case *lots.Shipment:
			party[x.Consignee], sold = true, true
		case *lots.Removal:
			sold = sold || x.Reason == "taproom"
		case *lots.Packed:
			if x.Unit == code && !slices.ContainsFunc(out, func(u unit) bool { return u.run == x.Run }) {
				out = append(out, unit{code: code, run: x.Run, id: id, party: party, store: x.Place})
			}
		}
	}
	return out, sold
}

func (s *search) cases(list [][]held) []Case {
	var out []Case
	for _, units := range list {
		var c Case
		for _, u := range units {
			c = append(c, s.place[u]...)
		}
		slices.Sort(c)
		out = append(out, slices.Compact(c))
	}
	return out
}

// suspects collects what any units of the population have in common: what stands behind them, where
// they stood and who had them. Only what stands behind a complaint is told; all of it is compared.
func (s *search) suspects(bad [][]held) ([]Suspect, error) {
	var ids []int64
	for _, u := range s.units {
		ids = append(ids, u.id)
	}
	g, err := s.tx.Reach(graph.Back, ids)
	if err != nil {
		return nil, err
	}
	complained := map[int]bool{}
	for _, c := range s.cases(bad) {
		for _, u := range c {
			complained[u] = true
		}
	}
	units := map[int64][]int{}
	behind := map[int64]bool{}
	for i, u := range s.units {
		r := g.Walk(graph.Query{Dir: graph.Back, Starts: []graph.Start{{ID: u.id}}, Keep: s.of(u)})
		for n := range r.All() {
			units[n.ID] = append(units[n.ID], i)
			behind[n.ID] = behind[n.ID] || complained[i]
		}
	}
	var out []Suspect
	for id, list := range units {
		n := g.Node(id)
		kind := n.Kind.String()
		if behind[id] {
			kind = s.kind(n)
		}
		out = append(out, Suspect{Kind: kind, Code: n.Code, Units: list})
	}
	out = append(out, s.trade()...)
	slices.SortFunc(out, func(a, b Suspect) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Code, b.Code)) })
	return out, nil
}

// of keeps to what of its run stands on a unit, and to the links that carry the hazard.
func (s *search) of(u unit) func(src, dst graph.Node, l graph.Link) bool {
	return func(src, dst graph.Node, l graph.Link) bool {
		return (dst.ID != u.id || src.Run == "" || src.Run == u.run) && (s.keep == nil || s.keep(src, dst, l))
	}
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
		out = append(out, Suspect{"consignee", p, list})
	}
	for p, list := range stores {
		out = append(out, Suspect{"place", p, list})
	}
	return out
}

// traded reports whether it is a place or a party, and no part of the lineage.
func (s Suspect) traded() bool { return s.Kind == "consignee" || s.Kind == "place" }

// ahead reads all that the members of groups reach.
func (s *search) ahead(groups []Group) (*store.Reached, error) {
	var ids []int64
	for _, g := range groups {
		for _, m := range g.Suspects {
			if m.traded() {
				continue
			}
			for _, n := range s.tx.NodesNamed(m.Code) {
				ids = append(ids, n.ID)
			}
		}
	}
	reach, err := s.tx.Reach(graph.Forward, ids)
	if err != nil {
		return nil, err
	}
	var units []string
	for n := range reach.Graph.Nodes() {
		if n.Kind == graph.Unit {
			units = append(units, n.Code)
		}
	}
	s.tx.Prefetch(units)
	return reach, nil
}

// told describes a group, and what it would put in scope: the most of any of its members.
func (s *search) told(g Group, reach *store.Reached) Shared {
	x := Shared{Codes: []string{}, Cover: lots.Nine(g.Cover), Base: lots.Nine(g.Base), Lift: lots.Nine(g.Lift), P: lots.Nine(g.P), Corrected: lots.Nine(g.Corrected), Good: g.Good, Units: len(g.Units)}
	for _, m := range g.Suspects {
		x.Codes = append(x.Codes, m.Kind+" "+m.Code)
		units, parties := s.scope(m, reach)
		x.ScopeUnits, x.ScopeTo = max(x.ScopeUnits, units), max(x.ScopeTo, parties)
	}
	return x
}

func (s *search) scope(m Suspect, reach *store.Reached) (units, parties int) {
	who := map[string]bool{}
	count := func(code string) {
		units++
		for _, rec := range s.tx.Touching(code) {
			if sh, ok := rec.(*lots.Shipment); ok {
				who[sh.Consignee] = true
			}
		}
	}
	if m.traded() {
		seen := map[string]bool{}
		for _, u := range m.Units {
			if code := s.units[u].code; !seen[code] {
				seen[code] = true
				count(code)
			}
		}
		return units, len(who)
	}
	q := graph.Query{Dir: graph.Forward, Keep: s.keep}
	for _, n := range s.tx.NodesNamed(m.Code) {
		q.Starts = append(q.Starts, graph.Start{ID: n.ID})
	}
	for n := range reach.Walk(q).All() {
		if n.Kind == graph.Unit {
			count(n.Code)
		}
	}
	return units, len(who)
}

// separate names units that come from one and not the other: their retained samples would tell.
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
