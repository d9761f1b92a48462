package recall

import (
	"fmt"
	"strings"
)

// join puts the parts that are there behind one another.
func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ": ")
}

// plural counts things.
func plural(n int, one string) string {
	switch {
	case n == 1:
		return "1 " + one
	case strings.HasSuffix(one, "y"):
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(one, "y"))
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// comma puts two parts behind a comma, where both are there.
func comma(a, b string) string { return strings.TrimSuffix(a+", "+b, ", ") }

// nameAndSize puts a product's name and size behind one another, and does not say twice what
// the name says already.
func nameAndSize(name, size string) string {
	first, rest, cut := strings.Cut(size, ", ")
	if cut && strings.Contains(name, first) {
		size = rest
	}
	return name + ", " + size
}

// casesAndKegs counts both, without what there is none of.
func casesAndKegs(cases, kegs float64) string {
	var parts []string
	for _, x := range []struct {
		n    float64
		unit string
	}{{cases, "case"}, {kegs, "keg"}} {
		if x.n == 1 {
			parts = append(parts, "1 "+x.unit)
		} else if x.n != 0 {
			parts = append(parts, fmt.Sprintf("%g %ss", x.n, x.unit))
		}
	}
	if len(parts) == 0 {
		return "no cases and no kegs"
	}
	return strings.Join(parts, " and ")
}
