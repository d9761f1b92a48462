package doubt

import (
	"time"

	"heeltap/lots"
	"heeltap/lots/datecode"
)

// OddCode reports whether a run bears a code that its product's pattern would not print on its day,
// at its start or at its end, and what it would print; and, given a change of the code in the run,
// whether that one is odd at its time. Nothing is odd without a pattern that can be read, nor in a
// run whose time of day nobody wrote down.
func OddCode(p *lots.Product, r *lots.Run, change *lots.CodeChange, zone *time.Location) (want string, odd bool) {
	pattern, err := datecode.Parse(p.DateCode)
	if p.DateCode == "" || err != nil || r.Started.Day {
		return "", false
	}
	printed := func(unix int64) string {
		return pattern.Recorded(datecode.Moment{Packed: time.Unix(unix+r.ClockOffset, 0).In(zone), ShelfLifeDays: p.ShelfLifeDays, Line: r.Line, Product: r.Product})
	}
	if change != nil {
		want = printed(change.Since.From)
		return want, change.DateCode != want
	}
	want = printed(r.Started.From)
	return want, r.DateCode != want && r.DateCode != printed(r.Ended.End()-1)
}

// printed tells of a code that the pattern would not have printed, and of a pattern that no code can
// be held against: while the run is on, the package is at hand.
func (d *doubts) printed(r *lots.Run, change *lots.CodeChange) {
	p, ok := d.tx.Product(r.Product)
	if !ok || p.DateCode == "" || change == nil && r.DateCode == "" {
		return
	}
	code := r.DateCode
	if change != nil {
		code = change.DateCode
	}
	if _, err := datecode.Parse(p.DateCode); err != nil {
		d.add("%q is checked against nothing, for the date-code pattern of %s cannot be used: %v", code, p.Code, err)
		return
	}
	if want, odd := OddCode(p, r, change, d.tx.Site().Zone); odd {
		d.add("the pattern of %s gives %q for that day, and not %q: what stands on the package?", p.Code, want, code)
	}
}
