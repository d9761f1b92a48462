package labels

import (
	"errors"
	"fmt"
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"
)

// pathMark stands before the code in an address.
const pathMark = "/t/"

// Payload is the one line that a tag's QR code holds: the code alone where
// base is empty, else an address below base that a phone's camera opens, such
// as http://192.168.1.5:8417/t/LOT-123.
//
// The line is plain ASCII, because scanners disagree on the character set of
// anything else. A code that cannot stand in it as it is, is written behind
// /t/ with percent signs, also where there is no base. [ParsePayload] gives
// the code back exactly.
func Payload(base, code string) (string, error) {
	if err := checkCode(code); err != nil {
		return "", err
	}
	if base == "" {
		if isPlain(code) && ParsePayload(code) == code {
			return code, nil
		}
		return pathMark + escapeCode(code), nil
	}
	if err := CheckBase(base); err != nil {
		return "", err
	}
	return strings.TrimRight(base, "/") + pathMark + escapeCode(code), nil
}

// payload is what a tag's QR code holds: its link where it has one.
func (t Tag) payload(base string) (string, error) {
	if t.Link == "" {
		return Payload(base, t.Code)
	}
	if !isAddress(t.Link) || !isPlain(t.Link) || strings.Contains(t.Link, " ") {
		return "", fmt.Errorf("link %q of tag %s: write an address in plain ASCII", t.Link, t.Code)
	}
	return t.Link, nil
}

// ParsePayload gives the code in what a scanner read or a person typed: the
// text itself, or what follows the last /t/ of an address. Outer spaces and
// line ends, which hand scanners add, are dropped. An address that is not one
// of ours comes back as it is, and will be found to be no code.
func ParsePayload(text string) (code string) {
	text = strings.TrimSpace(text)
	if !isAddress(text) {
		return text
	}
	path := text
	if end := strings.IndexAny(path, "?#"); end >= 0 {
		path = path[:end]
	}
	mark := strings.LastIndex(path, pathMark)
	if mark < 0 {
		return text
	}
	code, err := url.PathUnescape(path[mark+len(pathMark):])
	if err != nil || code == "" || !utf8.ValidString(code) {
		return text
	}
	return code
}

// ParsePayloads is ParsePayload for many texts.
func ParsePayloads(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = ParsePayload(t)
	}
	return out
}

// CheckBase says what is wrong with a server's address as a site setting:
// http or https, a host, perhaps a port and a path, and nothing behind it.
func CheckBase(base string) error {
	u, err := url.Parse(base)
	switch {
	case err != nil:
		return fmt.Errorf("server address %q: %w", base, err)
	case u.Scheme != "http" && u.Scheme != "https", u.Hostname() == "":
		return fmt.Errorf("server address %q: write it like http://192.168.1.5:8417", base)
	case u.User != nil || strings.ContainsAny(base, "?#"):
		return fmt.Errorf("server address %q: leave out name, password, query and fragment", base)
	case !isPlain(base) || strings.ContainsAny(base, ` "<>\^{|}`+"`"):
		return fmt.Errorf("server address %q: write it in plain ASCII without spaces", base)
	}
	return nil
}

// isAddress tells an address from a code.
func isAddress(text string) bool {
	lower := strings.ToLower(text)
	return strings.HasPrefix(text, pathMark) ||
		strings.HasPrefix(lower, "http://") || strings.HasPrefix(lower, "https://")
}

// isPlain reports whether s is printable ASCII throughout.
func isPlain(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' })
}

// checkCode refuses what no code may hold.
func checkCode(code string) error {
	switch {
	case code == "":
		return errors.New("a tag needs a code")
	case !utf8.ValidString(code) || strings.ContainsFunc(code, unicode.IsControl):
		return fmt.Errorf("code %q holds bytes that are no text", code)
	case strings.ContainsAny(code, "|;@"):
		return fmt.Errorf("code %q: a code must not hold any of | ; @", code)
	}
	for part := range strings.SplitSeq(code, "/") {
		if part == "." || part == ".." { // browsers take these out of an address
			return fmt.Errorf("code %q: a part %q cannot stand in an address", code, part)
		}
	}
	return nil
}

// escapeCode writes a code as the end of an address. The one slash of a keg
// filling stays readable; any other could be mistaken for part of the address.
func escapeCode(code string) string {
	keg, run, _ := strings.Cut(code, "/")
	keepSlash := keg != "" && run != "" && keg != strings.Trim(pathMark, "/") && !strings.Contains(run, "/")
	var b strings.Builder
	for _, c := range []byte(code) {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9',
			strings.IndexByte("-._~", c) >= 0, c == '/' && keepSlash:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}
