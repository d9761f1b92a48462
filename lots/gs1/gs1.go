// Package gs1 reads the numbers that the GS1 General Specifications put on cases and pallets, GTIN and
// SSCC, as people type them, and judges their check digits.
package gs1

import (
	"strings"
	"unicode"
)

// The kinds of number.
const (
	GTIN = "gtin" // of a product, in 8, 12, 13 or 14 digits
	SSCC = "sscc" // of a pallet, in 18 digits
)

const (
	gtinDigits = 14
	ssccDigits = 18
)

// Number is a GTIN or an SSCC as it was read.
type Number struct {
	Kind   string
	Digits string
	Named  bool // its application identifier stood in brackets before it: it is meant to be such a number
}

// CheckDigit gives the last digit of a number whose other digits are known: each is weighted with 3
// and 1 in turn, from the right, and the check digit makes their sum a multiple of ten. Source: GS1
// General Specifications, "Check digit calculation" (7.9). False where the text is not all digits.
func CheckDigit(body string) (digit byte, ok bool) {
	sum := 0
	for i := range len(body) {
		c := body[len(body)-1-i]
		if c < '0' || c > '9' {
			return 0, false
		}
		weight := 3
		if i%2 == 1 {
			weight = 1
		}
		sum += weight * int(c-'0')
	}
	return byte('0' + (10-sum%10)%10), body != ""
}

// Valid reports whether a number ends in its check digit.
func (n Number) Valid() bool {
	last := len(n.Digits) - 1
	if last < 1 {
		return false
	}
	digit, ok := CheckDigit(n.Digits[:last])
	return ok && digit == n.Digits[last]
}

// Key is a GTIN in 14 digits, in which all its lengths can be compared; other numbers are their own.
func (n Number) Key() string {
	if n.Kind == GTIN && len(n.Digits) < gtinDigits {
		return strings.Repeat("0", gtinDigits-len(n.Digits)) + n.Digits
	}
	return n.Digits
}

// Item is what a GTIN shares with those of its cases: its digits without the indicator before them and
// the check digit behind them. Empty for other numbers.
func (n Number) Item() string {
	if n.Kind != GTIN {
		return ""
	}
	return n.Key()[1 : gtinDigits-1]
}

// Read takes a text for a GTIN or an SSCC: digits, perhaps in groups, alone or behind their application
// identifier (00, 01 or 02), which may stand in brackets. What follows in further brackets is left out.
// It does not judge the check digit. False where the text has another length or holds anything else.
func Read(text string) (Number, bool) {
	ai, rest, named := bracketed(text)
	digits, ok := digitsOf(rest)
	if !ok {
		return Number{}, false
	}
	if !named {
		ai, digits = unbracketed(digits)
	}
	n := Number{Digits: digits, Named: named}
	switch {
	case (ai == "00" || ai == "") && len(digits) == ssccDigits:
		n.Kind = SSCC
	case (ai == "01" || ai == "02") && len(digits) == gtinDigits, ai == "" && isGTIN(len(digits)), named && ai != "00" && isGTIN(len(digits)):
		n.Kind = GTIN
	default:
		return Number{}, false
	}
	return n, true
}

func isGTIN(length int) bool { return length == 8 || length == 12 || length == 13 || length == 14 }

// bracketed takes an application identifier in brackets off a text, and cuts it at the next one.
func bracketed(text string) (ai, rest string, named bool) {
	text = strings.TrimSpace(text)
	for _, id := range []string{"00", "01", "02"} {
		if after, ok := strings.CutPrefix(text, "("+id+")"); ok {
			after, _, _ = strings.Cut(after, "(")
			return id, after, true
		}
	}
	return "", text, false
}

// unbracketed takes an application identifier off digits that are too many by it.
func unbracketed(digits string) (ai, rest string) {
	switch {
	case len(digits) == 2+ssccDigits && digits[:2] == "00":
		return "00", digits[2:]
	case len(digits) == 2+gtinDigits && (digits[:2] == "01" || digits[:2] == "02"):
		return digits[:2], digits[2:]
	}
	return "", digits
}

// digitsOf takes blanks and marks out of a number.
func digitsOf(text string) (string, bool) {
	var b strings.Builder
	for _, r := range text {
		switch {
		case r >= '0' && r <= '9':
			b.WriteRune(r)
		case unicode.IsSpace(r) || r == '-' || r == '.':
		default:
			return "", false
		}
	}
	return b.String(), b.Len() > 0
}
