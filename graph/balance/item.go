package balance

import (
	"slices"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// itemBook gathers an item's lots, in base units.
type itemBook struct {
	tx                                        *store.Tx
	b                                         *Balance
	p                                         Period
	dim                                       lots.Dim
	opening, received, used, removed, closing float64
	entriesReceived, entriesUsed, entriesGone []int64
	own                                       map[string]bool // vessels that only lots of the item went into
	uncounted                                 bool
}

// ofItem sets an item's lots over a period in one unit, as a certified material is balanced.
func ofItem(tx *store.Tx, code string, p Period) Balance {
	item, ok := tx.Item(code)
	if !ok {
		return Balance{} // the code was found to name one
	}
	b := Balance{Kind: "item", Code: code, Title: "item " + code, Unit: string(item.Unit),
		Formula: "opening + received = used + removed + closing + unaccounted for; what is there is the last count, updated by what moved since, or else the books",
		Source:  "period balance of a certified material in one unit, as organic inspectors ask for it (Regulation (EU) 2018/848 and 7 CFR 205.103 require the records; the form is common practice)"}
	if p == (Period{}) {
		p = always
	}
	k := &itemBook{tx: tx, b: &b, p: p, dim: item.Unit.Dim(), own: ownVessels(tx, code)}
	for _, rec := range tx.Touching(code) {
		if lot := lotOf(rec, code); lot != "" {
			k.lot(lot)
		}
	}
	for vessel := range k.own {
		k.vessel(vessel)
	}
	of := func(base float64) float64 { return item.Unit.Of(base) }
	b.add("+", "opening", "there at the start", of(k.opening))
	b.add("+", "received", "received", of(k.received), k.entriesReceived...)
	b.add("-", "used", "used", of(k.used), k.entriesUsed...)
	b.add("-", "removed", "removed", of(k.removed), k.entriesGone...)
	b.add("-", "closing", "there at the end", of(k.closing))
	if k.uncounted {
		b.note("not every lot was counted at the end: the books stand in for the missing counts, which is no proof")
	}
	b.strike()
	return b
}

// lot adds one lot. What went into a vessel that holds nothing else is still there, and is used when it is drawn.
func (k *itemBook) lot(lot string) {
	thing, _ := k.tx.Thing(lot)
	if thing.Unit.Dim() != k.dim {
		k.b.note("lot %s is kept in %s and cannot be balanced in %s: it is left out", lot, thing.Unit, k.b.Unit)
		return
	}
	list, maybe, open := movements(k.tx, lot)
	for _, text := range append(maybe, open...) {
		if !slices.Contains(k.b.Notes, text) {
			k.b.note("%s", text)
		}
	}
	start, _, _ := stockAt(list, k.p.From)
	end, _, counted := stockAt(list, k.p.Until)
	k.opening, k.closing = k.opening+start, k.closing+end
	k.uncounted = k.uncounted || !counted && end > 0
	for _, m := range list {
		if !k.p.holds(m.at) || m.within {
			continue
		}
		switch {
		case m.term == "received":
			k.received += m.amount
			k.entriesReceived = append(k.entriesReceived, m.entry)
		case m.term == "removed":
			k.removed += m.amount
			k.entriesGone = append(k.entriesGone, m.entry)
		case m.term == "used" && !k.own[m.into]:
			k.used += m.amount
			k.entriesUsed = append(k.entriesUsed, m.entry)
			if m.into != "" {
				k.b.note("lot %s went into %s with other things: it counts as used from then on", lot, m.into)
			}
		}
	}
}

// tookAway reports whether an entry removed or shipped what it drew, and did not use it here.
func (k *itemBook) tookAway(entry int64) bool {
	rec, _ := k.tx.Record(entry)
	switch rec.(type) {
	case *lots.Removal, *lots.Bulk:
		return true
	}
	return false
}

// vessel adds what is in a vessel of the item's own, and what was drawn from it.
func (k *itemBook) vessel(code string) {
	base := func(mL float64) float64 {
		if k.dim == lots.Mass {
			return mL * 1000 // 1 kg counts as 1 L there
		}
		return mL
	}
	fills := contents(k.tx, code)
	k.opening += base(contentAt(fills, k.p.From))
	end := base(contentAt(fills, k.p.Until))
	k.closing += end
	k.uncounted = k.uncounted || end > 0
	for _, d := range trace.DrawsOf(k.tx, code) {
		part := trace.DrawnPart(d, k.p.Until) - trace.DrawnPart(d, k.p.From)
		if d.OneOf || part <= 0 || d.Qty <= 0 {
			continue
		}
		if k.tookAway(d.Entry) {
			k.removed += base(d.Qty * part)
			k.entriesGone = append(k.entriesGone, d.Entry)
		} else {
			k.used += base(d.Qty * part)
			k.entriesUsed = append(k.entriesUsed, d.Entry)
		}
		if d.State != lineage.Drew {
			k.b.note("%s (entry %d) drew on %s when by the books nothing was there", drawText(k.tx, d.Entry), d.Entry, code)
		}
	}
	for _, f := range fills {
		if f.Until == 0 || f.Until < k.p.From || f.Until >= k.p.Until || f.lost <= 1e-6 {
			continue
		}
		if f.end.name == "removed" {
			k.removed += base(f.lost)
			k.entriesGone = append(k.entriesGone, f.end.entries...)
		} else { // unaccounted for: nobody wrote down where it went
			k.b.note("%s %s of %s: %s", lots.FigureOf(lots.Unit(k.b.Unit).Of(base(f.lost)), k.b.Unit), k.b.Unit, code, f.end.text)
		}
	}
}

// ownVessels lists the vessels that lots of the item went into, and nothing else.
func ownVessels(tx *store.Tx, item string) map[string]bool {
	out := map[string]bool{}
	for _, rec := range tx.Touching(item) {
		into := ""
		switch x := rec.(type) {
		case *lots.Receipt:
			into = x.Into
		case *lots.Crop:
			into = x.Into
		}
		if into != "" && lotOf(rec, item) != "" {
			out[into] = true
		}
	}
	for vessel := range out {
		for _, a := range trace.InflowsOf(tx, vessel) {
			rec, _ := tx.Record(a.Entry)
			if rec == nil || lotOf(rec, item) == "" {
				delete(out, vessel)
				break
			}
		}
	}
	return out
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
