package trace

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// target finds where a reading starts.
func (r *resolver) target(m reading) (*target, error) {
	t := &target{}
	var err error
	switch m.kind {
	case string(lots.KindLot), string(lots.KindBrew), string(lots.KindUnit):
		r.addNode(t, m.kind, m.code, false)
	case kindFill:
		r.addFills(t, r.tx.NodesNamed(m.code))
	case string(lots.KindVessel):
		err = r.vessel(t, m)
	case string(lots.KindRun):
		err = r.run(t, m.code, "", m)
	case string(lots.KindLine):
		err = r.line(t, m)
	case kindKeg:
		err = r.keg(t, m)
	case kindDateCode:
		err = r.dateCode(t, m)
	case kindClean:
		return r.clean(m.code)
	case kindSupplierLot, kindSSCC, kindDocument:
		for _, p := range r.tx.PrintedAs(m.code, true) {
			if p.Kind == m.kind {
				r.addEntry(t, p.Entry)
			}
		}
	default:
		r.about(t, m)
	}
	if err != nil {
		return nil, err
	}
	if len(t.starts) == 0 && len(t.runs) == 0 {
		return nil, lots.Errorf(lots.NotFound, "%s %s is known, but nothing in the lineage is linked to it", m.kind, m.code)
	}
	return t.sorted(), nil
}

// about starts at what the records of other things name: a shipment's units, an item's lots, a product's runs.
func (r *resolver) about(t *target, m reading) {
	for _, rec := range r.tx.Touching(m.code) {
		switch x := rec.(type) {
		case *lots.Receipt:
			if x.Lot == m.code || x.Item == m.code || x.Supplier == m.code {
				r.addNode(t, "lot", x.Lot, false)
			}
		case *lots.Crop:
			if x.Item == m.code {
				r.addNode(t, "lot", x.Lot, false)
			}
		case *lots.Run:
			if x.Product == m.code {
				r.addRun(t, x.Run)
			}
		case *lots.Shipment:
			if x.Shipment == m.code || x.Consignee == m.code {
				r.addEntry(t, x.Seq)
			}
		case *lots.Bulk:
			if x.Shipment == m.code || x.Consignee == m.code {
				r.addEntry(t, x.Seq)
			}
		case *lots.Return:
			if x.Return == m.code || x.Consignee == m.code {
				r.addEntry(t, x.Seq)
			}
		case *lots.Transfer:
			if x.Transfer == m.code {
				for _, a := range r.tx.ArrivalsOf(x.Seq) {
					r.addFills(t, r.tx.NodesNamed(lineage.FillRef(a.Vessel, a.Fill, r.site.Zone).Code))
				}
			}
		}
	}
}

// addEntry starts at what one row is about.
func (r *resolver) addEntry(t *target, entry int64) {
	rec, ok := r.tx.Record(entry)
	if !ok {
		return
	}
	units := func(ref lots.Ref) {
		for _, u := range ref.Codes {
			r.addNode(t, "unit", u, ref.OneOf())
		}
	}
	switch x := rec.(type) {
	case *lots.Receipt:
		r.addNode(t, "lot", x.Lot, false)
	case *lots.Packed:
		r.addNode(t, "unit", x.Unit, false)
	case *lots.Shipment:
		units(x.Unit)
		t.ask(x.Seq)
	case *lots.Return:
		units(x.Unit)
	case *lots.Bulk:
		r.addOrigins(t, x)
		t.ask(x.Seq)
	case *lots.Removal:
		switch x.Subject.Kind {
		case lots.KindUnit:
			units(x.Subject)
		case lots.KindLot:
			for _, l := range x.Subject.Codes {
				r.addNode(t, "lot", l, x.Subject.OneOf())
			}
		case lots.KindVessel:
			for _, d := range r.tx.DrawsOf(x.Seq) {
				r.addFills(t, r.tx.NodesNamed(lineage.FillRef(d.Vessel, d.Fill, r.site.Zone).Code))
			}
		}
	}
}

// addOrigins starts at what a shipment in bulk left from, and possibly at what it may have left from.
func (r *resolver) addOrigins(t *target, x *lots.Bulk) {
	q := &asked{tx: r.tx, site: r.site}
	for _, o := range q.origins(x) {
		if o.kind != kindFill {
			r.addNode(t, o.kind, o.code, !o.sure)
			continue
		}
		for _, n := range r.tx.NodesNamed(o.code) {
			if n.Kind == graph.Fill {
				t.add(kindFill, n.Code, !o.sure, n)
			}
		}
	}
}

func (r *resolver) addNode(t *target, kind, code string, possible bool) {
	for _, n := range r.tx.NodesNamed(code) {
		if n.Kind.String() == kind {
			t.add(kind, code, possible, n)
		}
	}
}

// addFills starts at fills; at passes also at what went through filled.
func (r *resolver) addFills(t *target, nodes []store.Node) {
	for _, n := range nodes {
		if n.Kind != graph.Fill {
			continue
		}
		t.add(kindFill, n.Code, false, n)
		if thing, ok := r.tx.Thing(n.Home); !ok || thing.VesselKind != "path" {
			continue
		}
		for _, p := range r.tx.PassesThrough(n.Home) {
			if p.Entry != n.Entry || p.Start != n.Since {
				continue
			}
			for _, filled := range r.tx.NodesNamed(p.Dst.Code) {
				if filled.Kind == p.Dst.Kind {
					t.addStart(start{Node: filled, of: n.Code})
				}
			}
		}
	}
}

func (r *resolver) vessel(t *target, m reading) error {
	fills := slices.DeleteFunc(r.tx.NodesOf(m.code), func(n store.Node) bool { return n.Kind != graph.Fill })
	if len(fills) == 0 {
		return lots.Errorf(lots.NotFound, "%s never held anything", m.code)
	}
	if m.at == nil {
		r.addFills(t, fills[len(fills)-1:])
		return nil
	}
	s, ok := m.at.span()
	if !ok {
		return lots.Errorf(lots.Invalid, "%s@%s: a vessel needs the date too, such as %s@2026-03-04T10:00", m.code, m.at.text, m.code)
	}
	held := slices.DeleteFunc(slices.Clone(fills), func(n store.Node) bool { return !s.meets(n.Since, endOf(n)) })
	if len(held) == 0 {
		return lots.Errorf(lots.NotFound, "%s held nothing at %s; its fills nearest to that are %s", m.code, m.at.text, strings.Join(around(fills, s.from), " and "))
	}
	r.addFills(t, held)
	return nil
}

// endOf is a node's end; a current fill has none.
func endOf(n store.Node) int64 {
	if n.Until == 0 {
		return 1 << 62
	}
	return n.Until
}

// around names the fills before and after a moment.
func around(fills []store.Node, at int64) []string {
	i, _ := slices.BinarySearchFunc(fills, at, func(n store.Node, t int64) int { return cmp.Compare(n.Since, t) })
	var out []string
	if i > 0 {
		out = append(out, fills[i-1].Code)
	}
	if i < len(fills) {
		out = append(out, fills[i].Code)
	}
	return out
}

// keg starts at one filling of a keg: the latest, or the one current at a time.
func (r *resolver) keg(t *target, m reading) error {
	type filling struct {
		unit          string
		started, from int64
		entry         int64
	}
	var fillings []filling
	for _, p := range r.tx.PrintedAs(m.code, true) {
		row, ok := r.tx.Record(p.Entry)
		unit, isUnit := row.(*lots.Packed)
		if p.Kind != kindKeg || !ok || !isUnit {
			continue
		}
		f := filling{unit: unit.Unit, entry: unit.Seq}
		if run, _, ok := runOf(r.tx, unit.Run); ok {
			f.started, f.from = run.Started.From, run.Started.From
		}
		if unit.HasFirst {
			f.from = unit.First.From
		}
		fillings = append(fillings, f)
	}
	slices.SortFunc(fillings, func(a, b filling) int {
		return cmp.Or(cmp.Compare(a.started, b.started), cmp.Compare(a.from, b.from), cmp.Compare(a.entry, b.entry))
	})
	if m.at != nil {
		s, ok := m.at.span()
		if !ok {
			return lots.Errorf(lots.Invalid, "%s@%s: a keg needs the date too, such as %s@2026-03-04", m.code, m.at.text, m.code)
		}
		all := fillings
		fillings = slices.DeleteFunc(slices.Clone(all), func(f filling) bool { return f.from >= s.until })
		if len(fillings) == 0 && len(all) > 0 {
			return lots.Errorf(lots.NotFound, "keg %s was not filled before %s; its first filling is %s", m.code, m.at.text, all[0].unit)
		}
		for len(fillings) > 1 && m.at.interval && fillings[0].from < s.from && fillings[1].from <= s.from {
			fillings = fillings[1:]
		}
	}
	if len(fillings) == 0 {
		return lots.Errorf(lots.NotFound, "keg %s was never filled", m.code)
	}
	if m.at == nil || !m.at.interval {
		fillings = fillings[len(fillings)-1:]
	}
	for _, f := range fillings {
		r.addNode(t, "unit", f.unit, false)
	}
	return nil
}
