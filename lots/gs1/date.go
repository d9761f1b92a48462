package gs1

import (
	"fmt"
	"time"
)

// Day is a date on a label. With no day of the month it means the month.
type Day struct{ Year, Month, Day int }

// ReadDay reads six digits, year, month and day, in the century that is nearest to the year it is: up to 50 years
// back and 49 on (GS1 General Specifications, "Determination of century in dates"). Day 00 is no day. The digits
// are those of an element that was parsed.
func ReadDay(digits string, now time.Time) Day {
	d := Day{Month: number(digits[2:4]), Day: number(digits[4:6])}
	this, yy := now.Year(), number(digits[:2])
	d.Year = this - this%100 + yy
	switch gap := yy - this%100; {
	case gap >= 51:
		d.Year -= 100
	case gap <= -50:
		d.Year += 100
	}
	return d
}

// Last is the day itself, or the last one of the month: until then a date of use holds.
func (d Day) Last() Day {
	if d.Day == 0 {
		d.Day = daysIn(d.Year, d.Month)
	}
	return d
}

// String is the day as records write it; a month alone has no day.
func (d Day) String() string {
	if d.Day == 0 {
		return fmt.Sprintf("%04d-%02d", d.Year, d.Month)
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

func daysIn(year, month int) int {
	return time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// dateFault judges six digits as a date. A year divisible by four is a leap year whatever its century, for the
// century rule never leads to another that is not, from 1950 to 2099.
func dateFault(t string, monthOnly bool) string {
	return dayFault(2000+number(t[:2]), t[2:4], t[4:6], monthOnly)
}

func longDateFault(t string) string { return dayFault(number(t[:4]), t[4:6], t[6:8], false) }

func dayFault(year int, month, day string, monthOnly bool) string {
	m, d := number(month), number(day)
	switch {
	case m < 1 || m > 12:
		return "there is no month " + month
	case d == 0 && !monthOnly:
		return "a day is needed here: 00 says none"
	case d > daysIn(year, m):
		return fmt.Sprintf("there is no day %s in month %s of that year", day, month)
	}
	return ""
}
