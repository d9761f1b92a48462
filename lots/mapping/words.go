package mapping

import (
	"regexp"
	"strings"

	"heeltap/lots"
)

// Words that people head their columns with (common practice: delivery books, brew sheets and tank logs), by the sheet's column;
// SHEET.COLUMN where one sheet means something of its own. A few are other languages', for papers of suppliers abroad.
var columnWords = map[string]string{
	"address": "address, street, postal address", "allergens": "allergens", "beer": "beer, recipe, beer name, style",
	"best_by": "best before, bbe, bb, best by, best before date, expiry, expires, use by, mhd", "brew": "brew, brew no, brew number, gyle, gyle no, sud",
	"by": "by, who, signed, initials, received by, checked by, operator, name of brewer", "carrier": "carrier, haulier, vehicle, lorry",
	"cast_out_at": "cast out, knock out, knockout, end, finished", "consignee": "consignee, customer, sold to, ship to, deliver to, distributor, kunde",
	"contact": "contact, contact person", "date_code": "date code, code, best before code, printed code, code on can",
	"document": "document, delivery note, delivery note no, docket, docket no, invoice, invoice no, papers, order no, lieferschein",
	"email":    "email, e mail, mail",
	"ended_at": "ended, end, finish, finished, until, stopped, end time",
	"gln":      "gln", "good": "good, packed, filled, total packed, good containers", "gtin": "gtin, ean, bar code, barcode",
	"into": "into, silo, tank, fv, vessel, destination", "item": "item, material, ingredient, article, goods, description, malt, hop, artikel",
	"kind": "kind, type, category", "line": "line, packaging line", "lot": "our lot, internal lot, our no, our number, our code",
	"method": "method, clean, cip, type of clean, programme", "name": "name, company, description", "party": "party, account, account no, account code, customer no, supplier no, code",
	"phone": "phone, tel, telephone, mobile", "place": "place, location, store, bay, where, bin", "plato": "plato, og, original gravity, extract",
	"product": "product, sku, pack, pack type", "purpose": "purpose, reason, stage",
	"quantity":    "quantity, qty, amount, weight, net weight, volume, number, menge, how much",
	"received_at": "received, date received, received on, delivery date, date of delivery, delivered, date, arrived, date in, time, time received, datum",
	"rejects":     "rejects, waste, scrapped, spoiled", "role": "role, type", "run": "run, run no, packaging run", "shipment": "shipment, shipment no, delivery no, despatch no, dispatch no",
	"shipped_at": "shipped, despatched, dispatched, date shipped, despatch date, dispatch date, ship date, date, delivered, time",
	"sscc":       "sscc", "started_at": "started, start, start time, mash in, date, brew date, time",
	"status": "status", "supplier": "supplier, vendor, maltster, merchant, from whom, lieferant, fournisseur",
	"supplier_lot": "supplier lot, supplier batch, lot, lot no, lot number, lot code, batch, batch no, batch number, batch code, charge, los",
	"unit":         "unit, units, uom, unit of measure, einheit", "vessel": "vessel, tank, fv, fermenter", "verified": "verified, checked, swab, atp ok",
	"volume": "volume, volume brewed, knocked out, cast out volume", "witness": "witness, witnessed by",
	"at": "date, when, time, at, date and time", "from": "from, source, lot, lots, lots used, lot no", "out": "out, volume out, dip out", "in": "in, volume in, dip in",
	"subject": "what, subject, lot, unit, pallet", "reason": "reason, why",
	"shipments.unit": "pallet, pallet no, unit, keg, keg no, goods, package", "shipments.quantity": "quantity, qty, cases, kegs, amount",
	"returns.unit": "pallet, pallet no, unit, keg, keg no, goods", "returned_at": "returned, date returned, date, back on", "return": "return, return no, credit note",
	"units.unit": "pallet, pallet no, keg, keg no, unit", "units.quantity": "cases, quantity, qty",
	"brews.into": "into, fermenter, fv, tank", "transfers.to": "to, into, destination, bbt, bright tank", "transfer": "transfer, transfer no",
	"items.item": "item, code, item code, item no, stock code", "items.unit": "unit, uom, unit of measure", "vessels.vessel": "vessel, tank, fv, code, number",
}

// sheetWords are what people call the page of a sheet.
var sheetWords = map[string]string{
	"receipts": "deliveries, delivery, goods in, receiving, received, intake, wareneingang", "brews": "brewing, brew log, brew book", "brew_inputs": "inputs, grist, brew ingredients",
	"additions": "dry hops, additions", "transfers": "racking, cellar", "cleans": "cleaning, cip", "shipments": "despatch, dispatch, sales, shipping, deliveries out",
	"returns": "credits, returned", "parties": "customers, suppliers, accounts, address list, contacts", "items": "materials, stock list, ingredients", "vessels": "tanks, cellar list",
	"units": "pallets, kegs, packed", "runs": "packaging, canning", "counts": "stock take, stocktake", "removals": "destroyed, write offs", "holds": "quarantine",
}

// plainWord takes from a heading all but its words: lower case, no unit, no marks.
var (
	inBrackets = regexp.MustCompile(`\s*[(\[]([^()\[\]]*)[)\]]\s*$`)
	inUnit     = regexp.MustCompile(`^(.*\S)\s+(?:in|/)\s*([A-Za-z]+)$`)
	marks      = regexp.MustCompile(`[^\p{L}\p{N}]+`)
)

// headingOf takes a heading apart: its words, and the unit of the numbers below it, where it says one.
func headingOf(text string) (words string, unit string) {
	bare := strings.TrimSpace(text)
	for _, split := range []*regexp.Regexp{inBrackets, inUnit} {
		m := split.FindStringSubmatch(bare)
		if m == nil {
			continue
		}
		word, rest := m[len(m)-1], strings.TrimSpace(strings.TrimSuffix(bare, m[0]))
		if split == inUnit {
			rest = m[1]
		}
		if u, err := lots.ParseUnit(strings.TrimSpace(word)); err == nil && rest != "" {
			return wordsOf(rest), string(u)
		}
		if split == inBrackets && rest != "" {
			bare = rest // a remark
		}
	}
	if u, err := lots.ParseUnit(bare); err == nil {
		return "quantity", string(u) // a column headed kg
	}
	return wordsOf(bare), ""
}

func wordsOf(text string) string {
	return strings.TrimSpace(marks.ReplaceAllString(strings.ToLower(text), " "))
}

// fit says how well words mean a column of a sheet: 3 its own name, 2 what people call it, less where it is only near; 0 not at all.
func fit(s *lots.Sheet, c lots.Column, words string) float64 {
	if words == "" {
		return 0
	}
	own := strings.ReplaceAll(c.Name, "_", " ")
	switch {
	case words == own && c.Name == s.Code && s.When != "":
		return 2.4 // in a book of others, a lot is the supplier's rather than ours
	case words == own, words == strings.TrimSuffix(own, " at"):
		return 3
	}
	list, ok := columnWords[s.Name+"."+c.Name]
	if !ok {
		list = columnWords[c.Name]
	}
	known := strings.Split(list, ", ")
	for i, w := range known {
		if list != "" && w == words {
			return 2.5 - float64(i)/100 // the usual words come first
		}
	}
	for _, w := range known {
		if list != "" && len(w) > 3 && (strings.HasPrefix(words, w+" ") || strings.HasSuffix(words, " "+w)) {
			return 1.5
		}
	}
	if list != "" && len(words) > 4 && len(words) <= longestWords && !hasDigit.MatchString(words) && len(lots.NearestOf(words, append(known, own))) > 0 {
		return 1
	}
	return 0
}

// longestWords is how long, in bytes, a misspelt heading can be.
const longestWords = 30

// named says how well the name of a page means a sheet.
func named(s *lots.Sheet, page string) float64 {
	words := " " + wordsOf(page) + " "
	for _, w := range append(strings.Split(sheetWords[s.Name], ", "), strings.ReplaceAll(s.Name, "_", " "), s.Noun) {
		if w != "" && strings.Contains(words, " "+w+" ") {
			return 2
		}
	}
	return 0
}
