package desk

import (
	"errors"
	"maps"
	"math"
	"slices"
	"strconv"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Together records several rows that are one act: all of them, or none. Faults carry the sheet and the line of the
// act they are about, counted from 1, so that each can be shown where it was typed.
func Together(tx *store.Tx, acts []Act) ([]*Said, error) {
	g := &gathered{tx: tx}
	first := "" // the code of the thing that the rows are of
	for i, a := range acts {
		if a.Of != "" && i > 0 && a.Row[a.Of] == "" {
			a.Row = maps.Clone(a.Row)
			a.Row[a.Of] = first
		}
		if !g.record(i+1, a) {
			break
		}
		if i == 0 && len(g.said) == 1 && g.said[0].Code != nil {
			first = *g.said[0].Code
		}
	}
	return g.said, g.err()
}

// gathered are rows recorded one after the other, and what is wrong with any of them.
type gathered struct {
	tx     *store.Tx
	said   []*Said
	faults lots.Faults
	failed error
}

// record records one row; it reports whether the next may be tried too.
func (g *gathered) record(line int, a Act) bool {
	said, err := Record(g.tx, a)
	if err == nil {
		g.said = append(g.said, said)
		return true
	}
	faults, about := errors.AsType[lots.Faults](err)
	switch {
	case about:
	case aboutTheText(err):
		faults = lots.Faults{{Reason: err.Error()}}
	default:
		g.failed = err
		return false
	}
	for _, f := range faults {
		if f.Column == "unit" && a.Row["unit"] == "" && len(faults) > 1 {
			continue // it would have been that of what could not be found
		}
		if a.Of != "" && f.Column == a.Of && a.Row[a.Of] == "" && len(g.faults) > 0 {
			continue // it would have been that of the first row, which is at fault
		}
		f.File, f.Line = a.Sheet.Name, line
		g.faults = append(g.faults, f)
	}
	return about
}

// err is what went wrong; nil where all was recorded.
func (g *gathered) err() error {
	switch {
	case g.failed != nil:
		return g.failed
	case len(g.faults) > 0:
		return g.faults
	}
	return g.tx.Err()
}

// AllIn is what the books say a vessel holds at a time of day or a moment, now if empty: a quantity in a unit, the
// vessel's own if empty. Where they say that nothing is in it, the error says so.
func AllIn(tx *store.Tx, vessel, at, as string) (quantity, unit string, err error) {
	code, err := CodeOf(tx, vessel, lots.KindVessel)
	if err != nil {
		return "", "", err
	}
	moment, err := momentOr(tx, at)
	if err != nil {
		return "", "", err
	}
	if at == "" {
		moment = math.MaxInt64
	}
	left, ok := trace.HeldAt(trace.FillsOf(tx, code), moment)
	own, err := lots.ParseUnit(as)
	if as == "" || err != nil {
		own = UnitIn(tx, code)
	}
	if own.Dim() == lots.Mass {
		left *= 1000 // a silo's kilogram counts as a litre
	}
	if left = own.Of(left); !ok || lots.Nine(left) == 0 {
		return "", "", lots.Errorf(lots.Invalid, "the books have nothing in %s: write how much it was", code)
	}
	return strconv.FormatFloat(lots.Nine(left), 'f', -1, 64), string(own), tx.Err()
}

// UnitIn is the unit that a vessel is kept in; the site's for volumes where it has none of its own.
func UnitIn(tx *store.Tx, vessel string) lots.Unit {
	if thing, ok := tx.Thing(vessel); ok && thing.Unit != "" {
		return thing.Unit
	}
	return tx.Site().VolumeUnit
}

// distinct keeps the first of each.
func distinct(texts []string) (out []string) {
	for _, t := range texts {
		if t != "" && !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	return out
}
