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
	runs := adopted(more.Runs, wanted, "run", func(x *Run) (*Reached, *Amount) { return &x.Reached, nil })
	a.Runs = append(a.Runs, runs...)
	a.loose = append(a.loose, slices.DeleteFunc(runs, func(x Run) bool { return x.Unassigned == 0 })...)
	units := adopted(more.Units, wanted, "unit", func(x *Unit) (*Reached, *Amount) { return &x.Reached, &x.Amount })
	for i := range units {
		units[i].Affected = wanted["unit "+units[i].Code].Affected
	}
	a.Units = slices.DeleteFunc(a.Units, func(u Unit) bool { return wanted["unit "+u.Code].Code != "" }) // what was reached less of
	a.Units = append(a.Units, units...)
	a.adopted = map[string]bool{}
	for _, u := range units {
		a.adopted[u.Code] = true
	}
	for _, s := range more.Shipments {
		if !slices.ContainsFunc(strings.Split(s.Unit, "|"), func(u string) bool { return wanted["unit "+u].Code != "" }) {
			continue
		}
		a.Shipments = slices.DeleteFunc(a.Shipments, func(o Shipment) bool { return o.entry == s.entry })
		if k := wanted["unit "+s.Unit]; k.Band != "" {
			s.Band = k.Band
		}
		a.Shipments = append(a.Shipments, s)
	}
	a.adoptBulk(more.Bulk, wanted)
	a.sort()
	a.Totals = a.asked.totals(a, a.Shipments, a.Bulk)
	a.NotCounted = a.Uncounted()
	return nil
}

// adoptBulk takes in what left in bulk from something that is kept.
func (a *Answer) adoptBulk(more []Bulk, wanted map[string]Kept) {
	for _, b := range more {
		i := slices.IndexFunc(b.origin, func(o string) bool { return wanted[o].Code != "" })
		if i < 0 || slices.ContainsFunc(a.Bulk, func(o Bulk) bool { return o.entry == b.entry }) {
			continue
		}
		if b.Band = wanted[b.origin[i]].Band; b.oneOf {
			b.Band = graph.Possible.String()
		}
		a.Bulk = append(a.Bulk, b)
	}
	sortBulk(a.Bulk)
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

// Meant gives the codes of what a text names, each with its kind: what can still be asked about
// when the text itself is not known any more. None where the text is not understood.
func Meant(tx *store.Tx, text string) []string {
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	t, err := r.resolve(text)
	if err != nil {
		return nil
	}
	var out []string
	for _, f := range t.from {
		if named := f.Kind + ":" + f.Code; Understood(tx, named) == nil {
			out = append(out, named)
		}
	}
	return out
}

// Spelled gives the code of a thing named by its code in whatever case or form: as it is recorded,
// and of a vessel or keg the fill or filling that its bare name means now. What is named by a
// time or by what is printed on it stays as it is: what is recorded later may be meant too.
func Spelled(tx *store.Tx, text string) string {
	text = strings.TrimSpace(text)
	r := &resolver{tx: tx, dir: graph.Forward, site: tx.Site()}
	t, err := r.resolve(text)
	if err != nil {
		return text
	}
	if t.read != "" {
		text = r.shortest(t)
	}
	if len(t.from) != 1 {
		return text
	}
	_, bare := splitKind(text)
	code := t.from[0].Code
	if t.from[0].Kind == kindClean { // by its entry, which no correction changes
		return cleanCode(code)
	}
	before, rest, pinned := cutLast(code, "@")
	if !pinned {
		before, rest, pinned = strings.Cut(code, "/")
	}
	if !strings.EqualFold(code, bare) && !(pinned && rest != "" && strings.EqualFold(before, bare)) {
		return text
	}
	if plain, err := r.resolve(code); err != nil || !plain.same(t) {
		return text
	}
	return code
}

// shortest is how what a text was read as is put down: without its kind where that alone means the same.
func (r *resolver) shortest(t *target) string {
	_, bare := splitKind(t.read)
	literal := *r
	literal.literal = true
	if plain, err := literal.resolve(bare); err == nil && plain.same(t) {
		return bare
	}
	return t.read
}
