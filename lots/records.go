package lots

import "time"

// Row is one row of a sheet as written: column name to text. Empty cells are absent.
type Row map[string]string

// Record is one row understood. The concrete types stand below, one a sheet.
type Record interface {
	// Entry is the journal sequence of the row; 0 before it is recorded.
	Entry() int64
}

// Meta is what every record carries: which journal entry states it and who said so.
type Meta struct {
	Seq int64
	By  string
}

// Entry is the journal sequence.
func (m Meta) Entry() int64 { return m.Seq }

// Site is the brewery's own settings.
type Site struct {
	Meta
	Name                 string
	Zone                 *time.Location
	VolumeUnit, MassUnit Unit
}

// Item is a material.
type Item struct {
	Meta
	Code, Name, Kind string
	Unit             Unit
	Allergens        []string
	ExtractPct       float64
}

// PackagingPart reports whether the item becomes part of the package and never of the beer.
func (i *Item) PackagingPart() bool { return PackagingPart(i.Kind) }

// PackagingPart reports whether an item kind is a part of the package.
func PackagingPart(itemKind string) bool {
	switch itemKind {
	case "container", "closure", "label", "carrier", "carton":
		return true
	}
	return false
}

// Party is a supplier or a consignee.
type Party struct {
	Meta
	Code, Name, Role, Channel, Contact, Phone, Email, Address, GLN string
}

// Vessel is anything that holds material over time, or (kind path) that beer passes through.
type Vessel struct {
	Meta
	Code, Kind string
	Unit       Unit
	Capacity   float64 // in Unit
	Place      string
}

// BeerVessel reports whether a vessel kind is a fermenter, bright or serving tank: what a
// solid addition does not fill, and what a run draws on without saying how much.
func BeerVessel(kind string) bool {
	return kind == "fermenter" || kind == "bright" || kind == "serving"
}

// Line is a packaging line or a keg washer.
type Line struct {
	Meta
	Code            string
	RatePerMin      float64
	Margin, Overlap int64 // seconds
	Residue         bool
	HasResidue      bool // somebody said yes or no
}

// MayKeepResidue reports whether beer may leave residue on the line from run to run: nobody said that it does not.
func (l *Line) MayKeepResidue() bool { return l.Residue || !l.HasResidue }

// Product is what is sold.
type Product struct {
	Meta
	Code, Name, Beer, GTIN, DateCode string
	ContainerML, PerCase             int64
	CasesPerPallet, ShelfLifeDays    int64
	Declares                         []string
}

// Receipt is a received lot.
type Receipt struct {
	Meta
	Lot, Item, Supplier, SupplierLot               string
	Qty                                            Quantity
	Unit                                           Unit
	At                                             When
	BestBy, Into, Place, Carrier, Document, Status string
}

// Brew is one row of a brew: what was cast into one vessel.
type Brew struct {
	Meta
	Brew, Beer, Into string
	Started, CastOut When
	Volume           int64 // mL
	Unit             Unit
	Plato            float64 // 0 where not given
}

// BrewInput is something used in a brew.
type BrewInput struct {
	Meta
	Brew   string
	From   Ref
	Qty    Quantity
	At     When // zero where not given
	HasAt  bool
	AtCast bool // without a time of its own: at cast-out rather than at the start
	Stage  string
}

// Addition is something put into a vessel.
type Addition struct {
	Meta
	Vessel    string
	From      Ref
	Qty       Quantity
	Count     float64 // cases or kegs, where From is units; containers, where it is the rejects of runs
	At        When
	Volume    int64 // mL it added, where the row says so
	HasVolume bool
	Purpose   string
}

// Transfer is a flow between vessels.
type Transfer struct {
	Meta
	Transfer       string
	From           Ref
	To             string
	Out, In        int64 // mL
	Started, Ended When
	Via            []string
}

// Circulation joins the contents of vessels, or perhaps did.
type Circulation struct {
	Meta
	Vessels        []string
	Started, Ended When
	Perhaps        bool // nobody knows whether anything passed: nothing is moved on the books
}

// Crop is yeast taken from a vessel: a new lot.
type Crop struct {
	Meta
	Lot, Item, Vessel, Into string
	Qty                     Quantity
	Unit                    Unit
	At                      When
}

// Clean is a cleaning of a vessel or line.
type Clean struct {
	Meta
	Subject  Ref
	At       When
	Method   string
	Verified bool
	From     Ref // what it was cleaned with; of nothing where the row does not say
}

// Breaks reports whether the clean ends a vessel's chain.
func (c *Clean) Breaks() bool { return c.Verified && (c.Method == "cip" || c.Method == "manual") }

// Tipping is some of one lot put back into the pallet, bag or bin of another.
type Tipping struct {
	Meta
	From Ref
	Into string
	Qty  Quantity
	At   When
}

// Clearance is a line clearance: every can, end, label and carrier of the run before was taken
// out of the line's magazines, hoppers and rolls.
type Clearance struct {
	Meta
	Line string
	At   When
}

// Run is a package run.
type Run struct {
	Meta
	Run, Product, Line, DateCode string
	Started, Ended               When
	Good, Rejects                int64
	ClockOffset                  int64 // seconds, coder minus true
	ClockChecked                 bool  // the offset was written down; otherwise nobody knows it
}

// CodeChange is a stretch of a run in which the coder printed something else.
type CodeChange struct {
	Meta
	Run, DateCode string
	Since         When
	Until         When
	HasUntil      bool
}

// Feed is what fed a run, from when to when.
type Feed struct {
	Meta
	Run                string
	From               Ref
	Qty                Quantity
	HasQty             bool
	Count              float64 // cases or kegs, where From is units; containers, where it is the rejects of runs
	Since, Until       When
	HasSince, HasUntil bool
	Overlap            int64 // seconds; meaningful where HasOverlap
	HasOverlap         bool
}

// Packed is one row of a unit: what of one run stands on a pallet or a stack, or is in a keg.
type Packed struct {
	Meta
	Unit, UnitKind, Run       string
	Quantity                  int64 // cases or kegs
	First, Last               When
	HasFirst, HasLast, Washed bool
	WashedAt                  When
	Washer, SSCC, Place       string
}

// Shipment is one unit, or part of one, on its way to a consignee.
type Shipment struct {
	Meta
	Shipment          string
	Unit              Ref
	Quantity          int64
	Consignee         string
	At                When
	Document, Carrier string
}

// Bulk is a shipment of what was never packed: beer or yeast from a vessel, some of a lot, or a
// by-product of a brew, such as spent grain.
type Bulk struct {
	Meta
	Shipment          string
	From              Ref // vessels, lots or brews
	Qty               Quantity
	Unit              Unit
	Goods             string // in the words of the row; may be empty
	Consignee         string
	At                When
	Document, Carrier string
}

// Return is one unit, or part of one, that came back.
type Return struct {
	Meta
	Return           string
	Unit             Ref
	Quantity         int64
	Consignee, State string
	At               When
	LeftML           int64 // what a part keg still holds
	HasLeft          bool
	Document         string
}

// OfGoods reports whether goods came back, and not an empty keg: that is no return of goods.
func (r *Return) OfGoods() bool { return r.State != "empty" }

// Removal takes something out of the books for a reason.
type Removal struct {
	Meta
	Subject           Ref
	All               bool // empties a vessel
	Qty               Quantity
	Count             float64 // cases or kegs, where the subject is a unit
	At                When
	Reason            string
	Witness, Document string
}

// StockCount is what somebody counted.
type StockCount struct {
	Meta
	Subject Ref
	Qty     Quantity
	Count   float64
	At      When
	Place   string
}

// Hold is a stop on something, and its release.
type Hold struct {
	Meta
	Subject                   Ref
	At                        When
	Reason                    string
	Released                  bool
	ReleasedAt                When
	ReleasedBy, ReleaseReason string
}

// SetEntry gives a decoded record the journal sequence of its row.
func (m *Meta) SetEntry(seq int64) { m.Seq = seq }
