package labels

import (
	"strings"
	"unicode/utf8"
)

// shrinkStep is by how much type gets smaller until a text fits, mm.
const shrinkStep = 0.1

// A style is how a text is set. Sizes are type sizes in mm (1 mm = 2.83 pt).
type style struct {
	most, least float64 // the size wanted, and the smallest that is still read
	bold, white bool
	across      alignment
}

type alignment int

const (
	left alignment = iota
	center
)

// wrap breaks s into lines of at most room (ems), after spaces and after the
// marks that divide codes and addresses. Where there is none it breaks in the
// middle of a word and says so.
func (f *face) wrap(s string, room float64) (lines []string, torn bool) {
	for f.width(s) > room {
		cut, clean := f.breakAt(s, room)
		torn = torn || !clean
		lines = append(lines, strings.TrimRight(s[:cut], " "))
		s = strings.TrimLeft(s[cut:], " ")
	}
	return append(lines, s), torn
}

// breakAt is the byte where a line that is too long ends: after the last
// dividing mark that fits, else after the last character that does (at least
// one, or the text would never end).
func (f *face) breakAt(s string, room float64) (cut int, clean bool) {
	width, inWord := 0.0, 0
	for i, r := range s {
		if r == ' ' && i > 0 {
			cut, clean = i+1, true
		}
		width += f.width(string(r))
		if width > room && i > 0 {
			break
		}
		inWord = i + utf8.RuneLen(r)
		if strings.ContainsRune("-/_.,:", r) {
			cut, clean = inWord, true
		}
	}
	if clean {
		return cut, true
	}
	return inWord, false
}

// fit finds the largest size at which the whole of s stands in an area, in as
// many lines as it takes but no more than lines. A word is torn apart only if
// no size avoids it.
func (f *face) fit(s string, a area, st style, lines int) (size float64, set []string, ok bool) {
	for _, mayTear := range []bool{false, true} {
		for size := st.most; size >= st.least-1e-9; size -= shrinkStep {
			set, torn := f.wrap(s, a.w/size)
			if (mayTear || !torn) && f.holds(a, size, len(set), lines) {
				return size, set, true
			}
		}
	}
	return 0, nil, false
}

// cram is fit for a text that must be printed whole: where it does not fit
// otherwise, its lines are filled to the end.
func (f *face) cram(s string, a area, st style, lines int) (size float64, set []string, ok bool) {
	if size, set, ok = f.fit(s, a, st, lines); ok {
		return size, set, true
	}
	for size := st.most; size >= st.least-1e-9; size -= shrinkStep {
		if set := f.chop(s, a.w/size); f.holds(a, size, len(set), lines) {
			return size, set, true
		}
	}
	return 0, nil, false
}

// holds reports whether an area is high enough for so many lines.
func (f *face) holds(a area, size float64, lines, most int) bool {
	return lines <= most && float64(lines)*f.lineHeight()*size <= a.h+1e-9
}

// chop breaks s into lines of at most room (ems) wherever they are full.
func (f *face) chop(s string, room float64) (lines []string) {
	for f.width(s) > room {
		cut, width := 0, 0.0
		for i, r := range s {
			if width += f.width(string(r)); width > room && i > 0 {
				break
			}
			cut = i + utf8.RuneLen(r)
		}
		lines, s = append(lines, s[:cut]), s[cut:]
	}
	return append(lines, s)
}

// shorten sets s at the smallest size and ends it with an ellipsis where the
// lines or the height run out.
func (f *face) shorten(s string, a area, st style, lines int) (size float64, set []string) {
	set, _ = f.wrap(s, a.w/st.least)
	lines = max(1, min(lines, int(a.h/(f.lineHeight()*st.least))))
	if len(set) > lines {
		rest := strings.Join(set[lines-1:], " ")
		set = append(set[:lines-1:lines-1], f.ellipsis(rest, a.w/st.least))
	}
	return st.least, set
}

// ellipsis cuts s so that it and the mark of omission fit into room (ems).
func (f *face) ellipsis(s string, room float64) string {
	runes := []rune(s)
	for len(runes) > 0 && f.width(string(runes)+"…") > room {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…"
}
