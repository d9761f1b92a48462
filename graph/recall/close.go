package recall

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph/gate"
	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/internal/words"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// OpenLine is something that stands in the way of closing.
type OpenLine struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// OpenLines lists everything that is not settled.
func (r *Recall) OpenLines(tx *store.Tx, s *scope.Scope) ([]OpenLine, error) {
	out := []OpenLine{}
	add := func(kind, format string, args ...any) {
		out = append(out, OpenLine{kind, fmt.Sprintf(format, args...)})
	}
	if r.Latest() == nil {
		add("scope", "no version was frozen")
	} else if n := len(scope.Diff(r.Latest().Items, s.Items())); n > 0 {
		add("scope", "%s since version %d: freeze the next one", words.Plural(n, "change"), r.Latest().Version)
	}
	for _, l := range s.Lost {
		add("scope", "%s %s is not traced: %s; %s", l.What, l.Code, l.Why, l.Mend())
	}
	for _, y := range s.Undecided() {
		add("scope", "not decided: %s; %s", y.Text(), howToDecide(y.Code))
	}
	for _, f := range s.Answer.UsesUnknown() {
		add("scope", "%s", f.Text)
	}
	for _, i := range s.Kept {
		add("signature", "%s %s: a correction took it out of scope; sign off, or leave it in", i.Kind, i.Code)
	}
	stock, err := r.InHouse(tx, s)
	if err != nil {
		return nil, err
	}
	for _, x := range stock {
		if !x.Held && x.Kind != "loose" && !r.Mock {
			add("hold", "%s %s is in the house and not held", x.Kind, x.Code)
		}
	}
	told, err := r.consigneeLines(tx, s)
	if err != nil {
		return nil, err
	}
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return nil, err
	}
	still, err := r.heldStill(tx)
	if err != nil {
		return nil, err
	}
	return slices.Concat(out, told, openIn(a), still), tx.Err()
}

// howToDecide says how the lead takes or declines a fill that suspect yeast came from.
func howToDecide(fill string) string {
	return fmt.Sprintf("heeltap recall suspect %s --reason TEXT takes it, heeltap recall unsuspect %s --reason TEXT declines it", fill, fill)
}

// consigneeLines lists whom to ask further, and what is to be checked.
func (r *Recall) consigneeLines(tx *store.Tx, s *scope.Scope) (out []OpenLine, err error) {
	add := func(kind, format string, args ...any) {
		out = append(out, OpenLine{kind, fmt.Sprintf(format, args...)})
	}
	standings, err := r.Standings(tx, s)
	if err != nil {
		return nil, err
	}
	for _, x := range standings {
		if x.State != "settled" {
			add("consignee", "%s", words.Join(strings.TrimSpace(x.Party+" "+x.Name), words.Comma(x.State, x.Wants())))
		}
		if says, listed, ok := r.Contacts[x.Party].PassedOn(); ok && says != listed {
			add("consignee", "%s says it passed on %s, and its own list adds up to %s", x.Party, says, listed)
		}
	}
	uncalled := r.Uncalled(s)
	for _, p := range slices.Sorted(maps.Keys(uncalled)) {
		add("consignee", "%s was told by version %d and has nothing in scope any more: freeze the scope, and tell it so", p, uncalled[p])
	}
	for _, p := range r.unchecked() {
		add("check", "%s was drawn for an effectiveness check and not checked", p)
	}
	if r.Sample != nil && r.Sample.Of != len(standings) {
		add("check", "the effectiveness checks were drawn among %s, and there are %d now: draw again", words.Plural(r.Sample.Of, "consignee"), len(standings))
	}
	return out, nil
}

// openIn lists what an account leaves open.
func openIn(a *account.Account) (out []OpenLine) {
	add := func(format string, args ...any) {
		out = append(out, OpenLine{"account", fmt.Sprintf(format, args...)})
	}
	for _, u := range a.Units {
		switch {
		case u.Missing > 0 && u.Kind == "loose":
			add("%s: %s not accounted for, %s", u.Unit, lots.Figure(u.Missing), u.Find())
		case u.Missing > 0:
			add("%s: %s not accounted for (last entry %d, %s)", u.Unit, lots.Figure(u.Missing), u.LastEntry, u.LastText)
		case u.Over > 0:
			add("%s: %s MORE THAN WAS MADE (last entry %d, %s)", u.Unit, lots.Figure(u.Over), u.LastEntry, u.LastText)
		}
	}
	for _, o := range a.Others {
		if len(o.Of) != 1 {
			add("%s of %s came back from %s, to which we shipped none of it: it counts for nobody (received by %s)", lots.Figure(o.Quantity), o.Unit, o.Party, cmp.Or(strings.Join(o.Of, ", "), "nobody"))
		}
	}
	return out
}

// Drawn lists whom any of the draws chose to check, in order.
func (r *Recall) Drawn() []string {
	var out []string
	for _, s := range r.Samples {
		out = append(out, s.Parties...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// unchecked lists who was drawn for a check and has none.
func (r *Recall) unchecked() []string {
	var out []string
	for _, p := range r.Drawn() {
		if c := r.Contacts[p]; c == nil || len(c.Checks) == 0 {
			out = append(out, p)
		}
	}
	return out
}

// heldStill names what is held and still here: neither released, nor destroyed, nor gone.
func (r *Recall) heldStill(tx *store.Tx) ([]OpenLine, error) {
	held, err := trace.Holdings(tx)
	if err != nil {
		return nil, err
	}
	var here []string
	for _, code := range r.Holds {
		mine := func(entry int64) bool { return slices.Contains(r.heldBy[code], entry) }
		if len(r.heldBy[code]) > 0 && !slices.ContainsFunc(held[code], mine) {
			continue // let go by itself; or a tank that holds something else by now
		}
		if !gone(tx, code) {
			here = append(here, code)
		}
	}
	if len(here) == 0 {
		return nil, nil
	}
	if r.Mock {
		return []OpenLine{{"hold", fmt.Sprintf("a hold was rehearsed on %s, and no release or destruction of them: %s", words.Plural(len(here), "thing"), strings.Join(here, ", "))}}, nil
	}
	return []OpenLine{{"hold", fmt.Sprintf("%s held and neither released nor destroyed: %s", words.Plural(len(here), "thing"), strings.Join(here, ", "))}}, nil
}

// gone reports whether nothing of a thing is here by the books.
func gone(tx *store.Tx, code string) bool {
	thing, ok := tx.Thing(code)
	switch {
	case !ok:
		return true // taken back
	case thing.Kind == lots.KindUnit:
		return trace.BooksOf(tx, code).OnHand() <= 0
	case thing.Kind == lots.KindVessel:
		content, ok := trace.ContentOf(tx, code)
		return !ok || content.Left < 1
	case thing.Kind == lots.KindLot:
		left, sure := trace.LotLeft(tx, code)
		return left <= 0 && sure
	}
	return false
}

// Destroy records the destruction of a unit or of part of it: a removal with its witness,
// and how it was done. In an exercise nothing is removed.
func (r *Recall) Destroy(tx *store.Tx, d Destroyed, at At, by string) (*Recall, error) {
	if err := d.possible(tx); err != nil {
		return nil, err
	}
	if err := d.fits(tx, r.rehearsed(d.Unit)); err != nil {
		return nil, err
	}
	if !r.Mock {
		entry, err := r.remove(tx, d, at, by)
		if err != nil {
			return nil, err
		}
		d.Entry = entry
	}
	return r.Take(tx, &d, at, by)
}

// possible refuses a destruction that nobody saw, of nothing that is known, or of no quantity.
func (d *Destroyed) possible(tx *store.Tx) error {
	switch {
	case strings.TrimSpace(d.Witness) == "":
		return lots.Errorf(lots.Invalid, "destruction needs a witness: --witness NAME")
	case strings.TrimSpace(d.Method) == "":
		return lots.Errorf(lots.Invalid, "say how it was destroyed: --method TEXT")
	}
	if thing, ok := tx.Thing(d.Unit); !ok || thing.Kind != lots.KindUnit {
		return lots.Errorf(lots.NotFound, "no unit is called %q; nearest are: %s", d.Unit, strings.Join(tx.Nearest(d.Unit, lots.KindUnit), ", "))
	}
	if !deliveries.QuantityOK(d.Quantity) {
		return lots.Errorf(lots.Invalid, "%s is not a quantity of cases or kegs: give a whole number", lots.Figure(d.Quantity))
	}
	return nil
}

// rehearsed is how much of a unit was destroyed in this exercise.
func (r *Recall) rehearsed(unit string) (sum float64) {
	for _, d := range r.Destroyed {
		if d.Unit == unit && d.Entry == 0 {
			sum += d.Quantity
		}
	}
	return sum
}

// fits takes all that is here where no quantity was given, and refuses more than is here by the
// books and by the last count, unless it is said that it was so.
func (d *Destroyed) fits(tx *store.Tx, rehearsed float64) error {
	books := trace.BooksOf(tx, d.Unit).OnHand() - rehearsed
	if d.Quantity == 0 {
		d.Quantity = books
	}
	if d.Quantity <= 0 {
		return lots.Errorf(lots.Invalid, "nothing of %s is here by the books: give --quantity", d.Unit)
	}
	here, counted := books, ""
	if count, ok := trace.CountOf(tx, d.Unit); ok {
		here, counted = max(here, count.Now-rehearsed), fmt.Sprintf(", %s by the last count", lots.Figure(max(0, count.Now)))
	}
	if d.Quantity > here && !d.Surplus {
		return lots.Errorf(lots.Invalid, "%s of %s are more than are here: %s by the books%s; if so many were destroyed, say so with --more-than-booked", lots.Figure(d.Quantity), d.Unit, lots.Figure(max(0, books)), counted)
	}
	return nil
}

// remove records the removal.
func (r *Recall) remove(tx *store.Tx, d Destroyed, at At, by string) (int64, error) {
	sheet, _ := lots.SheetNamed("removals")
	when := tx.Recorded()
	if !at.IsZero() {
		when = at
	}
	row := lots.Row{"subject": d.Unit, "quantity": lots.Figure(d.Quantity), "at": when.In(tx.Site().Zone).Format("2006-01-02 15:04:05"),
		"reason": "destroyed", "witness": d.Witness, "document": r.Code, "by": by}
	if d.Ref != "" {
		row["ref"] = d.Ref
	}
	entries, err := gate.Enter(tx, store.Statement{Sheet: sheet, Row: row, By: by})
	if err != nil {
		return 0, lots.Errorf(lots.Conflict, "the destruction of %s cannot be recorded: %s", d.Unit, err)
	}
	return entries[0], nil
}
