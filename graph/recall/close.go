package recall

import (
	"fmt"
	"strings"

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
func (r *Recall) OpenLines(tx *store.Tx, s *Scope) ([]OpenLine, error) {
	out := []OpenLine{}
	add := func(kind, format string, args ...any) {
		out = append(out, OpenLine{kind, fmt.Sprintf(format, args...)})
	}
	if r.Latest() == nil {
		add("scope", "no version was frozen")
	} else if n := len(diff(r.Latest().Items, s.Items())); n > 0 {
		add("scope", "%s since version %d: freeze the next one", plural(n, "change"), r.Latest().Version)
	}
	for _, i := range s.Kept {
		add("signature", "%s %s: a correction took it out of scope; sign off, or leave it in", i.Kind, i.Code)
	}
	stock, err := s.InHouse(tx)
	if err != nil {
		return nil, err
	}
	for _, x := range stock {
		if !x.Held && x.Kind != "loose" && !r.Mock {
			add("hold", "%s %s is in the house and not held", x.Kind, x.Code)
		}
	}
	standings, err := r.Standings(tx, s)
	if err != nil {
		return nil, err
	}
	for _, x := range standings {
		if x.State != "settled" {
			text := fmt.Sprintf("%s %s: %s, %g cases and kegs not explained", x.Party, x.Name, x.State, x.Left)
			if x.NeedList {
				text += ", its own list is missing"
			}
			add("consignee", "%s", text)
		}
	}
	for _, p := range r.unchecked() {
		add("check", "%s was drawn for an effectiveness check and not checked", p)
	}
	a, err := r.Reconcile(tx, s)
	if err != nil {
		return nil, err
	}
	for _, u := range a.Units {
		if u.Unaccounted != 0 {
			add("account", "%s: %g not accounted for (last entry %d, %s)", u.Unit, u.Unaccounted, u.LastEntry, u.LastText)
		}
	}
	return append(out, r.heldStill(tx)...), tx.Err()
}

// unchecked lists who was drawn for a check and has none.
func (r *Recall) unchecked() []string {
	var out []string
	if r.Sample == nil {
		return nil
	}
	for _, p := range r.Sample.Parties {
		if c := r.Contacts[p]; c == nil || len(c.Checks) == 0 {
			out = append(out, p)
		}
	}
	return out
}

// heldStill names what is held and still here: neither released, nor destroyed, nor gone.
func (r *Recall) heldStill(tx *store.Tx) []OpenLine {
	var here []string
	for _, code := range r.Holds {
		if thing, ok := tx.Thing(code); ok && thing.Kind == lots.KindUnit && trace.BooksOf(tx, code).OnHand() <= 0 {
			continue
		}
		here = append(here, code)
	}
	if len(here) == 0 {
		return nil
	}
	return []OpenLine{{"hold", fmt.Sprintf("%s held and neither released nor destroyed: %s", plural(len(here), "thing"), strings.Join(here, ", "))}}
}

// Close prepares the end of the brewery's own work. Open lines are counted and stay listed:
// closing with some is a decision, and needs a review that says why.
func (r *Recall) Close(tx *store.Tx, review string) (*Closed, error) {
	if strings.TrimSpace(review) == "" {
		return nil, lots.Errorf(lots.Invalid, "closing needs a review: what happened, why, and what will be different; --review TEXT")
	}
	s, err := r.Scope(tx)
	if err != nil {
		return nil, err
	}
	open, err := r.OpenLines(tx, s)
	if err != nil {
		return nil, err
	}
	return &Closed{Review: review, Open: len(open)}, nil
}

// Destroy records the destruction of a unit or of part of it: a removal with its witness,
// and how it was done. In an exercise nothing is removed.
func (r *Recall) Destroy(tx *store.Tx, d Destroyed, at At, by string) (*Recall, error) {
	switch {
	case strings.TrimSpace(d.Witness) == "":
		return nil, lots.Errorf(lots.Invalid, "destruction needs a witness: --witness NAME")
	case strings.TrimSpace(d.Method) == "":
		return nil, lots.Errorf(lots.Invalid, "say how it was destroyed: --method TEXT")
	}
	if thing, ok := tx.Thing(d.Unit); !ok || thing.Kind != lots.KindUnit {
		return nil, lots.Errorf(lots.NotFound, "no unit is called %q; near it are: %s", d.Unit, strings.Join(tx.Nearest(d.Unit, lots.KindUnit), ", "))
	}
	books := trace.BooksOf(tx, d.Unit)
	if d.Quantity == 0 {
		d.Quantity = books.OnHand()
	}
	if d.Quantity <= 0 {
		return nil, lots.Errorf(lots.Invalid, "nothing of %s is here by the books: give --quantity", d.Unit)
	}
	if !r.Mock {
		sheet, _ := lots.SheetNamed("removals")
		when := tx.Recorded()
		if !at.IsZero() {
			when = at
		}
		row := lots.Row{"subject": d.Unit, "quantity": fmt.Sprintf("%g", d.Quantity), "at": when.In(tx.Site().Zone).Format("2006-01-02 15:04:05"),
			"reason": "destroyed", "witness": d.Witness, "document": r.Code, "by": by}
		entries, _, faults, err := tx.RecordRows([]store.Statement{{Sheet: sheet, Row: row, By: by}})
		if err == nil && len(faults) > 0 {
			err = faults
		}
		if err != nil {
			return nil, err
		}
		d.Entry = entries[0]
	}
	return r.Take(tx, &d, at, by)
}

// ProductText names a product and what one package of it holds.
func ProductText(tx *store.Tx, code string) (name, sizeText string) {
	p := productOf(tx, code)
	return p.Name, size(p)
}
