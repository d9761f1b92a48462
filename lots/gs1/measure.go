package gs1

import "strings"

// measured are the identifiers of a net quantity that records have a unit for, without their last digit, which says
// how many decimals follow.
var measured = map[string]string{"310": "kg", "320": "lb", "315": "L", "361": "gal"}

// Measure is the net weight or volume that a message states, as a decimal number and its unit.
func (m Message) Measure() (number, unit string, ok bool) {
	for _, e := range m.Elements {
		if len(e.AI) != 4 || measured[e.AI[:3]] == "" {
			continue
		}
		decimals := int(e.AI[3] - '0')
		whole, part := e.Value[:len(e.Value)-decimals], strings.TrimRight(e.Value[len(e.Value)-decimals:], "0")
		if whole = strings.TrimLeft(whole, "0"); whole == "" {
			whole = "0"
		}
		if part != "" {
			whole += "." + part
		}
		return whole, measured[e.AI[:3]], true
	}
	return "", "", false
}
