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
	return fmt.Sprintf("more has left %s than was on it: %d packed, %v shipped, %v returned, %v removed, %v repacked",
		unit, b.Quantity, lots.Nine(b.Shipped), lots.Nine(b.Returned), lots.Nine(b.Removed), lots.Nine(b.Repacked))
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
