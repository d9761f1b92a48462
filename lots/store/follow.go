package store

import (
	"cmp"
	"context"
	"encoding/json"
	"time"

	"heeltap/lots"
)

// Follow goes through what was recorded after an entry: at sees the records as they
// stood with that entry (and no entries), and then, oldest first, as they stood after
// everything that was recorded together at one moment, with the entries of that moment.
// Moments at which only steps were taken, which change no record, are passed over.
// It works in a scratch database and costs a rebuild and the entries it follows.
func (db *DB) Follow(ctx context.Context, from int64, at func(tx *Tx, entries []*Entry) error) (err error) {
	then, err := db.replay(ctx, func(e *Entry) bool { return e.Seq <= from })
	if err != nil {
		return err
	}
	defer func() {
		if closing := then.Close(); err == nil {
			err = closing
		}
	}()
	var later []*Entry
	err = db.View(ctx, func(tx *Tx) error {
		return tx.Entries(from+1, func(e *Entry) bool {
			later = append(later, e)
			return true
		})
	})
	if err != nil {
		return err
	}
	if err := then.View(ctx, func(tx *Tx) error { return at(tx, nil) }); err != nil {
		return err
	}
	for len(later) > 0 {
		n := together(later)
		if err := then.enterAgain(ctx, later[:n]); err != nil {
			return err
		}
		if changesRecords(later[:n]) {
			if err := then.View(ctx, func(tx *Tx) error { return at(tx, later[:n]) }); err != nil {
				return err
			}
		}
		later = later[n:]
	}
	return nil
}

// together counts the entries at the front that were recorded at one moment.
func together(entries []*Entry) int {
	n := 1
	for n < len(entries) && entries[n].Recorded.Equal(entries[0].Recorded) {
		n++
	}
	return n
}

func changesRecords(entries []*Entry) bool {
	for _, e := range entries {
		if e.Kind != kindAct {
			return true
		}
	}
	return false
}

// enterAgain records entries of another journal as they were recorded there. Rows that stand
// one behind the other go in together, since they may name each other.
func (db *DB) enterAgain(ctx context.Context, entries []*Entry) error {
	moment := entries[0].Recorded
	db.Now = func() time.Time { return moment }
	return db.Update(ctx, func(tx *Tx) error {
		tx.again = true
		var rows []Statement
		flush := func() error {
			if len(rows) == 0 {
				return nil
			}
			_, _, faults, err := tx.RecordRows(rows)
			if rows = nil; err == nil && len(faults) > 0 {
				err = faults
			}
			return err
		}
		for i := 0; i < len(entries); i++ {
			e := entries[i]
			if sheet, ok := lots.SheetNamed(e.Kind); ok {
				var row lots.Row
				if err := json.Unmarshal([]byte(e.Body), &row); err != nil {
					return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
				}
				rows = append(rows, Statement{sheet, row, e.By})
				continue
			}
			if err := flush(); err != nil {
				return err
			}
			n := corrections(entries[i:])
			if n == 0 {
				if err := tx.repeatStep(e); err != nil {
					return err
				}
				continue
			}
			if err := tx.repeatCorrections(entries[i : i+n]); err != nil {
				return err
			}
			i += n - 1
		}
		return flush()
	})
}

// corrections counts the corrections at the front.
func corrections(entries []*Entry) int {
	n := 0
	for n < len(entries) && entries[n].Target != 0 {
		n++
	}
	return n
}

// repeatStep takes a step as another journal has it.
func (tx *Tx) repeatStep(e *Entry) error {
	if err := tx.insertEntry(e); err != nil {
		return err
	}
	return tx.enterAct(e)
}

// repeatCorrections makes corrections as another journal has them: some may have been made as one.
func (tx *Tx) repeatCorrections(entries []*Entry) error {
	return tx.jointly(func() error {
		for _, e := range entries {
			var k correction
			err := json.Unmarshal([]byte(e.Body), &k)
			switch {
			case err != nil:
				return lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
			case e.Kind == kindAmend:
				_, err = tx.Amend(e.Target, k.Set, k.Reason, e.By)
			default:
				_, err = tx.Void(e.Target, k.Reason, e.By)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// SameAsThen compares another database, such as a backup, with what this one was when its journal ended where the other's
// ends: the journal must have grown from there, and all that is derived, by which every question is answered, must be the
// same. since is how many entries were recorded after that.
func (db *DB) SameAsThen(ctx context.Context, other *DB) (report AuditReport, since int64, err error) {
	var head Head
	if err := other.View(ctx, func(tx *Tx) (err error) {
		head, err = tx.LastEntry()
		return err
	}); err != nil {
		return report, 0, err
	}
	if err := db.View(ctx, func(tx *Tx) error {
		now, err := tx.LastEntry()
		if err != nil || head.Seq == 0 {
			return err
		}
		since = now.Seq - head.Seq
		odds, err := tx.extends(head)
		if odds != "" {
			report.add(head.Seq, "%s", odds)
		}
		return err
	}); err != nil || len(report.Differences) > 0 {
		return report, since, err
	}
	then, err := db.replay(ctx, func(e *Entry) bool { return e.Seq <= head.Seq })
	if err != nil {
		return report, since, err
	}
	defer func() { err = cmp.Or(err, then.Close()) }()
	report.Entries, report.Short = head.Seq, head.Short()
	return report, since, other.View(ctx, func(is *Tx) error {
		return then.View(ctx, func(should *Tx) error { return report.compareAll(ctx, is, should) })
	})
}
