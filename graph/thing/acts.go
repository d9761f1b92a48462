package thing

import (
	"heeltap/lots"
	"heeltap/lots/store"
)

// Act is something that people do with a thing: which sheet it is a row of, and the cells that are known from it,
// as column and text by turns.
type Act struct {
	Text  string
	Sheet *lots.Sheet
	Set   []string
}

// doing lists, by what a thing is, what is done with it: the words, the sheet, and where its code stands.
var doing = map[lots.Kind][]struct{ text, sheet, column string }{
	lots.KindLot: {
		{"Use in a brew", "brew_inputs", "from"}, {"Add to a tank", "additions", "from"}, {"Feed to a run", "feeds", "from"},
		{"Count", "counts", "subject"}, {"Hold", "holds", "subject"}, {"Remove", "removals", "subject"}},
	lots.KindBrew:   {{"Add an input", "brew_inputs", "brew"}, {"Hold", "holds", "subject"}},
	lots.KindVessel: {{"Count", "counts", "subject"}, {"Hold", "holds", "subject"}}, // and see CellarActs
	lots.KindLine:   {{"Start a run", "runs", "line"}, {"Clean", "cleans", "vessel"}, {"Clear the line", "clearances", "line"}},
	lots.KindRun: {
		{"Pallet or keg off the line", "units", "run"}, {"Add a feed", "feeds", "run"}, {"Code changed", "codes", "run"}, {"Hold", "holds", "subject"}},
	lots.KindUnit: {
		{"Ship", "shipments", "unit"}, {"Came back", "returns", "unit"}, {"Count", "counts", "subject"}, {"Remove", "removals", "subject"},
		{"Hold", "holds", "subject"}},
	lots.KindParty: {{"Ship to them", "shipments", "consignee"}, {"Came back from them", "returns", "consignee"}, {"Delivery from them", "receipts", "supplier"}},
	lots.KindItem:  {{"Receive", "receipts", "item"}},
}

// Acts lists what makes sense with a thing as it is now.
func Acts(t *Thing) []Act {
	var out []Act
	for _, d := range doing[t.Kind] {
		s, ok := lots.SheetNamed(d.sheet)
		if !ok || t.Noun == vesselNouns["path"] || t.Kind == lots.KindParty && !t.trades(d.column) {
			continue
		}
		out = append(out, Act{d.text, s, []string{d.column, t.Code}})
	}
	return out
}

// trades reports whether a party is what a column asks for.
func (t *Thing) trades(column string) bool {
	return t.Noun == "supplier and consignee" || t.Noun == column || t.Noun == "our own place" && column == "consignee"
}

// Brief is Of without steps and entries: enough to tell things apart in a list.
func Brief(tx *store.Tx, kind lots.Kind, code string) (*Thing, error) {
	t := &Thing{Kind: kind, Code: code, Noun: string(kind)}
	entry, _, ok := tx.Introduces(code)
	if !ok {
		return t, tx.Err()
	}
	rec, _ := tx.Record(entry)
	w := &writer{tx, tx.Site(), t}
	w.itself(rec)
	return t, tx.Err()
}
