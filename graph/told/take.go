package told

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/gs1"
	"heeltap/lots/papers"
	"heeltap/lots/store"
)

// What the steps about others' documents are about. The names are stored: the list only grows.
const (
	aboutDocuments  = "documents told"
	aboutDeliveries = "deliveries told"
	aboutOnward     = "passed on by " // the party's code follows
)

// What such a step does.
const (
	doDocument  = "document"
	doShipped   = "shipped"
	doWithdrawn = "withdrawn"
	doReceived  = "received"
	doClosed    = "closed"
)

// step is one step about what somebody else says: a document that came, a shipment told in it or declared in error, a
// delivery that was received against it, or that somebody gave up.
type step struct {
	Do       string          `json:"do"`
	ID       string          `json:"id,omitempty"`  // of the event
	Sum      string          `json:"sum,omitempty"` // of what it says
	Party    string          `json:"party,omitempty"`
	Hash     string          `json:"document,omitempty"` // SHA-256 of the document that it stood in
	N        int             `json:"n,omitempty"`        // of the event in it
	At       string          `json:"at,omitempty"`
	To       string          `json:"to,omitempty"`
	ToName   string          `json:"to_name,omitempty"`
	Papers   []Paper         `json:"papers,omitempty"`
	SSCCs    []string        `json:"sscc,omitempty"`
	Lines    []Line          `json:"lines,omitempty"`
	Event    string          `json:"event,omitempty"` // as it came
	Lots     []string        `json:"lots,omitempty"`  // received against it
	Reason   string          `json:"reason,omitempty"`
	Paper    *papers.Paper   `json:"paper,omitempty"`
	Context  json.RawMessage `json:"context,omitempty"`
	Events   int             `json:"events,omitempty"`
	Expected int             `json:"expected,omitempty"`
	Onward   int             `json:"onward,omitempty"`
}

// Line is some goods of a shipment.
type Line struct {
	SSCC string   `json:"sscc,omitempty"` // the pallet they are on, where it is said
	ID   string   `json:"id"`             // of the class or instance, as it came
	N    *float64 `json:"n,omitempty"`    // nil: not said
	UOM  string   `json:"uom,omitempty"`
}

// Document is a document to take in.
type Document struct {
	In    io.ReadSeeker
	At    io.ReaderAt // the same
	Name  string      // of the file
	From  string      // the party that sent it; empty: by the location numbers in it
	By    string
	Paper func(hash string) (papers.Paper, error) // keeps the document as it came
}

// Taken is what came of a document.
type Taken struct {
	Party     string `json:"party"`
	Hash      string `json:"sha256"`
	Events    int    `json:"events"`
	Expected  int    `json:"expected"`  // shipments to us that are expected now
	Onward    int    `json:"onward"`    // shipments of our goods to others
	Withdrawn int    `json:"withdrawn"` // declared in error
	Known     int    `json:"known"`     // told before, saying the same
	Others    int    `json:"others"`    // events of other kinds: they stay in the document, which is kept
	Again     bool   `json:"again"`     // this very document was taken in before
}

// Take reads a document twice: once to judge all of it, and once to put on record what heeltap uses of it. It records
// nothing of a bad one. The records themselves stay as they are.
func Take(tx *store.Tx, d Document) (*Taken, error) {
	k := &taker{tx: tx, d: d, names: map[string]string{}}
	if err := k.survey(); err != nil {
		return nil, err
	}
	out := &k.out
	if known, err := documentKnown(tx, k.out.Hash); err != nil || known {
		out.Again = known
		return out, err
	}
	if err := k.whoSent(); err != nil {
		return nil, err
	}
	out.Party = k.party.Code
	paper, err := d.Paper(out.Hash)
	if err != nil {
		return nil, err
	}
	if err := cmp.Or(k.learn(), k.record()); err != nil {
		return nil, err
	}
	doc := step{Do: doDocument, Paper: &paper, Party: out.Party, Context: k.head.Context, Events: out.Events, Expected: out.Expected, Onward: out.Onward}
	if _, err := tx.Act(aboutDocuments, doc, d.By); err != nil {
		return nil, err
	}
	return out, tx.Err()
}

func documentKnown(tx *store.Tx, hash string) (known bool, err error) {
	err = eachStep(tx, aboutDocuments, func(_ int64, s *step) error {
		known = known || s.Paper != nil && s.Paper.Hash == hash
		return nil
	})
	return known, err
}

func eachStep(tx *store.Tx, about string, yield func(entry int64, s *step) error) error {
	return tx.EachStep(about, func(entry int64, text []byte) error {
		s := &step{}
		if err := json.Unmarshal(text, s); err != nil {
			return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", entry, err)
		}
		return yield(entry, s)
	})
}

// taker takes one document. What it holds of each event is a few bytes: of one that packs, where it stands, and of each that
// was told, its identifier's hash.
type taker struct {
	tx    *store.Tx
	d     Document
	out   Taken
	head  Header
	party *lots.Party
	sent  []string // location numbers of who ships
	packs []pack
	names map[string]string // by canonical identifier, from the document's master data

	parties map[string]*lots.Party // by location number
	ours    map[string]bool        // GTINs without indicator, and SSCCs, of our goods
	known   map[[16]byte]uint64    // what was told, by the hash of its identifier
}

// pack is where in the document it stands what is on a pallet.
type pack struct {
	parent     uint64
	start, end int64
}

func hashOf(text string) [16]byte { b := sha256.Sum256([]byte(text)); return [16]byte(b[:16]) }

func shortHash(text string) uint64 { h := hashOf(text); return binary.BigEndian.Uint64(h[:8]) }

// survey judges the whole document and notes where its pallets are packed.
func (k *taker) survey() error {
	if _, err := k.d.In.Seek(0, io.SeekStart); err != nil {
		return lots.Errorf(lots.Internal, "%s cannot be read: %w", k.d.Name, err)
	}
	sum := sha256.New()
	in := io.TeeReader(k.d.In, sum)
	head, err := Read(in, func(e *Event) error {
		k.out.Events++
		if e.Type == "AggregationEvent" && e.Action != "DELETE" && !e.Declared && e.Parent != "" {
			k.packs = append(k.packs, pack{shortHash(KeyOf(e.Parent).Link), e.Start, e.End})
		}
		if e.ships() && len(k.sent) < 50 {
			for _, id := range e.From {
				if gln := KeyOf(id).GLN; gln != "" && !slices.Contains(k.sent, gln) {
					k.sent = append(k.sent, gln)
				}
			}
		}
		return nil
	})
	if err != nil {
		if wrong, ok := errors.AsType[*Error](err); ok {
			return lots.Errorf(lots.Invalid, "%s, %w; nothing of it was recorded", k.d.Name, wrong)
		}
		return err
	}
	if _, err := io.Copy(io.Discard, in); err != nil { // the line end behind it
		return lots.Errorf(lots.Internal, "%s cannot be read: %w", k.d.Name, err)
	}
	slices.SortStableFunc(k.packs, func(a, b pack) int { return cmp.Compare(a.parent, b.parent) })
	k.head, k.names, k.out.Hash = head, head.Names, hex.EncodeToString(sum.Sum(nil))
	return nil
}

// whoSent finds the party that says all this.
func (k *taker) whoSent() error {
	records, err := k.tx.Records("parties")
	if err != nil {
		return err
	}
	k.parties = map[string]*lots.Party{}
	for _, rec := range records {
		if p := rec.(*lots.Party); strings.TrimSpace(p.GLN) != "" {
			k.parties[strings.TrimSpace(p.GLN)] = p
		}
	}
	if k.d.From != "" {
		p, ok := k.tx.Party(k.d.From)
		if !ok {
			return lots.Errorf(lots.NotFound, "there is no party %s", k.d.From)
		}
		k.party = p
		return nil
	}
	var found []*lots.Party
	for _, gln := range k.sent {
		if p := k.parties[gln]; p != nil && p.Role != "own" && !slices.Contains(found, p) {
			found = append(found, p)
		}
	}
	if len(found) != 1 {
		return lots.Errorf(lots.Invalid, "%s does not say for certain who of your parties sent it: say so with --from PARTY (location numbers in it: %s)", k.d.Name, cmp.Or(strings.Join(k.sent, ", "), "none"))
	}
	k.party = found[0]
	return nil
}

// learn gathers what is ours, and what was told before.
func (k *taker) learn() error {
	k.ours, k.known = map[string]bool{}, map[[16]byte]uint64{}
	products, err := k.tx.Records("products")
	if err != nil {
		return err
	}
	for _, rec := range products {
		if n, ok := gs1.Read(rec.(*lots.Product).GTIN); ok && n.Kind == gs1.GTIN {
			k.ours[n.Item()] = true
		}
	}
	for _, text := range k.tx.PrintedTexts(store.PrintedSSCC) {
		if n, ok := gs1.Read(text); ok && n.Kind == gs1.SSCC {
			k.ours[n.Digits] = true
		}
	}
	for _, about := range []string{aboutDeliveries, aboutOnward + k.party.Code} {
		err := eachStep(k.tx, about, func(_ int64, s *step) error {
			if s.Do == doShipped || s.Do == doWithdrawn {
				k.know(s)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (k *taker) know(s *step) { k.known[hashOf(s.Do+" "+s.ID)] = shortHash(s.Sum) }

// isOurs reports whether an identifier is of goods of ours.
func (k *taker) isOurs(id string) bool {
	if strings.HasPrefix(id, ownBase(k.tx)) {
		return true
	}
	key := KeyOf(id)
	return key.SSCC != "" && k.ours[key.SSCC] || key.GTIN != "" && k.ours[key.GTIN[1:13]]
}

// ownBase begins the identifiers that our own exports give to what has no GS1 key.
func ownBase(tx *store.Tx) string { return "urn:heeltap:" + gs1.Escape(tx.Site().Name) + ":" }

// ships reports whether an event says that goods left.
func (e *Event) ships() bool {
	return (e.BizStep == "shipping" || e.BizStep == "https://ref.gs1.org/cbv/BizStep-shipping") && e.Action != "DELETE" && e.Type != "TransformationEvent"
}

// record puts on record the shipments that are of use, and those of them that were declared in error.
func (k *taker) record() error {
	if _, err := k.d.In.Seek(0, io.SeekStart); err != nil {
		return lots.Errorf(lots.Internal, "%s cannot be read: %w", k.d.Name, err)
	}
	_, err := Read(k.d.In, func(e *Event) error {
		if !e.ships() {
			k.out.Others++
			return nil
		}
		s, err := k.stepOf(e)
		if err != nil {
			return err
		}
		about := k.about(e, s)
		if about == "" {
			k.out.Others++
			return nil
		}
		if was, ok := k.known[hashOf(s.Do+" "+s.ID)]; ok && (was == shortHash(s.Sum) || s.Do == doWithdrawn) {
			k.out.Known++
			return nil
		}
		k.know(s)
		_, wrong := k.known[hashOf(doWithdrawn+" "+s.ID)]
		switch {
		case wrong: // also where the declaration came before what it is about
			k.out.Withdrawn++
		case about == aboutDeliveries:
			k.out.Expected++
		default:
			k.out.Onward++
		}
		_, err = k.tx.Act(about, s, k.d.By)
		return err
	})
	return err
}

// about is what the step about a shipment is about: a delivery to us, our goods passed on, or neither.
func (k *taker) about(e *Event, s *step) string {
	if slices.ContainsFunc(s.SSCCs, func(n string) bool { return k.ours[n] }) || slices.ContainsFunc(s.Lines, func(l Line) bool { return k.isOurs(l.ID) }) {
		return aboutOnward + k.party.Code
	}
	if k.party.Role == "consignee" {
		return ""
	}
	for _, id := range e.To {
		if p := k.parties[KeyOf(id).GLN]; p != nil && p.Role != "own" {
			return "" // to somebody else
		}
	}
	return aboutDeliveries
}

// stepOf is what is kept of a shipment.
func (k *taker) stepOf(e *Event) (*step, error) {
	s := &step{Do: doShipped, ID: e.ID, Sum: e.Sum(), Party: k.party.Code, Hash: k.out.Hash, N: e.N, At: e.At.UTC().Format(time.RFC3339Nano), Papers: e.Papers, Event: string(e.Raw)}
	if e.Declared {
		s.Do = doWithdrawn
	}
	if len(e.To) > 0 {
		s.To = e.To[0]
		key := KeyOf(s.To)
		if p := k.parties[key.GLN]; p != nil {
			s.ToName = p.Name
		} else {
			s.ToName = k.names[key.Link]
		}
	}
	on := ""
	if e.Parent != "" {
		on = KeyOf(e.Parent).SSCC
		if on != "" {
			s.SSCCs = append(s.SSCCs, on)
		} else {
			s.Lines = append(s.Lines, Line{ID: e.Parent})
		}
	}
	for _, a := range e.Amounts {
		s.Lines = append(s.Lines, Line{on, a.Class, a.N, a.UOM})
	}
	if on != "" && len(e.Amounts)+len(e.Things) == 0 {
		return s, k.unpack(s, on, 0)
	}
	for _, id := range e.Things {
		if err := k.thing(s, on, id, 0); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// deepest is how many levels of packing are followed: a pallet, its cases, what is in them.
const deepest = 3

// thing adds an instance; a pallet with what was packed on it, where the document says so.
func (k *taker) thing(s *step, on, id string, level int) error {
	key := KeyOf(id)
	if key.SSCC == "" {
		s.Lines = append(s.Lines, Line{SSCC: on, ID: id})
		return nil
	}
	if slices.Contains(s.SSCCs, key.SSCC) {
		return nil
	}
	s.SSCCs = append(s.SSCCs, key.SSCC)
	return k.unpack(s, key.SSCC, level)
}

// unpack adds what is on a pallet, by the last event of the document that packs it.
func (k *taker) unpack(s *step, sscc string, level int) error {
	link := KeyOf("https://id.gs1.org/00/" + sscc).Link
	at, found := slices.BinarySearchFunc(k.packs, shortHash(link), func(p pack, h uint64) int { return cmp.Compare(p.parent, h) })
	if !found || level >= deepest {
		return nil
	}
	for at+1 < len(k.packs) && k.packs[at+1].parent == k.packs[at].parent {
		at++
	}
	raw := make([]byte, k.packs[at].end-k.packs[at].start)
	if _, err := k.d.At.ReadAt(raw, k.packs[at].start); err != nil {
		return lots.Errorf(lots.Internal, "%s cannot be read: %w", k.d.Name, err)
	}
	e, err := ParseEvent(raw)
	if err != nil {
		return err
	}
	if KeyOf(e.Parent).SSCC != sscc {
		return nil
	}
	for _, a := range e.Amounts {
		s.Lines = append(s.Lines, Line{sscc, a.Class, a.N, a.UOM})
	}
	for _, id := range e.Things {
		if err := k.thing(s, sscc, id, level+1); err != nil {
			return err
		}
	}
	return nil
}

// Text says for people what came of a document.
func (t *Taken) Text() string {
	if t.Again {
		return "this very document was taken in before: nothing was recorded anew"
	}
	parts := []string{}
	add := func(n int, one, many string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, map[bool]string{true: one, false: many}[n == 1]))
		}
	}
	add(t.Expected, "delivery is expected", "deliveries are expected")
	add(t.Onward, "shipment of our goods passed on", "shipments of our goods passed on")
	add(t.Withdrawn, "declared in error", "declared in error")
	add(t.Known, "told before", "told before")
	add(t.Others, "event of another kind stays in the document, which is kept", "events of other kinds stay in the document, which is kept")
	return strings.Join(parts, ", ")
}
