package lots

import (
	"slices"
	"strings"
)

// Type says how a column's text is read.
type Type uint8

// The column types.
const (
	Text    Type = iota // kept as written
	NewCode             // names the thing this row is about
	RefTo               // one code of the kinds given
	AnyOf               // one code, or several with | between, of the kinds given
	ListOf              // codes of the kinds given with ; between
	Words               // plain words with ; between
	Number              // an unsigned decimal
	Count               // a whole number
	Offset              // a decimal number of minutes that may be negative
	Time                // a When
	UnitOf              // a unit of measure
	Choice              // one of Values
	YesNo               // yes or no
	Amount              // an unsigned decimal, or one of Values
)

// Column is one column of a sheet.
type Column struct {
	Name   string
	Need   bool
	Type   Type
	Kinds  []Kind   // for NewCode, RefTo, AnyOf, ListOf
	Values []string // for Choice and Amount, append-only
	Help   string
}

// Sheet is one kind of record: a file of the import folder, a page of the
// workbook, and a verb of the command line.
type Sheet struct {
	Name    string   // file name without its ending; also the journal's kind
	Verb    string   // command that records one row
	Noun    string   // one row, for people
	Code    string   // column with the code the row is about; empty where rows have none
	OneRow  bool     // the code may stand in one row only
	When    string   // column that says when it happened; empty for reference data
	Shared  []string // columns that say the same in all rows of a code
	Columns []Column
}

// Personal reports whether a column tells of people outside the house, or how to reach them.
func (s *Sheet) Personal(column string) bool {
	return s.Name == "parties" && slices.Contains([]string{"contact", "phone", "email", "address"}, column)
}

// File is the sheet's CSV file name.
func (s *Sheet) File() string { return s.Name + ".csv" }

// Column finds a column by name.
func (s *Sheet) Column(name string) (Column, bool) {
	for _, c := range s.Columns {
		if c.Name == name {
			return c, true
		}
	}
	return Column{}, false
}

// Has reports whether the sheet has the column.
func (s *Sheet) Has(name string) bool { _, ok := s.Column(name); return ok }

// Closed sets of words. They are stored as written and append-only.
var (
	itemKinds   = words("malt hop yeast adjunct fruit sugar finings salt enzyme acid gas water container closure label carrier carton chemical other")
	vesselKinds = words("silo tank fermenter bright brink serving gas path")
)

func words(s string) []string { return strings.Fields(s) }

func text(name, help string) Column    { return Column{Name: name, Type: Text, Help: help} }
func number(name, help string) Column  { return Column{Name: name, Type: Number, Help: help} }
func count(name, help string) Column   { return Column{Name: name, Type: Count, Help: help} }
func at(name, help string) Column      { return Column{Name: name, Type: Time, Help: help} }
func unitCol(name, help string) Column { return Column{Name: name, Type: UnitOf, Help: help} }
func choice(name, values, help string) Column {
	return Column{Name: name, Type: Choice, Values: words(values), Help: help}
}
func newCode(name string, k Kind, help string) Column {
	return Column{Name: name, Type: NewCode, Need: true, Kinds: []Kind{k}, Help: help}
}
func ref(name string, help string, kinds ...Kind) Column {
	return Column{Name: name, Type: RefTo, Kinds: kinds, Help: help}
}
func anyOf(name string, help string, kinds ...Kind) Column {
	return Column{Name: name, Type: AnyOf, Kinds: kinds, Help: help}
}
func need(c Column) Column { c.Need = true; return c }

var (
	byColumn  = text("by", "who did it or reports it")
	refColumn = text("ref", "tells two otherwise equal rows apart")
)

// Sheets are all kinds of record, reference data first, in the order in which
// a folder is easiest to read. The order says nothing about time.
var Sheets = []*Sheet{
	{Name: "site", Verb: "site", Noun: "site", Columns: []Column{
		need(text("name", "the brewery's name")),
		need(text("time_zone", "IANA zone, such as Europe/Berlin")),
		unitCol("volume_unit", "volumes are shown in this unit (else L)"),
		unitCol("mass_unit", "masses are shown in this unit (else kg)"),
	}},
	{Name: "items", Verb: "item", Noun: "item", Code: "item", OneRow: true, Columns: []Column{
		newCode("item", KindItem, "the item's code"),
		need(text("name", "what it is called")),
		need(Column{Name: "kind", Type: Choice, Values: itemKinds, Help: "what sort of material"}),
		need(unitCol("unit", "the unit it is counted in")),
		{Name: "allergens", Type: Words, Help: "allergens it carries, ; between"},
		number("extract_pct", "extract as is, in percent"),
	}},
	{Name: "parties", Verb: "party", Noun: "party", Code: "party", OneRow: true, Columns: []Column{
		newCode("party", KindParty, "the party's code"),
		need(text("name", "name of the supplier or consignee")),
		need(choice("role", "supplier consignee both own", "what they are to us")),
		choice("channel", "distributor retailer on-premise consumer own", "their place in the trade"),
		text("contact", "whom to ask for"), text("phone", "telephone, including after hours"), text("email", "e-mail"),
		text("address", "postal address"), text("gln", "GS1 location number"),
	}},
	{Name: "vessels", Verb: "vessel", Noun: "vessel", Code: "vessel", OneRow: true, Columns: []Column{
		newCode("vessel", KindVessel, "the vessel's code"),
		need(Column{Name: "kind", Type: Choice, Values: vesselKinds, Help: "what sort of vessel"}),
		number("capacity", "what it holds"), unitCol("unit", "the unit its quantities are in unless a row says otherwise"),
		text("site", "where it is; of a hired vessel or one of another site, whose it is"),
	}},
	{Name: "lines", Verb: "line", Noun: "line", Code: "line", OneRow: true, Columns: []Column{
		newCode("line", KindLine, "the line's code"),
		number("rate_per_min", "containers a minute"),
		number("margin_min", "minutes of doubt between the filler and the palletiser"),
		number("overlap_min", "minutes a magazine or hopper holds when a lot is changed"),
		{Name: "residue", Type: YesNo, Help: "yes if beer leaves residue from run to run, no if not; left blank, it may where an allergen would go undeclared"},
	}},
	{Name: "products", Verb: "product", Noun: "product", Code: "product", OneRow: true, Columns: []Column{
		newCode("product", KindProduct, "the product's code"),
		need(text("name", "name as on the label")), text("beer", "the beer in it"),
		need(count("container_ml", "millilitres in one container")),
		need(count("per_case", "containers in a case (1 for a keg)")),
		count("cases_per_pallet", "cases on a full pallet"), text("gtin", "GS1 trade item number"),
		{Name: "declares", Type: Words, Help: "allergens the label declares, ; between"},
		count("shelf_life_days", "days from packing to best-before"), text("date_code", "pattern of the printed date code"),
	}},
	{Name: "receipts", Verb: "receive", Noun: "receipt", Code: "lot", OneRow: true, When: "received_at", Columns: []Column{
		newCode("lot", KindLot, "our lot of this delivery"),
		need(ref("item", "what came in", KindItem)), need(ref("supplier", "who sent it", KindParty)),
		need(text("supplier_lot", "the supplier's lot exactly as printed; - if the goods carry none")),
		need(number("quantity", "how much")), need(unitCol("unit", "unit of the quantity")),
		need(at("received_at", "when it came in")), text("best_by", "best-by date as printed"),
		ref("into", "vessel it was blown or pumped into", KindVessel), text("place", "where it was put"),
		text("carrier", "who brought it"), text("document", "delivery note or other paper"),
		choice("status", "accepted hold rejected", "accepted if not given"), byColumn,
	}},
	{Name: "brews", Verb: "brew", Noun: "brew", Code: "brew", When: "started_at", Shared: words("beer started_at cast_out_at"), Columns: []Column{
		newCode("brew", KindBrew, "code of this turn of the brewhouse"),
		need(text("beer", "the beer brewed")),
		need(at("started_at", "mash-in")), need(at("cast_out_at", "cast-out")),
		need(ref("into", "vessel it was cast into; one row for each if a brew is split", KindVessel)),
		need(number("volume", "volume into that vessel")), need(unitCol("unit", "unit of the volume")),
		number("plato", "gravity in degrees Plato"), byColumn,
	}},
	{Name: "brew_inputs", Verb: "input", Noun: "brew input", When: "at", Columns: []Column{
		need(ref("brew", "the brew it went into", KindBrew)),
		need(anyOf("from", "lot or vessel it came from; A|B if it was one of them, not known which", KindLot, KindVessel)),
		need(number("quantity", "how much")), need(unitCol("unit", "unit of the quantity")),
		at("at", "when; else the brew's start, or cast-out for the stages cast-out and pitch"),
		choice("stage", "mash boil whirlpool cast-out pitch", "where in the brew"), refColumn, byColumn,
	}},
	{Name: "additions", Verb: "add", Noun: "addition", When: "at", Columns: []Column{
		need(ref("vessel", "vessel it was added to", KindVessel)),
		need(anyOf("from", "lot, vessel or unit it came from, or a run whose rejects were emptied into it; A|B if it was one of them, not known which", KindLot, KindVessel, KindUnit, KindRun)),
		need(number("quantity", "how much")), need(unitCol("unit", "unit of the quantity")),
		need(at("at", "when")), number("volume", "volume it added, if the quantity does not show it"),
		unitCol("volume_unit", "unit of that volume"), text("purpose", "dry hop, fining, top-up ..."), refColumn, byColumn,
	}},
	{Name: "transfers", Verb: "transfer", Noun: "transfer", Code: "transfer", OneRow: true, When: "started_at", Columns: []Column{
		newCode("transfer", KindTransfer, "code of the transfer"),
		need(anyOf("from", "vessel it left; A|B if it was one of them, not known which", KindVessel)), need(ref("to", "vessel it reached", KindVessel)),
		need(number("out", "what left")), need(number("in", "what arrived")), need(unitCol("unit", "unit of both")),
		need(at("started_at", "start")), need(at("ended_at", "end")),
		{Name: "via", Type: ListOf, Kinds: []Kind{KindVessel, KindLine}, Help: "hoses, centrifuge or filter it passed through, ; between"}, byColumn,
	}},
	{Name: "circulations", Verb: "circulate", Noun: "circulation", When: "started_at", Columns: []Column{
		need(Column{Name: "vessels", Type: ListOf, Kinds: []Kind{KindVessel}, Help: "vessels circulated together, ; between"}),
		need(at("started_at", "start")), need(at("ended_at", "end")), refColumn, byColumn,
		{Name: "perhaps", Type: YesNo, Help: "yes if they may only have been joined, as by a valve that was perhaps open: nothing is moved on the books"},
	}},
	{Name: "crops", Verb: "crop", Noun: "crop", Code: "lot", OneRow: true, When: "at", Columns: []Column{
		newCode("lot", KindLot, "code of the crop, which is a lot of yeast"),
		need(ref("item", "the yeast", KindItem)), need(ref("vessel", "vessel it was taken from", KindVessel)),
		need(number("quantity", "how much")), need(unitCol("unit", "unit of the quantity")),
		need(at("at", "when")), ref("into", "brink it went into", KindVessel), byColumn,
	}},
	{Name: "cleans", Verb: "clean", Noun: "clean", When: "at", Columns: []Column{
		need(ref("vessel", "vessel or line cleaned", KindVessel, KindLine)),
		need(at("at", "when it was done")),
		need(choice("method", "cip manual rinse purge", "cip or manual empties and cleans; rinse and purge do not")),
		{Name: "verified", Type: YesNo, Help: "no if the clean was not verified"},
		anyOf("from", "lot or tank of the chemical it was cleaned with; A|B if it was one of them, not known which", KindLot, KindVessel), refColumn, byColumn,
	}},
	{Name: "clearances", Verb: "clear", Noun: "line clearance", When: "at", Columns: []Column{
		need(ref("line", "line that was cleared", KindLine)),
		need(at("at", "when its magazines, hoppers and rolls were empty")), refColumn, byColumn,
	}},
	{Name: "tippings", Verb: "tip", Noun: "tipping", When: "at", Columns: []Column{
		need(anyOf("from", "lot that was tipped; A|B if it was one of them, not known which", KindLot)),
		need(ref("into", "lot it was tipped into", KindLot)),
		need(number("quantity", "how much")), unitCol("unit", "unit of the quantity"),
		need(at("at", "when")), refColumn, byColumn,
	}},
	{Name: "runs", Verb: "package", Noun: "run", Code: "run", OneRow: true, When: "started_at", Columns: []Column{
		newCode("run", KindRun, "code of the packaging run"),
		need(ref("product", "what was packed", KindProduct)), ref("line", "line it ran on", KindLine),
		need(at("started_at", "start")), need(at("ended_at", "end")),
		text("date_code", "what the coder printed, exactly; may be empty where units are repacked, whose codes stay"),
		need(count("good", "good containers")), count("rejects", "containers rejected"),
		{Name: "clock_offset_min", Type: Offset, Help: "coder's clock minus true time, in minutes"}, byColumn,
	}},
	{Name: "codes", Verb: "code", Noun: "code change", When: "since", Columns: []Column{
		need(ref("run", "the run", KindRun)), need(text("date_code", "what the coder printed instead during that time")),
		need(at("since", "from, true time")), at("until", "until, true time; else the run's end"), refColumn,
	}},
	{Name: "feeds", Verb: "feed", Noun: "feed", When: "since", Columns: []Column{
		need(ref("run", "the run", KindRun)),
		need(anyOf("from", "vessel, lot or unit that fed it, or a run whose rejects did; A|B if it was one of them, not known which", KindVessel, KindLot, KindUnit, KindRun)),
		number("quantity", "how much"), unitCol("unit", "unit of the quantity"),
		at("since", "from; else the run's start"), at("until", "until; else the run's end"),
		number("overlap_min", "minutes of it left in the magazine or hopper; else the line's"), refColumn,
	}},
	{Name: "units", Verb: "pack", Noun: "unit", Code: "unit", When: "first_at", Shared: words("kind"), Columns: []Column{
		newCode("unit", KindUnit, "pallet or stack code, or KEG/RUN for a keg filling"),
		need(choice("kind", "pallet keg stack", "what it is")), need(ref("run", "run it was packed in", KindRun)),
		need(number("quantity", "cases, or kegs")),
		at("first_at", "first container on it, true time"), at("last_at", "last container on it, true time"),
		at("washed_at", "when the keg was washed"), ref("washer", "line that washed it", KindLine),
		text("sscc", "GS1 pallet number"), text("place", "where it was put"),
	}},
	{Name: "shipments", Verb: "ship", Noun: "shipment", Code: "shipment", When: "shipped_at", Shared: words("consignee"), Columns: []Column{
		newCode("shipment", KindShipment, "code of the shipment"),
		need(anyOf("unit", "unit that left; or, in bulk, the vessel or lot it left from, or the brew that a by-product is of; A|B if it was one of them, not known which",
			KindUnit, KindVessel, KindLot, KindBrew)),
		need(number("quantity", "cases, or kegs; in bulk with its unit of measure")), need(ref("consignee", "who received it", KindParty)),
		need(at("shipped_at", "when it left")), text("document", "bill of lading or delivery note"),
		text("carrier", "who took it"), byColumn,
		unitCol("quantity_unit", "unit of measure of what left in bulk; else the vessel's or the lot's own"),
		text("goods", "what left in bulk, in words: spent grain, beer for distilling"),
	}},
	{Name: "returns", Verb: "return", Noun: "return", Code: "return", When: "returned_at", Columns: []Column{
		newCode("return", KindReturn, "code of the return"),
		need(anyOf("unit", "unit that came back; A|B if it was one of them, not known which", KindUnit)),
		need(number("quantity", "cases, or kegs")), need(ref("consignee", "who sent it back", KindParty)),
		need(at("returned_at", "when it came back")), choice("state", "full part empty", "full if not given"),
		number("left", "what a part keg still holds"), unitCol("left_unit", "unit of what is left"),
		text("document", "return note"), byColumn,
	}},
	{Name: "removals", Verb: "remove", Noun: "removal", When: "at", Columns: []Column{
		need(anyOf("subject", "lot, vessel or unit", KindLot, KindVessel, KindUnit)),
		need(Column{Name: "quantity", Type: Amount, Values: words("all"), Help: "how much; all empties a vessel"}), unitCol("unit", "unit of the quantity"),
		need(at("at", "when")),
		need(choice("reason", "sample taproom destroyed dumped loss supplier-return", "why")),
		text("witness", "who saw it destroyed"), text("document", "paper that goes with it"), refColumn, byColumn,
	}},
	{Name: "counts", Verb: "count", Noun: "count", When: "at", Columns: []Column{
		need(ref("subject", "lot, vessel or unit counted", KindLot, KindVessel, KindUnit)),
		need(number("quantity", "how much is there")), unitCol("unit", "unit of the quantity"),
		need(at("at", "when")), text("place", "where"), refColumn, byColumn,
	}},
	{Name: "holds", Verb: "hold", Noun: "hold", When: "at", Columns: []Column{
		need(ref("subject", "lot, brew, vessel (its current fill), run or unit", KindLot, KindBrew, KindVessel, KindRun, KindUnit)),
		need(at("at", "when it went on hold")), need(text("reason", "why")), need(byColumn),
		at("released_at", "when it was released"), text("released_by", "who released it"), text("release_reason", "why"),
	}},
}

// SheetNamed finds a sheet by its name.
func SheetNamed(name string) (*Sheet, bool) {
	for _, s := range Sheets {
		if s.Name == name {
			return s, true
		}
	}
	return nil, false
}
