package trace

import (
	"encoding/json"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
)

// Answer is what a trace says. Its JSON is a contract: names stay, new ones may be added.
type Answer struct {
	Direction string     `json:"direction"` // forward or back
	From      []From     `json:"from"`
	Lots      []Lot      `json:"lots"`
	Brews     []Brew     `json:"brews"`
	Fills     []Fill     `json:"fills"`
	Runs      []Run      `json:"runs"`
	Units     []Unit     `json:"units"`
	Shipments []Shipment `json:"shipments"`
	// Bulk are the shipments of what was never packed. As JSON they stand among the shipments.
	Bulk     []Bulk    `json:"-"`
	Totals   Totals    `json:"totals"`
	Findings []Finding `json:"findings"`
	// NotCounted stands in every answer for a hazard other than anything.
	NotCounted *NotCounted `json:"not_counted,omitempty"`
	// MayRetain lists, for a foreign body, what it passed that may have held it back.
	MayRetain []Retaining `json:"may_retain,omitempty"`

	asked *asked
	loose []Run // adopted runs of which some is on no unit
	// adopted are units that are affected whole although the walk does not come to them, or to less of them.
	adopted map[string]bool
}

// From is one thing the trace started at.
type From struct {
	Kind string `json:"kind"`
	Code string `json:"code"`
	Band string `json:"band"`

	// At is the true time meant, where a time as printed was asked for; empty elsewhere.
	At string `json:"-"`
	// Text says what it is where its code says nothing to people; empty elsewhere.
	Text string `json:"text,omitempty"`
}

// Reached is what every element of an answer carries.
type Reached struct {
	Code string   `json:"code"`
	Band string   `json:"band"` // in or possible
	Why  []string `json:"why"`  // codes from the start to this element
}

// Amount is a quantity in the lot's own unit; both are null where it is unknown.
type Amount struct {
	Amount *float64 `json:"amount"`
	Unit   *string  `json:"unit"`
}

// Lot is a received or cropped lot.
type Lot struct {
	Reached
	Item        string  `json:"item"`
	Supplier    *string `json:"supplier"` // null for a crop
	SupplierLot *string `json:"supplier_lot"`
	Amount
}

// Brew is one turn of the brewhouse.
type Brew struct {
	Reached
	Beer string `json:"beer"`
	Amount
	// Within is, backwards, how much of the brew is in what was asked about, in mL; NaN where that is not known.
	Within float64 `json:"-"`
}

// Fill is what a vessel held between two changes of its content, or one pass through a path item.
type Fill struct {
	Reached
	Vessel string  `json:"vessel"`
	Since  string  `json:"since"`
	Until  *string `json:"until"`  // null while it is current
	Volume float64 `json:"volume"` // L, at its start
	Amount

	Left float64 `json:"-"` // L by the books, of a current fill
}

// Run is a package run of which some stretch is reached.
type Run struct {
	Reached
	Product    string   `json:"product"`
	DateCodes  []string `json:"date_codes"`
	Line       *string  `json:"line"`
	Cases      int64    `json:"cases"`      // good cases (kegs) of the whole run
	Unassigned int64    `json:"unassigned"` // of those, what is on no unit
}

// Unit is a pallet, keg filling or stack.
type Unit struct {
	Reached
	Kind      string   `json:"kind"`
	Runs      []string `json:"runs"`
	Product   *string  `json:"product"` // null where its runs packed different ones
	DateCodes []string `json:"date_codes"`
	// Codes are the date codes with the part that each has of the unit.
	Codes        []CodePart `json:"codes"`
	Quantity     int64      `json:"quantity"` // cases or kegs
	Affected     int64      `json:"affected"`
	OnHand       float64    `json:"on_hand"`
	Held         bool       `json:"held"`
	HeldPossible bool       `json:"held_possible"`
	Place        *string    `json:"place"`
	Way          string     `json:"way,omitempty"` // how it comes into a recall's scope: see [Answer.Ways]
	Amount

	// Entries are the journal entries of the chain that leads to the unit.
	Entries []int64 `json:"-"`
	Books   Books   `json:"-"`
	// Parts are the unit's rows, one for each run that stands on it.
	Parts []Part `json:"-"`

	heeled bool // reached by what its keg held before
}

// Part is what one run gave to a unit.
type Part struct {
	Run, Product string
	DateCodes    []string // of a repack without codes of its own those that are affected
	Codes        []CodePart
	Quantity     int64
	Affected     float64 // cases or kegs on reached stretches, not rounded; 0 where the run is not reached
	First, Last  string  // packing window, RFC 3339; empty where not written
	Entry        int64
}

// Shipment is one row of a shipment.
type Shipment struct {
	Reached
	Unit      string  `json:"unit"` // A|B where it was one of them
	Consignee string  `json:"consignee"`
	Quantity  int64   `json:"quantity"`
	ShippedAt string  `json:"shipped_at"`
	Document  *string `json:"document"`

	entry int64
	oneOf bool
}

// Totals sums an answer by band.
type Totals struct {
	In       Total `json:"in"`
	Possible Total `json:"possible"`
}

// Total sums the units of one band: cases and kegs apart, and what of them is affected also in litres.
type Total struct {
	Units                                                              int
	Cases, Kegs                                                        int64
	Affected, OnHand, Shipped, Returned, Removed, Repacked, Unassigned lots.Packages
	Litres                                                             float64 // of what is affected
	Consignees                                                         int
	Bulk                                                               Measured // shipped in bulk
}

// MarshalJSON gives every sum for cases and for kegs. The plain names stand for whichever of the two there is; where
// there are both they are null, because cases and kegs have no sum.
func (t Total) MarshalJSON() ([]byte, error) {
	type sums struct {
		Affected   *float64 `json:"affected"`
		OnHand     *float64 `json:"on_hand"`
		Shipped    *float64 `json:"shipped"`
		Returned   *float64 `json:"returned"`
		Removed    *float64 `json:"removed"`
		Repacked   *float64 `json:"repacked"`
		Unassigned *float64 `json:"unassigned"`
	}
	of := func(pick func(lots.Packages) *float64) sums {
		return sums{pick(t.Affected), pick(t.OnHand), pick(t.Shipped), pick(t.Returned), pick(t.Removed), pick(t.Repacked), pick(t.Unassigned)}
	}
	return json.Marshal(struct {
		Units int   `json:"units"`
		Cases int64 `json:"cases"`
		Kegs  int64 `json:"kegs"`
		sums
		Consignees int      `json:"consignees"`
		Litres     float64  `json:"affected_l"`
		OfCases    sums     `json:"of_cases"`
		OfKegs     sums     `json:"of_kegs"`
		Bulk       Measured `json:"shipped_in_bulk"`
	}{t.Units, t.Cases, t.Kegs, of(lots.Packages.Only), t.Consignees, t.Litres,
		of(func(p lots.Packages) *float64 { return &p.Cases }), of(func(p lots.Packages) *float64 { return &p.Kegs }), t.Bulk})
}

// Finding is a fault in the records that touches the answer.
type Finding struct {
	Name string `json:"name"`
	Code string `json:"code"`
	Text string `json:"text"`
}

func directionName(d graph.Direction) string {
	if d == graph.Back {
		return "back"
	}
	return "forward"
}

// Entry is the journal entry of the shipment's row.
func (s Shipment) Entry() int64 { return s.entry }

// OneOf reports whether the row moved one of several units, unknown which.
func (s Shipment) OneOf() bool { return s.oneOf }

// Certain is the answer with only what is in; its totals stay as they are, for what is left out to be seen.
func (a *Answer) Certain() *Answer {
	c := *a
	in := graph.In.String()
	c.Lots = slices.DeleteFunc(slices.Clone(a.Lots), func(x Lot) bool { return x.Band != in })
	c.Brews = slices.DeleteFunc(slices.Clone(a.Brews), func(x Brew) bool { return x.Band != in })
	c.Fills = slices.DeleteFunc(slices.Clone(a.Fills), func(x Fill) bool { return x.Band != in })
	c.Runs = slices.DeleteFunc(slices.Clone(a.Runs), func(x Run) bool { return x.Band != in })
	c.Units = slices.DeleteFunc(slices.Clone(a.Units), func(x Unit) bool { return x.Band != in })
	c.Shipments = slices.DeleteFunc(slices.Clone(a.Shipments), func(x Shipment) bool { return x.Band != in })
	c.Bulk = slices.DeleteFunc(slices.Clone(a.Bulk), func(x Bulk) bool { return x.Band != in })
	return &c
}
