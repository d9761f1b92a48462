package trace

import (
	"fmt"

	"heeltap/lots"
)

// leftAbovePacked is the finding's name.
const leftAbovePacked = "left-above-packed"

// Overdrawn says that more has left a unit than was on it; empty where not. A shipment, a unit or
// a quantity is wrong then, and what is here cannot be told from the books.
func (b Books) Overdrawn(unit string) string {
	if b.OnHand() >= 0 {
		return ""
	}
	return fmt.Sprintf("more has left %s than was on it: %d packed, %s shipped, %s returned, %s removed, %s repacked",
		unit, b.Quantity, lots.Figure(b.Shipped), lots.Figure(b.Returned), lots.Figure(b.Removed), lots.Figure(b.Repacked))
}

// overdrawn tells of reached units of which more has left than was on them.
func overdrawn(units []Unit) []Finding {
	var out []Finding
	for _, u := range units {
		if text := u.Books.Overdrawn(u.Code); text != "" {
			out = append(out, Finding{leftAbovePacked, u.Code, text})
		}
	}
	return out
}
