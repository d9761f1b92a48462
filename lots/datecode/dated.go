package datecode

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Resolution is the finest time of day that a code shows, in seconds: 3600 where it shows the
// hour alone, 60 with the minute, 1 with the second. It is 0 where no time of day can be read:
// without an hour the rest says nothing.
func (p *Pattern) Resolution() int64 {
	switch {
	case !p.has("hour"):
		return 0
	case !p.has("minute"):
		return 3600
	case !p.has("second"):
		return 60
	}
	return 1
}

func (p *Pattern) has(name string) bool {
	return slices.ContainsFunc(p.pieces, func(x piece) bool { return x.field != nil && x.field.name == name })
}

// Date reads the day that a recorded code of the pattern shows: the best-before date, or where
// that cannot be read from it the day of packing. False where the code does not follow the
// pattern, or the pattern shows no whole date.
func (p *Pattern) Date(code string) (time.Time, bool) {
	var b strings.Builder
	var names []string
	for i, x := range p.pieces {
		switch {
		case i >= p.timed[0] && i < p.timed[1]:
		case x.field == nil:
			b.WriteString(regexp.QuoteMeta(x.text))
		default:
			b.WriteString("(" + x.field.match + ")")
			names = append(names, x.text)
		}
	}
	re, err := regexp.Compile("^" + strings.TrimSpace(b.String()) + "$")
	if err != nil {
		return time.Time{}, false
	}
	found := re.FindStringSubmatch(strings.TrimSpace(code))
	if found == nil {
		return time.Time{}, false
	}
	values := map[string]string{}
	for i, name := range names {
		if had, twice := values[name]; twice && had != found[i+1] {
			return time.Time{}, false
		}
		values[name] = found[i+1]
	}
	for _, prefix := range []string{"", "packed-"} {
		if day, ok := dayOf(func(name string) string { return values[prefix+name] }); ok {
			return day, true
		}
	}
	return time.Time{}, false
}

// dayOf puts a date together from its fields; false where they make none.
func dayOf(value func(name string) string) (time.Time, bool) {
	number := func(name string) int {
		n, err := strconv.Atoi(value(name))
		if err != nil {
			return -1
		}
		return n
	}
	year := number("year")
	if year < 0 && number("yy") >= 0 {
		year = 2000 + number("yy")
	}
	if year < 0 {
		return time.Time{}, false
	}
	if doy := number("doy"); doy >= 1 {
		day := time.Date(year, 1, doy, 0, 0, 0, 0, time.UTC)
		return day, day.Year() == year
	}
	month := number("month")
	if i := slices.Index(months, value("mon")); i >= 0 {
		month = i + 1
	}
	day := time.Date(year, time.Month(month), number("day"), 0, 0, 0, 0, time.UTC)
	return day, month >= 1 && day.Year() == year && int(day.Month()) == month && day.Day() == number("day")
}
