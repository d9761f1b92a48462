package gs1

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"heeltap/lots"
)

// Element is one application identifier with what stands behind it.
type Element struct {
	AI    string
	Value string
	At    int // the character of the scan at which its value begins, counted from 1
}

// Message is what one bar code says.
type Message struct {
	Elements []Element
	// Doubt says, in a sentence, why the text may have to be read in another way; empty where it need not.
	Doubt string
}

// Error says where a bar code cannot be read, and why.
type Error struct {
	At     int    // the character of the scan, counted from 1
	AI     string // the identifier it stands behind; empty where there is none
	Reason string
}

func (e *Error) Error() string {
	if e.AI == "" {
		return fmt.Sprintf("bar code, character %d: %s", e.At, e.Reason)
	}
	return fmt.Sprintf("bar code, character %d, in (%s): %s", e.At, e.AI, e.Reason)
}

// ErrorKind says that what was scanned is not as it must be.
func (e *Error) ErrorKind() lots.ErrKind { return lots.Invalid }

// Separator ends an element of no fixed length: FNC1 as scanners send it.
const Separator = '\x1d'

// Visible is the separator as it is kept and shown: a character that no label holds, and every file may.
const Visible = "␝"

// Keep is a scan as it is put on record: exactly as it came, with separators made visible.
func Keep(scan string) string { return strings.ReplaceAll(scan, string(Separator), Visible) }

// ErrNone is returned for a text that is no GS1 bar code at all, and need not be one.
var ErrNone = errors.New("this is no GS1 bar code")

// prefixes are what scanners put before a GS1 element string, by the symbol it stood in: GS1-128, GS1 DataBar and
// composites, GS1 DataMatrix, GS1 QR and GS1 DotCode (ISO/IEC 15424).
var prefixes = []string{"]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1"}

// plainPrefixes are those of symbols that hold a plain text, which may be a GTIN or an address.
var plainPrefixes = []string{"]E0", "]E3", "]E4", "]I0", "]I1", "]C0", "]d0", "]d1", "]Q0", "]Q1", "]Q2"}

// Value is what stands behind an identifier; false where it is not there.
func (m Message) Value(ai string) (string, bool) {
	i := slices.IndexFunc(m.Elements, func(e Element) bool { return e.AI == ai })
	if i < 0 {
		return "", false
	}
	return m.Elements[i].Value, true
}

// String is the message as people read it, with each identifier in brackets.
func (m Message) String() string {
	var b strings.Builder
	for _, e := range m.Elements {
		fmt.Fprintf(&b, "(%s)%s", e.AI, e.Value)
	}
	return b.String()
}

// Raw is the message as a symbol holds it, without the first FNC1.
func (m Message) Raw() string {
	var b strings.Builder
	for i, e := range m.Elements {
		b.WriteString(e.AI + e.Value)
		if ai, _ := named(e.AI); !ai.Fixed && i+1 < len(m.Elements) {
			b.WriteByte(Separator)
		}
	}
	return b.String()
}

// Scan reads what a scanner sent or somebody typed: an element string behind its symbology identifier, one with FNC1
// separators (also written ␝, {GS} or ^, where a scanner cannot send the character itself), one in brackets, a Digital
// Link, or the GTIN of a retail symbol. A text without any such sign is taken for an element string only if it begins
// with an SSCC or GTIN whose check digit is right and can be read to its end; any other is [ErrNone].
func Scan(text string) (Message, error) {
	line := strings.TrimRight(text, "\r\n\t ")
	line = strings.TrimLeft(line, "\r\n\t ")
	skipped := utf8.RuneCountInString(text[:strings.Index(text, line)])
	m, err := scan(line)
	var wrong *Error
	if errors.As(err, &wrong) {
		wrong.At += skipped
	}
	for i := range m.Elements {
		m.Elements[i].At += skipped
	}
	return m, err
}

func scan(line string) (Message, error) {
	for _, p := range prefixes {
		if rest, ok := strings.CutPrefix(line, p); ok {
			return parse(rest, len(p))
		}
	}
	for _, p := range plainPrefixes {
		if rest, ok := strings.CutPrefix(line, p); ok {
			return plain(rest, len(p))
		}
	}
	switch {
	case isLink(line):
		return ParseLink(line)
	case strings.HasPrefix(line, "("):
		return bracketedScan(line)
	case separatorAt(line, 0) > 0, strings.ContainsRune(line, Separator), strings.Contains(line, Visible), strings.Contains(line, "{GS}"):
		return parse(line, 0)
	}
	return bare(line)
}

// plain reads the text of a symbol that is no GS1 element string.
func plain(text string, skipped int) (Message, error) {
	if isLink(text) {
		m, err := ParseLink(text)
		return m.moved(skipped), moved(err, skipped)
	}
	n := Number{Kind: GTIN, Digits: text}
	if isDigits(text) && isGTIN(len(text)) && n.Valid() {
		return Message{Elements: []Element{{AI: "01", Value: n.Key(), At: skipped + 1}}}, nil
	}
	return Message{}, ErrNone
}

// bare reads a text that nothing marks as a bar code.
func bare(text string) (Message, error) {
	if len(text) < 2 || !slices.Contains([]string{"00", "01", "02"}, text[:2]) {
		return Message{}, ErrNone
	}
	m, err := parse(text, 0)
	if err != nil {
		return Message{}, ErrNone
	}
	return m, nil
}

// Parse reads an element string as a symbol holds it.
func Parse(text string) (Message, error) { return parse(text, 0) }

func parse(text string, skipped int) (Message, error) {
	r := reader{text: text, skipped: skipped}
	return r.read()
}

// reader reads an element string from left to right.
type reader struct {
	text    string
	at      int // the next byte
	skipped int // characters that stood before the text
	m       Message
	loose   bool // a separator was met
}

func (r *reader) place(at int) int { return r.skipped + utf8.RuneCountInString(r.text[:at]) + 1 }

// separatorAt is how many bytes of a separator, however it is written, begin at a byte of a text. None of the ways
// can be mistaken for data: no element may hold the first character of any.
func separatorAt(text string, at int) int {
	for _, s := range []string{string(Separator), Visible, "{GS}", "^"} {
		if strings.HasPrefix(text[at:], s) {
			return len(s)
		}
	}
	return 0
}

func (r *reader) read() (Message, error) {
	for n := separatorAt(r.text, 0); n > 0; n = separatorAt(r.text, r.at) {
		r.at += n // FNC1 at the start says that this is a GS1 symbol
	}
	if r.at == len(r.text) {
		return Message{}, &Error{At: r.place(0), Reason: "nothing stands in it"}
	}
	for r.at < len(r.text) {
		ai, ok := Find(r.text[r.at:])
		if !ok {
			return Message{}, &Error{At: r.place(r.at), Reason: fmt.Sprintf("%s… is no application identifier; perhaps a separator is missing before it", start(r.text[r.at:], 4))}
		}
		r.at += len(ai.ID)
		if err := r.value(ai); err != nil {
			return Message{}, err
		}
	}
	if err := r.m.doubled(); err != nil {
		return Message{}, err
	}
	r.doubt()
	return r.m, nil
}

// start is the beginning of a text.
func start(text string, n int) string {
	for i := range text {
		if n--; n < 0 {
			return text[:i]
		}
	}
	return text
}

// value reads what stands behind an identifier.
func (r *reader) value(ai AI) error {
	from, end := r.at, r.at
	for end < len(r.text) && separatorAt(r.text, end) == 0 {
		if ai.Fixed && end-from == ai.longest() {
			break
		}
		end++
	}
	value := r.text[from:end]
	if wrong := ai.judge(value); wrong != nil {
		wrong.At = r.place(from + min(wrong.At, len(value)))
		return wrong
	}
	r.m.Elements = append(r.m.Elements, Element{AI: ai.ID, Value: value, At: r.place(from)})
	r.at = end
	for n := 0; r.at < len(r.text); r.at += n {
		if n = separatorAt(r.text, r.at); n == 0 {
			break
		}
		r.loose = true
	}
	return nil
}

// judge says what is wrong with the data of an identifier; At counts bytes of it from 0.
func (ai AI) judge(value string) *Error {
	fault := func(at int, format string, args ...any) *Error {
		return &Error{At: at, AI: ai.ID, Reason: fmt.Sprintf(format, args...)}
	}
	if value == "" {
		return fault(0, "nothing stands behind it")
	}
	at := 0
	for _, p := range ai.parts {
		if at == len(value) && p.optional {
			break
		}
		text := value[at:min(len(value), at+p.max)]
		for i, c := range text {
			if !holds(p.kind, c) {
				return fault(at+i, "%q may not stand here: only %s may", c, kinds[p.kind])
			}
		}
		if len(text) < p.min || text == "" {
			return fault(len(value), "%s is too short: %s", value, ai.lengths())
		}
		for _, name := range p.tests {
			if test := tests[name]; test != nil {
				if why := test(text); why != "" {
					return fault(at, "%s", why)
				}
			}
		}
		at += len(text)
	}
	if at < len(value) {
		return fault(at, "%s is too long: %s", start(value, 100), ai.lengths())
	}
	return nil
}

// kinds are what parts may hold, in words.
var kinds = map[string]string{digitsOnly: "digits", anyText: "letters A-Z a-z, digits and the signs of GS1's character set 82",
	capsText: "capital letters, digits and # - /", base64Text: "letters, digits, - _ and ="}

func holds(kind string, c rune) bool {
	if c >= utf8.RuneSelf {
		return false
	}
	switch kind {
	case digitsOnly:
		return c >= '0' && c <= '9'
	case capsText:
		return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || strings.ContainsRune("#-/", c)
	case base64Text:
		return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || strings.ContainsRune("-_=", c)
	}
	return strings.ContainsRune(letters82, c)
}

// lengths says how long the data of an identifier is.
func (ai AI) lengths() string {
	low := 0
	for _, p := range ai.parts {
		if !p.optional {
			low += p.min
		}
	}
	if high := ai.longest(); low != high {
		return fmt.Sprintf("it has %d to %d characters", low, high)
	}
	return fmt.Sprintf("it has %d characters", low)
}

// doubled refuses an identifier that stands twice and says two things.
func (m Message) doubled() error {
	for i, e := range m.Elements {
		if first, _ := m.Value(e.AI); first != e.Value {
			return &Error{At: m.Elements[i].At, AI: e.AI, Reason: fmt.Sprintf("it says both %s and %s", first, e.Value)}
		}
	}
	return nil
}

// doubt says so where the last element, of no fixed length, ends in what reads as a date or a count behind its
// identifier, and no separator was met at all: some scanners send none, and a lot would swallow what follows it.
func (r *reader) doubt() {
	last := r.m.Elements[len(r.m.Elements)-1]
	if ai, _ := named(last.AI); ai.Fixed || r.loose {
		return
	}
	for at := 1; at < len(last.Value)-2; at++ {
		if ai, ok := Find(last.Value[at:]); ok && ai.Fixed && slices.Contains([]string{"11", "13", "15", "16", "17"}, ai.ID) && ai.judge(last.Value[at+2:]) == nil {
			r.m.Doubt = fmt.Sprintf("no separator came with the bar code: does (%s)%s end before what reads as (%s)%s? Set the scanner to send FNC1 as GS, or compare with the print",
				last.AI, last.Value, ai.ID, last.Value[at+2:])
			return
		}
	}
}

// Unpaired says which identifiers lack what must stand beside them, or stand beside what they must not. Read on one
// label, other symbols of it may hold what lacks.
func (m Message) Unpaired() error {
	has := func(pattern string) bool {
		return slices.ContainsFunc(m.Elements, func(e Element) bool { return like(e.AI, pattern) })
	}
	for _, e := range m.Elements {
		ai, ok := named(e.AI)
		if !ok {
			continue
		}
		for _, other := range m.Elements {
			if other.AI != e.AI && slices.ContainsFunc(ai.bars, func(p string) bool { return like(other.AI, p) }) {
				return &Error{At: e.At, AI: e.AI, Reason: fmt.Sprintf("it may not stand beside (%s)", other.AI)}
			}
		}
		if len(ai.needs) > 0 && !slices.ContainsFunc(ai.needs, func(group []string) bool {
			return !slices.ContainsFunc(group, func(p string) bool { return !has(p) })
		}) {
			return &Error{At: e.At, AI: e.AI, Reason: "it says nothing by itself: it needs " + needed(ai.needs) + " beside it"}
		}
	}
	return nil
}

func needed(groups [][]string) string {
	texts := make([]string, len(groups))
	for i, g := range groups {
		texts[i] = "(" + strings.Join(g, ") and (") + ")"
	}
	return strings.Join(texts, " or ")
}

// bracketedScan reads element strings as they are printed under a symbol. A bracket may also stand in a value: it
// begins an element only where an identifier and a closing bracket follow it.
func bracketedScan(text string) (Message, error) {
	var m Message
	at := 0
	for at < len(text) {
		ai, n, ok := opened(text[at:])
		if !ok && at == 0 {
			return Message{}, ErrNone // it only begins with a bracket
		}
		if !ok {
			return Message{}, &Error{At: utf8.RuneCountInString(text[:at]) + 1, Reason: fmt.Sprintf("%s… is no application identifier in brackets", start(text[at:], 6))}
		}
		from := at + n
		end := from
		for end < len(text) {
			if _, _, ok := opened(text[end:]); ok {
				break
			}
			end++
		}
		value := text[from:end]
		if trimmed := strings.TrimRight(value, " "); end < len(text) && trimmed != "" {
			value = trimmed // a blank before the next bracket is how it is printed
		}
		lead := 0
		if trimmed := strings.TrimLeft(value, " "); trimmed != "" {
			lead, value = len(value)-len(trimmed), trimmed
		}
		if isDigits(strings.ReplaceAll(value, " ", "")) && ai.parts[0].kind == digitsOnly {
			value = strings.ReplaceAll(value, " ", "") // printed in groups
		}
		place := utf8.RuneCountInString(text[:from+lead]) + 1
		if wrong := ai.judge(value); wrong != nil {
			wrong.At = place + utf8.RuneCountInString(value[:min(wrong.At, len(value))])
			return Message{}, wrong
		}
		m.Elements = append(m.Elements, Element{AI: ai.ID, Value: value, At: place})
		at = end
	}
	return m, m.doubled()
}

// opened is the identifier in brackets at the start of a text, and its length with them.
func opened(text string) (AI, int, bool) {
	if !strings.HasPrefix(text, "(") {
		return AI{}, 0, false
	}
	end := strings.IndexByte(text, ')')
	if end < 0 || end > 5 {
		return AI{}, 0, false
	}
	ai, ok := named(text[1:end])
	return ai, end + 1, ok
}

// moved shifts the places in a message.
func (m Message) moved(by int) Message {
	for i := range m.Elements {
		m.Elements[i].At += by
	}
	return m
}

func moved(err error, by int) error {
	var wrong *Error
	if errors.As(err, &wrong) {
		wrong.At += by
	}
	return err
}
