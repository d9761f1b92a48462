package lots

import (
	"cmp"
	"fmt"
	"math/big"
	"regexp"
	"strconv"
	"strings"
)

// Decimal is the sign that people at a site write between whole numbers and parts. The zero
// value is the point.
type Decimal string

// The decimal signs.
const (
	Point Decimal = "."
	Comma Decimal = ","
)

// ParseDecimal reads a site's decimal sign.
func ParseDecimal(text string) (Decimal, error) {
	switch d := Decimal(strings.TrimSpace(text)); d {
	case "", Point:
		return Point, nil
	case Comma:
		return Comma, nil
	}
	return "", fmt.Errorf("%q is not a decimal sign: write . or ,", text)
}

// Numeral is a number as somebody wrote it and what it was read as.
type Numeral struct {
	Written string
	Text    string  // digits with a decimal point, as they are recorded
	Other   string  // the same digits read the other way, where both can be meant; else empty
	Sign    Decimal // the decimal sign that the text plainly shows; empty where it shows none
}

// Separators of thousands that are never a decimal sign: blanks of several widths and the
// apostrophe (SI brochure, 9th edition, 5.4.4, asks for a space; the apostrophe is common practice in Switzerland).
var thousands = strings.NewReplacer(" ", "_", "\u00a0", "_", "\u2009", "_", "\u202f", "_", "'", "_", "\u2019", "_")

var (
	numeral  = regexp.MustCompile(`^[0-9_.,]*[0-9][0-9_.,]*$`)
	oneGroup = regexp.MustCompile(`^[1-9][0-9]{0,2}[.,][0-9]{3}$`)
	groups   = map[string]*regexp.Regexp{
		"_": regexp.MustCompile(`^[0-9]{1,3}(_[0-9]{3})+$`),
		".": regexp.MustCompile(`^[0-9]{1,3}(\.[0-9]{3})+$`),
		",": regexp.MustCompile(`^[0-9]{1,3}(,[0-9]{3})+$`),
	}
)

// longestNumber bounds what is read as a number, in bytes.
const longestNumber = 60

// ReadNumeral reads an unsigned number as people write it: 1250.5, 1,250.5, 1.250,5, 1 250 or
// 1'250,5. Two kinds of separator, or one that stands twice, make it plain which is which. A
// single point or comma followed by exactly three digits can be either: it is read by the
// site's sign, and Other is the other reading. No number above most is meant (0: any can be),
// which may make it plain too.
func ReadNumeral(text string, sign Decimal, most float64) (Numeral, error) {
	n := Numeral{Written: strings.TrimSpace(text)}
	t := thousands.Replace(n.Written)
	if len(t) > longestNumber || !numeral.MatchString(t) {
		return n, notNumber(n.Written)
	}
	if oneGroup.MatchString(t) {
		return n.byGroup(t, sign, most), nil
	}
	whole, frac, mark := t, "", ""
	if i := strings.LastIndexAny(t, ".,"); i >= 0 && decimalAt(t, i) {
		whole, frac, mark = t[:i], t[i+1:], t[i:i+1]
	}
	plain, ok := ungrouped(whole)
	if !ok || strings.ContainsAny(frac, "_.,") {
		return n, notNumber(n.Written)
	}
	if plain == "" && frac == "" {
		return n, notNumber(n.Written)
	}
	n.Text, n.Sign = cmp.Or(plain, "0"), Decimal(mark)
	if mark != "" && frac != "" {
		n.Text += "." + frac
	}
	return n, nil
}

// decimalAt reports whether the last separator, at i, is the decimal sign: the only one of its
// kind, and not one of several groups of thousands.
func decimalAt(t string, i int) bool {
	if strings.Count(t, t[i:i+1]) > 1 {
		return false
	}
	return !strings.Contains(t[i+1:], "_")
}

// ungrouped takes the separators of thousands out of a whole number.
func ungrouped(t string) (string, bool) {
	if strings.Trim(t, "0123456789") == "" {
		return t, true
	}
	for sep, shape := range groups {
		if shape.MatchString(t) {
			return strings.ReplaceAll(t, sep, ""), true
		}
	}
	return "", false
}

// byGroup reads a number whose only separator stands before exactly three digits.
func (n Numeral) byGroup(t string, sign Decimal, most float64) Numeral {
	i := strings.IndexAny(t, ".,")
	parts, whole := t[:i]+"."+t[i+1:], t[:i]+t[i+1:]
	larger, _ := strconv.ParseFloat(whole, 64) // digits alone
	switch {
	case most > 0 && larger > most:
		n.Text, n.Sign = parts, Decimal(t[i:i+1])
	case Decimal(t[i:i+1]) == sign || sign == "" && t[i] == '.':
		n.Text, n.Other = trimZeros(parts), whole
	default:
		n.Text, n.Other = whole, trimZeros(parts)
	}
	return n
}

// trimZeros writes a decimal number without zeros at its end.
func trimZeros(text string) string {
	if !strings.Contains(text, ".") {
		return text
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// Doubt says in a sentence how a number was read that can be read two ways, and what to write
// if the other was meant; empty where it is plain. unit may be empty.
func (n Numeral) Doubt(unit Unit) string {
	if n.Other == "" {
		return ""
	}
	read := n.Text
	if unit != "" {
		read += " " + string(unit)
	}
	return fmt.Sprintf("%s read as %s; if you meant %s, write %s", n.Written, read, cardinal(n.Other), unmistakable(n.Other))
}

// unmistakable writes a decimal number so that nobody can read its point as a separator of
// thousands: a zero is added where exactly three digits follow it.
func unmistakable(text string) string {
	if oneGroup.MatchString(text) && strings.Contains(text, ".") {
		return text + "0"
	}
	return text
}

// Unmistakable writes a number of a column so that no program and no person reads its decimal
// point as a separator of thousands; other texts stay as they are.
func Unmistakable(c Column, text string) string {
	switch c.Type {
	case Number, Amount, Offset:
		return unmistakable(text)
	}
	return text
}

var (
	ones = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
)

// cardinal writes a whole number below a million in words, any other number in digits.
func cardinal(text string) string {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n >= 1_000_000 {
		return text
	}
	switch {
	case n < 20:
		return ones[n]
	case n < 100 && n%10 == 0:
		return tens[n/10]
	case n < 100:
		return tens[n/10] + "-" + ones[n%10]
	case n < 1000:
		return rest(ones[n/100]+" hundred", n%100)
	}
	return rest(cardinal(strconv.Itoa(n/1000))+" thousand", n%1000)
}

func rest(words string, n int) string {
	switch {
	case n == 0:
		return words
	case n < 100:
		return words + " and " + cardinal(strconv.Itoa(n))
	}
	return words + " " + cardinal(strconv.Itoa(n))
}

// mostOf is the most of a unit that one row can mean, far above any brewery's: a thousand
// tonnes, ten thousand hectolitres, a hundred million pieces (common practice: a lorry carries
// about 25 t). It decides only whether 12.000 can be twelve thousand.
func mostOf(u Unit) float64 {
	switch u.Dim() {
	case Mass:
		return u.Of(1e12)
	case Volume:
		return u.Of(1e9)
	}
	return 0
}

// decimalText writes a number exactly, or not at all where it has no end.
func decimalText(r *big.Rat) (string, bool) {
	const places = 12
	text := r.FloatString(places)
	back, _ := new(big.Rat).SetString(text)
	return trimZeros(text), back.Cmp(r) == 0
}
