package doubt

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"heeltap/lots"
)

const day = 24 * 60 * 60 // seconds

// aYearOff is how much longer or shorter than any lot before it a lot keeps, in days, where the year
// was mistyped: what a supplier sends differs by weeks or months (common practice).
const aYearOff = 300

// longest is how long a kind of item keeps at most, in days, where no other lot says so (common practice: a
// generous bound, which a year mistyped by some years goes beyond).
var longest = map[string]float64{"malt": 900, "adjunct": 1100, "fruit": 1300, "yeast": 1500, "enzyme": 1300, "finings": 1300}

const longestOther = 2200

// bestBy warns about a best-by date that is over, or that is so far from what the item's other lots
// had that its year may be mistyped.
func (d *doubts) bestBy(r *lots.Receipt, kind string) {
	end, ok := d.lastDay(r.BestBy, r.At.From)
	if !ok {
		return
	}
	keeps := float64(end-r.At.From) / day
	if end < r.At.From {
		d.add("ALREADY PAST ITS BEST-BY: best_by %s was over when it came in on %s. Read the goods again: if it is mistyped, heeltap amend %s best_by=…; if it is not, heeltap hold %[3]s until somebody has decided", r.BestBy, d.day(r.At), r.Lot)
		return
	}
	short, long, known := d.kept(r)
	ask := fmt.Sprintf("is the year right? Read the goods again; if it is mistyped, heeltap amend %s best_by=…", r.Lot)
	switch {
	case known && keeps > long+aYearOff:
		d.add("BEST-BY FAR OFF: best_by %s is %s away, and no other lot of %s came in with more than %s: %s", r.BestBy, span(keeps), r.Item, span(long), ask)
	case known && keeps < short-aYearOff:
		d.add("BEST-BY VERY NEAR: best_by %s is %s away, and every other lot of %s came in with %s or more: %s", r.BestBy, span(keeps), r.Item, span(short), ask)
	case !known && keeps > cmp.Or(longest[kind], longestOther):
		d.add("BEST-BY FAR OFF: best_by %s is %s away: %s", r.BestBy, span(keeps), ask)
	}
}

// kept is how long the other lots of an item had when they came in, in days: the shortest and the longest.
func (d *doubts) kept(r *lots.Receipt) (short, long float64, known bool) {
	for _, o := range d.ofItem(r) {
		end, ok := d.lastDay(o.BestBy, o.At.From)
		if !ok || end < o.At.From {
			continue
		}
		keeps := float64(end-o.At.From) / day
		if !known || keeps < short {
			short = keeps
		}
		long, known = max(long, keeps), true
	}
	return short, long, known
}

// dayLayouts and monthLayouts are how best-by dates are printed (common practice).
var (
	dayLayouts   = []string{time.DateOnly, "2006/01/02", "2006.01.02", "20060102", "02.01.2006", "2.1.2006", "02/01/2006", "01/02/2006", "02-01-2006", "02 Jan 2006", "2 Jan 2006", "02Jan2006", "Jan 2 2006", "Jan 02, 2006"}
	monthLayouts = []string{"2006-01", "01/2006", "01.2006", "01-2006", "Jan 2006", "January 2006"}
)

// lastDay is the end of the last day of a best-by date as it is printed: of one that can be read two ways, day
// and month exchanged, the reading that gives less cause for doubt about goods that came in at a moment. False where it is no date.
func (d *doubts) lastDay(text string, came int64) (end int64, ok bool) {
	zone := d.tx.Site().Zone
	for _, t := range datesOf(text) {
		e := time.Date(t.Year(), t.Month(), t.Day(), 23, 59, 59, 0, zone).Unix()
		if !ok || (end < came) != (e < came) && end < came || (end < came) == (e < came) && e < end {
			end, ok = e, true
		}
	}
	return end, ok
}

// datesOf are the days that a printed date can mean; a month means its last day.
func datesOf(text string) (out []time.Time) {
	text = strings.Join(strings.Fields(text), " ")
	for _, layout := range dayLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			out = append(out, t)
		}
	}
	for _, layout := range monthLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			out = append(out, t.AddDate(0, 1, -1))
		}
	}
	return out
}

// span says a number of days as one would.
func span(days float64) string {
	switch {
	case days < 2:
		return "a day"
	case days < 60:
		return fmt.Sprintf("%.0f days", days)
	case days < 730:
		return fmt.Sprintf("%.0f months", days/30.44)
	}
	return lots.Figure(float64(int(days/36.525))/10) + " years"
}
