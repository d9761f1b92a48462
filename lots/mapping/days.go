package mapping

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"heeltap/lots/sheet"
)

var (
	threeNumbers = regexp.MustCompile(`^([0-9]{1,2})([./-])([0-9]{1,2})[./-]([0-9]{2}|[0-9]{4})(?:[ ,T]+(\S.*))?$`)
	isoDay       = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[ T]+(\S.*))?$`)
	namedMonth   = regexp.MustCompile(`^(?:[A-Za-z]{3,9},? )?(?:([0-9]{1,2})(?:st|nd|rd|th)?\.?[ -]([A-Za-z]{3,9})\.?,?[ -]([0-9]{2}|[0-9]{4})|([A-Za-z]{3,9})\.? ([0-9]{1,2})(?:st|nd|rd|th)?,? ([0-9]{4}))(?:[ ,T]+(\S.*))?$`)
)

// day reads a day as people write it, with a time of day behind it where one stands there, as records have it: 2026-03-04 or 2026-03-04 10:00.
// Order is that of a day and a month as numbers.
func day(text, order string) (string, bool) {
	text = strings.Join(strings.Fields(text), " ")
	if m := isoDay.FindStringSubmatch(text); m != nil {
		return withClock(text[:len(time.DateOnly)], m[1])
	}
	if m := threeNumbers.FindStringSubmatch(text); m != nil {
		d, month := m[1], m[3]
		if order == MonthFst && m[2] == "/" {
			d, month = month, d
		}
		return calendar(m[4], month, d, m[5])
	}
	if m := namedMonth.FindStringSubmatch(text); m != nil {
		d, name, year := m[1], m[2], m[3]
		if d == "" {
			d, name, year = m[5], m[4], m[6]
		}
		t, err := time.Parse("Jan", strings.ToUpper(name[:1])+strings.ToLower(name[1:3]))
		if err != nil {
			return "", false
		}
		return calendar(year, strconv.Itoa(int(t.Month())), d, m[7])
	}
	return "", false
}

// calendar is a day that there is. Years of two digits are of this century.
func calendar(year, month, d, clock string) (string, bool) {
	y, errY := strconv.Atoi(year)
	m, errM := strconv.Atoi(month)
	n, errD := strconv.Atoi(d)
	if errY != nil || errM != nil || errD != nil {
		return "", false
	}
	if y < 100 {
		y += 2000
	}
	t := time.Date(y, time.Month(m), n, 0, 0, 0, 0, time.UTC)
	if m < 1 || m > 12 || t.Day() != n {
		return "", false
	}
	return withClock(t.Format(time.DateOnly), clock)
}

func withClock(date, clock string) (string, bool) {
	if clock == "" {
		return date, true
	}
	clock, ok := clockOf(clock)
	return date + " " + clock, ok
}

// clockOf reads a time of day: 8:30, 08.30, 8:30 pm, 14:05:10.
func clockOf(text string) (string, bool) {
	text = strings.ToUpper(strings.NewReplacer(" ", "", ".", ":", "h", ":").Replace(strings.TrimSpace(text)))
	for _, layout := range []string{"15:04", "15:04:05", "3:04PM", "3:04:05PM"} {
		if t, err := time.Parse(layout, text); err == nil {
			if t.Second() != 0 {
				return t.Format("15:04:05"), true
			}
			return t.Format("15:04"), true
		}
	}
	return "", false
}

// orderOf tells from the days in some columns of a page whether the day or the month comes first; empty where none says so,
// with the first that may be either.
func orderOf(lines []sheet.Line, columns []int) (order, either string) {
	for _, l := range lines {
		for _, at := range columns {
			if at >= len(l.Cells) {
				continue
			}
			m := threeNumbers.FindStringSubmatch(l.Cells[at].Text)
			if m == nil || m[2] != "/" {
				continue // with points or hyphens the day comes first
			}
			first, _ := strconv.Atoi(m[1]) // digits
			second, _ := strconv.Atoi(m[3])
			switch {
			case first > 12:
				return DayFirst, ""
			case second > 12:
				return MonthFst, ""
			case first != second && either == "":
				either = fmt.Sprintf("%s in line %d", l.Cells[at].Text, l.At)
			}
		}
	}
	return "", either
}
