package told

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"heeltap/lots"
)

// LargestEvent is how many bytes one event may have: 16 MB. It bounds what reading a document holds in memory.
const LargestEvent = 16 << 20

// Error says what is wrong with a document, and where.
type Error struct {
	Event  int    // counted from 1; 0 where it is about the document
	ID     string // of that event, where it has one
	At     int64  // bytes from the start of the document to where reading stood; 0 where that says nothing
	Field  string // of the event or the document; empty where none is meant
	Reason string
}

func (e *Error) Error() string {
	where := "the document"
	if e.Event > 0 {
		where = fmt.Sprintf("event %d", e.Event)
		if e.ID != "" {
			where += " (" + e.ID + ")"
		}
	}
	if e.At > 0 {
		where += fmt.Sprintf(", at byte %d", e.At)
	}
	if e.Field != "" {
		return fmt.Sprintf("%s: %s %s", where, e.Field, e.Reason)
	}
	return where + ": " + e.Reason
}

// ErrorKind is Invalid: whoever sent the document has to mend it.
func (e *Error) ErrorKind() lots.ErrKind { return lots.Invalid }

// Header is what a document says of itself.
type Header struct {
	Context json.RawMessage // of the words in it that are not the standard's
	Created string
	Events  int
	Names   map[string]string // of parties and places, by canonical identifier, from its master data
}

// Read reads a document event by event, in its order, and holds one at a time. It refuses what the standard's schema refuses,
// and besides a negative quantity, a time without offset, and an aggregation to nothing. An error of yield ends it.
func Read(in io.Reader, yield func(*Event) error) (Header, error) {
	r := &reader{in: &bounded{in: in}, yield: yield}
	r.dec = json.NewDecoder(bufio.NewReaderSize(r.in, 64<<10))
	err := r.document()
	return r.h, err
}

// bounded stops reading where one event is larger than any may be: the decoder holds it whole.
type bounded struct {
	in   io.Reader
	left int64
}

var errTooLarge = errors.New("too large")

func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errTooLarge
	}
	n, err := b.in.Read(p[:min(int64(len(p)), b.left)])
	b.left -= int64(n)
	return n, err
}

type reader struct {
	in    *bounded
	dec   *json.Decoder
	yield func(*Event) error
	h     Header
	has   []string
	event int
}

func (r *reader) fault(field, format string, args ...any) error {
	return &Error{Event: r.event, Field: field, Reason: fmt.Sprintf(format, args...)}
}

// token reads one token; an error of reading says where.
func (r *reader) token() (json.Token, error) {
	r.in.left = LargestEvent
	t, err := r.dec.Token()
	return t, r.failed(err)
}

func (r *reader) failed(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, errTooLarge):
		return &Error{Event: r.event, At: r.dec.InputOffset(), Reason: "has more than 16 MB, which none may have"}
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return &Error{Event: r.event, At: r.dec.InputOffset(), Reason: "it ends in the middle: have it sent again"}
	}
	if wrong, ok := errors.AsType[*json.SyntaxError](err); ok {
		return &Error{Event: r.event, At: max(wrong.Offset, r.dec.InputOffset()), Reason: "this is no JSON (" + wrong.Error() + "): have it sent again as EPCIS 2.0 in JSON-LD"}
	}
	return lots.Errorf(lots.Internal, "the document cannot be read: %w", err)
}

func (r *reader) value(into any) error {
	r.in.left = LargestEvent
	return r.failed(r.dec.Decode(into))
}

// inObject calls one for each field of an object that begins here.
func (r *reader) inObject(what string, one func(name string) error) error {
	t, err := r.token()
	if err != nil {
		return err
	}
	if t != json.Delim('{') {
		return r.fault(what, "is no object")
	}
	for r.dec.More() {
		t, err := r.token()
		if err != nil {
			return err
		}
		if err := one(t.(string)); err != nil {
			return err
		}
	}
	_, err = r.token()
	return err
}

// documentFields are what a document may say of itself (the official JSON Schema, "epcisDocument").
var documentFields = []string{"@context", "id", "type", "schemaVersion", "creationDate", "instanceIdentifier", "sender", "receiver", "epcisHeader", "epcisBody"}

func (r *reader) document() error {
	err := r.inObject("", func(name string) error {
		if !slices.Contains(documentFields, name) && !isURI(name) {
			return r.fault(name, "is no word of the standard, and has no prefix of its own")
		}
		if slices.Contains(r.has, name) {
			return r.fault(name, "stands there twice")
		}
		r.has = append(r.has, name)
		if name == "epcisBody" {
			return r.inObject(name, r.body)
		}
		var v json.RawMessage
		if err := r.value(&v); err != nil {
			return err
		}
		return r.headed(name, v)
	})
	if err != nil {
		return err
	}
	if r.event = 0; !slices.Contains(r.has, "type") {
		return r.fault("", "says no type: it is not a document of EPCIS 2.0")
	}
	for _, name := range []string{"@context", "schemaVersion", "creationDate", "epcisBody", "eventList"} {
		if !slices.Contains(r.has, name) {
			return r.fault(name, "is missing")
		}
	}
	if r.dec.More() {
		return &Error{At: r.dec.InputOffset(), Reason: "something stands behind its end"}
	}
	return nil
}

// headed takes one field of the document.
func (r *reader) headed(name string, v json.RawMessage) error {
	var text string
	isText := json.Unmarshal(v, &text) == nil
	switch name {
	case "@context":
		r.h.Context = compact(v)
	case "type":
		if text != "EPCISDocument" {
			return r.fault(name, "is %s: only an EPCISDocument is read", v)
		}
	case "schemaVersion":
		if !isText || !versions.MatchString(text) {
			return r.fault(name, "is %s: write 2.0", v)
		}
	case "creationDate":
		if _, err := instantOf(text); err != nil {
			return r.fault(name, "%s", err)
		}
		r.h.Created = text
	case "epcisHeader":
		r.h.Names = namesIn(v)
	case "id":
		if !isURI(text) {
			return r.fault(name, "is no URI")
		}
	}
	return nil
}

func (r *reader) body(name string) error {
	if name != "eventList" {
		return r.fault("epcisBody", "holds %q: only an eventList is read", name)
	}
	if slices.Contains(r.has, name) {
		return r.fault(name, "stands there twice")
	}
	r.has = append(r.has, name)
	t, err := r.token()
	if err != nil {
		return err
	}
	if t != json.Delim('[') {
		return r.fault(name, "is no list")
	}
	for r.dec.More() {
		r.event++
		r.h.Events++
		var raw json.RawMessage
		if err := r.value(&raw); err != nil {
			return err
		}
		if len(raw) > LargestEvent {
			return r.failed(errTooLarge)
		}
		e, err := ParseEvent(raw)
		if wrong, ok := errors.AsType[*Error](err); ok {
			wrong.Event = r.event
		}
		if err != nil {
			return err
		}
		e.N, e.End = r.event, r.dec.InputOffset()
		e.Start = e.End - int64(len(raw))
		if err := r.yield(e); err != nil {
			return err
		}
	}
	r.event = 0
	_, err = r.token()
	return err
}

// compact is a JSON text without the spaces around its marks; all it says stays as it stands.
func compact(v []byte) json.RawMessage {
	var b bytes.Buffer
	if json.Compact(&b, v) != nil {
		return slices.Clone(v)
	}
	return b.Bytes()
}

// namesIn are the names that a document's master data gives to identifiers.
func namesIn(header []byte) map[string]string {
	var h struct {
		EPCISMasterData struct {
			VocabularyList []struct {
				VocabularyElementList []struct {
					ID         string
					Attributes []struct {
						ID        string
						Attribute any
					}
				}
			}
		}
	}
	if json.Unmarshal(header, &h) != nil {
		return nil
	}
	out := map[string]string{}
	for _, v := range h.EPCISMasterData.VocabularyList {
		for _, e := range v.VocabularyElementList {
			for _, a := range e.Attributes {
				if name, ok := a.Attribute.(string); ok && lastPart(strings.ReplaceAll(a.ID, "#", "/")) == "name" {
					out[KeyOf(e.ID).Link] = name
				}
			}
		}
	}
	return out
}
