package gs1

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"
)

// CanonicalStem is where GS1 itself resolves Digital Links.
const CanonicalStem = "https://id.gs1.org"

// isLink tells an address from other texts, however its scheme is written.
func isLink(text string) bool {
	scheme, _, ok := strings.Cut(text, "://")
	return ok && (strings.EqualFold(scheme, "http") || strings.EqualFold(scheme, "https"))
}

// linkReader reads a Digital Link; places are in its text.
type linkReader struct {
	text string
	m    Message
}

func (r *linkReader) fault(at int, ai, format string, args ...any) error {
	return &Error{At: utf8.RuneCountInString(r.text[:min(at, len(r.text))]) + 1, AI: ai, Reason: fmt.Sprintf(format, args...)}
}

// ParseLink reads a GS1 Digital Link (ISO/IEC 18975): a key in its path, perhaps with qualifiers behind it in their
// order, and data attributes in its query. An address with no key is [ErrNone]; a compressed one is refused.
func ParseLink(text string) (Message, error) {
	r := linkReader{text: text}
	scheme, _, _ := strings.Cut(text, "://")
	if !isLink(text) || !slices.Contains([]string{"http", "https", "HTTP", "HTTPS"}, scheme) {
		return Message{}, r.fault(0, "", "a Digital Link begins with http:// or https://, in small letters or in capitals")
	}
	for i, c := range text {
		if c <= ' ' || c > '~' {
			return Message{}, r.fault(i, "", "%q may not stand in an address", c)
		}
	}
	rest, _, _ := strings.Cut(text, "#")
	path, query, _ := strings.Cut(rest, "?")
	from := strings.Index(path, "://") + 3
	host := strings.IndexByte(path[from:], '/')
	if host == 0 {
		return Message{}, r.fault(from, "", "it names no host")
	}
	if host < 0 {
		return Message{}, ErrNone
	}
	if err := r.path(path, from+host+1); err != nil {
		return Message{}, err
	}
	if err := r.query(query, len(path)+1); err != nil {
		return Message{}, err
	}
	return r.m, nil
}

// segment is one piece of a path, and where it stands.
type segment struct {
	text string
	at   int
}

// path finds the key, from the end backwards, and reads it with its qualifiers.
func (r *linkReader) path(path string, from int) error {
	var segs []segment
	for at := from; at <= len(path); {
		s := path[at:]
		if end := strings.IndexByte(s, '/'); end >= 0 {
			s = s[:end]
		}
		segs = append(segs, segment{s, at})
		at += len(s) + 1
	}
	begins, key := -1, AI{}
	for i := len(segs) - 2; i >= 0 && begins < 0; i -= 2 {
		ai, known := named(segs[i].text)
		switch {
		case known && ai.Key:
			begins, key = i, ai
		case known:
		case segs[i].text != "" && isDigits(segs[i].text) && keyed(segs[:i]):
			return r.fault(segs[i].at, "", "%s is no application identifier", segs[i].text)
		default:
			return r.keyless(segs)
		}
	}
	if begins < 0 {
		return r.keyless(segs)
	}
	var after []string
	for i := begins; i < len(segs); i += 2 {
		if i > begins {
			after = append(after, segs[i].text)
		}
		if err := r.take(segs[i].text, segs[i+1], false); err != nil {
			return err
		}
	}
	if len(after) > 0 && !slices.ContainsFunc(key.Qualifiers, func(list []string) bool { return inOrder(after, list) }) {
		return r.fault(segs[begins+2].at, key.ID, "behind it may stand only %s, in this order", qualifiersInWords(key))
	}
	return nil
}

// keyed reports whether a key and its value stand among the pieces of a path.
func keyed(segs []segment) bool {
	for i := len(segs) - 2; i >= 0; i -= 2 {
		if ai, ok := named(segs[i].text); ok && ai.Key && ai.judge(segs[i+1].text) == nil {
			return true
		}
	}
	return false
}

func qualifiersInWords(key AI) string {
	if len(key.Qualifiers) == 0 {
		return "nothing"
	}
	lists := make([]string, len(key.Qualifiers))
	for i, l := range key.Qualifiers {
		lists[i] = "(" + strings.Join(l, ") (") + ")"
	}
	return strings.Join(lists, " or ")
}

// inOrder reports whether some stand in all in the same order.
func inOrder(some, all []string) bool {
	for _, s := range some {
		i := slices.Index(all, s)
		if i < 0 {
			return false
		}
		all = all[i+1:]
	}
	return true
}

// keyless refuses an address with no key in it: a slash too many, a compressed link, or no Digital Link at all.
func (r *linkReader) keyless(segs []segment) error {
	last := segs[len(segs)-1]
	if last.text == "" && len(segs) > 2 {
		if ai, ok := named(segs[len(segs)-2].text); ok && len(segs) > 3 {
			return r.fault(last.at, ai.ID, "nothing stands behind it")
		}
		if _, ok := named(segs[len(segs)-3].text); ok {
			return r.fault(last.at-1, "", "nothing may stand behind the last value, not even a slash")
		}
	}
	if len(last.text) >= 10 && !strings.ContainsFunc(last.text, func(c rune) bool { return !holds(base64Text, c) || c == '=' }) {
		return r.fault(last.at, "", "this address holds no key that can be read; if it is a compressed Digital Link, its maker's resolver alone can open it: ask for the uncompressed form, or type what is printed")
	}
	return ErrNone
}

// take reads one value.
func (r *linkReader) take(id string, value segment, query bool) error {
	text := value.text
	if query {
		text = strings.ReplaceAll(text, "+", " ")
	}
	plain, err := url.PathUnescape(text)
	if err != nil {
		return r.fault(value.at, id, "a percent sign must be followed by two hexadecimal digits")
	}
	ai, known := named(id)
	if !known {
		return r.fault(value.at, "", "%s is no application identifier", id)
	}
	if wrong := ai.judge(plain); wrong != nil {
		return r.fault(value.at, id, "%s", wrong.Reason)
	}
	if _, twice := r.m.Value(id); twice {
		return r.fault(value.at, id, "it stands there twice")
	}
	r.m.Elements = append(r.m.Elements, Element{AI: id, Value: plain, At: utf8.RuneCountInString(r.text[:value.at]) + 1})
	return nil
}

// query reads the data attributes; words that are not numbers are somebody else's.
func (r *linkReader) query(query string, at int) error {
	key, _ := named(r.m.Elements[0].AI)
	for query != "" {
		pair := query
		if end := strings.IndexAny(query, "&;"); end >= 0 {
			pair, query = query[:end], query[end+1:]
		} else {
			query = ""
		}
		id, value, _ := strings.Cut(pair, "=")
		here := at
		at += len(pair) + 1
		if id == "" || !isDigits(id) {
			continue
		}
		ai, known := named(id)
		switch {
		case !known:
			return r.fault(here, "", "%s is no application identifier", id)
		case !ai.Query || slices.ContainsFunc(key.Qualifiers, func(l []string) bool { return slices.Contains(l, id) }):
			return r.fault(here, id, "it may not stand behind the ?")
		}
		if err := r.take(id, segment{value, here + len(id) + 1}, true); err != nil {
			return err
		}
	}
	return nil
}

// Link writes a message as a Digital Link below a stem, such as [CanonicalStem]: its first key in the path with the
// key's qualifiers in their order, and all else in the query.
func Link(stem string, m Message) (string, error) {
	at := slices.IndexFunc(m.Elements, func(e Element) bool { ai, ok := named(e.AI); return ok && ai.Key })
	if at < 0 {
		return "", fmt.Errorf("%s has no key: a Digital Link needs a GTIN, an SSCC or a GLN", m)
	}
	key, _ := named(m.Elements[at].AI)
	var b strings.Builder
	b.WriteString(strings.TrimRight(stem, "/"))
	written := map[string]bool{}
	write := func(id string) {
		value, there := m.Value(id)
		if there {
			b.WriteString("/" + id + "/" + Escape(value))
			written[id] = true
		}
	}
	write(key.ID)
	var longest []string
	for _, list := range key.Qualifiers {
		if mine := slices.DeleteFunc(slices.Clone(list), func(id string) bool { _, there := m.Value(id); return !there }); len(mine) > len(longest) {
			longest = mine
		}
	}
	for _, id := range longest {
		write(id)
	}
	sign := "?"
	for _, e := range m.Elements {
		ai, known := named(e.AI)
		if written[e.AI] {
			continue
		}
		if !known || !ai.Query || slices.ContainsFunc(key.Qualifiers, func(l []string) bool { return slices.Contains(l, e.AI) }) {
			return "", fmt.Errorf("(%s) cannot stand in a Digital Link of (%s)", e.AI, key.ID)
		}
		b.WriteString(sign + e.AI + "=" + Escape(e.Value))
		written[e.AI], sign = true, "&"
	}
	return b.String(), nil
}

// Escape writes a value so that it can stand in an address anywhere: all but letters, digits and - . _ ~ as percent
// signs and numbers.
func Escape(value string) string {
	var b strings.Builder
	for _, c := range []byte(value) {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.IndexByte("-._~", c) >= 0 {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}
