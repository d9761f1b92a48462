package paper

import (
	"strings"
	"unicode/utf8"

	"heeltap/labels"
)

// ruler measures and wraps text in the face that papers are set in. All widths are in ems.
type ruler struct{ labels.Typeface }

func newRuler() ruler { return ruler{labels.NewTypeface()} }

// alike are characters that the face lacks and shows by another of the same look.
var alike = strings.NewReplacer("\u202F", "\u00A0", "\u2007", "\u00A0", "\u2010", "-", "\u2011", "-", "\u2212", "-")

// settable replaces what the face does not have.
func (r ruler) settable(line string) string { return r.Printable(alike.Replace(line)) }

// slack bears the rounding of widths in the PDF's tables (a thousandth of an em a character).
const slack = 0.01

// wrap breaks a text into lines of at most room; at least one. Lines break at blanks and
// newlines; a word that is wider breaks after a mark that divides codes and addresses, or else
// anywhere.
func (r ruler) wrap(text string, bold bool, room float64) []string {
	var out []string
	blank := r.Width(" ", bold)
	for paragraph := range strings.SplitSeq(text, "\n") {
		line, width := "", 0.0
		for word := range strings.FieldsFuncSeq(paragraph, isBlank) {
			word = r.settable(word)
			w := r.Width(word, bold)
			if line != "" && width+blank+w <= room+slack {
				line, width = line+" "+word, width+blank+w
				continue
			}
			if line != "" {
				out = append(out, line)
			}
			for w > room+slack && utf8.RuneCountInString(word) > 1 {
				cut := r.breakAt(word, bold, room)
				out, word = append(out, word[:cut]), word[cut:]
				w = r.Width(word, bold)
			}
			line, width = word, w
		}
		out = append(out, line)
	}
	return out
}

// isBlank tells where a line may break; a no-break space holds.
func isBlank(r rune) bool { return r == ' ' }

// breakAt is the byte where a word that is too wide breaks; its first part is never empty.
func (r ruler) breakAt(word string, bold bool, room float64) int {
	width, full, mark := 0.0, 0, 0
	for i, c := range word {
		width += r.Width(string(c), bold)
		if width > room+slack && i > 0 {
			break
		}
		full = i + utf8.RuneLen(c)
		if strings.ContainsRune("-/_.,:;@|=&", c) && full < len(word) {
			mark = full
		}
	}
	if mark > 0 {
		return mark
	}
	return full
}

// longest is the width of the widest word.
func (r ruler) longest(text string, bold bool) float64 {
	most := 0.0
	for word := range strings.FieldsFuncSeq(text, func(c rune) bool { return c == ' ' || c == '\n' }) {
		most = max(most, r.Width(r.settable(word), bold))
	}
	return most
}

// widest is the width of the widest line as written.
func (r ruler) widest(text string, bold bool) float64 {
	most := 0.0
	for line := range strings.SplitSeq(text, "\n") {
		most = max(most, r.Width(r.settable(line), bold))
	}
	return most
}

// shorten cuts a line to a width and tells whether it had to.
func (r ruler) shorten(line string, bold bool, room float64) (string, bool) {
	line = r.settable(line)
	if r.Width(line, bold) <= room {
		return line, false
	}
	runes := []rune(line)
	for len(runes) > 1 && r.Width(string(runes)+"…", bold) > room {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…", true
}
