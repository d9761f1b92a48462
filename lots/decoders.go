package lots

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// decoders turn a row of known shape into its record, one a sheet.
var decoders = map[string]func(*fields) Record{
	"site": decodeSite, "items": decodeItem, "parties": decodeParty, "vessels": decodeVessel,
	"lines": decodeLine, "products": decodeProduct, "receipts": decodeReceipt, "brews": decodeBrew,
	"brew_inputs": decodeBrewInput, "additions": decodeAddition, "transfers": decodeTransfer,
	"circulations": decodeCirculation, "crops": decodeCrop, "cleans": decodeClean, "clearances": decodeClearance, "tippings": decodeTipping, "runs": decodeRun,
	"codes": decodeCodeChange, "feeds": decodeFeed, "units": decodePacked, "shipments": decodeShipment,
	"returns": decodeReturn, "removals": decodeRemoval, "counts": decodeCount, "holds": decodeHold,
}

func decodeSite(f *fields) Record {
	zone, err := time.LoadLocation(f.text("time_zone"))
	if err != nil || f.text("time_zone") == "Local" {
		f.fault("time_zone", "%q is not a known time zone: write one such as Europe/Berlin", f.text("time_zone"))
	}
	s := &Site{Meta: f.meta(), Name: f.text("name"), Zone: zone, VolumeUnit: f.unit("volume_unit", "L"), MassUnit: f.unit("mass_unit", "kg")}
	if s.VolumeUnit.Dim() != Volume && f.has("volume_unit") {
		f.fault("volume_unit", "%s is not a unit of volume", s.VolumeUnit)
	}
	if s.MassUnit.Dim() != Mass && f.has("mass_unit") {
		f.fault("mass_unit", "%s is not a unit of mass", s.MassUnit)
	}
	return s
}

func decodeItem(f *fields) Record {
	i := &Item{Meta: f.meta(), Code: f.code("item"), Name: f.text("name"), Kind: f.text("kind"),
		Unit: f.unit("unit", ""), Allergens: f.words("allergens"), ExtractPct: f.number("extract_pct")}
	if i.ExtractPct > 100 {
		f.fault("extract_pct", "is more than 100")
	}
	return i
}

func decodeParty(f *fields) Record {
	return &Party{Meta: f.meta(), Code: f.code("party"), Name: f.text("name"), Role: f.text("role"), Channel: f.text("channel"),
		Contact: f.text("contact"), Phone: f.text("phone"), Email: f.text("email"), Address: f.text("address"), GLN: f.text("gln")}
}

func decodeVessel(f *fields) Record {
	v := &Vessel{Meta: f.meta(), Code: f.code("vessel"), Kind: f.text("kind"), Unit: f.unit("unit", ""), Capacity: f.number("capacity"), Place: f.text("site")}
	if d := v.Unit.Dim(); d == Pieces || d == Cases {
		f.fault("unit", "a vessel holds kilograms or litres, not %s", v.Unit)
	}
	return v
}

func decodeLine(f *fields) Record {
	return &Line{Meta: f.meta(), Code: f.code("line"), RatePerMin: f.number("rate_per_min"),
		Margin: f.minutes("margin_min"), Overlap: f.minutes("overlap_min"), Residue: f.yes("residue", false), HasResidue: f.has("residue")}
}

func decodeProduct(f *fields) Record {
	return &Product{Meta: f.meta(), Code: f.code("product"), Name: f.text("name"), Beer: f.text("beer"),
		ContainerML: f.positive("container_ml"), PerCase: f.positive("per_case"), CasesPerPallet: f.count("cases_per_pallet"),
		GTIN: f.text("gtin"), Declares: f.words("declares"), ShelfLifeDays: f.count("shelf_life_days"), DateCode: f.text("date_code")}
}

func decodeReceipt(f *fields) Record {
	r := &Receipt{Meta: f.meta(), Lot: f.code("lot"), SupplierLot: f.text("supplier_lot"), Unit: f.unit("unit", ""),
		At: f.when("received_at"), BestBy: f.text("best_by"), Place: f.text("place"), Carrier: f.text("carrier"),
		Document: f.text("document"), Status: f.text("status")}
	item := Thing{}
	r.Item, item = f.one("item")
	r.Supplier, _ = f.one("supplier")
	r.Into, _ = f.heldBy("into")
	r.Qty = f.qty("quantity", r.Unit)
	if item.Unit != "" && r.Unit != "" && item.Unit.Dim() != r.Unit.Dim() {
		f.warnings = append(f.warnings, Fault{Column: "unit", Reason: fmt.Sprintf("%s is counted in %s, but this lot came in %s", r.Item, item.Unit, r.Unit)})
	}
	if r.Status == "" {
		r.Status = "accepted"
	}
	f.someOf(r.Qty)
	f.pourable("unit", r.Unit, r.Into)
	return r
}

// someOf refuses an empty lot: it has no shares.
func (f *fields) someOf(q Quantity) {
	if len(f.faults) == 0 && q.N == 0 {
		f.fault("quantity", "must be more than zero")
	}
}

// pourable refuses to put pieces into a vessel, where only volume and mass mix.
func (f *fields) pourable(column string, u Unit, into string) {
	if d := u.Dim(); into != "" && (d == Pieces || d == Cases) {
		f.fault(column, "%s holds kilograms or litres, not %s", into, u)
	}
}

// heldBy reads a vessel that holds material; a path holds none.
func (f *fields) heldBy(name string) (string, Thing) {
	code, t := f.one(name)
	f.notPath(name, code, t)
	return code, t
}

func (f *fields) notPath(name, code string, t Thing) {
	if t.VesselKind == "path" {
		f.fault(name, "%s is a path: beer passes through it and nothing stays in it; name it in via or as a feed", code)
	}
}

// source reads what a flow came from, refusing a path.
func (f *fields) source(name string) (Ref, Thing) {
	r, t := f.any(name)
	for _, code := range r.Codes {
		x, _ := f.look.Thing(code)
		f.notPath(name, code, x)
	}
	return r, t
}

func decodeBrew(f *fields) Record {
	b := &Brew{Meta: f.meta(), Brew: f.code("brew"), Beer: f.text("beer"), Started: f.when("started_at"), CastOut: f.when("cast_out_at"),
		Volume: f.volume("volume", "unit", ""), Unit: f.unit("unit", ""), Plato: f.number("plato")}
	b.Into, _ = f.heldBy("into")
	f.order(b.Started, b.CastOut, "cast_out_at", false)
	return b
}

func decodeBrewInput(f *fields) Record {
	b := &BrewInput{Meta: f.meta(), At: f.when("at"), HasAt: f.has("at"), Stage: f.text("stage")}
	b.Brew, _ = f.one("brew")
	r, t := f.source("from")
	b.From = r
	b.Qty, _ = f.drawn("quantity", "unit", r, t)
	b.AtCast = !b.HasAt && (b.Stage == "cast-out" || b.Stage == "pitch")
	return b
}

func decodeAddition(f *fields) Record {
	a := &Addition{Meta: f.meta(), At: f.when("at"), HasVolume: f.has("volume"), Purpose: f.text("purpose")}
	a.Vessel, _ = f.heldBy("vessel")
	r, t := f.source("from")
	a.From = r
	a.Qty, a.Count = f.drawn("quantity", "unit", r, t)
	if f.has("volume_unit") && !a.HasVolume {
		f.fault("volume_unit", "is given without a volume: give both")
	}
	if a.HasVolume {
		a.Volume = f.volume("volume", "volume_unit", f.site.VolumeUnit)
	}
	for _, c := range r.Codes {
		if c == a.Vessel {
			f.fault("from", "%s cannot be added to itself", c)
		}
	}
	return a
}

func decodeTransfer(f *fields) Record {
	t := &Transfer{Meta: f.meta(), Transfer: f.code("transfer"), Out: f.volume("out", "unit", ""), In: f.volume("in", "unit", ""),
		Started: f.when("started_at"), Ended: f.when("ended_at"), Via: f.list("via").Codes}
	t.From, _ = f.source("from")
	t.To, _ = f.heldBy("to")
	for _, c := range t.From.Codes {
		if c == t.To {
			f.fault("to", "%s cannot be transferred into itself", c)
		}
	}
	for _, c := range t.Via {
		if x, _ := f.look.Thing(c); x.Kind == KindVessel && x.VesselKind != "path" {
			f.fault("via", "%s is a %s: via names what the beer passes through (a vessel of kind path, or a line); record two transfers instead", c, x.VesselKind)
		}
	}
	f.order(t.Started, t.Ended, "ended_at", false)
	return t
}

func decodeCirculation(f *fields) Record {
	c := &Circulation{Meta: f.meta(), Vessels: f.list("vessels").Codes, Started: f.when("started_at"), Ended: f.when("ended_at"), Perhaps: f.yes("perhaps", false)}
	for _, v := range c.Vessels {
		x, _ := f.look.Thing(v)
		f.notPath("vessels", v, x)
	}
	if len(f.faults) == 0 && len(c.Vessels) < 2 {
		f.fault("vessels", "name two or more vessels, with ; between")
	}
	f.order(c.Started, c.Ended, "ended_at", false)
	return c
}

func decodeCrop(f *fields) Record {
	c := &Crop{Meta: f.meta(), Lot: f.code("lot"), Unit: f.unit("unit", ""), At: f.when("at")}
	c.Item, _ = f.one("item")
	c.Vessel, _ = f.heldBy("vessel")
	c.Into, _ = f.heldBy("into")
	c.Qty = f.qty("quantity", c.Unit)
	f.someOf(c.Qty)
	if d := c.Unit.Dim(); d == Pieces || d == Cases {
		f.fault("unit", "yeast is cropped in kilograms or litres, not %s", c.Unit)
	}
	if c.Into != "" && c.Into == c.Vessel {
		f.fault("into", "a crop cannot go back into the vessel it was taken from")
	}
	return c
}

func decodeClean(f *fields) Record {
	c := &Clean{Meta: f.meta(), At: f.when("at"), Method: f.text("method"), Verified: f.yes("verified", true)}
	code, t := f.one("vessel")
	c.Subject = Ref{Kind: t.Kind, Codes: []string{code}}
	if f.has("from") {
		c.From, _ = f.source("from")
	}
	if slices.Contains(c.From.Codes, code) {
		f.fault("from", "%s cannot be cleaned with what is in it: name the lot or the tank of the chemical", code)
	}
	return c
}

func decodeTipping(f *fields) Record {
	r, t := f.any("from")
	d := &Tipping{Meta: f.meta(), From: r, At: f.when("at")}
	into, own := f.one("into")
	d.Into = into
	d.Qty, _ = f.drawn("quantity", "unit", r, t)
	for _, code := range r.Codes {
		if x, _ := f.look.Thing(code); x.Into != "" {
			f.fault("from", "%s was put into %s and is drawn through it: record where it went from there", code, x.Into)
		}
	}
	switch {
	case own.Into != "":
		f.fault("into", "%s was put into %s: record heeltap add %s instead", into, own.Into, own.Into)
	case slices.Contains(r.Codes, into):
		f.fault("into", "%s cannot be tipped into itself", into)
	case len(f.faults) == 0 && own.Unit.Dim() != d.Qty.Dim:
		f.fault("into", "%s is counted in %s and cannot take what is counted otherwise", into, own.Unit)
	}
	return d
}

func decodeClearance(f *fields) Record {
	c := &Clearance{Meta: f.meta(), At: f.when("at")}
	c.Line, _ = f.one("line")
	return c
}

func decodeRun(f *fields) Record {
	r := &Run{Meta: f.meta(), Run: f.code("run"), DateCode: f.text("date_code"), Started: f.when("started_at"), Ended: f.when("ended_at"),
		Good: f.count("good"), Rejects: f.count("rejects"), ClockOffset: f.minutes("clock_offset_min"), ClockChecked: f.has("clock_offset_min")}
	r.Product, _ = f.one("product")
	r.Line, _ = f.one("line")
	f.order(r.Started, r.Ended, "ended_at", true)
	return r
}

func decodeCodeChange(f *fields) Record {
	c := &CodeChange{Meta: f.meta(), DateCode: f.text("date_code"), Since: f.when("since"), Until: f.when("until"), HasUntil: f.has("until")}
	c.Run, _ = f.one("run")
	if c.HasUntil {
		f.order(c.Since, c.Until, "until", true)
	}
	return c
}

func decodeFeed(f *fields) Record {
	d := &Feed{Meta: f.meta(), HasQty: f.has("quantity"), Since: f.when("since"), Until: f.when("until"),
		HasSince: f.has("since"), HasUntil: f.has("until"), Overlap: f.minutes("overlap_min"), HasOverlap: f.has("overlap_min")}
	d.Run, _ = f.one("run")
	r, t := f.any("from")
	d.From = r
	for _, c := range r.Codes {
		if c == d.Run {
			f.fault("from", "%s cannot be fed with its own rejects: name the tank they were emptied into", c)
		}
	}
	if d.HasQty {
		d.Qty, d.Count = f.drawn("quantity", "unit", r, t)
	} else if f.has("unit") {
		f.fault("unit", "is given without a quantity: give both")
	}
	if d.HasSince && d.HasUntil {
		f.order(d.Since, d.Until, "until", true)
	}
	return d
}

func decodePacked(f *fields) Record {
	p := &Packed{Meta: f.meta(), Unit: f.code("unit"), UnitKind: f.text("kind"), Quantity: f.positive("quantity"),
		First: f.when("first_at"), Last: f.when("last_at"), HasFirst: f.has("first_at"), HasLast: f.has("last_at"),
		WashedAt: f.when("washed_at"), Washed: f.has("washed_at"), SSCC: f.text("sscc"), Place: f.text("place")}
	p.Run, _ = f.one("run")
	p.Washer, _ = f.one("washer")
	if p.UnitKind == "keg" {
		if _, run, ok := SplitFilling(p.Unit); !ok || run != f.text("run") {
			f.fault("unit", "write a keg filling as its keg and its run: %s/%s", strings.TrimSuffix(p.Unit, "/"+run), f.text("run"))
		}
	}
	if p.HasFirst && p.HasLast {
		f.order(p.First, p.Last, "last_at", false)
	}
	return p
}

func decodeShipment(f *fields) Record {
	from, t := f.source("unit")
	if from.Kind != KindUnit {
		return f.bulk(from, t)
	}
	s := &Shipment{Meta: f.meta(), Shipment: f.code("shipment"), Unit: from, Quantity: f.positive("quantity"), At: f.when("shipped_at"),
		Document: f.text("document"), Carrier: f.text("carrier")}
	s.Consignee, _ = f.one("consignee")
	if u := f.unit("quantity_unit", "case"); u != "case" && (u != "each" || t.UnitKind != "keg") {
		f.fault("quantity_unit", "a %s is shipped in whole cases or kegs: leave the unit out", t.UnitKind)
	}
	if f.has("goods") {
		f.fault("goods", "is for what leaves in bulk: what is on a unit is told by its runs")
	}
	return s
}

// bulk reads a shipment of what was never packed. A brew keeps no by-products on its books: it
// only says what they came of.
func (f *fields) bulk(from Ref, t Thing) Record {
	b := &Bulk{Meta: f.meta(), Shipment: f.code("shipment"), From: from, At: f.when("shipped_at"),
		Goods: f.text("goods"), Document: f.text("document"), Carrier: f.text("carrier")}
	b.Consignee, _ = f.one("consignee")
	if from.Kind == KindBrew {
		t.Unit = f.site.MassUnit
		b.Qty = f.qty("quantity", f.unit("quantity_unit", t.Unit))
	} else {
		b.Qty, _ = f.drawn("quantity", "quantity_unit", from, t)
	}
	b.Unit = f.unit("quantity_unit", ownUnit(from.Kind, t, f.site))
	if d := b.Qty.Dim; from.Kind == KindBrew && d != Mass && d != Volume {
		f.fault("quantity_unit", "what is left of a brew is weighed or measured in volume, not in %s", b.Unit)
	}
	f.someOf(b.Qty)
	return b
}

func decodeReturn(f *fields) Record {
	r := &Return{Meta: f.meta(), Return: f.code("return"), Quantity: f.positive("quantity"), At: f.when("returned_at"),
		State: f.text("state"), HasLeft: f.has("left"), Document: f.text("document")}
	r.Unit, _ = f.any("unit")
	r.Consignee, _ = f.one("consignee")
	if r.State == "" {
		r.State = "full"
	}
	if r.HasLeft {
		r.LeftML = f.volume("left", "left_unit", f.site.VolumeUnit)
	} else if f.has("left_unit") {
		f.fault("left_unit", "is given without what is left: give both")
	}
	return r
}

func decodeRemoval(f *fields) Record {
	r := &Removal{Meta: f.meta(), All: f.text("quantity") == "all", At: f.when("at"), Reason: f.text("reason"),
		Witness: f.text("witness"), Document: f.text("document")}
	ref, t := f.source("subject")
	r.Subject = ref
	switch {
	case r.All && (ref.Kind != KindVessel || ref.OneOf()):
		f.fault("quantity", "all empties one vessel; give a quantity for a %s", ref.Kind)
	case !r.All:
		r.Qty, r.Count = f.drawn("quantity", "unit", ref, t)
	}
	return r
}

func decodeCount(f *fields) Record {
	c := &StockCount{Meta: f.meta(), At: f.when("at"), Place: f.text("place")}
	code, t := f.one("subject")
	c.Subject = Ref{Kind: t.Kind, Codes: []string{code}}
	c.Qty, c.Count = f.drawn("quantity", "unit", c.Subject, t)
	return c
}

func decodeHold(f *fields) Record {
	h := &Hold{Meta: f.meta(), At: f.when("at"), Reason: f.text("reason"), Released: f.has("released_at"), ReleasedAt: f.when("released_at"),
		ReleasedBy: f.text("released_by"), ReleaseReason: f.text("release_reason")}
	code, t := f.one("subject")
	h.Subject = Ref{Kind: t.Kind, Codes: []string{code}}
	if !h.Released && (h.ReleasedBy != "" || h.ReleaseReason != "") {
		f.fault("released_at", "is needed with a release")
	}
	if h.Released {
		f.order(h.At, h.ReleasedAt, "released_at", false)
	}
	return h
}
