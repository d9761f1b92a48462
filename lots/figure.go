package lots

import (
	"math"
	"strconv"
	"strings"
)

// Figure writes a number for people, on screen and on paper: with three decimals at most, and no more than it has.
func Figure(n float64) string { return figure(n, 3) }

// FigureOf writes a quantity in its unit's precision: what is counted one by one has no parts, and a little of
// something is not none of it.
func FigureOf(n float64, unit string) string {
	if Unit(unit).Dim() != Pieces {
		return Figure(n)
	}
	whole := math.Round(n)
	if whole == 0 && n > 0 {
		whole = 1
	}
	return figure(whole, 0)
}

// PercentFigure writes a percentage with two decimals at most. Rounding takes nothing to 0 or to 100: less than all is
// never shown as all, more never as no more, and a little never as nothing.
func PercentFigure(percent float64) string {
	rounded := math.Round(percent*100) / 100
	for _, edge := range []float64{0, 100} {
		switch {
		case rounded == edge && percent < edge:
			rounded = edge - 0.01
		case rounded == edge && percent > edge:
			rounded = edge + 0.01
		}
	}
	return figure(rounded, 2)
}

func figure(n float64, decimals int) string {
	text := strconv.FormatFloat(n, 'f', decimals, 64)
	if decimals > 0 {
		text = strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

// Packages counts cases and kegs. A sum of the two says nothing, so there is none.
type Packages struct {
	Cases float64 `json:"cases"`
	Kegs  float64 `json:"kegs"`
}

// Add counts more of one of them.
func (p *Packages) Add(kegs bool, n float64) {
	if kegs {
		p.Kegs = Nine(p.Kegs + n)
	} else {
		p.Cases = Nine(p.Cases + n)
	}
}

// Plus counts both lists.
func (p Packages) Plus(q Packages) Packages {
	return Packages{Nine(p.Cases + q.Cases), Nine(p.Kegs + q.Kegs)}
}

// Of is the count of one of them.
func (p Packages) Of(kegs bool) float64 {
	if kegs {
		return p.Kegs
	}
	return p.Cases
}

// Only is the count of the one that there is, nil where there are both: they have no sum.
func (p Packages) Only() *float64 {
	switch {
	case p.Kegs == 0:
		return &p.Cases
	case p.Cases == 0:
		return &p.Kegs
	}
	return nil
}

// None reports whether there is nothing of either.
func (p Packages) None() bool { return p == Packages{} }

// String names both where there are any: 12 cases and 1 keg. None of either is 0 cases.
func (p Packages) String() string {
	cases, kegs := Figure(p.Cases)+" "+oneOrMore(p.Cases, "case"), Figure(p.Kegs)+" "+oneOrMore(p.Kegs, "keg")
	switch {
	case p.Kegs == 0:
		return cases
	case p.Cases == 0:
		return kegs
	}
	return cases + " and " + kegs
}

func oneOrMore(n float64, one string) string {
	if n == 1 {
		return one
	}
	return one + "s"
}
