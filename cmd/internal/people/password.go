package people

import (
	_ "embed"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"heeltap/lots"
)

// The length of a password, in characters after normalising. NIST SP 800-63B asks for 8 at least in revision 3
// (section 5.1.1.2), and for 15 where a password is all that is asked for in revision 4 (section 3.1.1.2); for up to 64
// at least, no rules about kinds of characters, and no changing by the calendar in both.
const (
	Shortest = 12
	Longest  = 256
)

// mostBytes is more than any password of Longest characters takes: what is longer is not even normalised.
const mostBytes = 16 * Longest

// common are passwords that are tried first, one on a line, as core writes them.
//
//go:embed common.txt
var common string

// normal brings what was typed to one form, so that the same password typed on another keyboard is the same
// (NIST SP 800-63B, revision 3, section 5.1.1.2: NFKC). What is far too long becomes a text that is no password.
func normal(password string) string {
	if len(password) > mostBytes || !utf8.ValidString(password) {
		return ""
	}
	return norm.NFKC.String(password)
}

// acceptable checks a new password for somebody, and gives it in its normal form.
func acceptable(password, login, name string) (string, error) {
	p := normal(password)
	n := utf8.RuneCountInString(p)
	switch {
	case password != "" && p == "", n > Longest:
		return "", lots.Errorf(lots.Invalid, "the password is too long: at most %d characters", Longest)
	case n < Shortest:
		return "", lots.Errorf(lots.Invalid, "the password is too short: at least %d characters; a few words that only you would put together are easy to remember", Shortest)
	case repeats(p), stepwise(p):
		return "", lots.Errorf(lots.Invalid, "the password is too easy to guess: it repeats or counts; choose a few words that only you would put together")
	case isCommon(p):
		return "", lots.Errorf(lots.Invalid, "the password is one of those that are tried first: choose a few words that only you would put together")
	case isOf(p, login, name):
		return "", lots.Errorf(lots.Invalid, "the password is your login or your name: choose a few words that only you would put together")
	}
	return p, nil
}

// core is a password without its case, its usual disguises, and the digits and signs put around it.
func core(p string) string {
	disguised := strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i")
	p = strings.TrimFunc(fold(p), func(r rune) bool { return !unicode.IsLetter(r) })
	return letters(disguised.Replace(p))
}

func letters(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return r
		}
		return -1
	}, text)
}

func isCommon(p string) bool {
	c, whole := core(p), strings.Join(strings.Fields(fold(p)), "")
	for line := range strings.Lines(common) {
		if line = strings.TrimSpace(line); line == c || line == whole || line+line == c {
			return true
		}
	}
	return false
}

// isOf reports whether a password is nothing but the login or the name, written once or twice.
func isOf(p, login, name string) bool {
	c := core(p)
	for _, of := range []string{login, name} {
		if of = letters(fold(of)); of != "" && (c == of || c == of+of) {
			return true
		}
	}
	return fold(p) == fold(login)
}

// repeats reports whether a text is one piece of up to four characters over and over.
func repeats(p string) bool {
	all := []rune(p)
next:
	for size := 1; size <= 4; size++ {
		for i := size; i < len(all); i++ {
			if all[i] != all[i-size] {
				continue next
			}
		}
		return true
	}
	return false
}

// stepwise reports whether a text counts up or down by one all the way; 9 and 0 are neighbours.
func stepwise(p string) bool {
	all := []rune(fold(p))
	for _, way := range []rune{1, -1} {
		i := 1
		for i < len(all) && (all[i]-all[i-1] == way || all[i]-all[i-1] == -9*way) {
			i++
		}
		if i >= len(all) {
			return true
		}
	}
	return false
}

// fold writes a text so that two spellings of it are the same.
func fold(text string) string {
	return strings.ToLower(norm.NFKC.String(strings.TrimSpace(text)))
}
