package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"

	"modernc.org/sqlite"

	"heeltap/lots"
)

// recordTables are what a rebuild of the records empties; forms that were answered follow from no entry and stay.
var recordTables = []string{"stop", "moment", "line_span", "act", "printed", "code", "mention", "record"}

// unsealedUpdate is Update for what puts the seal on by itself.
func (db *DB) unsealedUpdate(ctx context.Context, f func(*Tx) error) error {
	db.unsealed = true
	defer func() { db.unsealed = false }()
	return db.Update(ctx, f)
}

// Rebuild derives records and lineage anew from the journal, in one transaction, and seals them. It refuses a journal
// that was changed or cut off: that only a backup mends.
func (db *DB) Rebuild(ctx context.Context) error {
	return db.unsealedUpdate(ctx, func(tx *Tx) error {
		first, err := tx.chain()
		if err != nil {
			return err
		}
		if first != 0 {
			return lots.Errorf(lots.Corrupt, "entry %d of the journal does not match its hash, so nothing can be derived from it. %s", first, mendJournal)
		}
		if err := tx.uncut(); err != nil {
			return err
		}
		for _, t := range append(recordTables, lineageTables...) {
			if err := tx.exec("DELETE FROM " + t); err != nil {
				return err
			}
		}
		tx.reading.reset()
		if err := tx.rebuildRecords(); err != nil {
			return err
		}
		for _, kept := range []string{"journal", "answered"} { // the indexes of all others were filled anew
			if _, err := tx.sql.ExecContext(ctx, "REINDEX "+kept); err != nil {
				return err
			}
		}
		sum, err := tx.sum()
		return cmp.Or(err, tx.setSeal(sum))
	})
}

// uncut refuses a journal that once had another end.
func (tx *Tx) uncut() error {
	s, ok, err := tx.seal()
	if err != nil || !ok || s.seq == 0 {
		return err
	}
	e, ok, err := tx.Entry(s.seq)
	if err == nil && (!ok || string(e.Hash) != string(s.head)) {
		err = lots.Errorf(lots.Corrupt, "the journal had an entry %d that is gone or was changed, so nothing can be derived from it. %s", s.seq, mendJournal)
	}
	return err
}

// blame looks, where something failed that nobody foresaw, whether the file is damaged, and says that instead. A panic in
// a sound file is a fault of the program, and stays one.
func (db *DB) blame(ctx context.Context, err *error) {
	broken := recover()
	if broken == nil && (*err == nil || !unforeseen(*err) || ctx.Err() != nil) {
		return
	}
	what := ""
	if broken != nil {
		what = fmt.Sprint(broken)
		if _, ok := broken.(runtime.Error); !ok {
			what = "" // it says by itself what is wrong
		}
	} else {
		what = (*err).Error()
	}
	if db.scratch || !db.damaged(ctx) {
		if broken != nil {
			panic(broken)
		}
		return
	}
	if what != "" {
		what = " (" + what + ")"
	}
	*err = lots.Errorf(lots.Corrupt, "%s is damaged%s: heeltap audit says where. If its journal is whole, heeltap rebuild mends it; else bring it back from a backup (heeltap restore)", db.path, what)
}

// unforeseen reports whether an error is one that a sound file never gives. Any other error that is none of ours is its
// caller's own word for something, such as that a trial is over.
func unforeseen(err error) bool {
	if e, ok := errors.AsType[*lots.Error](err); ok {
		return e.Kind == lots.Internal && errors.Unwrap(e) != nil
	}
	if _, ok := errors.AsType[*json.SyntaxError](err); ok {
		return true
	}
	if _, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		return true
	}
	_, driver := errors.AsType[*sqlite.Error](err)
	return driver || strings.HasPrefix(err.Error(), "sql: ")
}

// damaged reports whether anything in the file is not as it was written.
func (db *DB) damaged(ctx context.Context) bool {
	tx, err := db.read.BeginTx(ctx, nil)
	if err != nil {
		return false
	}
	defer func() { _ = tx.Rollback() }()
	look := &Tx{ctx: ctx, db: db, sql: tx, stmts: map[string]*sql.Stmt{}}
	faults, err := look.integrity()
	if err != nil || len(faults) > 0 {
		return true
	}
	if look.Sound() != nil {
		return true
	}
	return !look.laidOut(ctx)
}

// laidOut reports whether the tables, indexes and triggers are those of a new database.
func (tx *Tx) laidOut(ctx context.Context) bool {
	fresh, err := newScratch(ctx)
	if err != nil {
		return true // it cannot be told
	}
	defer fresh.Close()
	var is, should []dumped
	is, err = tx.dump(dumps[0].query, dumps[0].entry)
	if err != nil {
		return false
	}
	err = fresh.View(ctx, func(f *Tx) (err error) {
		should, err = f.dump(dumps[0].query, dumps[0].entry)
		return err
	})
	return err != nil || slices.Equal(is, should)
}
