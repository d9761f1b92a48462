package trace

import (
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots/store"
)

// Kept is something that an answer is to hold although the walk does not come to it.
type Kept struct {
	Kind, Code, Band string // kind: lot brew fill run unit
	Affected         int64  // cases or kegs of a unit
}

// Adopt puts things into an answer that the walk did not reach, with all that the records say
// of them, and the shipments of its units. What is not recorded any more is passed over.
func (a *Answer) Adopt(tx *store.Tx, kept []Kept) error {
	wanted := map[string]Kept{}
	var from []string
	for _, k := range kept {
		text := k.Kind + ":" + k.Code
		if Understood(tx, text) == nil {
			wanted[k.Kind+" "+k.Code] = k
			from = append(from, text)
		}
	}
	if len(from) == 0 {
		return nil
	}
	more, err := Ask(tx, Question{Dir: graph.Forward, From: from})
	if err != nil {
		return err
	}
	a.Lots = append(a.Lots, adopted(more.Lots, wanted, "lot", func(x *Lot) (*Reached, *Amount) { return &x.Reached, &x.Amount })...)
	a.Brews = append(a.Brews, adopted(more.Brews, wanted, "brew", func(x *Brew) (*Reached, *Amount) { return &x.Reached, &x.Amount })...)
	a.Fills = append(a.Fills, adopted(more.Fills, wanted, "fill", func(x *Fill) (*Reached, *Amount) { return &x.Reached, &x.Amount })...)
	a.Runs = append(a.Runs, adopted(more.Runs, wanted, "run", func(x *Run) (*Reached, *Amount) { return &x.Reached, nil })...)
	units := adopted(more.Units, wanted, "unit", func(x *Unit) (*Reached, *Amount) { return &x.Reached, &x.Amount })
	for i := range units {
		units[i].Affected = wanted["unit "+units[i].Code].Affected
	}
	a.Units = append(a.Units, units...)
	for _, s := range more.Shipments {
		ours := slices.ContainsFunc(strings.Split(s.Unit, "|"), func(u string) bool { return wanted["unit "+u].Code != "" })
		if !ours || slices.ContainsFunc(a.Shipments, func(o Shipment) bool { return o.entry == s.entry }) {
			continue
		}
		if k := wanted["unit "+s.Unit]; k.Band != "" {
			s.Band = k.Band
		}
		a.Shipments = append(a.Shipments, s)
	}
	a.sort()
	a.Totals = totals(a, a.Shipments)
	return nil
}

// adopted picks what is wanted, with the band it is to have and no amount.
func adopted[T any](list []T, wanted map[string]Kept, kind string, of func(*T) (*Reached, *Amount)) []T {
	var out []T
	for _, x := range list {
		at, amount := of(&x)
		k, ok := wanted[kind+" "+at.Code]
		if !ok {
			continue
		}
		at.Band = k.Band
		if amount != nil {
			*amount = Amount{}
		}
		out = append(out, x)
	}
	return out
}

// Meant gives the code of the one thing that a text names; false where it names several, a part
// of one, or a thing by what is printed on it.
func Meant(tx *store.Tx, text string) (code string, ok bool) {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	t, err := r.resolve(text)
	if err != nil || len(t.from) != 1 {
		return "", false
	}
	code = t.from[0].Code
	plain, err := r.resolve(code)
	return code, err == nil && plain.same(t)
}
