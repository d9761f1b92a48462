package balance

import (
	"heeltap/lots"
	"heeltap/lots/store"
)

// ofItem sets an item's lots over a period in one unit, as a certified material is balanced.
func ofItem(tx *store.Tx, code string, p Period) Balance {
	item, ok := tx.Item(code)
	if !ok {
		return Balance{} // the code was found to name one
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
