package lots

import (
	"fmt"
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

var localLayouts = []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04"}

// ParseWhen reads a time as written in a sheet: RFC 3339, a local date and
// time in zone, or a bare date. The warning is not empty where the local time
// occurs twice (clocks set back); the first of the two is taken.
func ParseWhen(text string, zone *time.Location) (w When, warning string, err error) {
	text = strings.TrimSpace(text)
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return inYears(At(t.Unix()), t, text, "")
	}
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		y, m, d := t.Date()
		from, to := dayStart(y, m, d, zone), dayStart(y, m, d+1, zone)
		return inYears(When{From: from, To: to - 1, Day: true}, t, text, "")
	}
	for _, layout := range localLayouts {
		t, err := time.Parse(layout, text)
		if err != nil {
			continue
		}
		unix, twice, ok := localUnix(t, zone)
		if !ok {
			return When{}, "", fmt.Errorf("%q does not exist in %s: the clocks skip that hour", text, zone)
		}
		if twice {
			warning = fmt.Sprintf("%q occurs twice in %s: the first is taken; write it with its offset to mean the second", text, zone)
		}
		return inYears(At(unix), t, text, warning)
	}
	return When{}, "", fmt.Errorf("%q is not a time: write 2026-03-04 10:00, 2026-03-04T10:00:00+01:00 or 2026-03-04", text)
}

func inYears(w When, t time.Time, text, warning string) (When, string, error) {
	if t.Year() < minYear || t.Year() > maxYear {
		return When{}, "", fmt.Errorf("%q lies outside the years %d to %d", text, minYear, maxYear)
	}
	return w, warning, nil
}

// localUnix finds the instants at which zone's clocks show the wall time t
// (given in UTC) and returns the first; time.Date promises neither which of two
// it takes nor an error for a skipped hour.
func localUnix(t time.Time, zone *time.Location) (unix int64, twice, ok bool) {
	wall := t.Unix()
	var found []int64
	for _, probe := range []int64{wall - 36*3600, wall + 36*3600} {
		_, offset := time.Unix(probe, 0).In(zone).Zone()
		u := wall - int64(offset)
		if _, o := time.Unix(u, 0).In(zone).Zone(); o == offset && (len(found) == 0 || found[0] != u) {
			found = append(found, u)
		}
	}
	switch len(found) {
	case 0:
		return 0, false, false
	case 1:
		return found[0], false, true
	}
	return min(found[0], found[1]), true, true
}

// dayStart is the first instant of a calendar day in zone, also where the
// clocks skip midnight.
func dayStart(y int, m time.Month, d int, zone *time.Location) int64 {
	t := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	if u, _, ok := localUnix(t, zone); ok {
		return u
	}
	for minute := range 24 * 60 {
		if u, _, ok := localUnix(t.Add(time.Duration(minute)*time.Minute), zone); ok {
			return u
		}
	}
	return t.Unix()
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
	if _, twice, _ := localUnix(wall, zone); twice {
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
