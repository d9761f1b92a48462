package account

import (
	"maps"
	"slices"
	"strings"

	"heeltap/graph/recall/deliveries"
	"heeltap/lots"
)

// inBulk sets what a consignee received in bulk against what it answered. What comes back of it is a delivery of its
// own, so that only its word says how much was sent back.
func inBulk(c deliveries.Consignee, said Reply) (out []Recovery) {
	measured := c.Measured()
	for _, unit := range slices.Sorted(maps.Keys(measured)) {
		x := Recovery{Party: c.Party, Unit: unit}
		out = append(out, x.of(measured[unit], said, func(l deliveries.AnswerLine) bool { return l.Unit == unit }))
	}
	return out
}

// Open reports whether some of what it received is still there, on the way back or not explained.
func (x Recovery) Open() bool { return x.Unexplained != 0 || x.OnHand > 0 || x.OnTheWay > 0 }

// BulkText says what is open of goods in bulk.
func (x Recovery) BulkText() string {
	var parts []string
	add := func(n float64, text string) {
		if n > 0 {
			parts = append(parts, lots.FigureOf(n, x.Unit)+" "+x.Unit+" "+text)
		}
	}
	add(x.OnHand, "still on hand there")
	add(x.OnTheWay, "said to be sent back and not arrived")
	add(x.Unexplained, "not explained")
	add(-x.Unexplained, "more than it received: ask again")
	return strings.Join(parts, ", ")
}
