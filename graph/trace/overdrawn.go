package trace

import (
	"fmt"

	"heeltap/lots"
)

// leftAbovePacked is the finding's name.
const leftAbovePacked = "left-above-packed"

// overdrawn tells of reached units of which more has left than was on them: a shipment, a unit or
// a quantity is wrong, and what is here can not be told from the books.
func overdrawn(units []Unit) []Finding {
	var out []Finding
	for _, u := range units {
		if u.OnHand < 0 {
			b := u.Books
			out = append(out, Finding{leftAbovePacked, u.Code, fmt.Sprintf("more has left %s than was on it: %d packed, %v shipped, %v returned, %v removed, %v repacked",
				u.Code, b.Quantity, lots.Nine(b.Shipped), lots.Nine(b.Returned), lots.Nine(b.Removed), lots.Nine(b.Repacked))})
		}
	}
	return out
}
