package lineage

import (
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/lots"
)

// Ref names a node: its kind and its code.
type Ref struct {
	Kind graph.Kind
	Code string
}

// Node is one node of the lineage.
type Node struct {
	Ref
	Home         string  // vessel, line or path item of a fill; run of a segment or stretch; beer of a brew; else empty
	Since, Until int64   // Unix seconds; Until is 0 while a fill is current and for nodes without duration
	Total        float64 // base units of a lot, mL of a brew or fill, containers of a segment, cases or kegs of a unit
	Den          float64 // what a share of it is divided by: the total, or more where more was drawn than there was
	Entry        int64   // the journal entry it comes from
}

// Link runs from source to product.
type Link struct {
	Src, Dst Ref
	Grade    graph.Grade
	Cause    graph.Cause
	Qty      float64 // share = Qty / Den of Src; NaN where the share is unknown and for contacts
	Entry    int64
	At       int64
}

// Finding is a fault in the records met while deriving. Names are stable.
type Finding struct {
	Name, Code, Text string
	Entry            int64
}

// State says what an outflow met in the vessel.
type State uint8

// The states of a draw.
const (
	Drew    State = iota // drew on the current fill
	Nothing              // nothing was there: contact with the vessel's last fill
	Never                // the vessel was never filled
)

// Draw is one piece of an outflow of a vessel: what it drew, and on which fill.
type Draw struct {
	Vessel     string
	Entry      int64
	Start, End int64   // equal for an instant
	Qty        float64 // mL drawn from the books
	State      State
	Fill       int64   // start of the fill drawn on, or of the last fill where nothing was there
	Root       int64   // start of the earliest fill whose content it surely still carries
	OneOf      bool    // one of several sources: nothing is drawn and the link is a contact; in a circulation: may have been cleaned away before
	Maybe      []int64 // entries of inflows that may have come before it
}

// Same reports whether two draws of one vessel and entry are equal.
func (d Draw) Same(o Draw) bool {
	return d.Start == o.Start && d.End == o.End && d.Qty == o.Qty && d.State == o.State && d.Fill == o.Fill &&
		d.Root == o.Root && d.OneOf == o.OneOf && slices.Equal(d.Maybe, o.Maybe)
}

// Arrival is one piece of an inflow of a vessel and the fill it started; of a clean, a fill that what it left
// behind may be in.
type Arrival struct {
	Vessel     string
	Entry      int64
	Start, End int64
	Fill       int64
}

// Pass is one piece of beer going through a path item or a line that keeps residue.
type Pass struct {
	Item  string
	Entry int64
	Start int64 // earliest start
	End   int64 // end of the piece; latest moment where its time is uncertain
	Dst   Ref
	Srcs  []Ref
}

// Cell is what one thing of the records derives: a vessel, a run, a lot, a
// brew, a unit, a path item or a single entry. Every node and link belongs to one cell,
// so a cell is replaced whole when what it derives from has changed.
type Cell struct {
	Owner    string
	Nodes    []Node
	Links    []Link
	Findings []Finding
	Draws    []Draw
	Arrivals []Arrival
	Passes   []Pass
	Part     *Part // of a vessel's books or an item's passes; else nil
}

// Limits are the site's settings for the rules.
type Limits struct {
	EmptyShare float64 // at most this part of a fill left counts as empty by the books
	DoubtShare float64 // outflow after a break this much above the inflow puts the break in doubt
}

// DefaultLimits are 0.5 % and 5 %.
func DefaultLimits() Limits { return Limits{EmptyShare: 0.005, DoubtShare: 0.05} }

// Source gives the records, and what was derived from them before.
type Source interface {
	lots.Lookup
	// Touching lists the records that name a code, in journal order.
	Touching(code string) []lots.Record
	// Record finds one record; false where the entry does not stand (void or no record).
	Record(entry int64) (lots.Record, bool)
	// Stated finds the record that introduced a code, without reading all that name it.
	Stated(code string) (lots.Record, bool)
	// Feeds lists what fed a run, in journal order, without reading all that names it.
	Feeds(run string) []*lots.Feed
	// Fillings lists the rows of units that are fillings of a keg, by its number, in journal order.
	Fillings(keg string) []lots.Record
	// LineBefore lists the runs and clearances of a line that start at or before until and lie, or may
	// lie, within the last LineMemory of its running time before from; in any order.
	LineBefore(line string, from, until int64) []lots.Record
	// LineAfter lists those that end at or after since and may lie within LineMemory of the line's
	// running time after from; in any order.
	LineAfter(line string, since, from int64) []lots.Record
	// Moments lists the records of a sheet that name a code and lie, or may lie, within a span, in journal order. The sheets
	// are cleans and circulations.
	Moments(code, sheet string, from, to int64) []lots.Record
	// Earlier results, for cells that are not derived anew. A source without any returns none.
	// Parts lists the parts of a vessel's books that a span touches, in order of time, with their moves.
	Parts(vessel string, lo, hi int64) []Part
	// PartAt finds the part that a moment lies in, and PartAfter the first that begins after it, both without their moves.
	PartAt(vessel string, t int64) (Part, bool)
	PartAfter(vessel string, t int64) (Part, bool)
	PartDraws(vessel string, since int64) []Draw
	PartArrivals(vessel string, since int64) []Arrival
	// MovesOf gives where in a vessel's books an entry stands.
	MovesOf(vessel string, entry int64) []Move
	DrawsOf(entry int64) []Draw
	ArrivalsOf(entry int64) []Arrival
	// Passes lists what stands derived of an item's passes that start within a span, by start, and PassesOf those of a cell.
	Passes(item string, from, until int64) []Pass
	PassesOf(owner string) []Pass
}

// FillRef names a vessel's fill by its start.
func FillRef(vessel string, since int64, zone *time.Location) Ref {
	return Ref{graph.Fill, vessel + "@" + lots.Stamp(since, zone)}
}

// eps is below any quantity that can be recorded: pieces of a flow by duration
// are fractions of a millilitre, and their sums must not look short for it.
const eps = 1e-6
