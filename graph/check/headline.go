package check

import (
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// headline sums the records' readiness up.
func (b *book) headline() Headline {
	var h Headline
	complete := map[string]bool{}
	edge := b.lastShipped().AddDate(0, 0, -90).Unix()
	for _, s := range b.shipments {
		ok := true // of one of several, where each of them does
		for _, u := range s.Unit.Codes {
			if _, known := complete[u]; !known {
				complete[u] = b.completeBack(u)
			}
			ok = ok && complete[u]
		}
		of := &h.Cases
		if rows := b.unitRows[s.Unit.Codes[0]]; len(rows) > 0 && rows[0].UnitKind == "keg" {
			of = &h.Kegs
		}
		of.add(float64(s.Quantity), ok, s.At.From >= edge)
	}
	h.Cases.sum()
	h.Kegs.sum()
	b.forwards(&h)
	h.Delay = b.delay()
	h.Chain, h.ChainUnits = b.longestChain()
	return h
}

// add counts a shipment.
func (s *Shipped) add(n float64, good, recent bool) {
	s.Quantity += n
	if good {
		s.good += n
	}
	if recent {
		s.recent += n
	}
	if good && recent {
		s.recentGood += n
	}
}

func (s *Shipped) sum() {
	s.Backwards, s.Recent = share(s.good, s.Quantity), share(s.recentGood, s.recent)
}

// forwards counts the lots in use, those in packed beer, and those of them all of whose beer stands on units.
func (b *book) forwards(h *Headline) {
	loose := map[string]bool{}
	for _, x := range casesOnNoUnit(b) {
		loose[x.Code] = true
	}
	whole := 0.0
	for _, r := range b.receipts {
		reached, packed, gap := 0, false, false
		for n := range b.from(r.Lot).All() {
			reached++
			packed = packed || n.Run != ""
			gap = gap || n.Run != "" && loose[n.Run]
		}
		if reached > 1 {
			h.Used++
		}
		if packed {
			if h.Packed++; !gap {
				whole++
			}
		}
	}
	h.Forwards = share(whole, h.Packed)
}

func share(part, whole float64) float64 {
	if whole == 0 {
		return 0
	}
	return lots.Nine(100 * part / whole)
}

func (b *book) lastShipped() time.Time {
	var last int64
	for _, s := range b.shipments {
		last = max(last, s.At.From)
	}
	return time.Unix(last, 0)
}

// completeBack reports whether a unit leads back over content to a tank, and to malt, hops and yeast.
func (b *book) completeBack(unit string) bool {
	q := graph.Query{Dir: graph.Back}
	for _, id := range b.nodes[unit] {
		q.Starts = append(q.Starts, graph.Start{ID: id})
	}
	found := map[string]bool{}
	for n, band := range b.g.Walk(q).All() {
		if band != graph.In {
			continue
		}
		switch n.Kind {
		case graph.Brew:
			found["brew"] = true
		case graph.Fill:
			found["tank"] = true
		case graph.Lot:
			found[b.kindOf(n.Code)] = true
		}
	}
	return found["brew"] && found["tank"] && found["malt"] && found["hop"] && found["yeast"]
}

// delay is the median time from an act to its entry, in hours; what came in by an import long after is left out.
func (b *book) delay() float64 {
	most := int(b.limit("late-entry.days"))
	old := map[time.Time]int{}
	late := func(e *store.Entry) bool {
		return workdays(time.Unix(e.At.To, 0).In(b.zone), e.Recorded.In(b.zone)) > most
	}
	for _, e := range b.entries {
		if e.At != nil && late(e) {
			old[e.Recorded]++
		}
	}
	var all []float64
	for _, e := range b.entries {
		if e.At != nil && !e.At.Day && (old[e.Recorded] < oneImport || !late(e)) {
			all = append(all, max(0, e.Recorded.Sub(time.Unix(e.At.From, 0)).Hours()))
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return lots.Nine(float64(int(all[len(all)/2]*10)) / 10)
}

// longestChain finds the vessel whose longest chain of fills without a break most units hang on.
func (b *book) longestChain() (vessel string, units int) {
	follows := map[int64]bool{}
	of := func(n graph.Node) string {
		home, _, _ := strings.Cut(n.Code, "@")
		return home
	}
	for l := range b.g.Links() {
		if from, to := b.g.Node(l.Src), b.g.Node(l.Dst); from.Kind == graph.Fill && to.Kind == graph.Fill && of(from) == of(to) {
			follows[l.Dst] = true
		}
	}
	for _, code := range sortedKeys(b.vessels) {
		if k := b.vessels[code].Kind; k == "gas" || k == "path" {
			continue
		}
		for _, id := range b.nodes[code] {
			if follows[id] { // goes on a chain that began before
				continue
			}
			if n, _ := b.behind(b.g.Node(id).Code); n > units {
				vessel, units = b.g.Node(id).Code, n
			}
		}
	}
	return vessel, units
}
