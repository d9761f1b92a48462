// Package balance sets what came in against what went out: of a lot, a brew, a vessel, a run
// or an item over a period. A balance is a list of terms with signs, quantities and the entries
// behind them; its formula and source stand with it. It knows nothing of how it is shown.
//
// As JSON a balance is {kind, code, formula, source, unit, terms: [{name, text, sign, amount,
// entries}], in, accounted, percent, unaccounted, notes}; amounts are in unit, a term of
// sign + came in, one of sign - is where it went, and unaccounted is what is left over.
package balance

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// Balance is one sheet of it.
type Balance struct {
	Kind    string `json:"kind"` // lot brew extract vessel run item
	Code    string `json:"code"`
	Title   string `json:"title"`
	Formula string `json:"formula"`
	Source  string `json:"source"`
	Unit    string `json:"unit"`
	Terms   []Term `json:"terms"`
	// In is what the terms of sign + add up to, Accounted those of sign -.
	In          float64  `json:"in"`
	Accounted   float64  `json:"accounted"`
	Percent     float64  `json:"percent"` // accounted, of in; 0 where nothing came in
	Unaccounted float64  `json:"unaccounted"`
	Notes       []string `json:"notes"` // what the figures do not say, and what is wrong
	Wrong       bool     `json:"wrong"` // the figures can not be: something is missing or mistyped
}

// Term is one line.
type Term struct {
	Name    string  `json:"name"`
	Text    string  `json:"text"`
	Sign    string  `json:"sign"` // + came in, - went out, or empty: shown beside, not summed
	Amount  float64 `json:"amount"`
	Entries []int64 `json:"entries"`
}

func (b *Balance) add(sign, name, text string, amount float64, entries ...int64) {
	if entries == nil {
		entries = []int64{}
	}
	b.Terms = append(b.Terms, Term{name, text, sign, lots.Nine(amount), entries})
}

func (b *Balance) note(format string, args ...any) {
	b.Notes = append(b.Notes, fmt.Sprintf(format, args...))
}

// strike sums the terms.
func (b *Balance) strike() {
	for _, t := range b.Terms {
		switch t.Sign {
		case "+":
			b.In += t.Amount
		case "-":
			b.Accounted += t.Amount
		}
	}
	b.In, b.Accounted = lots.Nine(b.In), lots.Nine(b.Accounted)
	b.Unaccounted = lots.Nine(b.In - b.Accounted)
	if math.Abs(b.Unaccounted) < 1e-9*max(b.In, 1) {
		b.Unaccounted = 0
	}
	if b.In > 0 {
		b.Percent = lots.Nine(b.Accounted / b.In * 100)
	}
	if b.Unaccounted < 0 {
		b.Wrong = true
		b.note("more is accounted for than came in: a use, a count or a receipt is wrong")
	}
	if b.Notes == nil {
		b.Notes = []string{}
	}
	if b.Terms == nil {
		b.Terms = []Term{}
	}
}

// Period is a stretch of time, half open, in Unix seconds; the zero one is all of it.
type Period struct{ From, Until int64 }

func (p Period) holds(w lots.When) bool {
	return p == Period{} || w.From >= p.From && w.From < p.Until
}

// Of strikes every balance that a code has: two for a brew, its volume and its extract.
func Of(tx *store.Tx, code string, p Period) ([]Balance, error) {
	thing, ok := tx.Thing(code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing is called %q; near it are: %s", code, cmp.Or(strings.Join(tx.Nearest(code), ", "), "-"))
	}
	var out []Balance
	switch thing.Kind {
	case lots.KindLot:
		out = append(out, ofLot(tx, code))
	case lots.KindBrew:
		out = append(out, ofBrew(tx, code), extract(tx, code))
	case lots.KindVessel:
		if thing.VesselKind == "path" {
			return nil, lots.Errorf(lots.Invalid, "%s holds nothing that could be balanced: beer only passes through it", code)
		}
		out = append(out, ofVessel(tx, code, p))
	case lots.KindRun:
		out = append(out, ofRun(tx, code)...)
	case lots.KindItem:
		out = append(out, ofItem(tx, code, p))
	default:
		return nil, lots.Errorf(lots.Invalid, "%s is a %s: a balance is of a lot, a brew, a vessel, a run or an item", code, thing.Kind)
	}
	return out, tx.Err()
}

// movement is one thing that happened to a lot.
type movement struct {
	term   string // received used removed counted
	text   string
	amount float64 // base units
	at     lots.When
	entry  int64
}

// movements lists what the records say of a lot, in base units; maybe are those of one of
// several lots, which are in nobody's books, and open those in a quantity nobody wrote down.
func movements(tx *store.Tx, lot string) (list []movement, maybe, open []string) {
	add := func(term, text string, amount float64, at lots.When, entry int64) {
		list = append(list, movement{term, text, amount, at, entry})
	}
	use := func(from lots.Ref, what string, qty lots.Quantity, known bool, at lots.When, entry int64) {
		switch {
		case !slices.Contains(from.Codes, lot) || from.Kind != lots.KindLot:
		case from.OneOf():
			maybe = append(maybe, fmt.Sprintf("%s (entry %d): one of %s", what, entry, strings.Join(from.Codes, ", ")))
		case !known:
			open = append(open, fmt.Sprintf("%s (entry %d): in a quantity nobody wrote down", what, entry))
		default:
			add("used", what, float64(qty.N), at, entry)
		}
	}
	for _, rec := range tx.Touching(lot) {
		switch x := rec.(type) {
		case *lots.Receipt:
			if x.Lot == lot {
				add("received", "received", float64(x.Qty.N), x.At, x.Seq)
				if x.Into != "" {
					add("used", "into "+x.Into, float64(x.Qty.N), x.At, x.Seq)
				}
			}
		case *lots.Crop:
			if x.Lot == lot {
				add("received", "cropped from "+x.Vessel, float64(x.Qty.N), x.At, x.Seq)
				if x.Into != "" {
					add("used", "into "+x.Into, float64(x.Qty.N), x.At, x.Seq)
				}
			}
		case *lots.BrewInput:
			if !intoVessel(tx, lot) {
				use(x.From, "brew "+x.Brew, x.Qty, true, brewTime(tx, x), x.Seq)
			}
		case *lots.Addition:
			if !intoVessel(tx, lot) {
				use(x.From, "into "+x.Vessel, x.Qty, true, x.At, x.Seq)
			}
		case *lots.Feed:
			use(x.From, "run "+x.Run, x.Qty, x.HasQty, runStart(tx, x.Run), x.Seq)
		case *lots.Removal:
			if x.Subject.Kind == lots.KindLot && !x.Subject.OneOf() && !intoVessel(tx, lot) {
				add("removed", x.Reason, float64(x.Qty.N), x.At, x.Seq)
			}
		case *lots.StockCount:
			if x.Subject.Kind == lots.KindLot && !x.Subject.OneOf() {
				add("counted", "counted", float64(x.Qty.N), x.At, x.Seq)
			}
		}
	}
	return list, maybe, open
}

func intoVessel(tx *store.Tx, lot string) bool {
	thing, _ := tx.Thing(lot)
	return thing.Into != ""
}

func brewTime(tx *store.Tx, x *lots.BrewInput) lots.When {
	if x.HasAt {
		return x.At
	}
	for _, rec := range tx.Touching(x.Brew) {
		if b, ok := rec.(*lots.Brew); ok && b.Brew == x.Brew {
			return b.Started
		}
	}
	return lots.When{}
}

func runStart(tx *store.Tx, code string) lots.When {
	if run, _, ok := runOf(tx, code); ok {
		return run.Started
	}
	return lots.When{}
}

// lastCount finds the last count, rolled forward by what was used or removed after it.
func lastCount(list []movement) (counted float64, entry int64, ok bool) {
	var last movement
	for _, m := range list {
		if m.term == "counted" && (!ok || m.at.From >= last.at.From) {
			last, ok = m, true
		}
	}
	counted = last.amount
	for _, m := range list {
		if (m.term == "used" || m.term == "removed") && m.at.From > last.at.To {
			counted -= m.amount
		}
	}
	return counted, last.entry, ok
}

func ofLot(tx *store.Tx, code string) Balance {
	thing, _ := tx.Thing(code)
	of := func(base float64) float64 { return thing.Unit.Of(base) }
	b := Balance{Kind: "lot", Code: code, Title: "lot " + code, Unit: string(thing.Unit),
		Formula: "received = used + removed + counted on hand + unaccounted for",
		Source:  "common practice: ingredient balance of a trace exercise; received - used - on hand - waste"}
	list, maybe, open := movements(tx, code)
	booked := 0.0
	for _, m := range list {
		switch m.term {
		case "received":
			b.add("+", m.term, m.text, of(m.amount), m.entry)
			booked += m.amount
		case "used", "removed":
			b.add("-", m.term, m.text, of(m.amount), m.entry)
			booked -= m.amount
		}
	}
	if counted, entry, ok := lastCount(list); ok {
		b.add("-", "counted", "on hand, counted and carried on by what was used since", of(counted), entry)
	} else if booked > 0 {
		b.note("never counted: the %g %s that the books say are here are unaccounted for until somebody counts them", lots.Nine(of(booked)), thing.Unit)
	}
	b.add("", "booked", "on hand by the books, which proves nothing", of(booked))
	for _, m := range append(maybe, open...) {
		b.note("%s", m)
	}
	if thing.Into != "" {
		b.note("it went into %s: heeltap balance %s goes on", thing.Into, thing.Into)
	}
	b.strike()
	return b
}

func ofBrew(tx *store.Tx, code string) Balance {
	site := tx.Site()
	b := Balance{Kind: "brew", Code: code, Title: "wort of brew " + code, Unit: string(site.VolumeUnit),
		Formula: "cast out = into vessels", Source: "the brew's own rows; nothing is lost between them by definition"}
	for _, rec := range tx.Touching(code) {
		if x, ok := rec.(*lots.Brew); ok && x.Brew == code {
			v := site.VolumeUnit.Of(float64(x.Volume))
			b.add("+", "cast-out", "cast out", v, x.Seq)
			b.add("-", "filled", "into "+x.Into, v, x.Seq)
		}
	}
	b.strike()
	return b
}

// ofVessel sets what came into a vessel against what left it, between two moments, fill by fill.
func ofVessel(tx *store.Tx, code string, p Period) Balance {
	unit, of := vesselUnit(tx, code)
	b := Balance{Kind: "vessel", Code: code, Title: "vessel " + code, Unit: string(unit),
		Formula: "opening + in = out + removed + closing + unrecorded loss",
		Source:  "what each flow says at this vessel; closing is by the books, and what a clean found still there is unrecorded loss"}
	fills := fillsOf(tx, code)
	opening, closing := 0.0, 0.0
	in, out := 0.0, 0.0
	arrivals := map[int64][]int64{} // fill to entries
	for _, a := range tx.VesselArrivals(code) {
		arrivals[a.Fill] = append(arrivals[a.Fill], a.Entry)
	}
	drawn := map[int64]float64{}
	draws := drawsOf(tx, code)
	for _, d := range draws {
		drawn[d.Fill] += d.Qty
	}
	carried := 0.0
	for i, f := range fills {
		came := f.Total - carried
		left := max(0, f.Total-drawn[f.Since])
		inside := p == (Period{}) || f.Since >= p.From && f.Since < p.Until
		if inside {
			in += came
		} else if f.Since < p.From {
			opening = left
		}
		if i+1 < len(fills) {
			carried = carriedInto(tx, f, fills[i+1], left)
			if lost := left - carried; lost > 1e-6 && inside {
				b.add("-", "lost", fmt.Sprintf("still in %s by the books when it was cleaned or filled anew", f.Code), of(lost))
			}
		} else {
			closing = left
		}
		if inside && came > 0 {
			b.add("+", "in", "into fill "+f.Code, of(came), arrivals[f.Since]...)
		}
	}
	for _, d := range draws {
		if p == (Period{}) || d.Start >= p.From && d.Start < p.Until {
			out += d.Qty
			b.add("-", "out", drawText(tx, d.Entry), of(d.Qty), d.Entry)
		}
	}
	if opening > 0 {
		b.Terms = append([]Term{{"opening", "there at the beginning", "+", lots.Nine(of(opening)), []int64{}}}, b.Terms...)
	}
	b.add("-", "closing", "there by the books at the end", of(closing))
	b.strike()
	return b
}

// drawsOf lists what was drawn from a vessel's books. Circulations of one instant join with each
// other, so that the content goes through them once.
func drawsOf(tx *store.Tx, vessel string) []lineage.Draw {
	joined := map[int64]bool{}
	return slices.DeleteFunc(slices.Clone(tx.VesselDraws(vessel)), func(d lineage.Draw) bool {
		rec, _ := tx.Record(d.Entry)
		_, circulation := rec.(*lots.Circulation)
		twice := circulation && joined[d.Start]
		joined[d.Start] = joined[d.Start] || circulation
		return d.State != lineage.Drew || d.OneOf || twice
	})
}

// vesselUnit is what a vessel is balanced in: the site's volume, or a mass where its own unit is
// one, 1 kg counting as 1 L.
func vesselUnit(tx *store.Tx, code string) (lots.Unit, func(mL float64) float64) {
	if thing, _ := tx.Thing(code); thing.Unit.Dim() == lots.Mass {
		return thing.Unit, func(mL float64) float64 { return thing.Unit.Of(mL * 1000) }
	}
	unit := tx.Site().VolumeUnit
	return unit, unit.Of
}

func fillsOf(tx *store.Tx, vessel string) []lineage.Node {
	var out []lineage.Node
	for _, n := range tx.NodesOf(vessel) {
		out = append(out, n.Node)
	}
	return out
}

// carriedInto is how much of a fill the next one carries: what the link between them says.
func carriedInto(tx *store.Tx, from, to lineage.Node, left float64) float64 {
	for _, n := range tx.NodesNamed(to.Code) {
		for _, src := range tx.NodesNamed(from.Code) {
			if q, ok := tx.Between(src.ID, n.ID); ok {
				return min(q, left)
			}
		}
	}
	return 0
}

func drawText(tx *store.Tx, entry int64) string {
	row, ok := tx.Row(entry)
	if !ok {
		return "drawn"
	}
	for _, column := range []string{"run", "brew", "transfer", "lot", "vessel", "reason"} {
		if v := row.Row[column]; v != "" && row.Sheet.Has(column) {
			return row.Sheet.Noun + " " + v
		}
	}
	return row.Sheet.Noun
}

// ofRun strikes a run's balances: volume against containers, parts against what was filled,
// units against what was good.
func ofRun(tx *store.Tx, code string) []Balance {
	run, product, ok := runOf(tx, code)
	if !ok {
		return nil
	}
	site := tx.Site()
	of := func(mL float64) float64 { return site.VolumeUnit.Of(mL) }
	v := Balance{Kind: "run", Code: code, Title: "beer of run " + code, Unit: string(site.VolumeUnit),
		Formula: "drawn from tanks = good + rejects + line loss",
		Source:  "containers times what one holds; a feed without a quantity draws just that, so that its loss is not known"}
	assumed := false
	parts := map[string]*Balance{}
	var order []string
	for _, rec := range tx.Touching(code) {
		f, ok := rec.(*lots.Feed)
		if !ok || f.Run != code {
			continue
		}
		switch f.From.Kind {
		case lots.KindVessel:
			thing, _ := tx.Thing(f.From.Code())
			if !lots.BeerVessel(thing.VesselKind) {
				continue
			}
			for _, d := range tx.DrawsOf(f.Seq) {
				if !d.OneOf {
					v.add("+", "drawn", "from "+d.Vessel, of(d.Qty), f.Seq)
				}
			}
			assumed = assumed || !f.HasQty
		case lots.KindLot:
			thing, _ := tx.Thing(f.From.Codes[0])
			if thing.ItemKind == "container" || thing.ItemKind == "closure" {
				partOf(parts, &order, thing.ItemKind, code, f)
			}
		}
	}
	v.add("-", "good", fmt.Sprintf("%d good containers of %d mL", run.Good, product.ContainerML), of(float64(run.Good*product.ContainerML)), run.Seq)
	v.add("-", "rejects", fmt.Sprintf("%d rejects", run.Rejects), of(float64(run.Rejects*product.ContainerML)), run.Seq)
	if assumed {
		v.note("a tank feed has no quantity: what it draws is worked out from the containers, and proves nothing")
	}
	v.strike()
	out := []Balance{v}
	for _, kind := range order {
		b := parts[kind]
		b.add("-", "good", "good containers", float64(run.Good), run.Seq)
		b.add("-", "rejects", "rejects", float64(run.Rejects), run.Seq)
		b.strike()
		out = append(out, *b)
	}
	return append(out, unitsOf(tx, code, run, product))
}

func partOf(parts map[string]*Balance, order *[]string, kind, code string, f *lots.Feed) {
	b := parts[kind]
	if b == nil {
		b = &Balance{Kind: "run", Code: code, Title: kind + "s of run " + code, Unit: "each",
			Formula: "fed = good + rejects + unaccounted for (spoiled, or taken back)", Source: "one " + kind + " to a container"}
		parts[kind] = b
		*order = append(*order, kind)
	}
	switch {
	case f.From.OneOf():
		b.note("one of %s (entry %d) is drawn from no book", strings.Join(f.From.Codes, ", "), f.Seq)
	case !f.HasQty:
		b.note("%s was fed in a quantity nobody wrote down (entry %d)", f.From.Code(), f.Seq)
	default:
		b.add("+", "fed", "lot "+f.From.Code(), float64(f.Qty.N), f.Seq)
	}
}

func unitsOf(tx *store.Tx, code string, run *lots.Run, product *lots.Product) Balance {
	b := Balance{Kind: "run", Code: code, Title: "units of run " + code, Unit: "cases", Formula: "good = on units + unaccounted for", Source: "good containers ÷ containers to a case"}
	per := float64(max(1, product.PerCase))
	b.add("+", "good", fmt.Sprintf("%d containers ÷ %g", run.Good, per), float64(run.Good)/per, run.Seq)
	for _, rec := range tx.Touching(code) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == code {
			b.add("-", "on-unit", p.UnitKind+" "+p.Unit, float64(p.Quantity), p.Seq)
		}
	}
	b.strike()
	return b
}

func runOf(tx *store.Tx, code string) (*lots.Run, *lots.Product, bool) {
	for _, rec := range tx.Touching(code) {
		run, ok := rec.(*lots.Run)
		if !ok || run.Run != code {
			continue
		}
		for _, p := range tx.Touching(run.Product) {
			if product, ok := p.(*lots.Product); ok && product.Code == run.Product {
				return run, product, true
			}
		}
	}
	return nil, nil, false
}

// ofItem sets an item's lots over a period in one unit, as a certified material is balanced.
func ofItem(tx *store.Tx, code string, p Period) Balance {
	var item *lots.Item
	for _, rec := range tx.Touching(code) {
		if x, ok := rec.(*lots.Item); ok && x.Code == code {
			item = x
		}
	}
	b := Balance{Kind: "item", Code: code, Title: "item " + code, Unit: string(item.Unit),
		Formula: "opening + received = used + removed + closing (counted, else by the books) + unaccounted for",
		Source:  "period balance of a certified material in one unit, as organic inspection asks (Regulation (EU) 2018/848 and 7 CFR 205.103 keep the records; the form is common practice)"}
	of := func(base float64) float64 { return item.Unit.Of(base) }
	opening, received, used, removed, closing := 0.0, 0.0, 0.0, 0.0, 0.0
	var entries struct{ received, used, removed []int64 }
	counted := true
	for _, rec := range tx.Touching(code) {
		lot := lotOf(rec, code)
		if lot == "" {
			continue
		}
		list, maybe, open := movements(tx, lot)
		for _, m := range append(maybe, open...) {
			b.note("%s", m)
		}
		booked := 0.0
		for _, m := range list {
			amount := m.amount
			if m.term == "used" || m.term == "removed" {
				amount = -amount
			}
			switch {
			case m.term == "counted":
				continue
			case p != (Period{}) && m.at.From < p.From:
				opening += amount
			case !p.holds(m.at):
				continue
			case m.term == "received":
				received += amount
				entries.received = append(entries.received, m.entry)
			case m.term == "used":
				used -= amount
				entries.used = append(entries.used, m.entry)
			default:
				removed -= amount
				entries.removed = append(entries.removed, m.entry)
			}
			booked += amount
		}
		if n, _, ok := lastCount(list); ok && p == (Period{}) {
			closing += n
		} else {
			closing += booked
			counted = counted && booked == 0
		}
	}
	b.add("+", "opening", "there at the beginning, by the books", of(opening))
	b.add("+", "received", "received", of(received), entries.received...)
	b.add("-", "used", "used", of(used), entries.used...)
	b.add("-", "removed", "removed", of(removed), entries.removed...)
	b.add("-", "closing", "there at the end", of(closing))
	if !counted {
		b.note("not every lot was counted at the end: what the books say stands in for a count, and proves nothing")
	}
	b.strike()
	return b
}

func lotOf(rec lots.Record, item string) string {
	switch x := rec.(type) {
	case *lots.Receipt:
		if x.Item == item {
			return x.Lot
		}
	case *lots.Crop:
		if x.Item == item {
			return x.Lot
		}
	}
	return ""
}
