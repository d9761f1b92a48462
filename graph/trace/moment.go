package trace

import (
	"fmt"
	"strings"
	"time"

	"heeltap/lots"
)

// span is a half-open stretch of time in Unix seconds.
type span struct{ from, until int64 }

func (s span) meets(from, until int64) bool {
	if from == until {
		return s.from <= from && from < s.until
	}
	return s.from < until && from < s.until
}

// moment is what stands behind the @ of a question: a time or an interval, with or without a date.
type moment struct {
	text     string
	from, to point
	interval bool
	zone     *time.Location
}

// point is one written time: a full one, or a time of day that may be any day's.
type point struct {
	when      lots.When
	timeOfDay bool
	seconds   int64 // since midnight, for a time of day
	width     int64 // how much of time the writing leaves open: a minute where no seconds stand
}

func parseMoment(text string, zone *time.Location) (*moment, error) {
	m := &moment{text: text, zone: zone}
	a, b, interval := strings.Cut(text, "..")
	var err error
	if m.from, err = parsePoint(a, zone); err != nil {
		return nil, err
	}
	if !interval {
		return m, nil
	}
	m.interval = true
	if m.to, err = parsePoint(b, zone); err != nil {
		return nil, err
	}
	if m.to.timeOfDay && !m.from.timeOfDay { // "2026-03-04T10:05..10:25": the first time's day
		y, mo, d := time.Unix(m.from.when.From, 0).In(zone).Date()
		if m.to.when, err = onDay(y, mo, d, m.to.seconds, zone); err != nil {
			return nil, err
		}
		m.to.timeOfDay = false
	}
	switch {
	case m.from.timeOfDay && !m.to.timeOfDay:
		return nil, fmt.Errorf("%q: give the date of its start too", text)
	case !m.from.timeOfDay && m.to.when.End() <= m.from.when.From:
		return nil, fmt.Errorf("%q ends before it starts", text)
	}
	return m, nil
}

func parsePoint(text string, zone *time.Location) (point, error) {
	text = strings.TrimSpace(text)
	for layout, width := range map[string]int64{"15:04": 60, "15:04:05": 1} {
		if t, err := time.Parse(layout, text); err == nil {
			return point{timeOfDay: true, seconds: int64(t.Hour()*3600 + t.Minute()*60 + t.Second()), width: width}, nil
		}
	}
	w, _, err := lots.ParseWhen(text, zone)
	p := point{when: w, width: 1}
	if len(text) == len("2006-01-02 15:04") {
		p.width = 60
	}
	return p, err
}

// onDay puts a time of day on a calendar day.
func onDay(y int, m time.Month, d int, seconds int64, zone *time.Location) (lots.When, error) {
	t := time.Date(y, m, d, 0, 0, int(seconds), 0, time.UTC)
	w, _, err := lots.ParseWhen(t.Format("2006-01-02 15:04:05"), zone)
	return w, err
}

// span gives a moment that has a date as true time; false where it is a time of day.
func (m *moment) span() (span, bool) {
	switch {
	case m.from.timeOfDay:
		return span{}, false
	case m.interval:
		return span{m.from.when.From, m.to.when.End()}, true
	case m.from.when.Day:
		return span{m.from.when.From, m.from.when.End()}, true
	}
	return span{m.from.when.From, m.from.when.From + 1}, true
}

// printed gives the stretches of true time, near a run from start to end, at which a
// coder that is offset seconds ahead printed the moment. A time without seconds is the whole minute.
func (m *moment) printed(start, end, offset, margin int64) []span {
	if whole, ok := m.span(); ok {
		if !m.interval && !m.from.when.Day {
			whole.until = whole.from + m.from.width
		}
		return []span{{whole.from - offset, whole.until - offset}}
	}
	var out []span
	y, mo, d := time.Unix(start+offset, 0).In(m.zone).Date() // the coder's day
	days := int((end-start)/86400) + 3
	for i := -1; i < days; i++ {
		s, ok := m.ofDay(y, mo, d+i)
		if !ok {
			continue
		}
		s.from, s.until = s.from-offset, s.until-offset
		if s.meets(start-margin, end+margin+1) {
			out = append(out, s)
		}
	}
	return out
}

// ofDay puts a time of day, or an interval of such, on one day; an interval may end on the next.
func (m *moment) ofDay(y int, mo time.Month, d int) (span, bool) {
	from, err := onDay(y, mo, d, m.from.seconds, m.zone)
	if err != nil {
		return span{}, false
	}
	if !m.interval {
		return span{from.From, from.From + m.from.width}, true
	}
	if m.to.seconds <= m.from.seconds {
		d++
	}
	to, err := onDay(y, mo, d, m.to.seconds, m.zone)
	return span{from.From, to.From}, err == nil
}
