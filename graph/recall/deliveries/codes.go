package deliveries

import (
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
)

// affectedCodes lists the codes of what is affected in rows of units, with their parts.
func affectedCodes(parts []trace.Part) (out []trace.CodePart) {
	for _, p := range parts {
		for _, c := range p.Codes {
			if c.Affected {
				out = append(out, c)
			}
		}
	}
	return out
}

// CodeParts are the affected date codes on what was received, each with its part of it. Of a unit that was received in
// part nobody knows which part; of one of several, which unit.
func (l Line) CodeParts() []trace.CodePart {
	parts := trace.ByCode(l.Codes)
	got := int64(l.Shipped + l.MayBe)
	for i := range parts {
		c := &parts[i]
		entire := c.Sure() && *c.Cases >= float64(c.Of)
		if l.OneOf != "" {
			c.Cases, c.Of = nil, max(got, 1)
		} else if got > 0 && got < c.Of && !entire {
			c.Cases, c.Of = nil, got
		} else if entire && c.Band == graph.In.String() {
			c.Of = c.AtMost
			continue
		}
		c.AtMost = min(c.AtMost, c.Of)
	}
	return slices.Clip(parts)
}

// CodesText names the affected date codes on what was received, each with its part where it is not all.
func (l Line) CodesText() string {
	noun := "case"
	if l.Kegs {
		noun = "keg"
	}
	return trace.CodesText(l.CodeParts(), noun)
}
