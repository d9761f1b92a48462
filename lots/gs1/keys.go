package gs1

import (
	"fmt"
	"strings"
)

// Numbers of our own begin with a company prefix, which GS1 licenses to a company; the rest is the company's to give. Source:
// GS1 General Specifications, 1.4.4 (company prefix, 4 to 12 digits), 2.1.1 (GTIN-13), 2.2.1 (SSCC), 2.4.2 (GLN).

// The digits of a company prefix.
const (
	leastPrefix = 4
	mostPrefix  = 12
)

// GLN is the kind of number that says where something is or who somebody is, in 13 digits.
const GLN = "gln"

// bodies are the digits of each kind of key without its check digit. A GTIN is given in 13 digits: what indicates a
// grouping of it comes before it, and is not ours to use up.
var bodies = map[string]int{GTIN: 12, GLN: 12, SSCC: 17}

// KeyKinds are the kinds of number that a company gives.
func KeyKinds() []string { return []string{GTIN, GLN, SSCC} }

// Prefix is a company prefix: digits alone.
type Prefix string

// ParsePrefix reads a company prefix. Errors say what is wrong with it.
func ParsePrefix(text string) (Prefix, error) {
	digits, ok := digitsOf(text)
	switch {
	case !ok:
		return "", fmt.Errorf("%q is not a company prefix: it is digits alone", text)
	case len(digits) < leastPrefix || len(digits) > mostPrefix:
		return "", fmt.Errorf("%q has %d digits: a company prefix has %d to %d", text, len(digits), leastPrefix, mostPrefix)
	case strings.Trim(digits, "0") == "":
		return "", fmt.Errorf("%q is no company prefix: it is all zeros", text)
	case digits[0] == '2', strings.HasPrefix(digits, "02"), strings.HasPrefix(digits, "04"):
		return "", fmt.Errorf("%q begins a range that GS1 keeps for numbers within one company: use the prefix that GS1 licensed to you", text)
	}
	return Prefix(digits), nil
}

// Capacity is how many numbers of a kind a prefix has; of SSCCs, over all extension digits.
func (p Prefix) Capacity(kind string) int64 {
	n := int64(1)
	for range bodies[kind] - len(p) {
		n *= 10
	}
	return n
}

// Key writes the n-th number of a kind, counted from 0, with its check digit. An SSCC's extension digit counts last, so
// that all serials of 0 come first. It must be below the capacity.
func (p Prefix) Key(kind string, n int64) string {
	body := fmt.Sprintf("%0*d", bodies[kind]-len(p), n)
	switch {
	case bodies[kind] == len(p):
		body = string(p)
	case kind == SSCC:
		body = body[:1] + string(p) + body[1:]
	default:
		body = string(p) + body
	}
	check, _ := CheckDigit(body)
	return body + string(check)
}

// Count reads a number as one of the prefix: the n that Key writes it by. GTINs count in all their lengths, and one with an
// indicator as the one it groups. False where it is another company's, another kind, or its check digit is wrong.
func (p Prefix) Count(kind, text string) (n int64, ok bool) {
	digits, ok := digitsOf(text)
	if kind != GLN {
		var read Number
		if read, ok = Read(text); !ok || read.Kind != kind {
			return 0, false
		}
		if digits = read.Digits; kind == GTIN {
			if !read.Valid() {
				return 0, false
			}
			check, _ := CheckDigit(read.Item())
			digits = read.Item() + string(check)
		}
	}
	body := bodies[kind]
	if !ok || len(digits) != body+1 || !(Number{Digits: digits}).Valid() {
		return 0, false
	}
	rest := digits[:body]
	extension := ""
	if kind == SSCC {
		extension, rest = rest[:1], rest[1:]
	}
	rest, ok = strings.CutPrefix(rest, string(p))
	for _, c := range extension + rest {
		n = n*10 + int64(c-'0')
	}
	return n, ok
}

// CheckKey says what is wrong with a number of a kind; nil where its length and check digit are right.
func CheckKey(kind, text string) error {
	digits, ok := digitsOf(text)
	if !ok || len(digits) != bodies[kind]+1 {
		return fmt.Errorf("%q is no %s: it has %d digits", text, strings.ToUpper(kind), bodies[kind]+1)
	}
	if fault := checkFault(digits); fault != "" {
		return fmt.Errorf("%s", fault)
	}
	return nil
}
