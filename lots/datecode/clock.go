package datecode

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Clock is the minutes of a day that a time as read may mean: all of its digits, or some of them.
type Clock struct {
	Text  string   // hh:mm with ? for what was not read; empty where no time was read
	masks []string // hhmm, any of these
}

// Holds reports whether a time of day is one of them.
func (c Clock) Holds(hour, minute int) bool {
	at := [4]byte{byte('0' + hour/10), byte('0' + hour%10), byte('0' + minute/10), byte('0' + minute%10)}
	return slices.ContainsFunc(c.masks, func(mask string) bool {
		for i := range len(mask) {
			if mask[i] != '?' && mask[i] != at[i] {
				return false
			}
		}
		return true
	})
}

// possible reports whether some time of day has a mask.
func possible(mask string) bool {
	hour := mask[0] == '?' || mask[0] <= '1' || mask[0] == '2' && (mask[1] == '?' || mask[1] <= '3')
	return hour && (mask[2] == '?' || mask[2] <= '5')
}

// Spans lists them as stretches from hh:mm to before hh:mm, in order; the end of the day is 00:00.
func (c Clock) Spans() [][2]string {
	var out [][2]string
	open := false
	for m := range 24 * 60 {
		if !c.Holds(m/60, m%60) {
			open = false
			continue
		}
		next := (m + 1) % (24 * 60)
		end := two(next/60) + ":" + two(next%60)
		if open {
			out[len(out)-1][1] = end
		} else {
			out = append(out, [2]string{two(m/60) + ":" + two(m%60), end})
		}
		open = true
	}
	return out
}

// Whole reports whether every digit of the time was read.
func (c Clock) Whole() bool { return len(c.masks) == 1 && !strings.Contains(c.masks[0], "?") }

// split is a text with a time of day taken off it, or with none.
type split struct {
	rest  []glyph
	clock Clock
	cost  float64
	how   []string
}

// splits lists the ways to part a text into a code and a time of day: where a colon stands, else
// by as many digits as the pattern prints, where they stand apart or leave a whole code.
func splits(text []glyph, p *Pattern, want int) []split {
	out := []split{{rest: text}}
	byColon := byColon(text, p)
	if len(byColon) > 0 || p == nil || !p.PrintsTime() {
		return append(out, byColon...)
	}
	width := p.timeDigits()
	for n := width; n > 0; n-- {
		for _, at := range p.timePlaces(len(text), n) {
			if s, ok := byWidth(text, at, n, width, want); ok {
				out = append(out, s)
			}
		}
	}
	return out
}

// byWidth takes n digits off a text at a place.
func byWidth(text []glyph, at, n, width, want int) (split, bool) {
	rest := slices.Concat(text[:at], text[at+n:])
	apart := at > 0 && text[at].gap == ' ' || at == 0 && n < len(text) && text[n].gap == ' '
	whole := len(rest) == want || n == width && len(rest) == want-1
	if len(rest) == 0 || !whole && (!apart || n < width-1) {
		return split{}, false
	}
	digits := ""
	for _, g := range text[at : at+n] {
		d, ok := digitOf(g.char)
		if !ok {
			return split{}, false
		}
		digits += string(d)
	}
	clock, ok := clockOf(digits[:min(2, n)], digits[min(2, n):min(4, n)])
	if width <= 4 && n == width-1 && n == 3 { // which digit is lost, nobody knows
		clock, ok = anyLost(digits)
	}
	if !ok {
		return split{}, false
	}
	s := split{rest: rest, clock: clock}
	if lost := max(width-n, strings.Count(digits, "?")); lost > 0 {
		s.cost, s.how = costEnd+costMore*float64(lost-1), []string{fmt.Sprintf("%s of the time could not be read", digitsText(lost))}
	}
	return s, true
}

func digitsText(n int) string {
	if n == 1 {
		return "a digit"
	}
	return fmt.Sprintf("%d digits", n)
}

// byColon takes a time written with a colon off a text, wherever it stands, and what stands
// behind it or before it as well where that is short: a letter or number that the coder prints too.
func byColon(text []glyph, p *Pattern) []split {
	for i, g := range text {
		if g.gap != ':' || i == 0 {
			continue
		}
		start, hour := i, ""
		for start > 0 && len(hour) < 2 && (start == i || text[start].gap == 0) {
			d, ok := digitOf(text[start-1].char)
			if !ok {
				break
			}
			start, hour = start-1, string(d)+hour
		}
		end, minute := digitsFrom(text, i)
		if hour == "" || minute == "" {
			continue
		}
		if end < len(text) && text[end].gap == ':' { // seconds
			end, _ = digitsFrom(text, end)
		}
		if half := string(plainOf(text[end:min(end+2, len(text))])); half == "AM" || half == "PM" {
			hour, end = of24(hour, half), end+2
		}
		return timesAt(text, start, end, hour, minute, p)
	}
	return nil
}

// of24 is an hour of twelve as one of twenty-four; as it was where it is none of twelve.
func of24(hour, half string) string {
	n, err := strconv.Atoi(hour)
	if err != nil || n < 1 || n > 12 {
		return hour
	}
	n %= 12
	if half == "PM" {
		n += 12
	}
	return two(n)
}

// digitsFrom reads at most two digits that stand together.
func digitsFrom(text []glyph, at int) (end int, digits string) {
	end = at
	for end < len(text) && end < at+2 && (end == at || text[end].gap == 0) {
		d, ok := digitOf(text[end].char)
		if !ok {
			break
		}
		end, digits = end+1, digits+string(d)
	}
	return end, digits
}

// timesAt makes the splits of a time that stands at a place.
func timesAt(text []glyph, start, end int, hour, minute string, p *Pattern) []split {
	clock, ok := clockOf(hour, minute)
	base := split{clock: clock}
	switch {
	case !ok:
		base.clock, base.cost, base.how = Clock{}, costEnd+costMore, []string{fmt.Sprintf("%s:%s is not a time of day", hour, minute)}
	case p != nil && !p.PrintsTime():
		base.clock, base.cost, base.how = Clock{}, costEnd+costMore, []string{fmt.Sprintf("a time of day, %s, was read with it, but this product does not print one", clock.Text)}
	case !clock.Whole():
		lost := 4 - len(strings.ReplaceAll(hour+minute, "?", ""))
		base.cost, base.how = costEnd+costMore*float64(lost-1), []string{fmt.Sprintf("%s of the time could not be read", digitsText(lost))}
	}
	var out []split
	add := func(rest []glyph, dropped int) {
		if len(rest) == 0 {
			return
		}
		s := base
		s.rest = rest
		if dropped > 0 {
			s.cost += costEnd + costMore*float64(dropped-1)
			s.how = append(slices.Clone(s.how), "something beside the time is not part of the code")
		}
		out = append(out, s)
	}
	add(slices.Concat(text[:start], text[end:]), 0)
	const most = 6
	if n := len(text) - end; n > 0 && n <= most {
		add(text[:start], n)
	}
	if start > 0 && start <= most {
		add(text[end:], start)
	}
	return out
}

// clockOf reads an hour and a minute, of which digits may be lost.
func clockOf(hour, minute string) (Clock, bool) {
	ways := func(part string) []string {
		switch len(part) {
		case 0:
			return []string{"??"}
		case 1:
			return slices.Compact([]string{part + "?", "?" + part})
		}
		return []string{part}
	}
	hours := ways(hour)
	slices.Reverse(hours) // 9:42 is mostly 09:42
	var c Clock
	for _, h := range hours {
		for _, m := range ways(minute) {
			c.offer(h + m)
		}
	}
	return c, len(c.masks) > 0
}

// anyLost is three digits of hhmm, one of them lost.
func anyLost(digits string) (Clock, bool) {
	var c Clock
	for i := len(digits); i >= 0; i-- {
		c.offer(digits[:i] + "?" + digits[i:])
	}
	return c, len(c.masks) > 0
}

// offer adds a mask that some time of day has.
func (c *Clock) offer(mask string) {
	if !possible(mask) || slices.Contains(c.masks, mask) {
		return
	}
	c.masks = append(c.masks, mask)
	text := mask[:2] + ":" + mask[2:]
	if c.Text != "" {
		text = c.Text + " or " + text
	}
	c.Text = text
}

// digitOf is a digit, or the one that a letter looks like.
func digitOf(r rune) (rune, bool) {
	switch r {
	case 'O', 'Q', 'D':
		return '0', true
	case 'I', 'L':
		return '1', true
	case 'Z':
		return '2', true
	case 'S':
		return '5', true
	case 'G':
		return '6', true
	case 'B':
		return '8', true
	}
	return r, r >= '0' && r <= '9' || r == '?'
}

// timeDigits is how many digits of a time of day the pattern prints.
func (p *Pattern) timeDigits() int {
	n := 0
	for _, x := range p.pieces[p.timed[0]:p.timed[1]] {
		if x.field != nil {
			n += 2
		}
	}
	return n
}

// timePlaces lists where in a text of some length n digits of a time can stand: at its front or
// end, where the pattern prints it there, else anywhere.
func (p *Pattern) timePlaces(length, n int) []int {
	switch {
	case n >= length:
		return nil
	case p.timed[0] == 0:
		return []int{0}
	case p.timed[1] == len(p.pieces):
		return []int{length - n}
	}
	var out []int
	for at := 1; at+n < length; at++ {
		out = append(out, at)
	}
	return out
}
