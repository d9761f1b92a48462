package papers

import (
	"slices"

	"heeltap/graph"
	"heeltap/graph/recall/printed"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
)

// danger is what the papers say of the hazard: what may happen, and how to handle the goods. What may happen is no more
// than the hazard that was chosen, the suspects and the goods in scope bear out; how to handle them is the cautious way.
type danger struct {
	risk string
	care string // how to handle the goods; empty where nothing more is known
	stay bool   // nobody is to carry it back to a shop
}

// danger gives what is to be said for the hazard as it stands.
func (m *Maker) danger() danger {
	d := danger{risk: m.r.Hazard.Risk()}
	switch m.r.Hazard {
	case graph.Spoiler:
		d.pressure(m.goods())
	case graph.Allergen:
		if words := m.undeclared(); len(words) > 0 {
			d.risk = "The beer may contain " + andList(words) + ", not declared on its label. Anyone who is allergic to it may become seriously ill."
		}
	case graph.PackagePart:
		d.part(m.partKinds())
	case graph.Process:
		made, packed := m.stages()
		if packed { // a pasteuriser, seamer or filler at fault may let it go on fermenting, or the package fail: nobody knows yet
			d.careful(m.goods())
		}
		switch {
		case packed && !made:
			d.risk = "A machine was at fault for a time while the beer was packed, and the beer may not be safe to drink."
		case made && !packed:
			d.risk = "A machine was at fault for a time while the beer was made, and the beer may not be safe to drink."
		}
	}
	return d
}

// pressure adds what fermenting on does to what the beer is in.
func (d *danger) pressure(cases, kegs bool) {
	switch {
	case cases && kegs:
		d.risk += " Packages and kegs may be under pressure and may burst."
	case kegs:
		d.risk += " Kegs may be under pressure and may burst."
	default:
		d.risk += " Packages may be under pressure and may burst."
	}
	d.careful(cases, kegs)
}

// careful says how to handle what may be under pressure, and claims nothing.
func (d *danger) careful(cases, kegs bool) {
	switch {
	case cases && kegs:
		d.care = "Keep it cool, do not shake or open it, do not tap a keg of it, and wear eye protection."
	case kegs:
		d.care = "Keep the kegs cool, do not tap them, and wear eye protection."
	default:
		d.care = "Keep it cool, do not shake or open it, and wear eye protection."
	}
	d.stay = true
}

// part says what parts of these kinds do when they are faulty.
func (d *danger) part(kinds []string) {
	printedOnly := len(kinds) > 0
	for _, k := range kinds {
		if k != "label" && k != "carrier" && k != "carton" {
			printedOnly = false
		}
	}
	if printedOnly {
		d.risk = "Its " + andList(kinds) + " may be faulty."
		return
	}
	d.risk += " It may leak or break, and injure whoever handles it."
	// Gloves and eye protection where glass or metal may burst: common practice.
	d.care, d.stay = "Wear gloves and eye protection to handle it, and keep it away from people.", true
}

// undeclared lists the allergens that the suspect lots carry and the label of some product in scope does not declare, in the
// words of the records.
func (m *Maker) undeclared() (words []string) {
	for _, f := range m.s.Answer.From {
		lot, ok := m.tx.Receipt(f.Code)
		if f.Kind != string(lots.KindLot) || !ok {
			continue
		}
		item, ok := m.tx.Item(lot.Item)
		if !ok {
			continue
		}
		for _, word := range item.Allergens {
			if m.lacks(word) && !slices.Contains(words, word) {
				words = append(words, word)
			}
		}
	}
	slices.Sort(words)
	return words
}

// lacks reports whether the label of any product in scope does not declare an allergen.
func (m *Maker) lacks(word string) bool {
	return slices.ContainsFunc(m.s.Answer.Runs, func(r trace.Run) bool {
		return !allergens.Declared(printed.Product(m.tx, r.Product).Declares, word)
	})
}

// goods says whether cases and kegs are in scope, also such as nobody tagged.
func (m *Maker) goods() (cases, kegs bool) {
	for _, u := range m.s.Answer.Units {
		cases, kegs = cases || u.Kind != "keg", kegs || u.Kind == "keg"
	}
	for _, r := range m.s.Answer.Runs {
		if r.Unassigned > 0 {
			ofKegs := trace.OfKegs(m.tx, r.Code)
			cases, kegs = cases || !ofKegs, kegs || ofKegs
		}
	}
	return cases, kegs
}

// partKinds lists the kinds of packaging part that are suspected; empty where something else is suspected, too.
func (m *Maker) partKinds() (kinds []string) {
	for _, f := range m.s.Answer.From {
		thing, _ := m.tx.Thing(f.Code)
		if f.Kind != string(lots.KindLot) || !lots.PackagingPart(thing.ItemKind) {
			return nil
		}
		if !slices.Contains(kinds, thing.ItemKind) {
			kinds = append(kinds, thing.ItemKind)
		}
	}
	slices.Sort(kinds)
	return kinds
}

// stages says where the suspects stand: in making the beer, or in packing it. What can be either is both.
func (m *Maker) stages() (made, packed bool) {
	for _, f := range m.s.Answer.From {
		thing, _ := m.tx.Thing(f.Code)
		switch f.Kind {
		case "fill", string(lots.KindBrew), string(lots.KindTransfer):
			made = true
		case string(lots.KindLine), string(lots.KindRun), string(lots.KindUnit), string(lots.KindShipment), "keg", "sscc", "date-code":
			packed = true
		case string(lots.KindVessel): // a path item may lie before the tank or be the filler
			made, packed = true, packed || thing.VesselKind == "path"
		default:
			made, packed = true, true
		}
	}
	return made, packed
}
