package trace

import (
	"cmp"
	"encoding/json"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Bulk is one row of a shipment of what was never packed: beer or yeast from a vessel, some of a lot, or a
// by-product of a brew. It stands on no unit, and its quantity is never added to cases or kegs. Whoever received
// it is the immediate subsequent recipient of what was released (21 CFR 1.345(a)(1)) and the business to which
// it was supplied (Regulation (EC) 178/2002, Article 18(3)), as with any pallet.
type Bulk struct {
	Reached          // by the code of the shipment
	From      string `json:"unit"` // vessel, lot or brew; A|B where it was one of them
	Kind      string `json:"from_kind"`
	Goods     string `json:"goods"` // in words, never empty
	Consignee string `json:"consignee"`
	// Quantity is in the unit of measure that the row is in.
	Quantity  float64 `json:"quantity"`
	Unit      string  `json:"quantity_unit"`
	ShippedAt string  `json:"shipped_at"`
	Document  *string `json:"document"`

	qty    lots.Quantity
	entry  int64
	oneOf  bool
	origin []string // the lots, brews and fills it left from, each with its kind
}

// Entry is the journal entry of the shipment's row.
func (b Bulk) Entry() int64 { return b.entry }

// OneOf reports whether it left from one of several, unknown which.
func (b Bulk) OneOf() bool { return b.oneOf }

// Amount is how much it was, with its unit of measure.
func (b Bulk) Amount() string { return lots.FigureOf(b.Quantity, b.Unit) + " " + b.Unit }

// Where names what it left from, in words.
func (b Bulk) Where() string {
	from := strings.ReplaceAll(b.From, "|", " or ")
	if b.Kind == string(lots.KindVessel) {
		return from
	}
	return b.Kind + " " + from
}

// origin is something a shipment in bulk left from, or may have left from.
type origin struct {
	kind, code string
	sure       bool
}

// origins lists what a shipment in bulk left from: of a vessel, and of a lot that went into one, the fills
// that it drew on, and the fills of what may have come in before.
func (q *asked) origins(x *lots.Bulk) []origin {
	var out []origin
	draws := q.tx.DrawsOf(x.Seq)
	for _, d := range draws {
		if d.State != lineage.Never {
			out = append(out, origin{kindFill, lineage.FillRef(d.Vessel, d.Fill, q.site.Zone).Code, d.State == lineage.Drew && !d.OneOf})
		}
		for _, m := range d.Maybe {
			for _, a := range q.tx.ArrivalsOf(m) {
				if a.Vessel == d.Vessel {
					out = append(out, origin{kindFill, lineage.FillRef(a.Vessel, a.Fill, q.site.Zone).Code, false})
				}
			}
		}
	}
	for _, code := range x.From.Codes {
		if thing, _ := q.tx.Thing(code); x.From.Kind != lots.KindVessel && (thing.Into == "" || x.From.OneOf()) {
			out = append(out, origin{string(x.From.Kind), code, !x.From.OneOf()})
		}
	}
	return out
}

// LeftFrom names the lots, brews and fills that a shipment in bulk left from, or may have left from, each as its
// kind and its code with a blank between.
func LeftFrom(tx *store.Tx, x *lots.Bulk) []string {
	var out []string
	for _, o := range (&asked{tx: tx, site: tx.Site()}).origins(x) {
		out = append(out, o.kind+" "+o.code)
	}
	return out
}

// bulk lists every shipment in bulk that left from what is reached.
func (q *asked) bulk() []Bulk {
	at := map[string]int64{}
	var out []Bulk
	codes, vessels := map[string]bool{}, map[string][]int64{}
	for n := range q.reach.All() {
		switch n.Kind {
		case graph.Lot, graph.Brew:
			codes[n.Code] = true
		case graph.Fill:
			fill := q.reached.Nodes[n.ID]
			vessels[fill.Home] = append(vessels[fill.Home], fill.Since)
		default:
			continue
		}
		at[n.Kind.String()+" "+n.Code] = n.ID
	}
	for _, x := range q.bulkRows(codes, vessels) {
		if b, ok := q.shippedFrom(x, at); ok {
			out = append(out, b)
		}
	}
	sortBulk(out)
	return out
}

// bulkRows finds the shipments in bulk from lots and brews, and from vessels' fills of some times.
func (q *asked) bulkRows(codes map[string]bool, vessels map[string][]int64) []*lots.Bulk {
	rows := map[int64]*lots.Bulk{}
	for code := range codes {
		for _, rec := range q.tx.Touching(code) {
			if x, ok := rec.(*lots.Bulk); ok && slices.Contains(x.From.Codes, code) {
				rows[x.Seq] = x
			}
		}
	}
	for vessel, fills := range vessels {
		for _, entry := range q.tx.DrawnInBulk(vessel, fills) {
			rec, _ := q.tx.Record(entry)
			if x, ok := rec.(*lots.Bulk); ok {
				rows[x.Seq] = x
			}
		}
	}
	return slices.Collect(maps.Values(rows))
}

// shippedFrom tells of a shipment in bulk by the best of what it left from: one of several is sure where each of
// them is.
func (q *asked) shippedFrom(x *lots.Bulk, at map[string]int64) (Bulk, bool) {
	b := q.bulkElement(x)
	var best int64
	every := true
	for _, o := range q.origins(x) {
		id, is := at[o.kind+" "+o.code]
		every = every && is && q.reach.Band(id) == graph.In
		if !is {
			continue
		}
		b.origin = append(b.origin, o.kind+" "+o.code)
		r := Reached{x.Shipment, sureness(q.reach.Band(id) != graph.In || !o.sure).String(), append(q.why(id), x.Shipment)}
		if best == 0 || better(r, b.Reached) {
			best, b.Reached = id, r
		}
	}
	if x.From.OneOf() && every && best != 0 {
		b.Band = graph.In.String()
	}
	return b, best != 0
}

func (q *asked) bulkElement(x *lots.Bulk) Bulk {
	b := Bulk{Reached: Reached{Code: x.Shipment}, From: strings.Join(x.From.Codes, "|"), Kind: string(x.From.Kind), Goods: q.goodsOf(x), Consignee: x.Consignee,
		Quantity: lots.Nine(x.Unit.Of(float64(x.Qty.N))), Unit: string(x.Unit), ShippedAt: x.At.Text(q.site.Zone), qty: x.Qty, entry: x.Seq, oneOf: x.From.OneOf()}
	if x.Document != "" {
		b.Document = &x.Document
	}
	return b
}

// goodsOf says what left in bulk: in the words of the row, else by what it left from.
func (q *asked) goodsOf(x *lots.Bulk) string {
	if x.Goods != "" {
		return x.Goods
	}
	switch x.From.Kind {
	case lots.KindBrew:
		return "by-product"
	case lots.KindLot:
		item := ""
		for _, rec := range q.tx.Touching(x.From.Code()) {
			switch r := rec.(type) {
			case *lots.Receipt:
				if r.Lot == x.From.Code() {
					item = r.Item
				}
			case *lots.Crop:
				if r.Lot == x.From.Code() {
					item = r.Item
				}
			}
		}
		if i, ok := q.tx.Item(item); ok {
			return i.Name
		}
		return cmp.Or(item, "goods")
	}
	switch thing, _ := q.tx.Thing(x.From.Code()); {
	case lots.BeerVessel(thing.VesselKind):
		return "beer"
	case thing.VesselKind == "brink":
		return "yeast"
	case thing.VesselKind == "gas":
		return "gas"
	}
	return "goods"
}

func sortBulk(list []Bulk) {
	slices.SortFunc(list, func(x, y Bulk) int {
		return cmp.Or(cmp.Compare(x.Code, y.Code), cmp.Compare(x.From, y.From), cmp.Compare(x.entry, y.entry))
	})
}

// Measured sums what has a unit of measure, each sort by itself: a sum of litres and kilograms says nothing.
type Measured struct {
	Litres    float64 `json:"l,omitempty"`
	Kilograms float64 `json:"kg,omitempty"`
	Pieces    float64 `json:"pieces,omitempty"`
}

func (m *Measured) add(q lots.Quantity) {
	switch n := float64(q.N); q.Dim {
	case lots.Volume:
		m.Litres = lots.Nine(m.Litres + n/1000)
	case lots.Mass:
		m.Kilograms = lots.Nine(m.Kilograms + n/1_000_000)
	default:
		m.Pieces += n
	}
}

// MarshalJSON lists shipments of units and in bulk together, by their codes.
func (a Answer) MarshalJSON() ([]byte, error) {
	type row struct {
		code, from string
		entry      int64
		element    any
	}
	rows := []row{}
	for _, s := range a.Shipments {
		rows = append(rows, row{s.Code, s.Unit, s.entry, s})
	}
	for _, b := range a.Bulk {
		rows = append(rows, row{b.Code, b.From, b.entry, b})
	}
	slices.SortStableFunc(rows, func(x, y row) int {
		return cmp.Or(cmp.Compare(x.code, y.code), cmp.Compare(x.from, y.from), cmp.Compare(x.entry, y.entry))
	})
	elements := make([]any, len(rows))
	for i, r := range rows {
		elements[i] = r.element
	}
	type plain Answer
	return json.Marshal(struct {
		plain
		Shipments []any `json:"shipments"`
	}{plain(a), elements})
}
