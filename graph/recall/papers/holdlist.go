package papers

import (
	"fmt"
	"math"
	"slices"
	"time"

	"heeltap/graph/recall/house"
	"heeltap/graph/trace"
	"heeltap/labels/paper"
	"heeltap/lots"
)

// HoldList is what is to be found and stopped, with its place, to walk the house by.
func (m *Maker) HoldList() (*paper.Document, error) {
	stock, err := m.r.InHouse(m.tx, m.s)
	if err != nil {
		return nil, err
	}
	d := m.document(m.heading("Hold list"), fmt.Sprintf("%s: %s", m.r.Code, sentence(m.r.Reason)), false)
	t := paper.Table{Head: []string{"", "code", "what", "#by the books", "last counted", "place", "band", "held", "#counted now", "found by"}, Hand: true}
	for _, x := range stock {
		t.Rows = append(t.Rows, []string{x.Kind, x.Code, m.plain(x.What), m.booked(x), m.counted(x), or(x.Place, "?"), x.Band, m.held(x), "______", "____________"})
	}
	d.Parts = append(d.Parts, cautions(), paper.Text{Text: m.stopText() + " Count it where it stands: what the books say is no evidence."}, t,
		paper.Signatures{Roles: []string{"Walked by", "Quality lead"}})
	return d, m.tx.Err()
}

// stopText says what the list stops: an exercise stops nothing.
func (m *Maker) stopText() string {
	if m.r.Mock {
		return "This is an exercise: nothing on this list is stopped by it. In a real recall, nothing on it would leave, be moved, drawn, packed or served."
	}
	return "Nothing on this list leaves, is moved, drawn, packed or served."
}

// held says whether a thing is on hold. An exercise holds nothing: it says what would be held.
func (m *Maker) held(x house.Stock) string {
	switch {
	case !m.r.Mock:
		return yesNo(x.Held)
	case x.Held:
		return "yes, not by this exercise"
	case slices.Contains(m.r.Holds, x.Code):
		return "would be"
	}
	return "no"
}

// booked is what the books say is there; less than nothing is a fault of theirs, not of the goods.
func (m *Maker) booked(x house.Stock) string {
	if x.Kind == "loose" && trace.OfKegs(m.tx, x.Code) {
		x.Unit = "keg"
	}
	text := quantity(x.Quantity, x.Unit)
	switch {
	case x.Quantity < 0:
		return text + ": the books are wrong"
	case !x.Sure:
		return "at most " + text
	}
	return text
}

// counted is the last count of something in the house, as it was said and when; of a unit also what it makes now,
// where something moved since.
func (m *Maker) counted(x house.Stock) string {
	zone := m.tx.Site().Zone
	said := func(n float64, unit string, at lots.When) string {
		when := at.Text(zone)
		if len(when) > 16 {
			when = m.plain(when)
		}
		return quantity(n, unit) + ", " + when
	}
	if x.Kind == "unit" {
		if c, ok := trace.CountOf(m.tx, x.Code); ok {
			text := said(c.Said, x.Unit, c.At)
			if now := max(0, c.Now); now != c.Said {
				text += "; by what moved since " + quantity(now, x.Unit)
			}
			return text
		}
		return ""
	}
	last, ok := trace.LastCount(m.tx, x.Code, m.begun(x)) // of what a tank holds now, not of what it held before
	if !ok {
		return ""
	}
	return said(lots.Nine(lots.Unit(x.Unit).Of(float64(last.Qty.N))), x.Unit, last.At)
}

// begun is when a tank's content came together; of anything else the beginning of time.
func (m *Maker) begun(x house.Stock) int64 {
	for _, f := range m.s.Answer.Fills {
		if x.Kind == "tank" && f.Vessel == x.Code && f.Until == nil {
			if at, err := time.Parse(time.RFC3339, f.Since); err == nil {
				return at.Unix()
			}
		}
	}
	return math.MinInt64
}
