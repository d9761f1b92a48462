package demo

import (
	"slices"
	"strings"
	"time"
)

// nth finds the n-th row of a sheet that a test accepts, counted from 1 in the order of events.
func (b *book) nth(sheet string, n int, is func(Entry) bool) *Entry {
	for i := range b.entries {
		if e := &b.entries[i]; e.Sheet == sheet && is(*e) {
			if n--; n == 0 {
				return e
			}
		}
	}
	panic("there is no such row of " + sheet)
}

func has(column, value string) func(Entry) bool {
	return func(e Entry) bool { return e.Row[column] == value }
}

// mishaps are what people got wrong and put right, or did not.
func (b *book) mishaps() {
	b.misread(b.nth("receipts", 3, has("item", "HOP-AROMA")), 9)
	b.misread(b.nth("receipts", 4, has("item", "MALT-PALE")), 31)
	b.shortCount(b.nth("receipts", 2, has("item", "OATS")))
	b.lateClean()
	b.timeFoundLater()
	b.typedTwice()
	b.holds()
}

// misread has two neighbouring digits of a supplier's lot swapped, and found out days later.
func (b *book) misread(e *Entry, days int) {
	right := e.Row["supplier_lot"]
	i := strings.LastIndexAny(right, "0123456789")
	for i > 0 && right[i] == right[i-1] || right[i-1] < '0' || right[i-1] > '9' {
		i--
	}
	e.Row["supplier_lot"] = right[:i-1] + string(right[i]) + string(right[i-1]) + right[i+1:]
	b.fix(e.Recorded.AddDate(0, 0, days), quality, e.Row["lot"], "digits swapped; read again on the bags", map[string]string{"supplier_lot": right})
}

// shortCount has fewer sacks written down than came in, so that more is used than there was.
func (b *book) shortCount(e *Entry) { e.Row["quantity"] = "300" }

// lateClean has a bright tank's clean written down weeks late.
func (b *book) lateClean() {
	e := b.nth("cleans", 11, has("vessel", "BT3"))
	e.Recorded = e.Recorded.AddDate(0, 0, 40)
}

// timeFoundLater has a dry hop written down with its date alone, and its time a few days on.
func (b *book) timeFoundLater() {
	e := b.nth("additions", 1, has("ref", "dry-hop-05"))
	right := e.Row["at"]
	e.Row["at"] = right[:len(time.DateOnly)]
	b.fix(e.Recorded.AddDate(0, 0, 3), cellar, "dry-hop-05", "time found on the cellar sheet", map[string]string{"at": right})
}

// typedTwice has the taproom's week in the book twice, until somebody notices.
func (b *book) typedTwice() {
	e := *b.nth("removals", 9, has("reason", "taproom"))
	e.Row = cloneRow(e.Row)
	e.Row["ref"] = "typed-twice"
	e.Recorded = e.Recorded.Add(10 * time.Minute)
	b.entries = append(b.entries, e)
	b.fix(e.Recorded.AddDate(0, 0, 5), quality, "typed-twice", "the same week was entered before", nil)
}

// holds stops a delivery of cans for a day. A delivery of lactose and a pallet are still stopped when the history ends.
func (b *book) holds() {
	e := b.nth("receipts", 4, has("item", "CAN-44"))
	e.Row["status"] = "hold"
	when, _ := time.ParseInLocation("2006-01-02 15:04", e.Row["received_at"], b.zone)
	b.write(when.Add(6*time.Hour), quality, "holds", "subject", e.Row["lot"], "at", e.Row["received_at"], "reason", "outer wrap torn, cans to be looked at",
		"released_at", b.at(when.Add(6*time.Hour)), "released_by", quality, "release_reason", "forty cans looked at, none dented")
	b.receive("LACTOSE", b.day(b.days-2, 10, 0))
	b.entries[len(b.entries)-1].Row["status"] = "hold"
	last := b.nth("units", b.countRows("units", has("kind", "pallet")), has("kind", "pallet"))
	b.write(b.day(b.days-1, 15, 0), quality, "holds", "subject", last.Row["unit"], "at", b.at(b.day(b.days-1, 15, 0)), "reason", "two cartons wet: a can leaks")
}

func (b *book) countRows(sheet string, is func(Entry) bool) int {
	n := 0
	for _, e := range b.entries {
		if e.Sheet == sheet && is(e) {
			n++
		}
	}
	return n
}

func cloneRow(row map[string]string) map[string]string {
	out := make(map[string]string, len(row))
	for k, v := range row {
		out[k] = v
	}
	return out
}

// swapTags has the tags of two full pallets of one lorry swapped, or not: each went to one of two consignees.
func (b *book) swapTags() {
	middle := b.day(b.days/2, 0, 0)
	for i := range b.loads {
		x := &b.loads[i]
		if x.at.Before(middle) || x.quantity != 80 || !strings.HasPrefix(x.unit, "P") {
			continue
		}
		j := slices.IndexFunc(b.loads[i+1:], func(y loaded) bool {
			return y.at == x.at && y.quantity == 80 && y.consignee != x.consignee && strings.HasPrefix(y.unit, "P")
		})
		if j < 0 {
			continue
		}
		y := &b.loads[i+1+j]
		both := x.unit + "|" + y.unit
		x.unit, y.unit = both, both
		return
	}
	panic("no two full pallets left on one day")
}
