package trace

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// NotCounted is what an answer leaves out because of its hazard: what would be reached if it were
// not known what is wrong, and by which kinds of link. No hazard cuts in silence.
type NotCounted struct {
	Hazard     graph.Hazard  `json:"hazard"`
	Units      int           `json:"units"`
	Cases      int64         `json:"cases"`
	Kegs       int64         `json:"kegs"`
	Runs       int           `json:"runs"`
	Fills      int           `json:"fills"`
	Lots       int           `json:"lots"`
	Consignees int           `json:"consignees"` // all who received any of the units, or of it in bulk
	By         []UncountedBy `json:"by"`         // in order of the causes' names

	// UnitCodes and ConsigneeCodes name them, sorted.
	UnitCodes      []string `json:"unit_codes"`
	ConsigneeCodes []string `json:"consignee_codes"`
}

// UncountedBy is one kind of link that leads from what is counted to what is not.
type UncountedBy struct {
	Cause string `json:"cause"`
	Text  string `json:"text"`
	Links int    `json:"links"`
	// Of the first of them, by codes:
	From  string `json:"from"`
	To    string `json:"to"`
	Entry int64  `json:"entry"`
}

// Any reports whether anything is left out.
func (n *NotCounted) Any() bool { return n.Units+n.Runs+n.Fills+n.Lots > 0 }

// Text says it in a line, also where nothing is left out.
func (n *NotCounted) Text() string {
	if !n.Any() {
		return fmt.Sprintf("not counted for this hazard (%s): nothing", n.Hazard)
	}
	var by []string
	for _, x := range n.By {
		by = append(by, x.Cause)
	}
	return fmt.Sprintf("not counted for this hazard (%s): %d %s, %d %s, by %s", n.Hazard, n.Units, plural(n.Units, "unit"),
		n.Consignees, plural(n.Consignees, "consignee"), strings.Join(by, ", "))
}

func plural(n int, noun string) string {
	if n == 1 {
		return noun
	}
	return noun + "s"
}

// widely walks again over links of every kind, past the same cuts.
func (q *asked) widely() *graph.Reach {
	query := graph.Query{Dir: q.dir, Keep: func(src, dst graph.Node, _ graph.Link) bool { return !q.cut[src.ID] && !q.cut[dst.ID] }}
	for _, s := range q.target.starts {
		query.Starts = append(query.Starts, graph.Start{ID: s.ID, Possible: s.possible})
	}
	return q.reached.Walk(query)
}

// Uncounted works out what the answer as it stands leaves out because of its hazard, with what
// was put into it since; nil where every link counts.
func (a *Answer) Uncounted() *NotCounted {
	q := a.asked
	if q.hazard == graph.Anything {
		return nil
	}
	n := &NotCounted{Hazard: q.hazard, By: []UncountedBy{}, UnitCodes: []string{}, ConsigneeCodes: []string{}}
	listed := map[string]bool{}
	for _, u := range a.Units {
		listed[u.Code] = true
	}
	wide := q.widely()
	runs, consignees := map[string]bool{}, map[string]bool{}
	for node := range wide.All() {
		if q.reach.Band(node.ID) != graph.Out {
			continue
		}
		switch node.Kind {
		case graph.Unit:
			if !listed[node.Code] {
				n.add(q.tx, node.Code, consignees)
			}
		case graph.Segment, graph.Stretch:
			runs[node.Run] = true
		case graph.Fill:
			n.Fills++
		case graph.Lot:
			n.Lots++
		}
	}
	for _, b := range a.uncountedBulk(wide) {
		consignees[b.Consignee] = true
	}
	for _, r := range a.Runs {
		delete(runs, r.Code)
	}
	slices.Sort(n.UnitCodes)
	n.Runs, n.ConsigneeCodes = len(runs), append(n.ConsigneeCodes, slices.Sorted(maps.Keys(consignees))...)
	n.Consignees = len(n.ConsigneeCodes)
	n.By = q.uncountedBy(wide)
	return n
}

// add takes up a unit and who received it.
func (n *NotCounted) add(tx *store.Tx, unit string, consignees map[string]bool) {
	n.UnitCodes = append(n.UnitCodes, unit)
	n.Units++
	for _, rec := range tx.Touching(unit) {
		switch x := rec.(type) {
		case *lots.Packed:
			if x.Unit == unit && x.UnitKind == "keg" {
				n.Kegs += x.Quantity
			} else if x.Unit == unit {
				n.Cases += x.Quantity
			}
		case *lots.Shipment:
			consignees[x.Consignee] = true
		}
	}
}

// uncountedBy groups the links from what is counted to what only a wider walk reaches.
func (q *asked) uncountedBy(wide *graph.Reach) []UncountedBy {
	by := map[graph.Cause]*UncountedBy{}
	for l := range wide.Links() {
		near, far := l.Src, l.Dst
		if q.dir == graph.Back {
			near, far = far, near
		}
		if q.reach.Band(near) == graph.Out || q.reach.Band(far) != graph.Out {
			continue
		}
		one := UncountedBy{Cause: l.Cause.String(), Text: l.Cause.Text(), Links: 1, From: q.placeOf(l.Src).Code, To: q.placeOf(l.Dst).Code, Entry: l.Entry}
		had := by[l.Cause]
		if had == nil {
			by[l.Cause] = &one
			continue
		}
		one.Links = had.Links + 1
		if cmp.Or(cmp.Compare(one.From, had.From), cmp.Compare(one.To, had.To), cmp.Compare(one.Entry, had.Entry)) < 0 {
			*had = one
		}
		had.Links = one.Links
	}
	out := []UncountedBy{}
	for _, x := range by {
		out = append(out, *x)
	}
	slices.SortFunc(out, func(a, b UncountedBy) int { return cmp.Compare(a.Cause, b.Cause) })
	return out
}

// uncountedOn names the links of a chain that the hazard does not count.
func (q *asked) uncountedOn(chain []graph.Step) []Parting {
	var out []Parting
	for i, s := range chain {
		if i == 0 || q.counts(chain[i-1].Node, s.Node, s.Link) {
			continue
		}
		out = append(out, Parting{"not-counted", s.Node.Shown(), fmt.Sprintf("%s reached %s (%s: %s), but such a link is not counted for the hazard %s",
			chain[i-1].Node.Shown(), s.Node.Shown(), s.Link.Cause, s.Link.Cause.Text(), q.hazard), s.Link.Entry})
	}
	return out
}

// UncountedLeft reports whether something was shipped or served that only links reach which do
// not count for the hazard.
func (a *Answer) UncountedLeft() bool {
	q := a.asked
	if q.hazard == graph.Anything {
		return false
	}
	fills, vessels := map[string]graph.Band{}, map[string]bool{}
	wide := q.widely()
	if len(a.uncountedBulk(wide)) > 0 {
		return true
	}
	for node, band := range wide.All() {
		if q.reach.Band(node.ID) != graph.Out {
			continue
		}
		switch node.Kind {
		case graph.Unit, graph.Lot:
			if q.wentOut(node.Code) {
				return true
			}
		case graph.Fill:
			fills[node.Code], vessels[q.reached.Nodes[node.ID].Home] = band, true
		}
	}
	return len(q.poured(fills, vessels)) > 0
}

// uncountedBulk lists what left in bulk that only a wider walk reaches.
func (a *Answer) uncountedBulk(wide *graph.Reach) []Bulk {
	q := *a.asked
	q.reach = wide
	listed := map[int64]bool{}
	for _, b := range a.asked.bulk() {
		listed[b.entry] = true
	}
	for _, b := range a.Bulk {
		listed[b.entry] = true
	}
	return slices.DeleteFunc(q.bulk(), func(b Bulk) bool { return listed[b.entry] })
}

// wentOut reports whether any of a unit or lot was shipped, or sold or served here.
func (q *asked) wentOut(code string) bool {
	return slices.ContainsFunc(q.tx.Touching(code), func(rec lots.Record) bool {
		switch x := rec.(type) {
		case *lots.Shipment:
			return slices.Contains(x.Unit.Codes, code)
		case *lots.Removal:
			return x.Reason == "taproom" && x.Subject.Kind != lots.KindVessel && slices.Contains(x.Subject.Codes, code)
		}
		return false
	})
}

// Retaining is a path item that may hold a foreign body back, and what came through it. It is
// named and never cuts: whether it held is for somebody to prove.
type Retaining struct {
	Code string   `json:"code"`
	Into []string `json:"into"`
}

// Text says it in a line.
func (r Retaining) Text() string {
	return fmt.Sprintf("passed %s, which may have held it back, into %s; that alone takes nothing out of scope", r.Code, strings.Join(r.Into, ", "))
}

// retaining lists, for a foreign body, the path items that what is reached came through.
func (q *asked) retaining() []Retaining {
	if q.hazard != graph.ForeignBody || q.dir != graph.Forward {
		return nil
	}
	band := map[string]graph.Band{}
	items := map[string]bool{}
	for id, n := range q.reached.Nodes {
		band[n.Kind.String()+" "+n.Code] = q.reach.Band(id)
		if t, ok := q.tx.Thing(n.Home); n.Kind == graph.Fill && ok && t.VesselKind == "path" {
			items[n.Home] = true
		}
	}
	var out []Retaining
	for _, item := range slices.Sorted(maps.Keys(items)) {
		r := Retaining{Code: item}
		for _, p := range q.tx.PassesThrough(item) {
			from := false
			for _, src := range p.Srcs {
				from = from || band[src.Kind.String()+" "+src.Code] != graph.Out
			}
			if from && band[p.Dst.Kind.String()+" "+p.Dst.Code] != graph.Out {
				r.Into = append(r.Into, p.Dst.Code)
			}
		}
		if r.Into = sortedSet(r.Into); len(r.Into) > 0 {
			out = append(out, r)
		}
	}
	return out
}
