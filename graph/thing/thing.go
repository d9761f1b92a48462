// Package thing says what one thing of the records is now, as somebody standing before it wants to know:
// a lot, brew, vessel, line, run, unit, shipment, return, party, item or product. What it is, what stops it, what it
// holds or where it is, where it came from and went to in one step, and what was entered about it.
package thing

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Thing is what a page, a tag or a person says of one thing.
type Thing struct {
	Kind    lots.Kind
	Noun    string // fermenter, pallet, supplier: what it is in one word
	Code    string
	Title   string   // what people call it: the item of a lot, the beer of a brew or in a tank
	State   string   // what it holds, or where it is, in one line
	Holds   bool     // of a vessel: by the books something is in it, or what was in it was not cleaned out
	Stopped []string // why nothing of it may be used or leave, each a sentence
	Facts   []Fact
	Parts   []Part // what it is made up of now
	From    []Step // what went into it, one step back
	To      []Step // what it went into, one step on
	Doubts  []string
	Entries []Entry // the newest first
	Papers  []Paper // photos and papers attached to it
}

// Paper is a photo or paper that is attached to a thing.
type Paper struct {
	Hash, Name, By, When, Size string
	Entry                      int64 // that attached it
}

// Fact is one thing worth knowing, with its name.
type Fact struct {
	Name, Text string
	Personal   bool // about people outside the house: for those who need it
}

// WithoutPersonal leaves out what is said of people outside the house.
func (t *Thing) WithoutPersonal() {
	t.Facts = slices.DeleteFunc(t.Facts, func(f Fact) bool { return f.Personal })
}

// Part is a share of what something is made up of, by the books and perfect mixing.
type Part struct {
	Kind lots.Kind
	Code string
	Text string
	Of   float64 // its share, 0 to 1; 0 where it is not known
	// Known is set where the records say how much of it is in there: what came by way of a yeast crop is not.
	Known bool
}

// Sure are the parts of which the records say how much is in there.
func (t *Thing) Sure() []Part {
	return slices.DeleteFunc(slices.Clone(t.Parts), func(p Part) bool { return t.Kind == lots.KindVessel && !p.Known })
}

// Loose are the other parts.
func (t *Thing) Loose() []Part {
	return slices.DeleteFunc(slices.Clone(t.Parts), func(p Part) bool { return t.Kind != lots.KindVessel || p.Known })
}

// Entry is one row about the thing, as a colleague would say it.
type Entry struct {
	Seq       int64
	Text      string
	When      string
	By        string
	Corrected int
	Sheet     *lots.Sheet
	Row       lots.Row
}

// fewEntries is how many entries somebody standing before a thing wants to see at once.
const fewEntries = 12

// Recent are the newest entries.
func (t *Thing) Recent() []Entry { return t.Entries[:min(fewEntries, len(t.Entries))] }

// Earlier are the entries before those.
func (t *Thing) Earlier() []Entry { return t.Entries[min(fewEntries, len(t.Entries)):] }

// mostEntries is how many rows a thing is told with: the newest of a tank's years.
const mostEntries = 60

// Of says what a code names. The error is NotFound where it names nothing, and tells what comes near.
func Of(tx *store.Tx, kind lots.Kind, code string) (*Thing, error) {
	entry, recorded, ok := tx.Introduces(code)
	if !ok || recorded != kind {
		_, err := desk.RowsAbout(tx, code)
		return nil, cmp.Or(err, error(lots.Errorf(lots.NotFound, "there is no %s %s: it is a %s", kind, code, recorded)))
	}
	t := &Thing{Kind: kind, Code: code, Noun: string(kind)}
	rec, _ := tx.Record(entry)
	w := &writer{tx, tx.Site(), t}
	w.itself(rec)
	if err := w.stopped(); err != nil {
		return nil, err
	}
	if err := w.steps(); err != nil {
		return nil, err
	}
	for _, f := range tx.Findings([]string{code}) {
		t.Doubts = append(t.Doubts, f.Text)
	}
	if err := w.entries(); err != nil {
		return nil, err
	}
	if err := w.papers(); err != nil {
		return nil, err
	}
	return t, tx.Err()
}

// Stops says why nothing of a thing may be used or leave, each a sentence; none where nothing stops it.
func Stops(tx *store.Tx, kind lots.Kind, code string) ([]string, error) {
	w := &writer{tx, tx.Site(), &Thing{Kind: kind, Code: code}}
	err := w.stopped()
	return w.t.Stopped, err
}

type writer struct {
	tx   *store.Tx
	site lots.Site
	t    *Thing
}

func (w *writer) fact(name, text string) {
	if text != "" {
		w.t.Facts = append(w.t.Facts, Fact{Name: name, Text: text})
	}
}

func (w *writer) personal(name, text string) {
	if text != "" {
		w.t.Facts = append(w.t.Facts, Fact{name, text, true})
	}
}

// itself tells what a thing is, by its kind.
func (w *writer) itself(rec lots.Record) {
	switch x := rec.(type) {
	case *lots.Receipt:
		w.receipt(x)
	case *lots.Crop:
		w.crop(x)
	case *lots.Brew:
		w.brew(x)
	case *lots.Vessel:
		w.vessel(x)
	case *lots.Line:
		w.line(x)
	case *lots.Run:
		w.run(x)
	case *lots.Packed:
		w.unit(x)
	case *lots.Shipment:
		w.shipment(x)
	case *lots.Return:
		w.comeBack(x)
	case *lots.Party:
		w.party(x)
	case *lots.Item:
		w.item(x)
	case *lots.Product:
		w.product(x)
	case *lots.Transfer:
		w.t.Title = either(x.From) + " to " + x.To
		w.t.State = desk.Sentence(w.tx, x.Seq)
	}
}

// stopped tells what holds a thing, whether a delivery was refused, and whether an open recall wants it.
func (w *writer) stopped() error {
	t := w.t
	switch t.Kind {
	case lots.KindLot, lots.KindBrew, lots.KindVessel, lots.KindRun, lots.KindUnit:
	default:
		return nil
	}
	if r, ok := w.tx.Receipt(t.Code); ok && r.Status == "rejected" && t.Kind == lots.KindLot {
		t.Stopped = append(t.Stopped, trace.RejectedText(t.Code))
	}
	by, err := trace.StoppedBy(w.tx, t.Kind, t.Code)
	if err != nil {
		return err
	}
	if by != "" {
		t.Stopped = append(t.Stopped, w.heldBecause(by))
	}
	if t.Kind == lots.KindUnit {
		wanted, err := recall.Wanted(w.tx, []string{t.Code}, 0)
		if err != nil {
			return err
		}
		t.Stopped = append(t.Stopped, wanted...)
	}
	return nil
}

// heldBecause says which hold stops a thing: its own, or one of what went into it.
func (w *writer) heldBecause(by string) string {
	text := "On hold"
	if by != w.t.Code && !strings.HasPrefix(by, w.t.Code+"@") {
		text = "On hold, because " + by + " is"
	}
	for _, rec := range w.tx.Touching(by) {
		if h, ok := rec.(*lots.Hold); ok && !h.Released && h.Subject.Code() == by {
			text += ": " + h.Reason
			break
		}
	}
	return text
}

// entries tells what was recorded about a thing, the newest first.
func (w *writer) entries() error {
	rows, err := w.tx.Naming(w.t.Code)
	if err != nil {
		return err
	}
	slices.SortFunc(rows, func(a, b lots.Entered) int { return cmp.Compare(b.Seq, a.Seq) })
	for _, r := range rows[:min(len(rows), mostEntries)] {
		fixes, err := w.tx.Corrections(r.Seq)
		if err != nil {
			return err
		}
		e := Entry{Seq: r.Seq, Text: cmp.Or(desk.Sentence(w.tx, r.Seq), desk.Shown{Row: r.Row, Columns: r.Sheet}.Text()), Corrected: len(fixes), Sheet: r.Sheet, Row: r.Row}
		if x, ok, err := w.tx.Entry(r.Seq); err != nil {
			return err
		} else if ok {
			e.By, e.When = x.By, x.Recorded.In(w.site.Zone).Format("2 Jan 2006 15:04")
		}
		w.t.Entries = append(w.t.Entries, e)
	}
	return nil
}

// papers tells what is attached to a thing, and what its papers said there was.
func (w *writer) papers() error {
	known, err := desk.PapersOf(w.tx, w.t.Code)
	if err != nil {
		return err
	}
	w.fact("On the papers", known.Quantity)
	w.fact("Scanned", known.Scan)
	for _, p := range known.Attached {
		w.t.Papers = append(w.t.Papers, Paper{p.Hash, p.Name, p.By, w.moment(p.At.Unix()), size(p.Size), p.Entry})
	}
	return nil
}

// size writes bytes for people.
func size(bytes int64) string {
	if bytes < 1_000_000 {
		return lots.Figure(float64((bytes+999)/1000)) + " kB"
	}
	return lots.Figure(float64(bytes/100_000)/10) + " MB"
}
