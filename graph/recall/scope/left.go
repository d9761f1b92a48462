package scope

import (
	"cmp"
	"slices"

	"heeltap/graph/recall/internal/words"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// LeftOut is a shipment of an affected unit that carried nothing affected: it was over before the
// first affected case can have stood on the unit, which was topped up later.
type LeftOut struct {
	Shipment  string `json:"shipment"`
	Unit      string `json:"unit"`
	Consignee string `json:"consignee"`
	Quantity  int64  `json:"quantity"`
	ShippedAt string `json:"shipped_at"`
	ToppedUp  string `json:"topped_up_at"` // when the first affected case can have stood on it
	Entry     int64  `json:"entry"`
}

// leaveOut finds what was shipped before anything affected stood on its unit.
func (s *Scope) leaveOut(tx *store.Tx) {
	s.before = s.Answer.Before()
	for _, sh := range s.Answer.Shipments {
		if at, over := s.before[sh.Entry()]; over {
			s.LeftOut = append(s.LeftOut, LeftOut{sh.Code, sh.Unit, sh.Consignee, sh.Quantity, sh.ShippedAt, at.Text(tx.Site().Zone), sh.Entry()})
		}
	}
}

// Over reports whether a shipment or return, by its journal entry, was over before anything affected
// stood on its unit.
func (s *Scope) Over(entry int64) bool {
	_, over := s.before[entry]
	return over
}

// KeepsFill reports whether a fill is in scope only because nobody signed yet for what a correction took out.
func (s *Scope) KeepsFill(code string) bool {
	return slices.ContainsFunc(s.Kept, func(i Item) bool { return i.Kind == "fill" && i.Code == code })
}

// Shipments lists what moved affected goods, or may have.
func (s *Scope) Shipments() []trace.Shipment { return s.Answer.Carrying() }

// Served is something in scope that was drawn or sold in the taproom: it reached the public
// without a shipment.
type Served struct {
	Kind     string  `json:"kind"` // tank, lot or unit
	Code     string  `json:"code"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit"`
	At       string  `json:"at"`
	MayBe    bool    `json:"may_be"` // it was drawn from one of several
	Entry    int64   `json:"entry"`
}

// Served lists what of the scope was drawn or sold in the taproom, in order of time: units and
// lots, and from vessels what they held when it was drawn.
func (s *Scope) Served(tx *store.Tx) []Served { return served(tx, s.Answer) }

// Sampled lists the units in scope of which samples were taken. Most go to the laboratory, but a row does not say who has one.
func (s *Scope) Sampled(tx *store.Tx) (out []Served) {
	for _, u := range s.Answer.Units {
		for _, rec := range tx.Touching(u.Code) {
			if x, ok := rec.(*lots.Removal); ok && x.Reason == "sample" && x.Subject.Kind == lots.KindUnit && slices.Contains(x.Subject.Codes, u.Code) {
				out = append(out, Served{"unit", u.Code, lots.Nine(x.Count), words.UnitOf(u.Kind), x.At.Text(tx.Site().Zone), x.Subject.OneOf(), x.Seq})
			}
		}
	}
	return out
}

func served(tx *store.Tx, a *trace.Answer) []Served {
	found := map[int64]Served{}
	site := tx.Site()
	add := func(x *lots.Removal, kind, code string, quantity float64, unit string, doubt bool) {
		found[x.Seq] = Served{kind, code, lots.Nine(quantity), unit, x.At.Text(site.Zone), doubt || x.Subject.OneOf(), x.Seq}
	}
	each := func(code string, of lots.Kind, f func(x *lots.Removal)) {
		for _, rec := range tx.Touching(code) {
			if x, ok := rec.(*lots.Removal); ok && x.Reason == "taproom" && x.Subject.Kind == of && slices.Contains(x.Subject.Codes, code) {
				f(x)
			}
		}
	}
	for _, u := range a.Units {
		each(u.Code, lots.KindUnit, func(x *lots.Removal) { add(x, "unit", u.Code, x.Count, words.UnitOf(u.Kind), false) })
	}
	for _, l := range a.Lots {
		each(l.Code, lots.KindLot, func(x *lots.Removal) {
			thing, _ := tx.Thing(l.Code)
			add(x, "lot", l.Code, thing.Unit.Of(float64(x.Qty.N)), string(thing.Unit), false)
		})
	}
	for _, p := range a.Poured() {
		found[p.Entry] = Served{"tank", p.Vessel, lots.Nine(site.VolumeUnit.Of(p.ML)), string(site.VolumeUnit), p.At.Text(site.Zone), p.Unsure, p.Entry}
	}
	out := []Served{}
	for _, x := range found {
		out = append(out, x)
	}
	slices.SortFunc(out, func(a, b Served) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Entry, b.Entry)) })
	return out
}

// NotCounted says what the hazard leaves out of the scope, and by which kinds of link; empty where it leaves out nothing.
func (s *Scope) NotCounted() string {
	if n := s.Answer.NotCounted; n != nil && n.Any() {
		return n.Text()
	}
	return ""
}

// HasLeft reports whether anything left the brewery's control: without it, it is a stock
// recovery and no recall (21 CFR 7.3(k)). What may have left counts, and what was served or
// sold in the taproom; so does what only links reach that do not count for the hazard.
// While a fill that suspect yeast came from is not decided on, or uses of a suspect lot are not recorded, it cannot
// be said that nothing has left.
func (s *Scope) HasLeft(tx *store.Tx) bool {
	return len(s.Undecided()) > 0 || len(s.Answer.UsesUnknown()) > 0 || s.SoFarLeft(tx)
}

// SoFarLeft reports whether anything left of what is in scope so far, whatever is still to be decided.
func (s *Scope) SoFarLeft(tx *store.Tx) bool {
	if slices.ContainsFunc(s.Lost, func(l Lost) bool { return l.What == suspected && len(l.StandsIn) == 0 }) {
		return true // what cannot be traced cannot be said to be here
	}
	return len(s.Shipments()) > 0 || len(s.Bulk()) > 0 || len(s.Served(tx)) > 0 || s.Answer.UncountedLeft() || slices.ContainsFunc(s.Kept, func(i Item) bool { return i.Kind == "consignee" })
}
