// Package desk is where acts are recorded: it takes a row as a person gives it, fills in what is
// obvious, refuses what must not happen, records it, and returns what to tell the person.
// The command line, pages and scanners all come to this desk.
package desk

import (
	"maps"
	"slices"

	"heeltap/graph/doubt"
	"heeltap/graph/gate"
	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Act is one row as a person gives it.
type Act struct {
	Sheet    *lots.Sheet
	Row      lots.Row // texts as typed or scanned, by column; it is not changed
	By       string
	Override string // why it may take what is on hold
	Reason   string // what a delivery that comes in on hold waits for
	Scan     string // the bar code that a delivery is read from, as it came
	Expected string // the number of the delivery that a supplier told of, which a receipt is against
	Of       string // recorded together with others: the column that takes the code of the first of them, where it is empty
}

// Said is the answer to a recorded row.
type Said struct {
	Entry    int64    `json:"entry"`
	Sheet    string   `json:"sheet"`
	Code     *string  `json:"code"`     // of the thing recorded, where the sheet has codes
	Text     string   `json:"text"`     // what was recorded, as a colleague would say it
	Also     []string `json:"also"`     // what was recorded with it: the hold of goods that came back, or came in
	Warnings []string `json:"warnings"` // what can hardly be so, and what to know
	Tried    bool     `json:"tried"`    // nothing was kept: see Try
	Findings []string `json:"findings"` // faults in the records that the row made or touched
}

// Record fills in a row and records it.
func Record(tx *store.Tx, a Act) (*Said, error) {
	var scanned []string
	if a.Scan != "" {
		a.Row = maps.Clone(a.Row)
		s, err := FillFromScan(tx, a.Row, a.Scan)
		if err != nil {
			return nil, err
		}
		scanned, a.Scan = s.Notes, s.Kept
	}
	var against *Expected
	if a.Expected != "" {
		var err error
		a.Row = maps.Clone(a.Row)
		if against, err = FillFromTold(tx, a.Row, a.Expected); err != nil {
			return nil, err
		}
	}
	row, notes, err := FillIn(tx, a)
	if err != nil {
		return nil, err
	}
	given, err := ownSSCC(tx, a.Sheet, row, a.By)
	if err != nil {
		return nil, err
	}
	notes = append(append(scanned, notes...), given...)
	said := &Said{Sheet: a.Sheet.Name, Also: []string{}, Warnings: notes, Findings: []string{}}
	if err := said.enter(tx, store.Statement{Sheet: a.Sheet, Row: row, By: a.By}, a.Override); err != nil {
		return nil, err
	}
	if code := row[a.Sheet.Code]; a.Sheet.Code != "" {
		said.Code = &code
	}
	said.Text = Sentence(tx, said.Entry)
	if err := noteScan(tx, said.Entry, a.Scan, a.By); err != nil {
		return nil, err
	}
	if against != nil {
		texts, err := against.Against(tx, []string{*said.Code}, []string{a.Scan}, a.By)
		if err != nil {
			return nil, err
		}
		said.Warnings = append(said.Warnings, texts...)
	}
	also, err := stopReturned(tx, said.Entry)
	if err != nil {
		return nil, err
	}
	said.Also = append(said.Also, also...)
	if err := said.stopReceived(tx, a); err != nil {
		return nil, err
	}
	return said, tx.Err()
}

// enter records a row, unless it takes goods on hold, and gathers what is worth knowing about it.
func (said *Said) enter(tx *store.Tx, row store.Statement, override string) error {
	named := lots.Mentions(row.Sheet, row.Row)
	known := tx.Findings(named)
	entries, warnings, faults, err := gate.Post(tx, []store.Statement{row}, gate.Override{Reason: override, By: row.By})
	if err := gate.Failed(err, unplaced(faults)); err != nil {
		return err
	}
	said.Entry = entries[0]
	for _, w := range warnings {
		said.Warnings = append(said.Warnings, w.Reason)
	}
	for _, f := range append(tx.FindingsOf(said.Entry), tx.Findings(named)...) {
		if !slices.Contains(known, f) && !slices.Contains(said.Findings, f.Text) {
			said.Findings = append(said.Findings, f.Text)
		}
	}
	return said.warn(tx, row, override)
}

// warn adds what is doubtful about the row just recorded, and what recalls, labels and holds have to do with it.
func (said *Said) warn(tx *store.Tx, row store.Statement, override string) error {
	for _, look := range []func() ([]string, error){
		func() ([]string, error) { return doubt.Of(tx, said.Entry) },
		func() ([]string, error) { return calledBack(tx, said.Entry) },
		func() ([]string, error) { return allergens(tx, row.Sheet, row.Row) },
		func() ([]string, error) {
			if override != "" { // whoever overrides a hold knows of it
				return nil, nil
			}
			return trace.LetThrough(tx, []int64{said.Entry})
		},
	} {
		texts, err := look()
		if err != nil {
			return err
		}
		said.Warnings = append(said.Warnings, texts...)
	}
	return nil
}

// calledBack warns where what is shipped is in scope of an open recall and nobody has held it yet.
func calledBack(tx *store.Tx, entry int64) ([]string, error) {
	rec, _ := tx.Record(entry)
	switch x := rec.(type) {
	case *lots.Shipment:
		return recall.Wanted(tx, x.Unit.Codes, entry)
	case *lots.Bulk:
		return recall.Wanted(tx, nil, entry)
	}
	return nil, nil
}

// unplaced takes the line off faults of a row that stands in no file.
func unplaced(faults lots.Faults) lots.Faults {
	for i := range faults {
		faults[i].Line = 0
	}
	return faults
}
