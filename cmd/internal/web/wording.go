package web

import (
	"net/url"
	"regexp"
	"strings"

	"heeltap/lots"
)

// sheetWords say how the form of a sheet is headed, and which of its cells come first, in the order of the work.
type sheetWords struct {
	heading, button, lead string
	first                 []string
}

var words = map[string]sheetWords{
	"items":        {"New item", "Add the item", "", nil},
	"parties":      {"New supplier or consignee", "Add them", "", nil},
	"vessels":      {"New vessel", "Add the vessel", "", nil},
	"lines":        {"New line", "Add the line", "", nil},
	"products":     {"New product", "Add the product", "", nil},
	"receipts":     {"A delivery came in", "Log the lot", "", fields("supplier item supplier_lot quantity best_by into place status document")},
	"brews":        {"Brew", "Record the brew", "", fields("beer started_at cast_out_at into volume plato")},
	"brew_inputs":  {"Into a brew", "Record the input", "Scan one lot after the other: each goes in on a form of its own.", fields("brew from quantity stage at")},
	"additions":    {"Add to a tank", "Record the addition", "", fields("vessel from quantity at purpose")},
	"transfers":    {"Transfer", "Record the transfer", "", fields("from to out in started_at ended_at via")},
	"circulations": {"Circulate tanks together", "Record it", "", fields("vessels started_at ended_at")},
	"crops":        {"Crop yeast", "Record the crop", "", fields("vessel item quantity into at")},
	"cleans":       {"Clean", "Record the clean", "Only a CIP or a manual clean that was verified parts what was in it from what goes in next.", fields("vessel method verified at")},
	"clearances":   {"Clear the line", "Record the clearance", "Record it only once every can, end, label and carrier of the run before is out.", fields("line at")},
	"runs":         {"Packaging run", "Record the run", "", fields("product line started_at ended_at date_code good rejects clock_offset_min")},
	"codes":        {"The printed code changed", "Record the change", "", fields("run date_code since until")},
	"feeds":        {"Feed to a run", "Record the feed", "", fields("run from quantity since until")},
	"units":        {"Off the line", "Record it", "", fields("unit kind run quantity first_at last_at place sscc")},
	"shipments":    {"Ship", "Record the shipment", "", fields("unit quantity consignee shipped_at document carrier")},
	"returns":      {"Came back", "Record the return", "What comes back full or in part is put on hold until somebody has judged it.", fields("unit quantity consignee state returned_at document")},
	"removals":     {"Remove", "Record the removal", "", fields("subject quantity reason at witness document")},
	"counts":       {"Count", "Record the count", "", fields("subject quantity place at")},
	"holds":        {"Hold", "Put it on hold", "Nothing that has it in it leaves until somebody releases it.", fields("subject reason at")},
}

func fields(names string) []string { return strings.Fields(names) }

func headingOf(s *lots.Sheet) string { return first(words[s.Name].heading, capital(s.Noun)) }
func buttonOf(s *lots.Sheet) string  { return first(words[s.Name].button, "Record it") }

func first(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

// labels say what a cell is called on a page, where its column's name does not.
var columnLabels = map[string]string{
	"supplier_lot": "Supplier's lot", "received_at": "Received", "best_by": "Best by, as printed", "into": "Into", "started_at": "Started",
	"cast_out_at": "Cast out", "ended_at": "Ended", "at": "When", "shipped_at": "Left", "returned_at": "Came back", "date_code": "Date code", "first_at": "First container",
	"last_at": "Last container", "washed_at": "Washed", "sscc": "SSCC", "clock_offset_min": "Coder's clock, minutes ahead of true time", "overlap_min": "Minutes left in the magazine",
	"good": "Good containers", "rejects": "Rejected containers", "out": "Left the first vessel", "in": "Arrived in the second", "via": "Through", "extract_pct": "Extract, %",
	"container_ml": "Millilitres in one container", "per_case": "Containers to the case", "cases_per_pallet": "Cases to the pallet", "gtin": "GTIN", "gln": "GLN",
	"rate_per_min": "Containers a minute", "margin_min": "Minutes of doubt between filler and palletiser", "residue": "Beer leaves residue", "plato": "Gravity, °P",
	"shelf_life_days": "Shelf life, days", "verified": "Verified", "email": "E-mail", "phone": "Telephone", "ref": "Reference", "released_at": "Released", "role": "They are",
}

// labelsOf are labels that a sheet has of its own.
var labelsOf = map[string]string{
	"additions from": "What was added", "brew_inputs from": "What went in", "transfers from": "From", "feeds from": "What fed it", "holds subject": "What to hold",
	"removals subject": "What", "counts subject": "What was counted", "units unit": "Pallet's code or keg's number", "shipments quantity": "How many",
	"returns quantity": "How many", "units quantity": "How many", "cleans vessel": "Vessel or line", "crops item": "Yeast", "runs run": "Run's code",
}

func labelOf(sheet, column string) string {
	return first(labelsOf[sheet+" "+column], columnLabels[column], capital(strings.ReplaceAll(column, "_", " ")))
}

// helpOf says more of a cell where its label does not say it all.
func helpOf(sheet string, c lots.Column) string {
	switch {
	case c.Type == lots.NewCode:
		return "Leave it empty and the next free code is taken."
	case c.Type == lots.Time:
		return ""
	case c.Type == lots.AnyOf:
		return c.Help
	}
	if sheet == "receipts" && c.Name == "supplier_lot" {
		return "Exactly as printed. Write - if there is none on the goods."
	}
	return ""
}

var (
	inBrackets = regexp.MustCompile(`\s*\((?:[^()]*\b)?heeltap [a-z][^()]*\)`)
	command    = regexp.MustCompile(`heeltap ([a-z-]+(?: [a-z-]+)??)((?: (?:--[a-z-]+|[A-Z0-9][^\s,;:]*|…|"[^"]*"))*)`)
	flag       = regexp.MustCompile(` --[a-z-]+(?: (?:[A-Z]{2,}|…|"[^"]*"))?`)
	goOn       = regexp.MustCompile(`,? or go on with --override REASON`)
)

// onPage says on a page what is said on a command line: there are buttons here, and no commands to type.
func onPage(text string) string {
	text = goOn.ReplaceAllString(text, "")
	text = inBrackets.ReplaceAllString(text, "")
	return command.ReplaceAllStringFunc(text, func(c string) string {
		m := command.FindStringSubmatch(c)
		return m[1] + flag.ReplaceAllString(m[2], "")
	})
}

// queryOf writes names and texts, by turns, as the query of an address.
func queryOf(pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	return q.Encode()
}
