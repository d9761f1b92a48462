package lots

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Dim is what a quantity measures. The list is append-only.
type Dim string

// The dimensions and their whole-number base unit.
const (
	Mass   Dim = "mass"   // milligrams
	Volume Dim = "volume" // millilitres
	Pieces Dim = "pieces" // single things
	Cases  Dim = "cases"  // cases; how many pieces one holds is the product's affair
)

// Quantity is a whole number of its dimension's base unit. Parts of recorded
// quantities add up because nothing recorded is kept as a fraction.
type Quantity struct {
	N   int64
	Dim Dim
}

// Unit is a unit of measure people write.
type Unit string

type unitDef struct {
	dim    Dim
	factor *big.Rat // base units in one
}

// Sources: 1 lb = 453 592.37 mg and 1 oz = 28 349.523125 mg (international
// avoirdupois pound of 1959); 1 US gallon = 231 in³ = 3785.411784 mL (27 CFR
// 7.10); 1 US beer barrel = 31 gallons (27 CFR 25.11).
var units = map[Unit]unitDef{
	"kg":   {Mass, big.NewRat(1_000_000, 1)},
	"g":    {Mass, big.NewRat(1_000, 1)},
	"lb":   {Mass, big.NewRat(45_359_237, 100)},
	"oz":   {Mass, big.NewRat(28_349_523_125, 1_000_000)},
	"hL":   {Volume, big.NewRat(100_000, 1)},
	"L":    {Volume, big.NewRat(1_000, 1)},
	"mL":   {Volume, big.NewRat(1, 1)},
	"bbl":  {Volume, big.NewRat(117_347_765_304, 1_000_000)},
	"gal":  {Volume, big.NewRat(3_785_411_784, 1_000_000)},
	"each": {Pieces, big.NewRat(1, 1)},
	"case": {Cases, big.NewRat(1, 1)},
}

// unitNames lists the units in the order people hear of them.
var unitNames = []string{"kg", "g", "lb", "oz", "hL", "L", "mL", "bbl", "gal", "each", "case"}

// UnitNames lists the units of measure.
func UnitNames() []string { return slices.Clone(unitNames) }

// Dim is what the unit measures; empty for the zero Unit.
func (u Unit) Dim() Dim { return units[u].dim }

// Of converts base units to the unit, as a float for showing.
func (u Unit) Of(base float64) float64 {
	d, ok := units[u]
	if !ok {
		return base
	}
	f, _ := d.factor.Float64()
	return base / f
}

// maxBase bounds what one row may say: about nine thousand million litres, far
// beyond any brewery and far below what int64 sums could overflow.
const maxBase = int64(9e15)

// ParseQuantity reads a decimal number in unit, rounding half away from zero to
// whole millilitres or milligrams. Negative and non-decimal numbers, and parts
// of a piece or case, are refused.
func ParseQuantity(number string, unit Unit) (Quantity, error) {
	r, err := parseDecimal(number)
	if err != nil {
		return Quantity{}, err
	}
	return quantityOf(r, number, unit)
}

// quantityOf is what a number of a unit comes to; text is how it was written.
func quantityOf(r *big.Rat, text string, unit Unit) (Quantity, error) {
	d, ok := units[unit]
	if !ok {
		return Quantity{}, fmt.Errorf("a quantity needs a unit: one of %s", strings.Join(unitNames, " "))
	}
	if (d.dim == Pieces || d.dim == Cases) && !r.IsInt() {
		return Quantity{}, notWhole(text, d.dim)
	}
	n, err := wholeNumber(new(big.Rat).Mul(r, d.factor), text)
	return Quantity{N: n, Dim: d.dim}, err
}

// notWhole says what to write instead of a part of what only comes whole.
func notWhole(text string, of Dim) error {
	hint := ""
	if oneGroup.MatchString(text) {
		hint = ": write thousands without a separator"
	}
	if of == "" {
		return fmt.Errorf("%q is not a whole number%s", text, hint)
	}
	if hint == "" && of == Cases {
		hint = ": give part of a case in each"
	}
	return fmt.Errorf("%q is not a whole number of %s%s", text, of, hint)
}

// wholeNumber rounds half away from zero within the bounds of one row.
func wholeNumber(r *big.Rat, text string) (int64, error) {
	num := new(big.Int).Mul(r.Num(), big.NewInt(2))
	num.Add(num, r.Denom())
	num.Quo(num, new(big.Int).Mul(r.Denom(), big.NewInt(2)))
	if !num.IsInt64() || num.Int64() > maxBase {
		return 0, tooMuch(text)
	}
	return num.Int64(), nil
}

// parseDecimal reads an unsigned decimal number with a point: what a scale, a
// meter or a spreadsheet writes, and what is recorded. Exponents, signs, commas and blanks
// inside are refused; ReadNumeral understands more of what people write.
func parseDecimal(text string) (*big.Rat, error) {
	text = strings.TrimSpace(text)
	whole, frac, _ := strings.Cut(text, ".")
	if whole+frac == "" || len(text) > 40 || strings.Trim(whole+frac, "0123456789") != "" {
		return nil, notNumber(text)
	}
	r, ok := new(big.Rat).SetString("0" + text)
	if !ok {
		r, ok = new(big.Rat).SetString("0" + text + "0")
	}
	if !ok {
		return nil, fmt.Errorf("%q is not a number", text)
	}
	return r, nil
}

// notNumber says why a text is not a plain number, and what to write.
func notNumber(text string) error {
	digits := strings.Trim(text, "0123456789,")
	switch {
	case strings.HasPrefix(text, "-"):
		return fmt.Errorf("%q is below zero: write zero or more", text)
	case digits == "" && strings.Contains(text, ","):
		return fmt.Errorf("%q has a comma: write a decimal point, as in 12.5, and thousands without a separator", text)
	}
	return fmt.Errorf("%q is not a number: write digits with a decimal point, such as 12.5", text)
}

// numberIn reads an unsigned decimal within the bounds of one row.
func numberIn(text string) (*big.Rat, error) {
	r, err := parseDecimal(text)
	if err == nil && r.Cmp(mostNumber) > 0 {
		return nil, tooMuch(text)
	}
	return r, err
}

var mostNumber = new(big.Rat).SetInt64(maxBase)

func tooMuch(text string) error { return fmt.Errorf("%q is more than any brewery holds", text) }

// parseOffset reads a number of minutes that may have a sign.
func parseOffset(text string) (*big.Rat, error) {
	digits, negative := strings.CutPrefix(strings.TrimSpace(text), "-")
	if !negative {
		digits = strings.TrimPrefix(digits, "+")
	}
	r, err := numberIn(digits)
	if err != nil {
		return nil, fmt.Errorf("%q is not a number of minutes: write digits, with - in front where the coder was behind", text)
	}
	if negative {
		r.Neg(r)
	}
	return r, nil
}

// ParseNumber reads an unsigned decimal as a float, within the bounds of one row.
func ParseNumber(text string) (float64, error) {
	r, err := numberIn(text)
	if err != nil {
		return 0, err
	}
	f, _ := r.Float64()
	return f, nil
}

// ParseCount reads a whole number of things.
func ParseCount(text string) (int64, error) {
	r, err := parseDecimal(text)
	if err != nil {
		return 0, err
	}
	if !r.IsInt() {
		return 0, notWhole(text, "")
	}
	return wholeNumber(r, text)
}

// Millilitres reads a quantity as volume held: 1 kg counts as 1 L; pieces hold nothing.
func (q Quantity) Millilitres() float64 {
	switch q.Dim {
	case Volume:
		return float64(q.N)
	case Mass:
		return float64(q.N) / 1000
	}
	return 0
}

// Nine rounds to nine significant digits, the precision in which amounts are told.
func Nine(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 9, 64), 64)
	return r
}
