package check

import (
	"heeltap/lots"
)

// lotTooSmall finds lots of containers or closures that were fed to runs without a quantity and
// cannot have been enough: what each run filled while the lot was fed, shared by all lots of
// its kind that were fed then, against what was received.
func lotTooSmall(b *book) (out []Hit) {
	need, last, open := map[string]float64{}, map[string]*lots.Feed{}, map[string]bool{}
	for _, r := range b.runs {
		byKind := map[string][]*lots.Feed{}
		for _, f := range b.feeds[r.Run] {
			if kind := b.partOf(f); kind == "container" || kind == "closure" {
				byKind[kind] = append(byKind[kind], f)
			}
		}
		for _, kind := range sortedKeys(byKind) {
			for _, f := range byKind[kind] {
				lot := f.From.Code()
				last[lot] = f
				if open[lot] = open[lot] || !f.HasQty; f.HasQty {
					need[lot] += float64(f.Qty.N)
				} else {
					need[lot] += b.filledBy(r, f, byKind[kind])
				}
			}
		}
	}
	for _, lot := range sortedKeys(need) {
		r := b.receipt[lot]
		if r == nil || r.Qty.Dim != lots.Pieces || !open[lot] || need[lot] <= 1.005*float64(r.Qty.N) {
			continue
		}
		f := last[lot]
		h := hit(lot, f.Seq, "%.0f pieces of %s arrived, but %.0f were filled while it was in use, most recently in run %s", float64(r.Qty.N), lot, need[lot], f.Run)
		h.Mend = "heeltap feed " + f.Run + " --from OTHER-LOT --since …, or heeltap amend " + lot + " quantity=…"
		out = append(out, h)
	}
	return out
}

// partOf is the kind of packaging part that a feed is one lot of; empty where it is not.
func (b *book) partOf(f *lots.Feed) string {
	if f.From.Kind != lots.KindLot || f.From.OneOf() {
		return ""
	}
	if kind := b.kindOf(f.From.Code()); lots.PackagingPart(kind) {
		return kind
	}
	return ""
}

// span is from when to when a feed was fed.
func span(r *lots.Run, f *lots.Feed) (from, until int64) {
	from, until = r.Started.From, r.Ended.End()
	if f.HasSince {
		from = max(from, f.Since.From)
	}
	if f.HasUntil {
		until = min(until, f.Until.End())
	}
	return from, max(from, until)
}

// filledBy is how many containers of a run a feed without a quantity was for: by duration, and
// where several of its kind were fed at once the part of each.
func (b *book) filledBy(r *lots.Run, f *lots.Feed, all []*lots.Feed) float64 {
	from, until := span(r, f)
	whole := float64(r.Ended.End() - r.Started.From)
	if whole <= 0 {
		return 0
	}
	held := float64(until - from)
	for _, o := range all {
		if o == f {
			continue
		}
		f2, u2 := span(r, o)
		if both := float64(min(until, u2) - max(from, f2)); both > 0 { // it may have given all of the time they share
			held -= both
		}
	}
	return max(0, held) / whole * float64(r.Good+r.Rejects)
}

// restNotSeen finds rests of lots that nobody used or counted for long.
func restNotSeen(b *book) (out []Hit) {
	days := b.limit("rest-not-seen.days")
	now := b.tx.Recorded().Unix()
	counted := map[string]int64{}
	for _, c := range b.counts {
		if c.Subject.Kind == lots.KindLot && !c.Subject.OneOf() {
			counted[c.Subject.Code()] = max(counted[c.Subject.Code()], c.At.To)
		}
	}
	for _, r := range b.receipts {
		seen := counted[r.Lot]
		for _, u := range b.uses[r.Lot] {
			seen = max(seen, u.at.To)
		}
		left, ok := b.lotBooked(r.Lot, lots.At(now))
		if len(b.uses[r.Lot]) == 0 || !ok || left < 0.02*float64(r.Qty.N) || float64(now-seen) < days*86400 {
			continue
		}
		h := hit(r.Lot, r.Seq, "%.3g%% of %s is left by the books, but it has been neither used nor counted since %s", 100*left/float64(r.Qty.N), r.Lot, b.day(seen))
		h.Mend = "heeltap count " + r.Lot + " --quantity …, or heeltap remove " + r.Lot + " --quantity … --reason …"
		out = append(out, h)
	}
	return out
}

// unitsDoNotMeet finds items whose lots came in units that cannot be added up.
func unitsDoNotMeet(b *book) (out []Hit) {
	first := map[string]*lots.Receipt{}
	for _, r := range b.receipts {
		o := first[r.Item]
		if o == nil {
			first[r.Item] = r
			continue
		}
		if o.Qty.Dim != r.Qty.Dim {
			h := hit(r.Lot, r.Seq, "%s of %s came in %s, and %s in %s", r.Lot, r.Item, r.Unit, o.Lot, o.Unit)
			h.Mend = "heeltap amend " + r.Lot + " quantity=… unit=" + string(o.Unit)
			out = append(out, h)
		}
	}
	return out
}
