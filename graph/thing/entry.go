package thing

import (
	"fmt"
	"slices"
	"time"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Told is one entry: what it says, who said it and when, and how it was corrected.
type Told struct {
	Seq      int64
	Sheet    *lots.Sheet
	Row      lots.Row // as it reads now; nil where it is void
	Text     string   // as a colleague would say it; empty where it is void
	By       string
	Happened string // when it happened; empty of what has no time
	Recorded string
	At       time.Time // when it was recorded
	Void     bool
	Fixes    []Fix // the oldest first
	Doubts   []string
}

// Fix is one correction of an entry.
type Fix struct {
	Seq     int64
	Did     string // corrected, taken back, or an earlier correction undone
	By      string
	When    string
	Reason  string
	Changes []CellChange
}

// CellChange is what a cell said and says; empty where it was or is empty.
type CellChange struct{ Column, Was, Now string }

// EntryOf tells an entry by its number. Of a correction it is the entry that it corrects.
func EntryOf(tx *store.Tx, seq int64) (*Told, error) {
	seq, err := tx.Root(seq)
	if err != nil {
		return nil, err
	}
	e, _, err := tx.Entry(seq)
	if err != nil {
		return nil, err
	}
	sheet, ok := lots.SheetNamed(e.Kind)
	if !ok {
		return nil, lots.Errorf(lots.NotFound, "entry %d is a step of something else, made by %s: it stands on the page of what it belongs to", seq, e.By)
	}
	t := &Told{Seq: seq, Sheet: sheet, By: e.By, At: e.Recorded, Recorded: e.Recorded.In(tx.Site().Zone).Format("2 Jan 2006 15:04"), Text: desk.Sentence(tx, seq)}
	row, stands := tx.Row(seq)
	t.Row, t.Void = row.Row, !stands
	if e.At != nil {
		w := &writer{tx, tx.Site(), &Thing{}}
		t.Happened = w.when(*e.At)
	}
	for _, f := range tx.FindingsOf(seq) {
		t.Doubts = append(t.Doubts, f.Text)
	}
	if err := t.corrected(tx, e); err != nil {
		return nil, err
	}
	return t, tx.Err()
}

// corrected tells the corrections, each by what it changed.
func (t *Told) corrected(tx *store.Tx, root *store.Entry) error {
	fixes, err := tx.Corrections(root.Seq)
	if err != nil {
		return err
	}
	for _, c := range fixes {
		was, stood, err := tx.RowThen(root, c.Seq-1)
		if err != nil {
			return err
		}
		now, stands, err := tx.RowThen(root, c.Seq)
		if err != nil {
			return err
		}
		f := Fix{Seq: c.Seq, Did: "Put right", By: c.By, When: c.Recorded.In(tx.Site().Zone).Format("2 Jan 2006 15:04"), Reason: c.Reason()}
		switch {
		case stood && !stands:
			f.Did = "Taken back"
		case c.Kind == "void":
			f.Did = fmt.Sprintf("Correction %d undone", c.Target)
		}
		if stands {
			f.Changes = cellsChanged(t.Sheet, was, now)
		}
		t.Fixes = append(t.Fixes, f)
	}
	return nil
}

func cellsChanged(s *lots.Sheet, was, now lots.Row) (out []CellChange) {
	for _, c := range s.Columns {
		if was[c.Name] != now[c.Name] {
			out = append(out, CellChange{c.Name, was[c.Name], now[c.Name]})
		}
	}
	return out
}

// LastFix is the number of the latest correction; 0 where there is none.
func (t *Told) LastFix() int64 {
	if len(t.Fixes) == 0 {
		return 0
	}
	return slices.MaxFunc(t.Fixes, func(a, b Fix) int { return int(a.Seq - b.Seq) }).Seq
}
