package thing

import (
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// CellarAct is something done at a vessel: a row of a sheet with the vessel known, and only the cells that the work
// gives, in its order.
type CellarAct struct {
	Name    string // in addresses
	Text    string // on the vessel's page: what somebody is about to do
	Button  string
	Lead    string // what to know before it
	Sheet   string
	Column  string            // where the vessel stands
	Cells   []string          // what is asked, in the order of the work
	Set     map[string]string // what the act itself says
	Options map[string][]string
	Labels  map[string]string // what cells are called here, where that is plainer than elsewhere
	Lines   bool              // several lots, one after the other
	All     string            // the cell that the books can fill in; empty where none
	Now     string            // the cell that is now where nothing is written, though its sheet does not say so
	Then    string            // the act to offer next; empty where none is likelier than others
	ThenAsk string

	fits func(kind string) bool // which kinds of vessel it is done at
	full bool                   // it takes something out: of an empty vessel it cannot
}

func kept(kind string) bool    { return kind != "path" }
func anyKind(string) bool      { return true }
func yeasty(kind string) bool  { return kind == "fermenter" || kind == "brink" || kind == "tank" }
func notGas(kind string) bool  { return kind != "path" && kind != "gas" }
func pitched(kind string) bool { return lots.BeerVessel(kind) || kind == "tank" || kind == "brink" }

// cellarActs are what is done at vessels, in the order in which a tank's days bring them.
var cellarActs = []CellarAct{
	{Name: "pitch", Text: "Pitch yeast", Button: "Pitched", Sheet: "additions", Column: "vessel", Cells: words("at"), Lines: true,
		Lead: "Scan the crop, the brink or the pack of yeast. How much went in is its own quantity, not the tank's.", Set: map[string]string{"purpose": "pitch"}, fits: pitched},
	{Name: "add", Text: "Dry hop, fine or add", Button: "Added", Sheet: "additions", Column: "vessel", Cells: words("purpose at"), Lines: true,
		Lead: "One line for each lot: scan it, then write how much of it went in.", Options: map[string][]string{"purpose": {"dry hop", "fining", "fruit", "priming", "adjunct", "top-up"}}, fits: kept},
	{Name: "crop", Text: "Crop yeast", Button: "Cropped", Sheet: "crops", Column: "vessel", Cells: words("item quantity into at"), fits: yeasty, full: true},
	{Name: "transfer", Text: "Transfer from here", Button: "Transferred", Sheet: "transfers", Column: "from", Cells: words("to out in started_at ended_at via"), All: "out", Now: "ended_at",
		Labels: map[string]string{"out": "Left here", "in": "Arrived there, in the same unit", "via": "Through: hose, centrifuge, filter"},
		Lead:   "Write what left here and what arrived there, each as its own meter or dipstick says.", Then: "clean", ThenAsk: "Cleaned too?", fits: kept, full: true},
	{Name: "take", Text: "Sample, serve or dump", Button: "Taken", Sheet: "removals", Column: "subject", Cells: words("reason quantity witness document at"), fits: kept, full: true},
	{Name: "emptied", Text: "Emptied", Button: "It is empty", Sheet: "removals", Column: "subject", Cells: words("reason at document"), Set: map[string]string{"quantity": "all"},
		Options: map[string][]string{"reason": {"dumped", "loss", "taproom", "destroyed"}},
		Lead:    "All that the books still have in it goes. Emptied is no clean: until it is cleaned, what was in it may still be in what goes in next.", Then: "clean", ThenAsk: "Cleaned too?", fits: notGas, full: true},
	{Name: "clean", Text: "Clean", Button: "Cleaned", Sheet: "cleans", Column: "vessel", Cells: words("method verified from at"),
		Lead: "Only a CIP or a clean by hand parts what was in it from what goes in next, and not if it is marked as not verified. A rinse or a purge does not.", fits: anyKind},
}

func words(text string) []string { return strings.Fields(text) }

// CellarActOf finds an act by its name in addresses.
func CellarActOf(name string) (*CellarAct, bool) {
	i := slices.IndexFunc(cellarActs, func(a CellarAct) bool { return a.Name == name })
	if i < 0 {
		return nil, false
	}
	return &cellarActs[i], true
}

// CellarActs lists what can be done at a vessel as it is now.
func CellarActs(tx *store.Tx, t *Thing) (out []CellarAct) {
	vessel, _ := tx.Thing(t.Code)
	for _, a := range cellarActs {
		if a.fits(vessel.VesselKind) && (!a.full || t.Holds) {
			out = append(out, a)
		}
	}
	return out
}

// Guess fills in what an act at a vessel most likely says: its unit, and the yeast where only one is in it. A lot, a
// quantity or another vessel is never guessed.
func (a *CellarAct) Guess(tx *store.Tx, t *Thing) lots.Row {
	row := lots.Row{}
	s, _ := lots.SheetNamed(a.Sheet)
	switch {
	case a.Sheet == "crops":
		row["unit"] = string(tx.Site().MassUnit)
		if only := t.yeasts(tx); len(only) == 1 {
			row["item"] = only[0]
		}
	case s.Has("unit") && !a.Lines && a.Set["quantity"] != "all":
		row["unit"] = string(desk.UnitIn(tx, t.Code))
	}
	return row
}

// yeasts are the items of all yeast in a vessel.
func (t *Thing) yeasts(tx *store.Tx) (items []string) {
	for _, p := range t.Parts {
		rows, err := tx.RowsOf(p.Code)
		if err != nil || len(rows) == 0 {
			continue
		}
		item := rows[0].Row["item"]
		if x, ok := tx.Item(item); ok && x.Kind == "yeast" && !slices.Contains(items, item) {
			items = append(items, item)
		}
	}
	return items
}
