package desk

import (
	"cmp"
	"slices"

	"heeltap/lots"
	"heeltap/lots/store"
)

// Brewed is one turn of the brewhouse as somebody writes it down: texts as typed or scanned.
type Brewed struct {
	Brew     string // its code; the next free one if empty
	Beer     string
	Started  string // mash-in
	CastOut  string
	Plato    string
	Into     []Portion
	Inputs   []Input
	By       string
	Override string
}

// Portion is what was cast out into one vessel.
type Portion struct{ Vessel, Volume, Unit string }

// Input is something used in a brew: a lot, or a vessel it was drawn from.
type Input struct{ From, Quantity, Unit, Stage, At string }

// Brew records a brew with all that went into it and where it was cast out: all of it, or nothing. Faults say in
// File and Line which portion (brews) or input (brew_inputs) they are about, counted from 1. A brew is recorded once
// it is cast out: until then there is no volume and no vessel, and a row that made them up would put beer into a tank
// that does not hold it.
func Brew(tx *store.Tx, b Brewed) (brew string, said []*Said, err error) {
	if len(b.Into) == 0 {
		return "", nil, lots.Errorf(lots.Invalid, "say where it was cast out: the vessel and the volume")
	}
	g := &gathered{tx: tx}
	brew = b.Brew
	for i, p := range b.Into {
		row := lots.Row{"brew": brew, "beer": b.Beer, "started_at": b.Started, "cast_out_at": b.CastOut, "into": p.Vessel, "volume": p.Volume, "unit": p.Unit, "plato": b.Plato}
		if !g.recordIn(i+1, "brews", row, b) {
			break
		}
		if brew == "" && len(g.said) > 0 {
			brew = *g.said[0].Code
		}
	}
	if err := g.err(); err != nil {
		return "", nil, err // inputs name the brew
	}
	for i, in := range b.Inputs {
		row := lots.Row{"brew": brew, "from": in.From, "quantity": in.Quantity, "unit": in.Unit, "stage": in.Stage, "at": in.At}
		if !g.recordIn(i+1, "brew_inputs", row, b) {
			break
		}
	}
	return brew, g.said, g.err()
}

func (g *gathered) recordIn(line int, sheet string, row lots.Row, b Brewed) bool {
	s, _ := lots.SheetNamed(sheet)
	for name, text := range row {
		if text == "" {
			delete(row, name)
		}
	}
	return g.record(line, Act{Sheet: s, Row: row, By: b.By, Override: b.Override})
}

// Beers lists the beers that were brewed, the last brewed first, and then those of products that never were.
func Beers(tx *store.Tx) ([]string, error) {
	brews, err := brewsByAge(tx)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, b := range brews {
		names = append(names, b.Beer)
	}
	products, err := tx.Records("products")
	for _, rec := range products {
		names = append(names, rec.(*lots.Product).Beer)
	}
	return distinct(names), err
}

// brewsByAge are all rows of brews, the newest first.
func brewsByAge(tx *store.Tx) ([]*lots.Brew, error) {
	rows, err := tx.Records("brews")
	out := make([]*lots.Brew, len(rows))
	for i, rec := range rows {
		out[i] = rec.(*lots.Brew)
	}
	slices.SortStableFunc(out, func(a, b *lots.Brew) int { return cmp.Compare(b.Started.From, a.Started.From) })
	return out, err
}

// InputBefore is what the last brew of a beer took of one item at one stage: what has to be scanned anew. The lots
// are not among it: they are scanned, never taken over.
type InputBefore struct {
	Name     string // of the item; of what was drawn from a vessel, that vessel
	Stage    string
	Quantity string // of all its lots together; empty where that cannot be added up
	Unit     string
}

// BrewedBefore says what the last brew of a beer took, in the order of the work.
func BrewedBefore(tx *store.Tx, beer string) ([]InputBefore, error) {
	brews, err := brewsByAge(tx)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(brews, func(b *lots.Brew) bool { return b.Beer == beer })
	if i < 0 {
		return nil, nil
	}
	var out []InputBefore
	sums := map[InputBefore]float64{}
	for _, rec := range tx.Touching(brews[i].Brew) {
		x, ok := rec.(*lots.BrewInput)
		if !ok || x.Brew != brews[i].Brew {
			continue
		}
		key, unit := inputKey(tx, x)
		if !slices.Contains(out, key) {
			out = append(out, key)
		}
		sums[key] += unit.Of(float64(x.Qty.N))
	}
	for i, key := range out {
		out[i].Quantity = lots.Figure(lots.Nine(sums[key]))
	}
	s, _ := lots.SheetNamed("brew_inputs")
	stages, _ := s.Column("stage")
	slices.SortStableFunc(out, func(a, b InputBefore) int {
		return cmp.Compare(slices.Index(stages.Values, a.Stage), slices.Index(stages.Values, b.Stage))
	})
	return out, tx.Err()
}

// inputKey says what an input was, whatever its lot, and the unit it was written in.
func inputKey(tx *store.Tx, x *lots.BrewInput) (InputBefore, lots.Unit) {
	row, _ := tx.Row(x.Seq)
	unit, err := lots.ParseUnit(row.Row["unit"])
	if err != nil || unit.Dim() != x.Qty.Dim {
		unit = baseUnit(tx.Site(), x.Qty.Dim)
	}
	return InputBefore{Name: itemIn(tx, x.From.Code()), Stage: x.Stage, Unit: string(unit)}, unit
}

// itemIn is the name of the item of a lot; of anything else its code.
func itemIn(tx *store.Tx, code string) string {
	rows, err := tx.RowsOf(code)
	if err != nil || len(rows) == 0 || rows[0].Row["item"] == "" {
		return code
	}
	return nameOf(tx, rows[0].Row["item"])
}
