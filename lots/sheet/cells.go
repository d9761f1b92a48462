package sheet

import (
	"encoding/xml"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"heeltap/lots"
)

// format is what a cell's number format makes of its number.
type format struct {
	date, clock bool // shows a day; shows a time of day
	percent     bool
	digits      int // shows at least so many digits, with zeros in front; 0 for any other format
}

// readStyles reads the number format of every cell style.
func (b *book) readStyles(part string) error {
	if b.parts[strings.ToLower(part)] == nil {
		return nil // plain numbers throughout
	}
	codes := map[string]string{}
	return b.each(part, func(d *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "numFmt":
			if len(codes) < maxStyles {
				codes[attr(e, "numFmtId")] = attr(e, "formatCode")
			}
		case "cellStyleXfs":
			return d.Skip() // the same elements, but not those that cells count by
		case "xf":
			if len(b.styles) == maxStyles {
				return fmt.Errorf("it has more than %d cell styles", maxStyles)
			}
			id := attr(e, "numFmtId")
			if code, ok := codes[id]; ok {
				b.styles = append(b.styles, readFormat(code))
			} else {
				b.styles = append(b.styles, builtIn(id))
			}
		}
		return nil
	})
}

// builtIn is a format that files name by number only. Source: ECMA-376-1
// 18.8.30 (numFmt); 27 to 36 and 50 to 58 are dates of East Asian versions.
func builtIn(id string) format {
	n, err := strconv.Atoi(id)
	switch {
	case err != nil:
		return format{}
	case n == 9 || n == 10:
		return format{percent: true}
	case n >= 14 && n <= 17, n >= 27 && n <= 31, n == 36, n >= 50 && n <= 54, n == 57, n == 58:
		return format{date: true}
	case n == 22:
		return format{date: true, clock: true}
	case n >= 18 && n <= 21, n >= 32 && n <= 35, n >= 45 && n <= 47, n == 55, n == 56:
		return format{clock: true}
	}
	return format{}
}

// notShown is what in a format code stands for itself: quoted texts, escaped
// and padding characters, colours, conditions and languages in brackets.
var notShown = regexp.MustCompile(`"[^"]*"|\\.|[_*].|\[[^\]]*\]|(?i:am/pm|a/p|general)`)

var elapsed = regexp.MustCompile(`(?i)\[(h+|m+|s+)\]`)

// readFormat reads a format code's first section, which is for positive numbers.
func readFormat(code string) format {
	if elapsed.MatchString(code) {
		return format{clock: true}
	}
	code = strings.ToLower(notShown.ReplaceAllString(code, ""))
	code, _, _ = strings.Cut(code, ";")
	f := format{
		clock:   strings.ContainsAny(code, "hs"),
		date:    strings.ContainsAny(code, "yd"),
		percent: strings.Contains(code, "%"),
	}
	f.date = f.date || (strings.Contains(code, "m") && !f.clock)
	if code != "" && strings.Trim(code, "0") == "" {
		f.digits = min(len(code), 20)
	}
	return f
}

// text reads a cell as a person would have written it in the column; reason
// says why that cannot be told. An unknown column is the zero Column.
func (b *book) text(c cell, column lots.Column) (text, reason string) {
	switch c.kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(c.value))
		if err != nil || i < 0 || i >= len(b.strings) {
			return "", "names a text that the workbook does not hold"
		}
		return b.strings[i], ""
	case "inlineStr", "str":
		return c.value, ""
	case "b":
		return truth(c.value, column), ""
	case "e":
		return "", errorReason(c.value)
	}
	if c.value == "" {
		return "", "is a formula without a result: open the workbook in a spreadsheet and save it"
	}
	if c.kind == "d" {
		return isoDate(c.value, column)
	}
	return b.number(c, column)
}

func truth(v string, column lots.Column) string {
	yes := strings.TrimSpace(v) == "1"
	switch {
	case column.Type == lots.YesNo && yes:
		return "yes"
	case column.Type == lots.YesNo:
		return "no"
	case yes:
		return "TRUE"
	}
	return "FALSE"
}

const maxDigits = 15 // significant digits that a spreadsheet keeps

// number reads a number by its format: a date, or plain digits.
func (b *book) number(c cell, column lots.Column) (text, reason string) {
	x, err := strconv.ParseFloat(strings.TrimSpace(c.value), 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return "", fmt.Sprintf("%q is not a number", shorten(c.value))
	}
	var f format
	if c.style >= 0 && c.style < len(b.styles) {
		f = b.styles[c.style]
	}
	switch {
	case f.date || f.clock:
		if reason := notADay(column); reason != "" {
			return "", reason
		}
		return b.moment(x, f)
	case column.Type == lots.Time:
		return "", fmt.Sprintf("%s is a number: give the cell a date and time, such as 2026-03-04 10:00", plain(x))
	case f.percent:
		return "", "is a percentage: write a plain number"
	case math.Abs(x) >= 1e15:
		return "", fmt.Sprintf("has more than %d digits, which a spreadsheet rounds: format the column as text and write it again", maxDigits)
	}
	text = plain(x)
	if f.digits > len(text) && strings.Trim(text, "0123456789") == "" {
		text = strings.Repeat("0", f.digits-len(text)) + text
	}
	return text, ""
}

// plain writes a number with 15 significant digits and no exponent.
func plain(x float64) string {
	x, _ = strconv.ParseFloat(strconv.FormatFloat(x, 'g', maxDigits, 64), 64) // always a number
	if x == 0 {
		return "0"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// notADay says why a date cannot stand in a column; best_by is a text, but of
// nothing else than a date.
func notADay(column lots.Column) string {
	if column.Type == lots.Time || column.Name == "best_by" {
		return ""
	}
	return "is a date or time to the spreadsheet, so what was written is lost: format the column as text and write it again"
}

// Day 0 of the two calendars of spreadsheets, in Unix seconds. In that of 1900
// day 60 is a 29 February that never was (ECMA-376-1 18.17.4.1).
var (
	daysFrom1900 = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).Unix()
	daysFrom1904 = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
)

const (
	minDay = 61      // 1900-03-01, after the day that never was
	maxDay = 200_000 // beyond any year that a record may lie in
)

// moment reads a date: bare where the cell shows no time and holds none.
func (b *book) moment(x float64, f format) (text, reason string) {
	low := 0.0
	if !b.era1904 {
		low = minDay
	}
	if x < low || x > maxDay || !f.date && x < 366 {
		return "", "is a time without a day, or a date too far off: write 2026-03-04 10:00"
	}
	seconds := int64(math.Round(x * 86400))
	t := time.Unix(b.since+seconds, 0).UTC()
	return momentText(t, f.clock || seconds%86400 != 0), ""
}

func momentText(t time.Time, clock bool) string {
	switch {
	case !clock:
		return t.Format(time.DateOnly)
	case t.Second() != 0:
		return t.Format("2006-01-02 15:04:05")
	}
	return t.Format("2006-01-02 15:04")
}

// isoDate reads a date that the workbook holds as text (strict files do).
func isoDate(v string, column lots.Column) (text, reason string) {
	if reason := notADay(column); reason != "" {
		return "", reason
	}
	v = strings.TrimSpace(v)
	if t, err := time.Parse(time.DateOnly, v); err == nil {
		return momentText(t, false), ""
	}
	if _, err := time.Parse(time.RFC3339, v); err == nil {
		return v, ""
	}
	if t, err := time.Parse("2006-01-02T15:04:05", v); err == nil {
		return momentText(t.Round(time.Second), true), ""
	}
	return "", fmt.Sprintf("%q is not a date", shorten(v))
}

// escaped is how a workbook writes characters that XML cannot hold
// (ECMA-376-1 22.9.2.19, ST_Xstring).
var escaped = regexp.MustCompile(`_x[0-9A-Fa-f]{4}_`)

func unescape(s string) string {
	if !strings.Contains(s, "_x") {
		return s
	}
	return escaped.ReplaceAllStringFunc(s, func(e string) string {
		if n, err := strconv.ParseUint(e[2:6], 16, 16); err == nil && utf8.ValidRune(rune(n)) {
			return string(rune(n))
		}
		return e
	})
}
