package told

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Event is one event of a document: what heeltap uses of it, and all of it as it came.
type Event struct {
	N          int    // in its document, counted from 1
	Start, End int64  // bytes of the document where it stands
	ID         string // where it has none, one worked out from what it says
	Type       string
	At         time.Time
	Action     string
	BizStep    string
	Parent     string
	Things     []string // instances it is about: children, inputs and outputs too
	Inputs     []Amount
	Amounts    []Amount // classes it is about; of a transformation what came out
	Papers     []Paper
	From, To   []string // parties of its sources and destinations; the locations of each where it names no party
	Declared   bool     // it says that the event of this identifier was in error
	Raw        json.RawMessage
}

// Amount is some of a class of goods.
type Amount struct {
	Class string   `json:"class"`
	N     *float64 `json:"n,omitempty"` // nil: not said
	UOM   string   `json:"uom,omitempty"`
}

// Paper is a business transaction: a delivery note, an order.
type Paper struct {
	Type string `json:"type,omitempty"`
	ID   string `json:"id"`
}

var (
	versions = regexp.MustCompile(`^\d+(\.\d+)*$`)
	offsets  = regexp.MustCompile(`^[+-]((0[0-9]|1[0-3]):([0-5][0-9])|14:00)$`)
	units    = regexp.MustCompile(`^[A-Z0-9]{2,3}$`)
	uris     = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.-]*:[^\s<>"{}|\\^` + "`" + `]+$`)
)

func isURI(text string) bool {
	if !uris.MatchString(text) {
		return false
	}
	_, err := url.Parse(text)
	return err == nil
}

// withheld begins words of the standard in a form that EPCIS 2.0 in JSON does not allow.
var withheld = regexp.MustCompile(`^(urn:epcglobal:cbv|https?://ns\.gs1\.org/cbv/)`)

func words(s string) []string { return strings.Fields(s) }

// The words of the Core Business Vocabulary 2.0 and the fields of each type of event, as GS1's JSON Schema lists them.
var (
	bizSteps = words(`accepting arriving assembling collecting commissioning consigning creating_class_instance cycle_counting decommissioning departing destroying disassembling
		dispensing encoding entering_exiting holding inspecting installing killing loading other packing picking receiving removing repackaging repairing replacing reserving
		retail_selling shipping staging_outbound stock_taking stocking storing transporting unloading unpacking void_shipping sensor_reporting sampling`)
	dispositions = words(`active container_closed damaged destroyed dispensed disposed encoded expired in_progress in_transit inactive no_pedigree_match non_sellable_other
		partially_dispensed recalled reserved retail_sold returned sellable_accessible sellable_not_accessible stolen unknown available completeness_verified
		completeness_inferred conformant container_open mismatch_instance mismatch_class mismatch_quantity needs_replacement non_conformant unavailable`)
	paperTypes = words("bol cert desadv inv pedigree po poc prodorder recadv rma testprd testres upevt")
	endTypes   = words("owning_party possessing_party location")
	reasons    = words("did_not_occur incorrect_data")

	common = words("@context type eventTime recordTime eventTimeZoneOffset eventID certificationInfo errorDeclaration")
	shared = words("bizStep disposition persistentDisposition readPoint bizLocation bizTransactionList sourceList destinationList sensorElementList")
	fields = map[string][]string{
		"ObjectEvent":         words("action epcList quantityList ilmd"),
		"AggregationEvent":    words("action parentID childEPCs childQuantityList"),
		"TransactionEvent":    words("action parentID epcList quantityList"),
		"TransformationEvent": words("inputEPCList inputQuantityList outputEPCList outputQuantityList transformationID ilmd"),
		"AssociationEvent":    words("action parentID childEPCs childQuantityList"),
	}
)

// parser reads one event and keeps the first thing that is wrong with it.
type parser struct {
	e    *Event
	has  map[string]json.RawMessage
	wrng *Error
}

func (p *parser) fault(field, format string, args ...any) {
	if p.wrng == nil {
		p.wrng = &Error{ID: p.e.ID, Field: field, Reason: fmt.Sprintf(format, args...)}
	}
}

// ParseEvent reads one event. What is wrong with it is an *Error without the number of the event.
func ParseEvent(raw []byte) (*Event, error) {
	p := &parser{e: &Event{Raw: compact(raw)}}
	if err := json.Unmarshal(raw, &p.has); err != nil || p.has == nil {
		return nil, &Error{Reason: "is no object"}
	}
	e := p.e
	if e.ID = p.uri("eventID"); e.ID == "" {
		e.ID = madeID(e.Raw)
	}
	if e.Type = p.text("type"); e.Type == "" {
		p.fault("type", "is missing")
	}
	p.names()
	p.times()
	p.steps()
	p.goods()
	p.ends()
	p.declaration()
	if p.wrng != nil {
		return nil, p.wrng
	}
	return e, nil
}

// names refuses fields that the type of event does not have.
func (p *parser) names() {
	own, known := fields[p.e.Type]
	if !known && !isURI(p.e.Type) {
		p.fault("type", "is %q: no type of event of the standard, and without a prefix of its own", p.e.Type)
	}
	for name := range p.has {
		if known && !slices.Contains(common, name) && !slices.Contains(shared, name) && !slices.Contains(own, name) && !isURI(name) {
			p.fault(name, "is no field of this type of event; one of your own needs a prefix, such as ex:%s", name)
		}
	}
}

func (p *parser) text(field string) string {
	raw, ok := p.has[field]
	if !ok {
		return ""
	}
	var s string
	if json.Unmarshal(raw, &s) != nil || s == "" {
		p.fault(field, "is no text")
	}
	return s
}

func (p *parser) uri(field string) string {
	s := p.text(field)
	if s != "" && !isURI(s) {
		p.fault(field, "is %q, which is no URI", s)
		return ""
	}
	return s
}

func instantOf(text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return t, fmt.Errorf("is %q: write it like 2026-03-02T06:30:00+01:00, with the offset", text)
	}
	return t, nil
}

func (p *parser) times() {
	for _, field := range []string{"eventTime", "recordTime"} {
		text := p.text(field)
		if text == "" {
			if field == "eventTime" {
				p.fault(field, "is missing")
			}
			continue
		}
		t, err := instantOf(text)
		if err != nil {
			p.fault(field, "%s", err)
		}
		if field == "eventTime" {
			p.e.At = t
		}
	}
	switch o := p.text("eventTimeZoneOffset"); {
	case o == "":
		p.fault("eventTimeZoneOffset", "is missing")
	case !offsets.MatchString(o):
		p.fault("eventTimeZoneOffset", "is %q: write it like +01:00", o)
	}
}

// word reads a word of the vocabulary, or a URI of somebody's own.
func (p *parser) word(field, s string, known []string) {
	if s == "" || slices.Contains(known, s) {
		return
	}
	if withheld.MatchString(s) {
		p.fault(field, "is %q: EPCIS 2.0 has the bare word there", s)
	} else if !isURI(s) {
		p.fault(field, "is %q: no word of the vocabulary, and no URI", s)
	}
}

func (p *parser) steps() {
	e := p.e
	e.BizStep = p.text("bizStep")
	p.word("bizStep", e.BizStep, bizSteps)
	p.word("disposition", p.text("disposition"), dispositions)
	for _, field := range []string{"readPoint", "bizLocation"} {
		if raw, ok := p.has[field]; ok {
			var place struct{ ID string }
			if json.Unmarshal(raw, &place) != nil || !isURI(place.ID) {
				p.fault(field, `is no place: write it like {"id": "urn:epc:id:sgln:0614141.00777.0"}`)
			}
		}
	}
	if raw, ok := p.has["persistentDisposition"]; ok {
		var d map[string][]string
		if json.Unmarshal(raw, &d) != nil || len(d) == 0 {
			p.fault("persistentDisposition", "is no list of what is set and unset")
		}
		for what, list := range d {
			if what != "set" && what != "unset" || len(list) == 0 {
				p.fault("persistentDisposition", "has %q: only what is set and unset", what)
			}
			for _, s := range list {
				p.word("persistentDisposition", s, dispositions)
			}
		}
	}
	own, known := fields[e.Type]
	e.Action = p.text("action")
	if needs := slices.Contains(own, "action"); known && needs && e.Action == "" {
		p.fault("action", "is missing")
	} else if e.Action != "" && !slices.Contains([]string{"OBSERVE", "ADD", "DELETE"}, e.Action) {
		p.fault("action", "is %q: it is OBSERVE, ADD or DELETE", e.Action)
	}
	if _, has := p.has["ilmd"]; has && e.Type == "ObjectEvent" && e.Action != "ADD" {
		p.fault("ilmd", "goes only with the action ADD")
	}
}

func (p *parser) list(field string, into any) (there bool) {
	raw, ok := p.has[field]
	if !ok {
		return false
	}
	if err := json.Unmarshal(raw, into); err != nil || bytes.Equal(bytes.TrimSpace(raw), []byte("null")) {
		p.fault(field, "is no list as the standard has it: %v", err)
	}
	return true
}

func (p *parser) uriList(field string) (out []string, there bool) {
	there = p.list(field, &out)
	for i, s := range out {
		if !isURI(s) {
			p.fault(field, "%d is %q, which is no URI", i+1, s)
		}
	}
	return out, there
}

func (p *parser) amounts(field string) (out []Amount, there bool) {
	var all []map[string]json.RawMessage
	there = p.list(field, &all)
	for i, m := range all {
		var a Amount
		for name, v := range m {
			var err error
			switch name {
			case "epcClass":
				err = json.Unmarshal(v, &a.Class)
			case "quantity":
				err = json.Unmarshal(v, &a.N)
			case "uom":
				if err = json.Unmarshal(v, &a.UOM); err == nil && !units.MatchString(a.UOM) {
					err = fmt.Errorf("is %q: write a code of UN/ECE Recommendation 20, such as KGM", a.UOM)
				}
			default:
				err = fmt.Errorf("has no place there")
			}
			if err != nil {
				p.fault(field, "%d: %s %v", i+1, name, err)
			}
		}
		if !isURI(a.Class) {
			p.fault(field, "%d: epcClass is %q, which is no URI", i+1, a.Class)
		}
		if a.N != nil && *a.N < 0 {
			p.fault(field, "%d: a quantity cannot be below zero", i+1)
		}
		out = append(out, a)
	}
	return out, there
}

// goods takes what the event is about, and refuses one about nothing.
func (p *parser) goods() {
	e := p.e
	any := false
	for _, field := range []string{"epcList", "childEPCs", "inputEPCList", "outputEPCList"} {
		list, there := p.uriList(field)
		e.Things, any = append(e.Things, list...), any || there
	}
	for _, field := range []string{"quantityList", "childQuantityList", "outputQuantityList"} {
		list, there := p.amounts(field)
		e.Amounts, any = append(e.Amounts, list...), any || there
	}
	e.Inputs, _ = p.amounts("inputQuantityList")
	e.Parent = p.uri("parentID")
	has := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { _, ok := p.has[n]; return ok })
	}
	switch e.Type {
	case "ObjectEvent":
		if !has("epcList", "quantityList", "sensorElementList") {
			p.fault("epcList", "is missing, and so is quantityList: it says nothing of any goods")
		}
	case "AggregationEvent", "AssociationEvent":
		if e.Action != "DELETE" && !has("childEPCs", "childQuantityList") {
			p.fault("childEPCs", "is missing, and so is childQuantityList")
		}
		if e.Parent == "" && (e.Action != "OBSERVE" || e.Type == "AssociationEvent") {
			p.fault("parentID", "is missing: into what, or out of what?")
		}
	case "TransactionEvent":
		if e.Action != "DELETE" && !has("epcList", "quantityList") {
			p.fault("epcList", "is missing, and so is quantityList")
		}
	case "TransformationEvent":
		if p.uri("transformationID") == "" {
			if !has("inputEPCList", "inputQuantityList") {
				p.fault("inputEPCList", "is missing, and so are inputQuantityList and transformationID")
			}
			if !has("outputEPCList", "outputQuantityList") {
				p.fault("outputEPCList", "is missing, and so are outputQuantityList and transformationID")
			}
		}
	}
}

// ends takes the papers, and who sent to whom.
func (p *parser) ends() {
	var list []map[string]string
	papers := p.list("bizTransactionList", &list)
	for _, m := range list {
		p.word("bizTransactionList", m["type"], paperTypes)
		if !isURI(m["bizTransaction"]) {
			p.fault("bizTransactionList", "has %q, which is no URI", m["bizTransaction"])
		}
		p.e.Papers = append(p.e.Papers, Paper{m["type"], m["bizTransaction"]})
	}
	if p.e.Type == "TransactionEvent" && (!papers || len(list) == 0) {
		p.fault("bizTransactionList", "is missing")
	}
	p.e.From = p.parties("sourceList", "source")
	p.e.To = p.parties("destinationList", "destination")
}

func (p *parser) parties(field, name string) (parties []string) {
	var list []map[string]string
	p.list(field, &list)
	var places []string
	for _, m := range list {
		p.word(field, m["type"], endTypes)
		if m["type"] == "" || !isURI(m[name]) {
			p.fault(field, "has one without a type, or whose %s is no URI", name)
		}
		if m["type"] == "location" {
			places = append(places, m[name])
		} else if !slices.Contains(parties, m[name]) {
			parties = append(parties, m[name])
		}
	}
	if len(parties) == 0 {
		return places
	}
	return parties
}

func (p *parser) declaration() {
	raw, ok := p.has["errorDeclaration"]
	if !ok {
		return
	}
	var d struct {
		DeclarationTime, Reason string
		CorrectiveEventIDs      []string
	}
	if json.Unmarshal(raw, &d) != nil {
		p.fault("errorDeclaration", "is not as the standard has it")
	}
	if _, err := instantOf(d.DeclarationTime); err != nil {
		p.fault("errorDeclaration", "declarationTime %s", err)
	}
	p.word("errorDeclaration", d.Reason, reasons)
	p.e.Declared = true
}

// madeID identifies an event that has no identifier by what it says: a UUID of version 8 (RFC 9562) of its SHA-256.
func madeID(raw []byte) string {
	b := sha256.Sum256(raw)
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", b[0:4], b[4:6], b[6:8], b[8:10], b[10:16])
}

// Sum tells events of one identifier apart that say different things. When an event was written down says nothing of it.
func (e *Event) Sum() string {
	var all map[string]json.RawMessage
	if json.Unmarshal(e.Raw, &all) != nil {
		return ""
	}
	delete(all, "recordTime")
	text, err := json.Marshal(all) // in the order of names
	if err != nil {
		return ""
	}
	b := sha256.Sum256(text)
	return hex.EncodeToString(b[:8])
}
