package epcis

import (
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// eventsOf are the events of one row. Of a version that no longer stands only what the row itself says is known: what
// tanks held was derived anew since.
func (w *writer) eventsOf(e *store.Entry, sheet *lots.Sheet, row lots.Row, current bool) []event {
	rec, _, faults := lots.Decode(sheet, row, w.tx)
	if current {
		rec, _ = w.tx.Record(e.Seq)
	}
	if rec == nil {
		w.done.Unread += min(len(faults), 1)
		return nil
	}
	a := act{w, e, current}
	var out []event
	switch x := rec.(type) {
	case *lots.Receipt:
		out = a.receipt(x)
	case *lots.Brew:
		out = a.brew(x)
	case *lots.Addition:
		out = a.inflow(x.At, lots.When{}, x.From, x.Qty)
	case *lots.Transfer:
		out = a.inflow(x.Started, x.Ended, x.From, lots.Quantity{N: x.Out, Dim: lots.Volume})
	case *lots.Circulation:
		if !x.Perhaps {
			out = a.inflow(x.Started, x.Ended, lots.Ref{Kind: lots.KindVessel}, lots.Quantity{})
		}
	case *lots.Crop:
		out = a.crop(x)
	case *lots.Tipping:
		ev := a.change(x.At)
		a.take(&ev, x.From, x.Qty)
		ev.OutputQuantityList = []quantity{{Class: w.own("lot", x.Into)}}
		out = []event{ev}
	case *lots.Run:
		out = a.run(x)
	case *lots.Packed:
		out = a.packed(x)
	case *lots.Shipment:
		out = a.units(x.At, x.Unit, x.Quantity, "shipping", "in_transit")
		a.sent(&out[0], x.Consignee, x.Document, x.Carrier)
	case *lots.Bulk:
		ev := a.seen(x.At, "shipping", "in_transit")
		ev.QuantityList, ev.OneOf, ev.Goods = a.oneOrList(x.From, x.Qty, x.At), a.oneOf(x.From), x.Goods
		a.sent(&ev, x.Consignee, x.Document, x.Carrier)
		out = []event{ev}
	case *lots.Return:
		out = a.units(x.At, x.Unit, x.Quantity, "receiving", "returned")
		out[0].State, out[0].Document = x.State, x.Document
		out[0].Sources = []source{{"possessing_party", w.party(x.Consignee)}}
	case *lots.Removal:
		out = a.removal(x)
	case *lots.StockCount:
		out = a.subject(x.At, x.Subject, x.Qty, x.Count, "cycle_counting", "")
	case *lots.Hold:
		out = a.subject(x.At, x.Subject, lots.Quantity{}, 0, "holding", "non_sellable_other")
		out[0].Reason = x.Reason
		if x.Released {
			free := a.subject(x.ReleasedAt, x.Subject, lots.Quantity{}, 0, "inspecting", "available")
			free[0].Reason, free[0].By = x.ReleaseReason, x.ReleasedBy
			out = append(out, free...)
		}
	}
	for n := range out {
		out[n].EventID, out[n].Act = w.id(sheet, row, n), sheet.Name
	}
	return out
}

// act is a row whose events are being written.
type act struct {
	*writer
	entry   *store.Entry
	current bool
}

// begun is an event at a time.
func (a act) begun(kind string, at lots.When, step, disposition string) event {
	t := time.Unix(at.From, 0).In(a.zone)
	ev := event{Type: kind, EventTime: instant(t), RecordTime: instant(a.entry.Recorded), EventTimeZoneOffset: t.Format("-07:00"), BizStep: step, Disposition: disposition,
		ReadPoint: &place{a.own("site", a.tx.Site().Name)}, By: a.entry.By}
	if at.From != at.To {
		ev.OnDay = t.Format(time.DateOnly)
	}
	return ev
}

func (a act) seen(at lots.When, step, disposition string) event {
	ev := a.begun("ObjectEvent", at, step, disposition)
	ev.Action = "OBSERVE"
	return ev
}

// change is a transformation. Its identifier ties together the events of one act, and lets a side be missing.
func (a act) change(at lots.When) event {
	return a.begun("TransformationEvent", at, "commissioning", "in_progress")
}

func (a act) receipt(x *lots.Receipt) []event {
	ev := a.seen(x.At, "receiving", "in_progress")
	if x.Status == "rejected" {
		ev.Disposition = "non_conformant"
	}
	ev.QuantityList = []quantity{amount(a.own("lot", x.Lot), float64(x.Qty.N), x.Qty.Dim)}
	ev.Sources = []source{{"possessing_party", a.party(x.Supplier)}}
	ev.Papers = a.writer.papers("desadv", x.Supplier, x.Document)
	ev.SupplierLot, ev.BestBy, ev.Document, ev.Carrier = x.SupplierLot, x.BestBy, x.Document, x.Carrier
	return append([]event{ev}, a.arrivals(x.At, lots.When{})...)
}

// brew is what went into a brew and the wort of one row, and then what that row's vessel held with it.
func (a act) brew(x *lots.Brew) []event {
	ev := a.change(x.Started)
	ev.TransformationID, ev.Ends = a.own("brew", x.Brew), instant(time.Unix(x.CastOut.From, 0))
	ev.OutputQuantityList = []quantity{amount(a.own("brew", x.Brew), float64(x.Volume), lots.Volume)}
	for _, n := range a.tx.NodesNamed(x.Brew) {
		if a.current && n.Kind == graph.Brew && n.Entry == a.entry.Seq { // of a split brew the first row tells what went in
			a.sources(&ev, n.ID)
		}
	}
	return append([]event{ev}, a.arrivals(x.CastOut, lots.When{})...)
}

// inflow is what was put into a vessel, and what it then held.
func (a act) inflow(at, ends lots.When, from lots.Ref, q lots.Quantity) []event {
	if out := a.arrivals(at, ends); len(out) > 0 {
		return out
	}
	ev := a.change(at)
	ev.TransformationID = a.own("entry", a.id(&lots.Sheet{Name: "inflow"}, nil, int(a.entry.Seq)))
	a.take(&ev, from, q)
	return []event{ev}
}

// arrivals are the new contents that an entry made in vessels, each from all that it came of.
func (a act) arrivals(at, ends lots.When) []event {
	if !a.current {
		return nil
	}
	var out []event
	for _, r := range a.tx.ArrivalsOf(a.entry.Seq) {
		for _, n := range a.tx.NodesOf(r.Vessel) {
			if n.Kind != graph.Fill || n.Since != r.Fill {
				continue
			}
			ev := a.change(at)
			ev.EventTime = instant(time.Unix(r.Start, 0))
			ev.EventTimeZoneOffset = time.Unix(r.Start, 0).In(a.zone).Format("-07:00")
			if ends != (lots.When{}) {
				ev.Ends = instant(time.Unix(ends.To, 0))
			}
			ev.TransformationID = a.content(r.Vessel, r.Fill)
			ev.OutputQuantityList = []quantity{amount(a.content(r.Vessel, r.Fill), n.Total, lots.Volume)}
			a.sources(&ev, n.ID)
			out = append(out, ev)
		}
	}
	return out
}

// sources adds what surely went into a node as inputs; what may have is named, and is no input.
func (a act) sources(ev *event, id int64) {
	for _, s := range a.tx.SourcesInto(id) {
		class, dim, unit := a.node(s.Node)
		switch {
		case s.Grade != graph.Content:
			ev.Possible = addOnce(ev.Possible, class)
		case unit:
			ev.InputEPCList = addOnce(ev.InputEPCList, class)
		default:
			q := quantity{Class: class}
			if s.Known {
				q = amount(class, s.Qty, dim)
			}
			if i := slices.IndexFunc(ev.InputQuantityList, func(o quantity) bool { return o.Class == class }); i < 0 {
				ev.InputQuantityList = append(ev.InputQuantityList, q)
			} else if o := &ev.InputQuantityList[i]; o.Quantity != nil && q.Quantity != nil {
				sum := *o.Quantity + *q.Quantity
				o.Quantity = &sum
			} else {
				o.Quantity, o.UOM = nil, ""
			}
		}
	}
}

func addOnce(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// node identifies a node of lineage, with the dimension of what its links carry, and whether it is a unit.
func (a act) node(n store.Node) (class string, dim lots.Dim, unit bool) {
	switch n.Kind {
	case graph.Lot:
		t, _ := a.tx.Thing(n.Code)
		return a.own("lot", n.Code), t.Unit.Dim(), false
	case graph.Brew:
		return a.own("brew", n.Code), lots.Volume, false
	case graph.Fill:
		return a.content(n.Home, n.Since), lots.Volume, false
	case graph.Unit:
		return a.unit(n.Code), lots.Pieces, true
	}
	if run, ok := stated[*lots.Run](a.tx, n.Home); ok {
		return a.writer.packed(run), lots.Pieces, false
	}
	return a.own("node", n.Code), lots.Pieces, false
}

func (a act) crop(x *lots.Crop) []event {
	ev := a.change(x.At)
	ev.OutputQuantityList = []quantity{amount(a.own("lot", x.Lot), float64(x.Qty.N), x.Qty.Dim)}
	ev.TransformationID = a.own("lot", x.Lot)
	for _, n := range a.tx.NodesNamed(x.Lot) {
		if a.current && n.Kind == graph.Lot {
			a.sources(&ev, n.ID)
		}
	}
	return append([]event{ev}, a.arrivals(x.At, lots.When{})...)
}

// run is all that went into a run, and what was packed.
func (a act) run(x *lots.Run) []event {
	ev := a.change(x.Started)
	ev.Disposition, ev.TransformationID, ev.DateCode, ev.Ends = "active", a.own("run", x.Run), x.DateCode, instant(time.Unix(x.Ended.To, 0))
	ev.OutputQuantityList = []quantity{counted(a.writer.packed(x), float64(x.Good))}
	if a.current {
		for _, n := range a.tx.NodesOf(x.Run) {
			if n.Kind == graph.Segment {
				a.sources(&ev, n.ID)
			}
		}
	}
	return []event{ev}
}

// packed puts goods of a run on a pallet or into a keg.
func (a act) packed(x *lots.Packed) []event {
	at := x.Last
	run, ok := stated[*lots.Run](a.tx, x.Run)
	if !ok {
		return nil
	}
	if !x.HasLast {
		at = run.Ended
	}
	ev := a.begun("AggregationEvent", at, "packing", "container_closed")
	per := int64(1)
	if p, ok := stated[*lots.Product](a.tx, run.Product); ok {
		per = max(p.PerCase, 1)
	}
	ev.Action, ev.ParentID = "ADD", a.unit(x.Unit)
	ev.ChildQuantityList = []quantity{counted(a.writer.packed(run), float64(x.Quantity*per))}
	return []event{ev}
}

// units observes units; of one of several, not known which, only how many of the goods there were is told.
func (a act) units(at lots.When, ref lots.Ref, n int64, step, disposition string) []event {
	ev := a.seen(at, step, disposition)
	ev.OneOf = a.oneOf(ref)
	if !ref.OneOf() {
		ev.EPCList = []string{a.unit(ref.Code())}
	}
	var goods string
	per := float64(1)
	for _, code := range ref.Codes {
		for _, rec := range a.tx.Touching(code) {
			if p, ok := rec.(*lots.Packed); ok && p.Unit == code && goods == "" {
				if run, ok := stated[*lots.Run](a.tx, p.Run); ok {
					goods = a.writer.packed(run)
					t, _ := a.tx.Thing(code)
					per = float64(max(t.PerCase, 1))
				}
			}
		}
	}
	if goods == "" {
		goods = a.own("goods", ref.Codes[0])
	}
	ev.QuantityList = []quantity{counted(goods, float64(n)*per)}
	return []event{ev}
}

func (a act) sent(ev *event, to, document, carrier string) {
	ev.Destinations = []goal{{"possessing_party", a.party(to)}}
	ev.Papers = a.writer.papers("bol", a.tx.Site().Name, document)
	ev.Document, ev.Carrier = document, carrier
}

// removals are the step and disposition of each reason to take something away, and whether it is gone for good.
var removals = map[string]struct {
	step, disposition string
	gone              bool
}{
	"sample": {"sampling", "", false}, "taproom": {"dispensing", "dispensed", false}, "destroyed": {"destroying", "destroyed", true}, "dumped": {"destroying", "disposed", true},
	"loss": {"decommissioning", "unknown", false}, "supplier-return": {"shipping", "returned", false},
}

func (a act) removal(x *lots.Removal) []event {
	how := removals[x.Reason]
	out := a.subject(x.At, x.Subject, x.Qty, x.Count, how.step, how.disposition)
	if out[0].Reason = x.Reason; how.gone && !x.Subject.OneOf() && a.whole(x) {
		out[0].Action = "DELETE"
	}
	return out
}

// whole reports whether all of a unit was removed: its identifier is at an end only then. A quantity of a lot or of what
// a tank holds always is.
func (a act) whole(x *lots.Removal) bool {
	if x.Subject.Kind != lots.KindUnit {
		return true
	}
	all := int64(0)
	for _, rec := range a.tx.Touching(x.Subject.Code()) {
		if p, ok := rec.(*lots.Packed); ok && p.Unit == x.Subject.Code() {
			all += p.Quantity
		}
	}
	return x.Count >= float64(all)
}

// subject observes a lot, a vessel's content, a brew, a run or a unit.
func (a act) subject(at lots.When, ref lots.Ref, q lots.Quantity, n float64, step, disposition string) []event {
	if ref.Kind == lots.KindUnit {
		out := a.units(at, ref, int64(n), step, disposition)
		if n == 0 {
			out[0].QuantityList = nil
		}
		return out
	}
	ev := a.seen(at, step, disposition)
	ev.QuantityList, ev.OneOf = a.oneOrList(ref, q, at), a.oneOf(ref)
	return []event{ev}
}

// oneOrList is a quantity of what a reference names; of one of several a goods class that says no more.
func (a act) oneOrList(ref lots.Ref, q lots.Quantity, at lots.When) []quantity {
	if ref.OneOf() {
		return []quantity{amount(a.own("goods", "one of several"), float64(q.N), q.Dim)}
	}
	return []quantity{amount(a.class(ref.Kind, ref.Code(), at), float64(q.N), q.Dim)}
}

func (a act) oneOf(ref lots.Ref) []string {
	if !ref.OneOf() {
		return nil
	}
	var out []string
	for _, code := range ref.Codes {
		if ref.Kind == lots.KindUnit {
			out = append(out, a.unit(code))
		} else {
			out = append(out, a.class(ref.Kind, code, lots.When{}))
		}
	}
	return out
}

// class identifies what a code means at a time: of a vessel what it held then.
func (a act) class(kind lots.Kind, code string, at lots.When) string {
	switch kind {
	case lots.KindVessel:
		since := heldAt(a.tx, code, at)
		if since >= 0 {
			return a.content(code, since)
		}
	case lots.KindRun:
		if run, ok := stated[*lots.Run](a.tx, code); ok {
			return a.writer.packed(run)
		}
	}
	return a.own(string(kind), code)
}

// take adds what a row alone says was taken.
func (a act) take(ev *event, from lots.Ref, q lots.Quantity) {
	switch {
	case from.OneOf():
		ev.OneOf = a.oneOf(from)
	case len(from.Codes) == 0:
	case from.Kind == lots.KindUnit:
		ev.InputEPCList = []string{a.unit(from.Code())}
	default:
		ev.InputQuantityList = []quantity{amount(a.class(from.Kind, from.Code(), lots.When{}), float64(q.N), q.Dim)}
	}
}
