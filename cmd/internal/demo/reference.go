package demo

import (
	"fmt"
	"strings"
)

type item struct{ code, name, kind, unit, allergens, extract, supplier string }

var items = []item{
	{"MALT-PALE", "pale malt, bulk", "malt", "kg", "gluten", "80.5", "S-01"},
	{"MALT-PILS", "pilsner malt, bags", "malt", "kg", "gluten", "81", "S-01"},
	{"MALT-DARK", "roasted barley, bags", "malt", "kg", "gluten", "65", "S-02"},
	{"OATS", "flaked oats", "adjunct", "kg", "gluten", "70", "S-02"},
	{"LACTOSE", "lactose", "sugar", "kg", "milk", "99", "S-03"},
	{"HOP-BIT", "bittering hop pellets", "hop", "kg", "", "", "S-04"},
	{"HOP-AROMA", "aroma hop pellets", "hop", "kg", "", "", "S-04"},
	{"HOP-LATE", "late hop pellets, for dry hopping", "hop", "kg", "", "", "S-04"},
	{"YEAST-ALE", "ale yeast", "yeast", "L", "", "", "S-05"},
	{"YEAST-LAG", "lager yeast", "yeast", "L", "", "", "S-05"},
	{"ENZYME", "clarifying enzyme", "enzyme", "g", "", "", "S-03"},
	{"FININGS", "kettle finings", "finings", "g", "", "", "S-03"},
	{"GYPSUM", "calcium sulphate", "salt", "g", "", "", "S-03"},
	{"CO2", "carbon dioxide, bulk", "gas", "kg", "", "", "S-06"},
	{"CAN-44", "440 mL can", "container", "each", "", "", "S-07"},
	{"END-20", "can end", "closure", "each", "", "", "S-07"},
	{"BTL-50", "500 mL bottle", "container", "each", "", "", "S-08"},
	{"CROWN", "crown cork", "closure", "each", "", "", "S-08"},
	{"LABEL-ST", "label, Gannet Stout", "label", "each", "", "", "S-09"},
	{"LABEL-BI", "label, Lamplight Bitter", "label", "each", "", "", "S-09"},
	{"CARRIER", "can carrier", "carrier", "each", "", "", "S-09"},
	{"CARTON-24", "tray for 24 cans", "carton", "each", "", "", "S-09"},
	{"CARTON-12", "carton for 12 bottles", "carton", "each", "", "", "S-09"},
}

// parties: code, name, role, channel, contact, domain, address. All invented.
var parties = [][7]string{
	{"S-01", "Holm & Daughters Maltings", "supplier", "", "Birk", "holm-malt", "1 Kiln Row, Quernholt"},
	{"S-02", "Quarry Lane Grains", "supplier", "", "Ebbe", "quarry-grains", "9 Quarry Lane, Quernholt"},
	{"S-03", "Sundry Brewing Aids", "supplier", "", "Liv", "sundry-aids", "22 Depot Street, Ostwithe"},
	{"S-04", "Fernhop Growers", "supplier", "", "Aksel", "fernhop", "Fernhop Farm, Sallow Vale"},
	{"S-05", "Petri Street Cultures", "supplier", "", "Noor", "petri-street", "3 Petri Street, Ostwithe"},
	{"S-06", "Bluebottle Gases", "supplier", "", "Hanne", "bluebottle", "Harbour 4, Ostwithe"},
	{"S-07", "Tinder Can Works", "supplier", "", "Poul", "tinder-can", "Works Road 8, Quernholt"},
	{"S-08", "Glasshouse Bottles", "supplier", "", "Inge", "glasshouse", "5 Furnace Hill, Quernholt"},
	{"S-09", "Paper Boat Print", "supplier", "", "Maj", "paperboat", "12 Folding Yard, Ostwithe"},
	{"D-11", "Farrowgate Wholesale", "consignee", "distributor", "Otto", "farrowgate", "1 Farrow Gate, Ostwithe"},
	{"D-12", "Undertow Drinks", "consignee", "distributor", "Gry", "undertow", "Pier 2, Quernholt"},
	{"D-13", "Longacre Beverages", "consignee", "distributor", "Sven", "longacre", "Long Acre 40, Sallow Vale"},
	{"D-14", "Saltmarsh Supply", "consignee", "distributor", "Nina", "saltmarsh", "Marsh End, Eelwick"},
	{"D-15", "Hethersound Depot", "consignee", "distributor", "Per", "northsound", "Depot 7, Hethersound"},
	{"R-21", "Sixpenny Shops", "consignee", "retailer", "Kaja", "sixpenny", "High Street 6, Tidewick"},
	{"R-22", "The Ferry Store", "consignee", "retailer", "Bo", "ferrystore", "Quay 1, Tidewick"},
	{"R-23", "Cooper's Corner", "consignee", "retailer", "Ida", "cooperscorner", "Cooper Lane 2, Ostwithe"},
	{"R-24", "Green Gable Grocers", "consignee", "retailer", "Ulla", "greengable", "Mill Road 11, Quernholt"},
	{"R-25", "Market Hall Bottle Shop", "consignee", "retailer", "Finn", "markethall", "Market Hall, Ostwithe"},
	{"P-31", "The Blind Lighthouse", "consignee", "on-premise", "Dag", "blindlighthouse", "Cliff Top, Tidewick"},
	{"P-32", "Quillback Tavern", "consignee", "on-premise", "Elin", "quillback", "Back Street 3, Tidewick"},
	{"P-33", "The Kittiwake", "consignee", "on-premise", "Rolf", "kittiwake", "Quay 9, Quernholt"},
	{"P-34", "Anchor & Thimble", "consignee", "on-premise", "Mette", "anchorthimble", "Thimble Alley, Ostwithe"},
	{"P-35", "Hotel Ebb", "consignee", "on-premise", "Lars", "hotel-ebb", "Strand 20, Hethersound"},
	{"P-36", "The Two Herons", "consignee", "on-premise", "Asta", "twoherons", "Weir Lane, Sallow Vale"},
	{"P-37", "Driftwood Bar", "consignee", "on-premise", "Kim", "driftwood", "Beach Road, Eelwick"},
	{"P-38", "Old Signal Box", "consignee", "on-premise", "Tor", "signalbox", "Station 1, Quernholt"},
	{"P-39", "The Copper Eel", "consignee", "on-premise", "Vibe", "coppereel", "Eel Row 4, Eelwick"},
	{"P-40", "Storm Door Inn", "consignee", "on-premise", "Hugo", "stormdoor", "North Road, Hethersound"},
	{"P-41", "Barnacle Rooms", "consignee", "on-premise", "Saga", "barnacle", "Quay 3, Tidewick"},
	{"P-42", "Railway Arms of Sallow", "consignee", "on-premise", "Jon", "sallowarms", "Station Yard, Sallow Vale"},
	{"P-43", "Pilot House", "consignee", "on-premise", "Runi", "pilothouse", "Pilot Steps, Ostwithe"},
	{"C-51", "Wherrymoor Label Company", "consignee", "distributor", "Astrid", "wherrymoor", "Warehouse 3, Ostwithe"},
	{"T-61", "Tidewick Taproom", "own", "own", "Tove", "tidewick", "Brewery Yard, Tidewick"},
}

var (
	distributors = []string{"D-11", "D-12", "D-13", "D-14", "D-15"}
	retailers    = []string{"R-21", "R-22", "R-23", "R-24", "R-25"}
	pubs         = []string{"P-31", "P-32", "P-33", "P-34", "P-35", "P-36", "P-37", "P-38", "P-39", "P-40", "P-41", "P-42", "P-43"}
)

const brandOwner = "C-51"

var vessels = [][5]string{
	{"SILO-1", "silo", "20000", "kg", "yard"},
	{"FV1", "fermenter", "45", "hL", "cellar"}, {"FV2", "fermenter", "45", "hL", "cellar"}, {"FV3", "fermenter", "45", "hL", "cellar"},
	{"FV4", "fermenter", "45", "hL", "cellar"}, {"FV5", "fermenter", "45", "hL", "cellar"}, {"FV6", "fermenter", "45", "hL", "cellar"},
	{"FV7", "fermenter", "70", "hL", "cellar"}, {"FV8", "fermenter", "70", "hL", "cellar"}, {"FV9", "fermenter", "70", "hL", "cellar"},
	{"BT1", "bright", "65", "hL", "packing hall"}, {"BT2", "bright", "65", "hL", "packing hall"}, {"BT3", "bright", "65", "hL", "packing hall"}, {"BT4", "bright", "65", "hL", "packing hall"},
	{"ST1", "serving", "5", "hL", "taproom"},
	{"YB1", "brink", "150", "L", "cellar"}, {"YB2", "brink", "150", "L", "cellar"}, {"YB3", "brink", "150", "L", "cellar"}, {"YB4", "brink", "150", "L", "cellar"},
	{"CO2-TANK", "gas", "6000", "kg", "yard"},
	{"HOSE-1", "path", "", "L", "cellar"}, {"HOSE-2", "path", "", "L", "cellar"}, {"CENTRIFUGE", "path", "", "L", "cellar"},
}

// lines: code, containers a minute, margin, overlap, residue.
var lines = [][5]string{
	{"CANS", "60", "4", "10", "yes"}, {"BOTTLES", "50", "5", "8", "yes"}, {"RACKER", "1", "0", "0", "yes"}, {"WASHER", "", "", "", ""}, {"TABLE", "", "2", "", ""},
}

type product struct {
	code, name, beer       string
	ml, perCase, perPallet int
	declares               string
	shelf                  int
	pattern                string
	line                   string
	parts                  []string // packaging parts: one a container, a carrier for six, a carton for a case
}

var products = []product{
	{"PALE-CAN", "Skerry Pale 440 mL", "Skerry Pale", 440, 24, 80, "gluten", 270, "BB {year}-{month}-{day} {hour}:{minute}", "CANS", []string{"CAN-44", "END-20", "CARRIER", "CARTON-24"}},
	{"LAGER-CAN", "Slack Water Lager 440 mL", "Slack Water Lager", 440, 24, 80, "gluten", 270, "BB {year}-{month}-{day} {hour}:{minute}", "CANS", []string{"CAN-44", "END-20", "CARRIER", "CARTON-24"}},
	{"WHERRY-CAN", "Wherrymoor Lager 440 mL (made for another brand)", "Slack Water Lager", 440, 24, 80, "gluten", 270, "BB {year}-{month}-{day} {hour}:{minute}", "CANS", []string{"CAN-44", "END-20", "CARRIER", "CARTON-24"}},
	{"STOUT-BTL", "Gannet Stout 500 mL", "Gannet Stout", 500, 12, 72, "gluten;milk", 365, "{day}{mon}{yy} {hour}:{minute}", "BOTTLES", []string{"BTL-50", "CROWN", "LABEL-ST", "CARTON-12"}},
	{"BITTER-BTL", "Lamplight Bitter 500 mL", "Lamplight Bitter", 500, 12, 72, "gluten", 365, "{day}{mon}{yy} {hour}:{minute}", "BOTTLES", []string{"BTL-50", "CROWN", "LABEL-BI", "CARTON-12"}},
	{"PALE-KEG", "Skerry Pale 30 L keg", "Skerry Pale", 30000, 1, 0, "gluten", 120, "K{packed-yy}{packed-doy}", "RACKER", nil},
	{"STOUT-KEG", "Gannet Stout 30 L keg", "Gannet Stout", 30000, 1, 0, "gluten;milk", 120, "K{packed-yy}{packed-doy}", "RACKER", nil},
	{"BITTER-KEG", "Lamplight Bitter 30 L keg", "Lamplight Bitter", 30000, 1, 0, "gluten", 120, "K{packed-yy}{packed-doy}", "RACKER", nil},
	{"FERRY-BOX", "Ferry Box, 24 mixed cans", "", 440, 24, 60, "gluten", 180, "BB {year}-{month}-{day}", "TABLE", []string{"CARTON-24"}},
}

// each says how many of a packaging part so many containers take.
func (p *product) each(part string, containers int) int {
	per := 1
	switch {
	case part == "CARRIER":
		per = 6
	case strings.HasPrefix(part, "CARTON"):
		per = p.perCase
	}
	return (containers + per - 1) / per
}

// demoPrefix is a company prefix out of 952, which GS1 keeps for demonstrations and examples.
const demoPrefix = "9521842"

// checked adds the check digit of a GS1 key: weights 3 and 1 in turn, 3 for the last digit.
func checked(digits string) string {
	sum := 0
	for i, d := range digits {
		weight := 1
		if (len(digits)-i)%2 == 1 {
			weight = 3
		}
		sum += int(d-'0') * weight
	}
	return digits + fmt.Sprint((10-sum%10)%10)
}

func productOf(code string) *product {
	for i := range products {
		if products[i].code == code {
			return &products[i]
		}
	}
	panic("no product " + code)
}
