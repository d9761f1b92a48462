package datecode

import (
	"slices"
	"strings"
	"unicode"
)

// The kinds of thing that a word before a code says it is.
const (
	SaidDate   = "date-code"
	SaidKeg    = "keg"
	SaidPallet = "pallet"
	SaidSSCC   = "sscc"
	SaidGTIN   = "gtin"
	SaidLot    = "lot"
	SaidRun    = "run"
	SaidBrew   = "brew"
	SaidLine   = "line"
)

// Said is a code as somebody said it, with the words around it left out.
type Said struct {
	Text  string   // what is left, as it was said
	Kind  string   // what the words say it is; empty where they do not
	Line  string   // what was said after "line", where there is something else too
	Words []string // left out, in lower case
}

// word is a word, or several, that people say or print before or after a code.
type word struct {
	text string // in lower case, with single blanks
	kind string // what it says; empty for one that says nothing
	mark bool   // stands before the date on packages
}

// words lists them, longer ones before those that they begin with. The marks of a date are those of
// Regulation (EU) 1169/2011, annex X, in English and German, and their usual short forms (common practice).
var spokenWords = []word{
	{"best before end", SaidDate, true}, {"best before", SaidDate, true}, {"best by", SaidDate, true}, {"use by", SaidDate, true},
	{"mindestens haltbar bis ende", SaidDate, true}, {"mindestens haltbar bis", SaidDate, true}, {"bbe", SaidDate, true}, {"bb", SaidDate, true}, {"mhd", SaidDate, true},
	{"expiry date", SaidDate, true}, {"expiry", SaidDate, true}, {"expires", SaidDate, true}, {"exp", SaidDate, true}, {"packed on", SaidDate, true}, {"packed", SaidDate, true},
	{"date code", SaidDate, true}, {"date", SaidDate, true}, {"code", "", false}, {"coded", "", false},
	{"keg", SaidKeg, false}, {"pallet", SaidPallet, false}, {"sscc", SaidSSCC, false}, {"gtin", SaidGTIN, false}, {"ean", SaidGTIN, false}, {"upc", SaidGTIN, false}, {"barcode", SaidGTIN, false}, {"bar code", SaidGTIN, false},
	{"lot", SaidLot, false}, {"batch", SaidLot, false}, {"run", SaidRun, false}, {"brew", SaidBrew, false},
	{"number", "", false}, {"no", "", false}, {"nr", "", false}, {"the", "", false}, {"it says", "", false}, {"is", "", false}, {"on", "", false}, {"at", "", false},
	{"can", "", false}, {"bottle", "", false}, {"case", "", false},
}

const mostWays = 40

// Around lists the ways to leave the words around a code out, those that leave out less before those
// that leave out more: a word may be part of what is printed, and only the records know. The text as
// it stands is none of them; a text without such words has none.
func Around(text string) []Said {
	if len(text) > 4*MostRead {
		return nil
	}
	var out []Said
	front, back := text, text
	var fronts, backs []cut
	for c := (cut{}); ; {
		fronts = append(fronts, c)
		w, rest, ok := leading(front)
		if !ok {
			break
		}
		front, c = rest, cut{c.chars + len(front) - len(rest), append(slices.Clone(c.words), w)}
	}
	for c := (cut{}); ; {
		backs = append(backs, c)
		w, rest, ok := trailing(back)
		if !ok {
			break
		}
		back, c = rest, cut{c.chars + len(back) - len(rest), append(slices.Clone(c.words), w)}
	}
	for total := 1; total <= len(fronts)+len(backs)-2 && len(out) < mostWays; total++ {
		for n := min(total, len(fronts)-1); n >= 0; n-- {
			if m := total - n; m < len(backs) && fronts[n].chars+backs[m].chars <= len(text) {
				left := trimMarks(text[fronts[n].chars : len(text)-backs[m].chars])
				out = offer(out, left, slices.Concat(fronts[n].words, backs[m].words))
			}
		}
	}
	return out
}

// Bare is a text without any of the words around it, as far as something is left.
func Bare(text string) string {
	bare := text
	for _, s := range Around(text) {
		if s.Kind != SaidLine {
			bare = s.Text
		}
	}
	return bare
}

// cut is how much of a text is left out at one end, and what it says.
type cut struct {
	chars int
	words []found
}

// found is a word that was said; of a line also which.
type found struct {
	word
	line string
}

// offer adds a way, unless nothing is left of the text or it is there already.
func offer(out []Said, left string, words []found) []Said {
	s := Said{Text: left}
	for _, w := range words {
		s.Words = append(s.Words, w.text)
		if w.kind != "" && w.kind != SaidLine && (s.Kind == "" || s.Kind == SaidDate) {
			s.Kind = w.kind
		}
		if w.line != "" {
			s.Line = w.line
		}
	}
	if Plain(left) == "" {
		if s.Line == "" {
			return out
		}
		s.Text, s.Kind, s.Line = s.Line, SaidLine, ""
	}
	if slices.ContainsFunc(out, func(o Said) bool { return o.Text == s.Text && o.Kind == s.Kind && o.Line == s.Line }) {
		return out
	}
	return append(out, s)
}

// leading takes one word off the front of a text, with what marks stand behind it.
func leading(text string) (found, string, bool) {
	text = strings.TrimLeftFunc(text, isMark)
	for _, w := range spokenWords {
		if n, ok := begins(text, w.text); ok && endsWord(text[n:]) {
			return found{word: w}, text[n:], true
		}
	}
	n, ok := begins(text, "line")
	if !ok || !endsWord(text[n:]) {
		return found{}, "", false
	}
	rest := strings.TrimLeftFunc(text[n:], isMark)
	end := strings.IndexFunc(rest, isBlank)
	if end < 0 {
		end = len(rest)
	}
	line := strings.TrimRightFunc(rest[:end], isMark)
	return found{word{text: "line", kind: SaidLine}, line}, rest[end:], Plain(line) != ""
}

// trailing takes one word, or a line, off the end of a text.
func trailing(text string) (found, string, bool) {
	text = strings.TrimRightFunc(text, isMark)
	for at := range text {
		if before := text[:at]; before != "" && !isBlank(lastOf(before)) {
			continue // no word begins here
		}
		if f, rest, ok := leading(text[at:]); ok && strings.TrimLeftFunc(rest, isMark) == "" && !isMark(firstOf(text[at:])) {
			return f, text[:at], true
		}
	}
	return found{}, "", false
}

// begins reports how much of a text a word takes up, whatever the case and the blanks between its parts.
func begins(text, word string) (int, bool) {
	at := 0
	for i, part := range strings.Fields(word) {
		if i > 0 {
			rest := strings.TrimLeftFunc(text[at:], func(r rune) bool { return isBlank(r) || r == '-' || r == '.' })
			at = len(text) - len(rest)
		}
		if len(text)-at < len(part) || !strings.EqualFold(text[at:at+len(part)], part) {
			return 0, false
		}
		at += len(part)
	}
	return at, true
}

// endsWord reports whether a word can end where a text goes on: with no further letter.
func endsWord(rest string) bool { return rest == "" || !unicode.IsLetter(firstOf(rest)) }

func firstOf(text string) rune {
	for _, r := range text {
		return r
	}
	return 0
}

func lastOf(text string) rune {
	var last rune
	for _, r := range text {
		last = r
	}
	return last
}

func isBlank(r rune) bool { return unicode.IsSpace(r) }

// isMark reports what parts words from codes; brackets are not among it, which stand in GS1 numbers,
// nor ?, which stands for a character that was not read.
func isMark(r rune) bool {
	return isBlank(r) || strings.ContainsRune(`:.,;#"'=*_-/!`, r) || r == '“' || r == '”' || r == '‘' || r == '’'
}

func trimMarks(text string) string { return strings.TrimFunc(text, isMark) }
