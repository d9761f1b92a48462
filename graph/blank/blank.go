// Package blank makes the sheets of paper that are written on where no screen is at hand, or none works: one for each
// moment of the work, with the QR code of the vessel or run it is about. What is written on them is typed in later,
// with the time at which it happened.
package blank

import (
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/graph/thing"
	"heeltap/labels"
	"heeltap/labels/paper"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Sheet is one kind of blank sheet.
type Sheet struct {
	Name  string // in addresses
	Title string
	For   string // what happens with it
	About string // what it can be about: beer, vessel, line, or nothing
	parts func(tx *store.Tx, about string) ([]paper.Part, error)
}

// Sheets lists all blank sheets, in the order in which beer goes through a brewery.
func Sheets() []Sheet {
	return []Sheet{
		{"delivery", "Delivery", "goods as they come in, a line for each lot", "", delivery},
		{"brew", "Brew", "what goes into one brew, and where it is cast out", "beer", brew},
		{"vessel", "Vessel", "what is done at one tank: transfers, additions, crops, cleans", "vessel", vessel},
		{"run", "Run", "a packaging run: what feeds it, what comes off", "line", run},
		{"loading", "Loading list", "what goes onto one lorry, to one consignee", "", loading},
		{"count", "Count", "what is there, as counted", "", count},
	}
}

// Of makes a blank sheet about a beer, vessel, line or run; about nothing where the text is empty. The error is
// NotFound where there is no such sheet or no such thing.
func Of(tx *store.Tx, name, about string) (*paper.Document, error) {
	all := Sheets()
	i := slices.IndexFunc(all, func(s Sheet) bool { return s.Name == name })
	if i < 0 {
		return nil, lots.Errorf(lots.NotFound, "there is no blank sheet called %q", name)
	}
	parts, err := all[i].parts(tx, strings.TrimSpace(about))
	if err != nil {
		return nil, err
	}
	site := tx.Site()
	return &paper.Document{Title: strings.Trim(all[i].Title+" "+about, " "), Subtitle: site.Name, Footer: "Times are in " + site.Zone.String() + ". Write the day once, and the time of each line.",
		Parts: append(parts, paper.Blank{Labels: []string{"Typed in on, and by whom"}})}, tx.Err()
}

// rows are lines to write on, the first of them begun.
func rows(empty int, begun ...[]string) [][]string {
	out := slices.Clone(begun)
	for range empty {
		out = append(out, []string{""})
	}
	return out
}

func byHand(note string, lines [][]string, head ...string) paper.Table {
	return paper.Table{Head: head, Rows: lines, Hand: true, Note: note}
}

// code is the QR code of a thing, as it stands on its tag.
func code(tx *store.Tx, what string) (paper.Code, error) {
	payload, err := labels.Payload(tx.Setting(store.SiteSettings, desk.SettingAddress), what)
	return paper.Code{Payload: payload, Text: what + "\nScan it to open its page and type this in."}, err
}

func delivery(*store.Tx, string) ([]paper.Part, error) {
	return []paper.Part{
		paper.Blank{Labels: []string{"Supplier", "Came in: day and time", "Delivery note", "Carrier", "Taken in by"}},
		byHand("The supplier's lot exactly as it is printed; - where there is none on the goods. Held or refused goods: write it in the last column.",
			rows(14), "what", "supplier's lot", "#quantity", "unit", "best by", "put", "accepted?"),
	}, nil
}

func brew(tx *store.Tx, beer string) ([]paper.Part, error) {
	before, err := desk.BrewedBefore(tx, beer)
	if err != nil {
		return nil, err
	}
	var begun [][]string
	for _, b := range before {
		begun = append(begun, []string{b.Name, "", "", b.Unit, b.Stage})
	}
	return []paper.Part{
		paper.Blank{Labels: []string{"Beer", "Mash-in: day and time", "Brewed by"}},
		byHand("A line for each lot: two lots of one malt are two lines.", rows(9, begun...), "what", "lot or vessel", "#quantity", "unit", "stage", "time"),
		paper.Heading{Level: 2, Text: "Cast-out"},
		byHand("", rows(3), "into", "#volume", "unit", "time", "gravity, °P"),
	}, nil
}

func vessel(tx *store.Tx, name string) ([]paper.Part, error) {
	var parts []paper.Part
	if name != "" {
		t, err := thing.Brief(tx, lots.KindVessel, name)
		if err != nil {
			return nil, err
		}
		if known, ok := tx.Thing(name); !ok || known.Kind != lots.KindVessel {
			return nil, lots.Errorf(lots.NotFound, "there is no vessel %s", name)
		}
		qr, err := code(tx, name)
		if err != nil {
			return nil, err
		}
		parts = append(parts, qr, paper.Facts{Rows: [][2]string{{"When this was printed", strings.Trim(t.Title+", "+t.State, ", ")}}})
	}
	for _, x := range []struct {
		title, note string
		lines       int
		head        []string
	}{
		{"Transfers", "", 3, []string{"from", "to", "#left", "#arrived", "unit", "day", "start", "end", "through", "by"}},
		{"Additions and yeast", "A line for each lot.", 5, []string{"what", "lot or vessel", "#quantity", "unit", "day", "time", "by"}},
		{"Crops", "", 2, []string{"yeast", "#quantity", "unit", "into", "day", "time", "by"}},
		{"Cleans", "How: CIP, by hand, rinse or purge. Emptied is no clean.", 3, []string{"how", "verified?", "chemical's lot", "day", "time", "by"}},
		{"Taken or emptied", "Why: sample, taproom, dumped, loss, destroyed. Write “all” where it was emptied.", 3, []string{"why", "#quantity", "unit", "day", "time", "by"}},
	} {
		parts = append(parts, paper.Heading{Level: 2, Text: x.title}, byHand(x.note, rows(x.lines), x.head...))
	}
	return parts, nil
}

func run(tx *store.Tx, about string) ([]paper.Part, error) {
	var parts []paper.Part
	labels := []string{"Product", "Line", "Date code, as on the first container", "Started: day and time"}
	var begun [][]string
	if r, ok := tx.Run(about); ok {
		qr, err := code(tx, about)
		if err != nil {
			return nil, err
		}
		parts = append(parts, qr, paper.Facts{Rows: [][2]string{{"Product", r.Product}, {"Line", r.Line}, {"Date code", r.DateCode}}})
		labels = labels[3:]
		for _, name := range desk.PartsBefore(tx, r.Product) {
			begun = append(begun, []string{name})
		}
	} else if known, ok := tx.Thing(about); about != "" && (!ok || known.Kind != lots.KindLine) {
		return nil, lots.Errorf(lots.NotFound, "there is no line or run %s", about)
	}
	return append(parts,
		paper.Blank{Labels: labels},
		paper.Heading{Level: 2, Text: "What feeds it"},
		byHand("A new line at each change, with its time: tank, cans, ends, labels, carriers, gas.", rows(8, begun...), "what", "tank or lot", "since", "until"),
		paper.Heading{Level: 2, Text: "Off the line"},
		byHand("", rows(16), "pallet or keg", "#cases", "first container", "last container", "put"),
		paper.Blank{Labels: []string{"Good containers", "Rejected containers", "Ended: time", "Line cleared: time"}},
	), nil
}

func loading(*store.Tx, string) ([]paper.Part, error) {
	return []paper.Part{
		paper.Blank{Labels: []string{"Consignee", "Left: day and time", "Delivery note", "Carrier", "Loaded by"}},
		byHand("Nothing on hold is loaded: look for it in the records before the lorry leaves.", rows(18), "pallet or keg", "what", "#cases or kegs", "date code seen"),
		paper.Signatures{Roles: []string{"Driver"}},
	}, nil
}

func count(*store.Tx, string) ([]paper.Part, error) {
	return []paper.Part{
		paper.Blank{Labels: []string{"Place", "Counted: day and time", "Counted by"}},
		byHand("Write 0 where nothing is there. A count says what is there; it does not say where the rest went.", rows(22), "code", "what", "#counted", "unit", "time"),
	}, nil
}
