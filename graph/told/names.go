package told

import (
	"net/url"
	"strings"

	"heeltap/lots/gs1"
)

// Key is what an identifier says, in whichever form it came: an EPC URN or a GS1 Digital Link. The parts are empty where
// it does not say them; all are where it is of neither form.
type Key struct {
	SSCC   string // 18 digits
	GTIN   string // 14 digits
	Lot    string
	Serial string
	GLN    string // 13 digits
	Link   string // the canonical Digital Link; of an identifier of neither form the identifier itself
}

// KeyOf reads an identifier.
func KeyOf(id string) Key {
	m, ok := elements(id)
	if !ok {
		return Key{Link: id}
	}
	var k Key
	for _, e := range m.Elements {
		switch e.AI {
		case "00":
			k.SSCC = e.Value
		case "01":
			k.GTIN = e.Value
		case "10":
			k.Lot = e.Value
		case "21":
			k.Serial = e.Value
		case "414", "417":
			k.GLN = e.Value
		}
	}
	link, err := gs1.Link(gs1.CanonicalStem, m)
	if err != nil {
		return Key{Link: id}
	}
	k.Link = link
	return k
}

// elements reads an identifier as element strings; what stands in a link's query is no part of what it names.
func elements(id string) (gs1.Message, bool) {
	if rest, ok := strings.CutPrefix(id, "urn:epc:"); ok {
		return urn(rest)
	}
	path, _, _ := strings.Cut(id, "?")
	m, err := gs1.ParseLink(path)
	return m, err == nil && len(m.Elements) > 0
}

// urn reads an EPC URN behind "urn:epc:". Its parts are the company prefix, the rest of the key without its check digit, and
// the serial or lot (GS1 EPC Tag Data Standard, "EPC URI").
func urn(text string) (gs1.Message, bool) {
	var scheme string
	for _, s := range []string{"id:", "class:", "idpat:"} {
		if rest, ok := strings.CutPrefix(text, s); ok {
			scheme, text = s, rest
		}
	}
	kind, body, ok := strings.Cut(text, ":")
	part := strings.SplitN(body, ".", 3)
	if !ok || len(part) < 2 || part[0] == "" || part[1] == "" {
		return gs1.Message{}, false
	}
	key := func(ai, digits string, size int) (gs1.Element, bool) {
		check, ok := gs1.CheckDigit(digits)
		return gs1.Element{AI: ai, Value: digits + string(check)}, ok && len(digits) == size
	}
	third := ""
	if len(part) == 3 {
		var err error
		if third, err = url.PathUnescape(part[2]); err != nil {
			return gs1.Message{}, false
		}
	}
	var m gs1.Message
	add := func(e gs1.Element, good bool) { m.Elements, ok = append(m.Elements, e), ok && good }
	switch scheme + kind {
	case "id:sscc":
		add(key("00", part[1][:1]+part[0]+part[1][1:], 17))
	case "id:sgtin", "class:lgtin", "idpat:sgtin":
		add(key("01", part[1][:1]+part[0]+part[1][1:], 13))
		switch {
		case third == "" || third == "*" && scheme != "idpat:":
			ok = false
		case scheme == "class:":
			add(gs1.Element{AI: "10", Value: third}, true)
		case scheme == "id:":
			add(gs1.Element{AI: "21", Value: third}, true)
		}
	case "id:sgln":
		add(key("414", part[0]+part[1], 12))
		if third != "0" && third != "" {
			add(gs1.Element{AI: "254", Value: third}, true)
		}
	case "id:pgln":
		add(key("417", part[0]+part[1], 12))
	default:
		return gs1.Message{}, false
	}
	if !ok {
		return gs1.Message{}, false
	}
	if _, err := gs1.Parse(m.Raw()); err != nil {
		return gs1.Message{}, false
	}
	return m, true
}
