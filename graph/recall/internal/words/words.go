// Package words holds the turns of phrase that the rooms of a recall share.
package words

import (
	"fmt"
	"slices"
	"strings"

	"heeltap/lots"
)

// Join puts the parts that are there behind one another.
func Join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ": ")
}

// Plural counts things.
func Plural(n int, one string) string {
	switch {
	case n == 1:
		return "1 " + one
	case strings.HasSuffix(one, "y"):
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(one, "y"))
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// Comma puts two parts behind a Comma, where both are there.
func Comma(a, b string) string { return strings.TrimSuffix(a+", "+b, ", ") }

// NameAndSize puts a product's name and size behind one another, and does not say twice what
// the name says already.
func NameAndSize(name, size string) string {
	first, rest, cut := strings.Cut(size, ", ")
	if cut && strings.Contains(name, first) {
		size = rest
	}
	return name + ", " + size
}

// CasesAndKegs counts both, without what there is none of.
func CasesAndKegs(cases, kegs float64) string {
	var parts []string
	for _, x := range []struct {
		n    float64
		unit string
	}{{cases, "case"}, {kegs, "keg"}} {
		if x.n == 1 {
			parts = append(parts, "1 "+x.unit)
		} else if x.n != 0 {
			parts = append(parts, lots.Figure(x.n)+" "+x.unit+"s")
		}
	}
	if len(parts) == 0 {
		return "no cases and no kegs"
	}
	return strings.Join(parts, " and ")
}

// UnitOf is the word for what a kind of unit is counted in.
func UnitOf(kind string) string {
	if kind == "keg" {
		return "keg"
	}
	return "case"
}

// OrMixed names a product, or says that a unit holds several.
func OrMixed(product *string) string {
	if product == nil {
		return "mixed"
	}
	return *product
}

// Minute is a time of an answer to the minute, in the site's time.
func Minute(at string) string {
	if len(at) < 16 {
		return at
	}
	return strings.Replace(at[:16], "T", " ", 1)
}

// Said is what codes are that say nothing to people.
type Said map[string]string

// Of lists codes, each with what it is where that is known.
func (s Said) Of(codes []string) string {
	out := slices.Clone(codes)
	for i, code := range out {
		if text := s[code]; text != "" {
			out[i] = text + " (" + code + ")"
		}
	}
	return strings.Join(out, ", ")
}
