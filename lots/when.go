package lots

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// When is a moment as somebody knew it: an instant, or a whole day of which
// only the date is known. From and To are Unix seconds; an instant has
// From == To, a bare date runs from 00:00:00 to 23:59:59 of the site's day.
type When struct {
	From, To int64
	Day      bool
}

// At makes the When of an instant.
func At(unix int64) When { return When{From: unix, To: unix} }

// Certain reports whether the moment is known to the second.
func (w When) Certain() bool { return w.From == w.To }

// End is the exclusive end of the moment used as the end of a span: the
// instant itself, or 24:00 of a bare date.
func (w When) End() int64 {
	if w.Day {
		return w.To + 1
	}
	return w.To
}

// The range of years a record may lie in: wide enough for any brewery's
// history, narrow enough to catch a slipped digit.
const minYear, maxYear = 1900, 2199

var offsetLayouts = []string{time.RFC3339, "2006-01-02 15:04:05Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02 15:04Z07:00"}

var localLayouts = []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04"}

// ParseWhen reads a time as written in a sheet: RFC 3339, a local date and
// time in zone, or a bare date. The warning is not empty where the local time
// occurs twice (clocks set back); the first of the two is taken.
func ParseWhen(text string, zone *time.Location) (w When, warning string, err error) {
	text = strings.TrimSpace(text)
	for _, layout := range offsetLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			return inYears(At(t.Unix()), t, text, "")
		}
	}
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		from, to := daySpan(t, zone)
		if to < from {
			return When{}, "", fmt.Errorf("%q does not exist in %s: the calendar skips that day", text, zone)
		}
		return inYears(When{From: from, To: to, Day: true}, t, text, "")
	}
	for _, layout := range localLayouts {
		t, err := time.Parse(layout, text)
		if err != nil {
			continue
		}
		unix, last, ok := wallUnix(t, zone)
		if !ok {
			return When{}, "", fmt.Errorf("%q does not exist in %s: the clocks skip that hour", text, zone)
		}
		if last != unix {
			warning = fmt.Sprintf("%q happens twice in %s: read as the first; add its offset to mean the second", text, zone)
		}
		return inYears(At(unix), t, text, warning)
	}
	if _, clock := dated(text, time.UTC, time.Time{}); clock {
		return When{}, "", fmt.Errorf("%q has no day: write it with its date, such as 2026-03-04 %[1]s", text)
	}
	if days, ok := IsDayNumber(text); ok {
		return When{}, "", fmt.Errorf("%q looks like a spreadsheet's number for %s: check the paper and write the date itself", text, DayNumber(days))
	}
	return When{}, "", fmt.Errorf("%q is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04", text)
}

func inYears(w When, t time.Time, text, warning string) (When, string, error) {
	if t.Year() < minYear || t.Year() > maxYear {
		return When{}, "", fmt.Errorf("%q is outside the years %d to %d", text, minYear, maxYear)
	}
	return w, warning, nil
}

// wallUnix finds the first and the last instant at which zone's clocks show the
// wall time t (given in UTC); they differ in an hour that clocks show twice.
// time.Date promises neither which of the two it takes nor an error for a
// skipped hour.
func wallUnix(t time.Time, zone *time.Location) (first, last int64, ok bool) {
	wall := t.Unix()
	for _, probe := range []int64{wall - 36*3600, wall + 36*3600} {
		_, offset := time.Unix(probe, 0).In(zone).Zone()
		u := wall - int64(offset)
		if _, o := time.Unix(u, 0).In(zone).Zone(); o != offset {
			continue
		}
		if !ok {
			first, last, ok = u, u, true
		}
		first, last = min(first, u), max(last, u)
	}
	return first, last, ok
}

// daySpan is the first and the last second of the calendar day d (given in UTC)
// in zone; to < from where the calendar skips the day. The clocks may skip
// midnight, and may be set back over it.
func daySpan(d time.Time, zone *time.Location) (from, to int64) {
	from = dayStart(d, zone)
	to = dayStart(d.AddDate(0, 0, 1), zone) - 1
	if _, last, ok := wallUnix(d.Add(24*time.Hour-time.Second), zone); ok {
		to = max(to, last)
	}
	return from, to
}

// dayStart is the first instant of a calendar day in zone, or of the next day that there is.
func dayStart(d time.Time, zone *time.Location) int64 {
	for minute := range 2 * 24 * 60 {
		if first, _, ok := wallUnix(d.Add(time.Duration(minute)*time.Minute), zone); ok {
			return first
		}
	}
	return d.Unix() // no calendar skips two days
}

// Stamp writes an instant as it stands in fill codes: site time to the minute,
// seconds only when not zero, the offset only in an hour that clocks show twice.
func Stamp(unix int64, zone *time.Location) string {
	t := time.Unix(unix, 0).In(zone)
	layout := "2006-01-02T15:04"
	if t.Second() != 0 {
		layout += ":05"
	}
	wall := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	if first, last, _ := wallUnix(wall, zone); first != last {
		layout += "Z07:00"
	}
	return t.Format(layout)
}

// RFC3339 writes an instant with the site's offset.
func RFC3339(unix int64, zone *time.Location) string {
	return time.Unix(unix, 0).In(zone).Format(time.RFC3339)
}

// Text writes the moment for a person: a bare date as a date, an instant as site time with its offset.
func (w When) Text(zone *time.Location) string {
	if w.Day {
		return time.Unix(w.From, 0).In(zone).Format(time.DateOnly)
	}
	return RFC3339(w.From, zone)
}

// The days that a spreadsheet counts from 2000 to 2099 (ECMA-376-1 18.17.4.1: day 1 is
// 1900-01-01, and there is a day 60 that never was).
const firstDayNumber, lastDayNumber = 36_526, 73_050

// DayNumber is the date that a spreadsheet of the calendar of 1900 keeps as a number of days.
func DayNumber(days int) string {
	return time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, days).Format(time.DateOnly)
}

// IsDayNumber reports whether a text is what a spreadsheet keeps for a date of this century.
func IsDayNumber(text string) (days int, ok bool) {
	days, err := strconv.Atoi(text)
	return days, err == nil && len(text) == 5 && days >= firstDayNumber && days <= lastDayNumber
}

// clockLayouts are how people write a time of day.
var clockLayouts = []string{"15:04", "15:04:05", "3:04PM", "3:04 PM", "3PM", "3 PM"}

// dated gives a time of day the day of now in zone; false where the text is none.
func dated(text string, zone *time.Location, now time.Time) (string, bool) {
	for _, layout := range clockLayouts {
		t, err := time.Parse(layout, strings.ToUpper(strings.TrimSpace(text)))
		if err != nil {
			continue
		}
		clock := "15:04"
		if t.Second() != 0 {
			clock = "15:04:05"
		}
		return now.In(zone).Format(time.DateOnly) + " " + t.Format(clock), true
	}
	return "", false
}

// ParseWhenAt is ParseWhen for what somebody enters while it happens: a time without a day, such
// as 14:30, is of the day of now in zone, and is refused where it has not come yet: whoever enters at
// ten past midnight what happened at 23:50 means the day before.
func ParseWhenAt(text string, zone *time.Location, now time.Time) (w When, warning string, err error) {
	today, clock := dated(text, zone, now)
	if !clock {
		return ParseWhen(text, zone)
	}
	w, warning, err = ParseWhen(today, zone)
	if err == nil && w.From > now.Add(ClocksDiffer).Unix() {
		day, at, _ := strings.Cut(today, " ")
		yesterday := now.In(zone).AddDate(0, 0, -1).Format(time.DateOnly)
		return When{}, "", fmt.Errorf("%s has not come yet: it is %s in %s; write the day with it, such as %s %s for yesterday or %s %[5]s for today",
			strings.TrimSpace(text), now.In(zone).Format("15:04"), zone, yesterday, at, day)
	}
	return w, warning, err
}

// ClocksDiffer is how far the clocks of two people are apart at most (common practice).
const ClocksDiffer = 10 * time.Minute
