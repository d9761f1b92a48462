package datecode

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// reader is a regular expression of a pattern's codes as runs record them, with the place of each
// field. It is made once, with the pattern.
type reader struct {
	codes *regexp.Regexp
	names []string // of the groups, in order
}

func (p *Pattern) reader() reader {
	var b strings.Builder
	var names []string
	b.WriteString(`^\s*`)
	for i, x := range p.pieces {
		switch {
		case i >= p.timed[0] && i < p.timed[1]:
		case x.field == nil:
			b.WriteString(strings.ReplaceAll(regexp.QuoteMeta(x.text), " ", `\s*`)) // those at the ends are not recorded
		default:
			b.WriteString("(" + x.field.match + ")")
			names = append(names, x.text)
		}
	}
	b.WriteString(`\s*$`)
	re, err := regexp.Compile(b.String())
	if err != nil { // a pattern that is no UTF-8
		re = regexp.MustCompile(`^\z.`)
	}
	return reader{re, names}
}

// fieldsOf finds where a recorded code has the fields of its pattern; nil where it does not follow it.
func (p *Pattern) fieldsOf(code string) map[string][2]int {
	at := p.codes.codes.FindStringSubmatchIndex(code)
	if at == nil {
		return nil
	}
	out := map[string][2]int{}
	for i, name := range p.codes.names {
		out[name] = [2]int{at[2*i+2], at[2*i+3]}
	}
	return out
}

// exchanged gives a code with its day and month exchanged, where it shows both as numbers.
func exchanged(code string, at map[string][2]int) (string, bool) {
	for _, packed := range []string{"", "packed-"} {
		day, ok := at[packed+"day"]
		month, both := at[packed+"month"]
		if !ok || !both {
			continue
		}
		if day[0] > month[0] {
			day, month = month, day
		}
		return code[:day[0]] + code[month[0]:month[1]] + code[day[1]:month[0]] + code[day[0]:day[1]] + code[month[1]:], true
	}
	return "", false
}

// dateOf is the date that a code shows, where it shows a whole one: year, month and day.
func dateOf(code string, at map[string][2]int) (time.Time, bool) {
	for _, packed := range []string{"", "packed-"} {
		text := func(name string) string {
			x := at[packed+name]
			return code[x[0]:x[1]]
		}
		if _, ok := at[packed+"day"]; !ok {
			continue
		}
		year, month, day := text("year"), text("month"), text("day")
		if yy := text("yy"); yy != "" {
			year = "20" + yy
		}
		for i, name := range months {
			if text("mon") == name {
				month = two(i + 1)
			}
		}
		if d, err := time.Parse(time.DateOnly, year+"-"+month+"-"+day); err == nil {
			return d, true
		}
	}
	return time.Time{}, false
}

// leads are the words that stand before a date, or are said before it, without blanks.
var leads = func() (out []string) {
	for _, w := range spokenWords {
		if w.mark {
			out = append(out, Plain(w.text))
		}
	}
	return out
}()

// longMonths are months written out, or in four letters.
var longMonths = regexp.MustCompile(`(JAN|FEB|MAR|APR|JUN|JUL|AUG|SEP|OCT|NOV|DEC)(UARY|RUARY|CH|IL|E|Y|UST|TEMBER|T|OBER|EMBER)`)

// plainDate is a text without the words before it, its month in three letters; false where that is no date.
func plainDate(text string) (string, bool) {
	for _, w := range leads {
		if rest, ok := strings.CutPrefix(text, w); ok {
			text = rest
			break
		}
	}
	if slices.ContainsFunc(months, func(m string) bool { return strings.Contains(text, m) }) {
		text = longMonths.ReplaceAllString(text, "$1")
	}
	return text, len(text) >= len("1127") && len(text) <= len("01JAN2027")
}

// says reports whether a plain text is a date, in any order or with its month's name.
func says(text string, d time.Time) bool {
	m, day := int(d.Month()), d.Day()
	for _, yy := range []string{two(d.Year()/100) + two(d.Year()%100), two(d.Year() % 100)} {
		rest, first := strings.CutPrefix(text, yy)
		front, last := strings.CutSuffix(text, yy)
		for _, mm := range []string{two(m), strconv.Itoa(m), months[m-1]} {
			for _, dd := range []string{two(day), strconv.Itoa(day)} {
				if first && rest == mm+dd || last && (front == dd+mm || front == mm+dd) {
					return true
				}
			}
		}
	}
	return false
}

// monthNames are the months written out; three letters or more say which.
var monthNames = []string{"JANUARY", "FEBRUARY", "MARCH", "APRIL", "MAY", "JUNE", "JULY", "AUGUST", "SEPTEMBER", "OCTOBER", "NOVEMBER", "DECEMBER"}

// saysDay reports whether a text is the day and month of a date and nothing else, in either order.
func saysDay(text []glyph, d time.Time) bool {
	parts := partsOf(text)
	if len(parts) == 1 && len(parts[0]) == 4 && !strings.ContainsFunc(parts[0], func(r rune) bool { return r < '0' || r > '9' }) {
		parts = []string{parts[0][:2], parts[0][2:]}
	}
	if len(parts) != 2 {
		return false
	}
	day := func(part string) bool { return part == strconv.Itoa(d.Day()) || part == two(d.Day()) }
	month := func(part string) bool {
		n := int(d.Month())
		return part == strconv.Itoa(n) || part == two(n) || len(part) >= 3 && strings.HasPrefix(monthNames[n-1], part)
	}
	return day(parts[0]) && month(parts[1]) || month(parts[0]) && day(parts[1])
}

// partsOf takes a text apart where marks stand and where digits meet letters; "10th of" is 10.
func partsOf(text []glyph) []string {
	digit := func(r rune) bool { return r >= '0' && r <= '9' }
	var parts []string
	for i, g := range text {
		if i == 0 || g.gap != 0 || digit(g.char) != digit(text[i-1].char) {
			parts = append(parts, "")
		}
		parts[len(parts)-1] += string(g.char)
	}
	return slices.DeleteFunc(parts, func(part string) bool { return slices.Contains([]string{"ST", "ND", "RD", "TH", "OF", "THE"}, part) })
}
