package desk

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"heeltap/graph/gate"
	"heeltap/lots"
	"heeltap/lots/sheet"
	"heeltap/lots/store"
)

// Import is files of rows, and how to take them in.
type Import struct {
	Paths      []string // folders of CSV files, and workbooks
	By         string   // who reports rows that name nobody
	Override   string   // why rows may take what is on hold
	KeepGoing  bool     // keep the good rows, and write the bad ones to a folder
	OnlyNew    bool     // pass over rows that are recorded already
	SkipOthers bool     // pass over files and pages that are not record sheets
	BadRows    string   // that folder; empty: beside the first path
	Mapped     *Mapped  // what files of other headings say, instead of reading the paths
	Try        bool     // keep nothing: only say what would be recorded

	sheet.Contents // what the files hold
}

// Imported is what came of an import.
type Imported struct {
	Rows     int         `json:"rows"`
	Passed   int         `json:"passed_over"` // recorded already
	Bad      int         `json:"bad"`
	BadRows  *string     `json:"bad_rows"` // folder they were written to
	Others   []string    `json:"others"`   // files and pages passed over, which are not record sheets
	Warnings []string    `json:"warnings"`
	Faults   lots.Faults `json:"-"`           // of the bad rows, by file and line
	First    int64       `json:"first_entry"` // the rows' entries, one behind the other; 0 where none was recorded
	Last     int64       `json:"last_entry"`
}

// Run reads the files and records their rows: all of them or none, or where the import keeps going those that are good.
// The bad ones are written before the good ones are kept, so that none is lost. Where nothing could
// be kept, the faults are the error.
func (i Import) Run(ctx context.Context, db *store.DB) (*Imported, error) {
	if err := i.read(ctx, db); err != nil {
		return nil, err
	}
	all := len(i.Rows)
	if i.OnlyNew {
		if err := i.passOver(ctx, db); err != nil {
			return nil, err
		}
	}
	if i.Try {
		return i.tried(ctx, db, all)
	}
	if len(i.Faults) > 0 && !i.KeepGoing {
		// What can be understood is checked too, so that all faults come in one go.
		_, _, more, err := i.try(ctx, db, i.Rows, func() error { return errNotKept })
		if err != nil {
			return nil, err
		}
		return nil, sorted(append(i.Faults, more...))
	}
	good, entries, warnings, faults, err := i.keep(ctx, db)
	if err != nil {
		return nil, err
	}
	if len(good) == 0 && len(faults) > 0 {
		return nil, i.nothingKept(sorted(faults))
	}
	done := &Imported{Rows: len(good), Passed: all - len(i.Rows), Bad: len(i.Rows) - len(good), Warnings: []string{}, Faults: sorted(faults),
		Others: append([]string{}, i.PassedOver...)}
	done.warn(append(i.Warnings, warnings...))
	if len(entries) > 0 {
		done.First, done.Last = entries[0], entries[len(entries)-1]
	}
	if sheet.Placed(faults) {
		done.BadRows = &i.BadRows
	}
	return done, nil
}

func (d *Imported) warn(warnings lots.Faults) {
	for _, w := range sorted(warnings) {
		d.Warnings = append(d.Warnings, w.String())
	}
}

// tried says what would be recorded, and what is wrong with the rest.
func (i Import) tried(ctx context.Context, db *store.DB, all int) (*Imported, error) {
	good := without(i.Rows, i.Faults)
	_, warnings, more, err := i.try(ctx, db, good, func() error { return errNotKept })
	if err != nil {
		return nil, err
	}
	good = without(good, more)
	done := &Imported{Rows: len(good), Passed: all - len(i.Rows), Bad: len(i.Rows) - len(good), Warnings: []string{},
		Faults: sorted(append(i.Faults, more...)), Others: append([]string{}, i.PassedOver...)}
	done.warn(append(i.Warnings, warnings...))
	return done, nil
}

// nothingKept are the faults of an import of which no row could be kept, with where the rows are now.
func (i Import) nothingKept(faults lots.Faults) error {
	if sheet.Placed(faults) {
		faults = append(faults, lots.Fault{Reason: "no row could be kept; the bad rows are in " + i.BadRows + ": correct them there and import that folder"})
	}
	return faults
}

// read reads all paths, with the site's decimal sign; of several, files are named with their folder.
func (i *Import) read(ctx context.Context, db *store.DB) error {
	if i.BadRows == "" {
		first := filepath.Clean(i.Paths[0])
		i.BadRows = strings.TrimSuffix(first, filepath.Ext(first)) + "-bad-rows"
	}
	if i.Mapped != nil {
		i.Contents = i.Mapped.Contents
		return nil
	}
	how := sheet.Options{SkipOthers: i.SkipOthers}
	err := db.View(ctx, func(tx *store.Tx) error {
		how.Decimal = tx.Decimal()
		return tx.Err()
	})
	if err != nil {
		return err
	}
	for _, p := range i.Paths {
		c, err := sheet.ReadWith(p, how)
		if err != nil {
			return err
		}
		if len(i.Paths) > 1 {
			c.Within(p)
		}
		i.Rows, i.Refused = append(i.Rows, c.Rows...), append(i.Refused, c.Refused...)
		i.Faults = append(i.Faults, c.Faults...)
		i.Warnings, i.PassedOver = append(i.Warnings, c.Warnings...), append(i.PassedOver, c.PassedOver...)
	}
	return nil
}

// passOver leaves out the rows that are recorded already.
func (i *Import) passOver(ctx context.Context, db *store.DB) error {
	var fresh []sheet.Row
	err := db.View(ctx, func(tx *store.Tx) error {
		for _, r := range i.Rows {
			is, err := tx.IsRecorded(r.Sheet, r.Row)
			if err != nil {
				return err
			}
			if !is {
				fresh = append(fresh, r)
			}
		}
		return nil
	})
	i.Rows = fresh
	return err
}

// keep records rows: all of them or none, or where the import keeps going those that are good.
func (i Import) keep(ctx context.Context, db *store.DB) (good []sheet.Row, entries []int64, warnings, faults lots.Faults, err error) {
	faults = i.Faults
	written := slices.Concat(i.Rows, i.Refused)
	writeBad := func() error {
		if !sheet.Placed(faults) {
			return nil
		}
		return sheet.WriteFaulty(i.BadRows, written, faults)
	}
	for good = without(i.Rows, faults); len(good) > 0; {
		entries, warnings, more, err := i.try(ctx, db, good, writeBad)
		if err != nil || len(more) == 0 {
			return good, entries, warnings, faults, err
		}
		faults = append(faults, more...)
		if !i.KeepGoing {
			return nil, nil, nil, nil, sorted(faults)
		}
		good = without(good, more)
	}
	return nil, nil, nil, faults, writeBad()
}

// try records rows together if they are good and last agrees. Faults name files and lines.
func (i Import) try(ctx context.Context, db *store.DB, rows []sheet.Row, last func() error) (entries []int64, warnings, faults lots.Faults, err error) {
	statements := make([]store.Statement, len(rows))
	for k, r := range rows {
		statements[k] = store.Statement{Sheet: r.Sheet, Row: r.Row, By: i.By}
	}
	refused := false
	err = db.Update(ctx, func(tx *store.Tx) error {
		var err error
		entries, warnings, faults, err = gate.Post(tx, statements, gate.Override{Reason: i.Override, By: i.By})
		if err != nil {
			return err
		}
		if refused = len(faults) > 0; refused {
			return faults
		}
		return last()
	})
	if refused || errors.Is(err, errNotKept) {
		err = nil
	}
	for _, list := range []lots.Faults{warnings, faults} {
		for k := range list {
			r := rows[list[k].Line-1]
			list[k].File, list[k].Line = r.File, r.Line
		}
	}
	return entries, warnings, faults, err
}

// errNotKept rolls a trial back.
var errNotKept = lots.Errorf(lots.Internal, "a trial is not kept")

// Try runs f as if it were to be kept, and keeps nothing: what would be said is known before it is recorded.
func Try(ctx context.Context, db *store.DB, f func(*store.Tx) error) error {
	err := db.Update(ctx, func(tx *store.Tx) error {
		if err := f(tx); err != nil {
			return err
		}
		return errNotKept
	})
	if errors.Is(err, errNotKept) {
		return nil
	}
	return err
}

// without leaves out the rows that faults speak of.
func without(rows []sheet.Row, faults lots.Faults) []sheet.Row {
	bad := map[string]bool{}
	key := func(file string, line int) string { return fmt.Sprintf("%s:%d", file, line) }
	for _, f := range faults {
		bad[key(f.File, f.Line)] = true
	}
	return slices.DeleteFunc(slices.Clone(rows), func(r sheet.Row) bool { return bad[key(r.File, r.Line)] })
}

func sorted(faults lots.Faults) lots.Faults {
	slices.SortStableFunc(faults, func(a, b lots.Fault) int {
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		return a.Line - b.Line
	})
	return slices.Compact(faults)
}
