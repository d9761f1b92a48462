// Package epcis writes the records as an EPCIS 2.0 document in JSON-LD, with the words of the Core Business Vocabulary
// 2.0: GS1's language for telling other parties what happened to goods (ref.gs1.org/standards/epcis, .../cbv).
package epcis

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// namespace is where the words stand that the standard has none for.
const namespace = "urn:heeltap:epcis:"

// Options say what to write.
type Options struct {
	// Base begins the identifiers of what has no GS1 key; empty: urn:heeltap: and the site's name.
	Base string
	// Only, where it is not nil, holds what events are written of, and of nothing else: see [Within].
	Only map[string]bool
	// Created is the document's date.
	Created time.Time
}

// Written is what a document holds.
type Written struct {
	Events   int `json:"events"`
	Errors   int `json:"declared_in_error"`  // events that say of an earlier one that it was wrong
	NoEvents int `json:"rows_without_event"` // rows that are no event of the standard: cleans, clearances, code changes
	Unread   int `json:"unread"`             // earlier versions of corrected rows that cannot be read any more
}

// event is one event of the standard; what it has no word for stands behind our own prefix. Fields are written in this
// order.
type event struct {
	Type                string       `json:"type"`
	EventID             string       `json:"eventID"`
	EventTime           string       `json:"eventTime"`
	RecordTime          string       `json:"recordTime"`
	EventTimeZoneOffset string       `json:"eventTimeZoneOffset"`
	EPCList             []string     `json:"epcList,omitempty"`
	ParentID            string       `json:"parentID,omitempty"`
	InputEPCList        []string     `json:"inputEPCList,omitempty"`
	QuantityList        []quantity   `json:"quantityList,omitempty"`
	ChildQuantityList   []quantity   `json:"childQuantityList,omitempty"`
	InputQuantityList   []quantity   `json:"inputQuantityList,omitempty"`
	OutputQuantityList  []quantity   `json:"outputQuantityList,omitempty"`
	Action              string       `json:"action,omitempty"`
	TransformationID    string       `json:"transformationID,omitempty"`
	BizStep             string       `json:"bizStep,omitempty"`
	Disposition         string       `json:"disposition,omitempty"`
	ReadPoint           *place       `json:"readPoint,omitempty"`
	Papers              []paper      `json:"bizTransactionList,omitempty"`
	Sources             []source     `json:"sourceList,omitempty"`
	Destinations        []goal       `json:"destinationList,omitempty"`
	Wrong               *declaration `json:"errorDeclaration,omitempty"`

	Act         string   `json:"heeltap:act,omitempty"` // the sheet of the row
	SupplierLot string   `json:"heeltap:supplierLot,omitempty"`
	BestBy      string   `json:"heeltap:bestBy,omitempty"`
	Document    string   `json:"heeltap:document,omitempty"`
	Carrier     string   `json:"heeltap:carrier,omitempty"`
	DateCode    string   `json:"heeltap:dateCode,omitempty"`
	Reason      string   `json:"heeltap:reason,omitempty"`
	State       string   `json:"heeltap:state,omitempty"`
	OnDay       string   `json:"heeltap:onDay,omitempty"`    // the time is not known closer than this day
	Ends        string   `json:"heeltap:ends,omitempty"`     // of what took a while
	OneOf       []string `json:"heeltap:oneOf,omitempty"`    // it was one of these, not known which
	Possible    []string `json:"heeltap:possible,omitempty"` // what may have gone in besides: not recorded, and not ruled out
	Goods       string   `json:"heeltap:goods,omitempty"`
	By          string   `json:"heeltap:by,omitempty"`
}

type (
	quantity struct {
		Class    string   `json:"epcClass"`
		Quantity *float64 `json:"quantity,omitempty"`
		UOM      string   `json:"uom,omitempty"`
	}
	place struct {
		ID string `json:"id"`
	}
	paper struct {
		Type  string `json:"type,omitempty"`
		Paper string `json:"bizTransaction"`
	}
	source struct {
		Type   string `json:"type"`
		Source string `json:"source"`
	}
	goal struct {
		Type        string `json:"type"`
		Destination string `json:"destination"`
	}
	declaration struct {
		Time       string   `json:"declarationTime"`
		Reason     string   `json:"reason"`
		Corrective []string `json:"correctiveEventIDs,omitempty"`
	}
)

// batch is how many entries are held in memory at a time.
const batch = 500

// Write writes the events of the records in the order in which they were entered. What was corrected stands there as it
// was, declared in error and naming the event that corrects it. Memory does not grow with the history.
func Write(ctx context.Context, tx *store.Tx, to io.Writer, o Options) (Written, error) {
	w := &writer{tx: tx, out: bufio.NewWriter(to), o: o, zone: tx.Site().Zone, base: baseOf(tx, o.Base)}
	w.failed(w.findCorrected())
	w.printf("{\n\"@context\": [\"https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld\", {\"heeltap\": %q}],\n", namespace)
	w.printf("\"id\": %s,\n\"type\": \"EPCISDocument\",\n\"schemaVersion\": \"2.0\",\n\"creationDate\": %q,\n\"epcisBody\": {\"eventList\": [", quoted(w.base+"document"), instant(o.Created))
	for from := int64(1); ; {
		var entries []*store.Entry
		err := tx.Entries(from, func(e *store.Entry) bool {
			entries = append(entries, e)
			return len(entries) < batch
		})
		if err != nil || len(entries) == 0 {
			w.printf("\n]}\n}\n")
			w.failed(err)
			break
		}
		for _, e := range entries {
			w.entry(e)
		}
		tx.Forget()
		if from = entries[len(entries)-1].Seq + 1; ctx.Err() != nil {
			w.failed(ctx.Err())
			break
		}
	}
	w.failed(w.out.Flush())
	w.failed(tx.Err())
	return w.done, w.err
}

// writer writes one document.
type writer struct {
	tx   *store.Tx
	out  *bufio.Writer
	o    Options
	zone *time.Location
	base string
	done Written
	err  error // the first

	corrected map[int64]bool // entries that were amended or voided
}

func (w *writer) failed(err error) {
	if w.err == nil {
		w.err = err
	}
}

func (w *writer) printf(format string, args ...any) {
	_, err := fmt.Fprintf(w.out, format, args...)
	w.failed(err)
}

// version is a row as it read at some time: the entry that made it read so, and when.
type version struct {
	row   lots.Row
	by    *store.Entry
	stood bool
}

// entry writes the events of one row: those of each version that was taken back, declared in error, and those of the
// row as it reads now.
func (w *writer) entry(e *store.Entry) {
	sheet, ok := lots.SheetNamed(e.Kind)
	if !ok || w.err != nil {
		return // a correction or a step
	}
	versions := w.versions(e)
	for i, v := range versions {
		if !v.stood || !w.wanted(e, sheet, v.row) {
			continue
		}
		last := i == len(versions)-1
		if !last && w.standsStill(sheet, versions, i) {
			continue
		}
		events := w.eventsOf(e, sheet, v.row, last)
		for n := range events {
			if !last {
				next := versions[i+1]
				d := &declaration{Time: instant(next.by.Recorded), Reason: "did_not_occur"}
				if next.stood {
					d.Reason, d.Corrective = "incorrect_data", []string{w.id(sheet, next.row, n)}
				}
				events[n].Wrong = d
				w.done.Errors++
			}
			w.write(&events[n])
		}
		if last && len(events) == 0 {
			w.done.NoEvents++
		}
	}
}

// standsStill reports whether a version says what a row that stands says now: the next version of it does, or it was
// recorded again. It was not wrong then.
func (w *writer) standsStill(sheet *lots.Sheet, all []version, i int) bool {
	if all[i+1].stood && maps.Equal(all[i].row, all[i+1].row) {
		return true
	}
	same, err := w.tx.IsRecorded(sheet, all[i].row)
	w.failed(err)
	return same
}

// findCorrected finds the rows that were ever corrected, so that only of those the corrections are looked for.
func (w *writer) findCorrected() error {
	w.corrected = map[int64]bool{}
	row := map[int64]int64{} // by correction: the row that it is about
	return w.tx.Entries(1, func(e *store.Entry) bool {
		if e.Target != 0 {
			about := e.Target
			if root, ok := row[e.Target]; ok {
				about = root
			}
			row[e.Seq], w.corrected[about] = about, true
		}
		return true
	})
}

// versions are the readings of a row one after the other.
func (w *writer) versions(e *store.Entry) []version {
	if !w.corrected[e.Seq] {
		row, _ := w.tx.Row(e.Seq)
		return []version{{row.Row, e, true}}
	}
	corrections, err := w.tx.Corrections(e.Seq)
	w.failed(err)
	var out []version
	for _, head := range append([]*store.Entry{e}, corrections...) {
		row, stood, err := w.tx.RowThen(e, head.Seq)
		w.failed(err)
		out = append(out, version{row, head, stood})
	}
	return out
}

// Within is what an answer reached: the codes of its lots, brews, runs, units and shipments, and what vessels held.
func Within(a *trace.Answer) (map[string]bool, error) {
	only := map[string]bool{}
	for _, f := range a.From {
		only[f.Code] = f.Kind != string(lots.KindVessel)
	}
	for _, x := range a.Lots {
		only[x.Code] = true
	}
	for _, x := range a.Brews {
		only[x.Code] = true
	}
	for _, x := range a.Runs {
		only[x.Code] = true
	}
	for _, x := range a.Units {
		only[x.Code] = true
	}
	for _, x := range a.Bulk { // a shipment's other rows may be of anything: those of units go by the unit
		only[bulkOf(x.Code, x.From)] = true
	}
	for _, x := range a.Fills {
		since, err := time.Parse(time.RFC3339, x.Since)
		if err != nil {
			return nil, err
		}
		only[held(x.Vessel, since.Unix())] = true
	}
	return only, nil
}

// held is what a vessel held from a time on, as Only names it.
func held(vessel string, since int64) string { return fmt.Sprintf("%s@%d", vessel, since) }

// bulkOf is what left in bulk from somewhere in a shipment, as Only names it.
func bulkOf(shipment, from string) string { return shipment + " from " + from }

// wanted reports whether a row is within what is asked for: it names something of it, or its flow began or drew on what
// a vessel held.
func (w *writer) wanted(e *store.Entry, sheet *lots.Sheet, row lots.Row) bool {
	if w.o.Only == nil || slices.ContainsFunc(lots.Mentions(sheet, row), func(code string) bool { return w.o.Only[code] }) {
		return true
	}
	if sheet.Name == "shipments" && w.o.Only[bulkOf(row["shipment"], row["unit"])] {
		return true
	}
	if w.aboutContent(sheet, row) {
		return true
	}
	for _, d := range w.tx.DrawsOf(e.Seq) {
		if w.o.Only[held(d.Vessel, d.Fill)] {
			return true
		}
	}
	for _, r := range w.tx.ArrivalsOf(e.Seq) {
		if w.o.Only[held(r.Vessel, r.Fill)] {
			return true
		}
	}
	return false
}

// aboutContent reports whether a row counts, holds or takes away what a vessel held that is asked for. What empties a vessel
// draws nothing on the books, and so does a count.
func (w *writer) aboutContent(sheet *lots.Sheet, row lots.Row) bool {
	if !slices.Contains([]string{"removals", "counts", "holds"}, sheet.Name) {
		return false
	}
	rec, _, _ := lots.Decode(sheet, row, w.tx)
	var of lots.Ref
	var at lots.When
	switch x := rec.(type) {
	case *lots.Removal:
		of, at = x.Subject, x.At
	case *lots.StockCount:
		of, at = x.Subject, x.At
	case *lots.Hold:
		of, at = x.Subject, x.At
	}
	return of.Kind == lots.KindVessel && slices.ContainsFunc(of.Codes, func(code string) bool {
		since := heldAt(w.tx, code, at)
		return since >= 0 && w.o.Only[held(code, since)]
	})
}

// heldAt is since when a vessel held what it held at a time; -1 where it held nothing yet.
func heldAt(tx *store.Tx, vessel string, at lots.When) int64 {
	since := int64(-1)
	for _, n := range tx.NodesOf(vessel) {
		if n.Kind == graph.Fill && n.Since <= at.To {
			since = n.Since
		}
	}
	return since
}

// write writes one event.
func (w *writer) write(e *event) {
	if w.done.Events > 0 {
		w.printf(",")
	}
	text, err := json.Marshal(e)
	w.failed(err)
	w.printf("\n%s", text)
	w.done.Events++
}

// id is an event's identifier: a UUID of version 8 (RFC 9562) from the SHA-256 of the site's name, the sheet, the row's
// cells by name, and the number of the event among those of the row. So it is the same in every export, after a restore
// and an import elsewhere, whatever else was entered since; and it changes if the row is corrected. It is our own
// scheme: the vocabulary's hash covers identifiers that a late entry can change, such as that of what a tank held.
func (w *writer) id(sheet *lots.Sheet, row lots.Row, n int) string {
	text, err := json.Marshal([]any{w.tx.Site().Name, sheet.Name, row, n})
	w.failed(err)
	b := sha256.Sum256(text)
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", b[0:4], b[4:6], b[6:8], b[8:10], b[10:16])
}

func instant(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }

func quoted(s string) string {
	b, _ := json.Marshal(s) // a string always can be
	return string(b)
}
