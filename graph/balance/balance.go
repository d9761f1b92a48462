// Package balance sets what came in against what went out, for a lot, a brew, a vessel, a run,
// or an item over a period. A balance is a list of terms with signs, quantities and the entries
// behind them, with its formula and source. It knows nothing of how it is shown.
//
// As JSON a balance is {kind, code, formula, source, unit, terms: [{name, text, sign, amount,
// entries}], in, accounted, percent, unaccounted, notes}; amounts are in unit, a term of
// sign + came in, one of sign - is where it went, and unaccounted is what is left over. Where open
// is true something has no known quantity, and nothing is struck.
package balance

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
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
	Wrong       bool     `json:"wrong"` // the figures cannot be: something is missing or mistyped
	// Open says that the quantity of something that came in or went out is not known: nothing can be
	// struck, and percent and unaccounted are 0.
	Open bool `json:"open"`
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
	if b.Notes == nil {
		b.Notes = []string{}
	}
	if b.Terms == nil {
		b.Terms = []Term{}
	}
	if b.Open {
		return
	}
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
}

// Period is a stretch of time, half open, in Unix seconds; the zero one is all of it.
type Period struct{ From, Until int64 }

func (p Period) holds(w lots.When) bool {
	return p == Period{} || w.From >= p.From && w.From < p.Until
}

// Days reads a first and a last day; without either, the period is all of time.
func Days(tx *store.Tx, from, to string) (Period, error) {
	if from == "" && to == "" {
		return Period{}, nil
	}
	p := Period{Until: 1 << 60}
	for _, x := range []struct{ name, text string }{{"--from", from}, {"--to", to}} {
		if x.text == "" {
			continue
		}
		w, _, err := lots.ParseWhen(x.text, tx.Site().Zone)
		if err != nil {
			return p, lots.Errorf(lots.Invalid, "%s: %w", x.name, err)
		}
		if x.name == "--from" {
			p.From = w.From
		} else {
			p.Until = w.To + 1
		}
	}
	if p.From >= p.Until {
		return p, lots.Errorf(lots.Invalid, "--from is after --to")
	}
	return p, nil
}

// Of strikes every balance that a code has: two for a brew, its volume and its extract.
func Of(tx *store.Tx, code string, p Period) ([]Balance, error) {
	code, err := trace.Recorded(tx, code, lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindItem)
	if err != nil {
		return nil, err
	}
	thing, ok := tx.Thing(code)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing is called %q; the nearest are: %s", code, cmp.Or(strings.Join(tx.Nearest(code), ", "), "-"))
	}
	var out []Balance
	switch thing.Kind {
	case lots.KindLot:
		out = append(out, ofLot(tx, code))
	case lots.KindBrew:
		out = append(out, ofBrew(tx, code), extract(tx, code))
	case lots.KindVessel:
		if thing.VesselKind == "path" {
			return nil, lots.Errorf(lots.Invalid, "%s cannot be balanced: it holds nothing, beer only passes through it", code)
		}
		out = append(out, ofVessel(tx, code, p))
	case lots.KindRun:
		out = append(out, ofRun(tx, code)...)
	case lots.KindItem:
		out = append(out, ofItem(tx, code, p))
	default:
		return nil, lots.Errorf(lots.Invalid, "%s is a %s: only a lot, a brew, a vessel, a run or an item can be balanced", code, thing.Kind)
	}
	if p != (Period{}) && thing.Kind != lots.KindVessel && thing.Kind != lots.KindItem {
		for i := range out {
			out[i].note("this covers all of it: only a vessel or an item can be balanced over a period")
		}
	}
	return out, tx.Err()
}

// movement is one thing that happened to a lot.
type movement struct {
	term   string // received used removed counted
	into   string // the vessel that it went into as it came; else empty
	text   string
	amount float64 // base units
	at     lots.When
	entry  int64
	within bool // from or to lots of the same item
}

// movements lists what the records say of a lot, in base units; maybe are those of one of
// several lots, which are in nobody's books, and open those in a quantity nobody wrote down.
func movements(tx *store.Tx, lot string) (list []movement, maybe, open []string) {
	add := func(term, text string, amount float64, at lots.When, entry int64) {
		list = append(list, movement{term: term, text: text, amount: amount, at: at, entry: entry})
	}
	enter := func(vessel string, amount float64, at lots.When, entry int64) {
		if vessel != "" {
			list = append(list, movement{term: "used", into: vessel, text: "into " + vessel, amount: amount, at: at, entry: entry})
		}
	}
	through := intoVessel(tx, lot) // then what names it is drawn through that vessel, and stands in its books
	use := func(from lots.Ref, what string, qty lots.Quantity, known bool, at lots.When, entry int64) {
		switch {
		case !slices.Contains(from.Codes, lot) || from.Kind != lots.KindLot:
		case from.OneOf():
			maybe = append(maybe, fmt.Sprintf("%s (entry %d): one of %s", what, entry, strings.Join(from.Codes, ", ")))
		case !known:
			open = append(open, fmt.Sprintf("%s (entry %d): nobody wrote down how much", what, entry))
		default:
			add("used", what, float64(qty.N), at, entry)
		}
	}
	for _, rec := range tx.Touching(lot) {
		switch x := rec.(type) {
		case *lots.Receipt:
			if x.Lot == lot {
				add("received", "received", float64(x.Qty.N), x.At, x.Seq)
				enter(x.Into, float64(x.Qty.N), x.At, x.Seq)
			}
		case *lots.Crop:
			if x.Lot == lot {
				add("received", "cropped from "+x.Vessel, float64(x.Qty.N), x.At, x.Seq)
				enter(x.Into, float64(x.Qty.N), x.At, x.Seq)
			}
		case *lots.BrewInput:
			if !through {
				use(x.From, "brew "+x.Brew, x.Qty, true, brewTime(tx, x), x.Seq)
			}
		case *lots.Addition:
			if !through {
				use(x.From, "into "+x.Vessel, x.Qty, true, x.At, x.Seq)
			}
		case *lots.Feed:
			if !through {
				use(x.From, "run "+x.Run, x.Qty, x.HasQty, runStart(tx, x.Run), x.Seq)
			}
		case *lots.Tipping:
			list, maybe = tipped(tx, lot, x, list, maybe)
		case *lots.Clean:
			use(x.From, "a clean of "+x.Subject.Code(), lots.Quantity{}, false, x.At, x.Seq)
		case *lots.Removal:
			if x.Subject.Kind == lots.KindLot && !x.Subject.OneOf() && !through {
				add("removed", x.Reason, float64(x.Qty.N), x.At, x.Seq)
			}
		case *lots.Bulk:
			switch {
			case x.From.Kind != lots.KindLot || through:
			case x.From.OneOf():
				use(x.From, "shipped to "+x.Consignee, x.Qty, true, x.At, x.Seq)
			default:
				add("removed", "shipped to "+x.Consignee, float64(x.Qty.N), x.At, x.Seq)
			}
		case *lots.StockCount:
			if x.Subject.Kind == lots.KindLot && !x.Subject.OneOf() {
				add("counted", "counted", float64(x.Qty.N), x.At, x.Seq)
			}
		}
	}
	return list, maybe, open
}

// tipped adds what was tipped into a lot or out of it.
func tipped(tx *store.Tx, lot string, x *lots.Tipping, list []movement, maybe []string) ([]movement, []string) {
	other := strings.Join(x.From.Codes, " or ")
	m := movement{term: "received", text: "tipped in from " + other, amount: float64(x.Qty.N), at: x.At, entry: x.Seq, within: sameItem(tx, append([]string{x.Into}, x.From.Codes...))}
	switch {
	case x.Into == lot:
	case x.From.OneOf():
		return list, append(maybe, fmt.Sprintf("tipped into %s (entry %d): one of %s", x.Into, x.Seq, strings.Join(x.From.Codes, ", ")))
	default:
		m.term, m.text = "used", "tipped into "+x.Into
	}
	return append(list, m), maybe
}

func sameItem(tx *store.Tx, lots []string) bool {
	first, ok := tx.Receipt(lots[0])
	return ok && !slices.ContainsFunc(lots, func(code string) bool {
		r, ok := tx.Receipt(code)
		return !ok || r.Item != first.Item
	})
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

// forever is later than any record.
const forever = int64(1) << 60

// stockAt is what is there of a lot just before a moment: its last count, carried on by what came, was
// used and removed after it, else by the books; never less than nothing. Counted tells which.
func stockAt(list []movement, t int64) (amount float64, count int64, counted bool) {
	var last movement
	for _, m := range list {
		if m.term == "counted" && m.at.From < t && (!counted || m.at.From >= last.at.From) {
			last, counted = m, true
		}
	}
	amount = last.amount
	for _, m := range list {
		if m.at.From >= t || counted && m.at.From <= last.at.To {
			continue
		}
		switch m.term {
		case "received":
			amount += m.amount
		case "used", "removed":
			amount -= m.amount
		}
	}
	return max(0, amount), last.entry, counted
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
	if counted, entry, ok := stockAt(list, forever); ok {
		b.add("-", "counted", "on hand: the last count, less what was used since", of(counted), entry)
	} else if booked > 0 {
		b.note("never counted: the %s %s that the books say are here stay unaccounted for until somebody counts them", lots.FigureOf(of(booked), string(thing.Unit)), thing.Unit)
	}
	b.add("", "booked", "on hand by the books, which is no proof", of(booked))
	for _, m := range append(maybe, open...) {
		b.note("%s", m)
	}
	if thing.Into != "" {
		b.note("it went into %s: heeltap balance %s continues from there", thing.Into, thing.Into)
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
		if x, ok := rec.(*lots.Bulk); ok {
			one := map[bool]string{true: "one of several brews, not known which: "}[x.From.OneOf()]
			b.note("%s%s %s %s went to %s (entry %d): a by-product is no part of the wort", one, lots.FigureOf(x.Unit.Of(float64(x.Qty.N)), string(x.Unit)), x.Unit, cmp.Or(x.Goods, "of a by-product"), x.Consignee, x.Seq)
		}
	}
	b.strike()
	return b
}
