package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"time"

	"heeltap/lots"
)

// Tx is one transaction: a snapshot to read, or all of what is written at once.
type Tx struct {
	ctx      context.Context
	db       *DB
	sql      *sql.Tx
	recorded int64 // Unix milliseconds of all that this transaction writes
	stmts    map[string]*sql.Stmt
	err      error          // the first failure of a reading that has no error of its own
	later    bool           // lineage is derived once, at the end
	again    bool           // what is recorded was accepted before, in another journal
	joint    *[]lots.Record // what corrections made as one changed so far; nil where each stands for itself
	reading  reading
	readAs   []ReadAs
	sealing  *sealing         // what it changes of the derived rows; nil where nothing is sealed
	unsorted *unsorted        // of many rows that are being entered; nil where none are
	made     *change          // what it did to the lineage, for the one in memory
	seen     *version         // what a reading transaction sees, once somebody asked
	marks    map[string]int64 // the highest numbers given by this transaction, kept beside the file before it is recorded
}

// Update runs f in a transaction that is kept if f returns nil, and leaves no trace otherwise.
func (db *DB) Update(ctx context.Context, f func(*Tx) error) error {
	return db.within(ctx, db.write, f)
}

// Load is Update for a whole history: f says with At when each part of it was
// recorded, and the lineage is derived once, at the end.
func (db *DB) Load(ctx context.Context, f func(*Tx) error) error {
	return db.Update(ctx, func(tx *Tx) error {
		tx.later = true
		if err := f(tx); err != nil {
			return err
		}
		tx.later = false
		tx.reading.reset()
		return tx.named(tx.rebuildLineage())
	})
}

// At sets the moment that the entries after it are recorded at. Only a history being loaded can set it.
func (tx *Tx) At(moment time.Time) {
	if !tx.later {
		panic("store: At outside Load")
	}
	tx.recorded = moment.UnixMilli()
}

// View runs f on a snapshot.
func (db *DB) View(ctx context.Context, f func(*Tx) error) error {
	return db.within(ctx, db.read, f)
}

func (db *DB) within(ctx context.Context, pool *sql.DB, f func(*Tx) error) (err error) {
	defer db.blame(ctx, &err)
	tx := &Tx{ctx: ctx, db: db, recorded: db.Now().UnixMilli(), stmts: map[string]*sql.Stmt{}}
	var stx *sql.Tx
	if pool == db.write && !db.scratch {
		tx.sealing = newSealing()
		tx.sealing.noting = db.live != nil && !db.unsealed
		conn, release, err := db.watched(ctx, tx.sealing)
		if err != nil {
			return db.explain(err)
		}
		defer func() { err = errors.Join(err, release()) }()
		if err := db.queue.enter(ctx); err != nil {
			return err
		}
		defer db.queue.leave()
		defer func() {
			if err == nil {
				db.emptyLog(ctx, conn)
			}
		}()
		stx, err = conn.BeginTx(ctx, nil)
		if err != nil {
			return db.explain(err)
		}
	} else if stx, err = pool.BeginTx(ctx, &sql.TxOptions{ReadOnly: pool == db.read}); err != nil {
		return db.explain(err)
	}
	done := false
	defer func() {
		if !done { // also on a panic
			if undo := stx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
				err = errors.Join(err, undo)
			}
			if ctx.Err() != nil { // what was being done then fails in many ways
				err = lots.Errorf(lots.Internal, "stopped before it was done; nothing was changed: %w", ctx.Err())
			}
		}
	}()
	tx.sql = stx
	tx.reading.reset()
	if err := tx.sealed(f); err != nil {
		return db.explain(err)
	}
	if tx.err != nil {
		return db.explain(tx.err)
	}
	if err := tx.keepMarks(); err != nil {
		return err
	}
	done = true
	return db.explain(tx.commit())
}

// sealed runs f and, where it writes, ties what it derived to the journal as it ends then. What did not belong to the
// journal before is refused, so that no seal is ever put on it.
func (tx *Tx) sealed(f func(*Tx) error) error {
	if tx.sealing == nil || tx.db.unsealed {
		return f(tx)
	}
	if err := tx.belongs(); err != nil {
		return err
	}
	was, _, err := tx.seal()
	if err != nil {
		return err
	}
	if err := cmp.Or(f(tx), tx.err, tx.sealing.err); err != nil {
		return err
	}
	from := version{was.seq, string(was.head), was.sum}
	was.sum.add(tx.sealing.change)
	if err := tx.setSeal(was.sum); err != nil || !tx.sealing.noting {
		return err
	}
	now, _, err := tx.seal()
	tx.made = &change{from, version{now.seq, string(now.head), now.sum}, tx.sealing.changes}
	return err
}

// commit keeps what was done. The lineage in memory hears of it before, so that it knows the change once somebody can see it.
func (tx *Tx) commit() error {
	if tx.made != nil {
		tx.db.live.enqueue(*tx.made)
	}
	err := tx.sql.Commit()
	if err != nil && tx.made != nil {
		tx.db.live.takeBack(tx.made.to)
	}
	return err
}

// stmt prepares a statement once for the transaction.
func (tx *Tx) stmt(text string) (*sql.Stmt, error) {
	if s, ok := tx.stmts[text]; ok {
		return s, nil
	}
	s, err := tx.sql.PrepareContext(tx.ctx, text)
	if err != nil {
		return nil, err
	}
	tx.stmts[text] = s
	return s, nil
}

func (tx *Tx) exec(text string, args ...any) error {
	s, err := tx.stmt(text)
	if err != nil {
		return err
	}
	_, err = s.ExecContext(tx.ctx, args...)
	return err
}

// each runs a query and gives every row to scan.
func (tx *Tx) each(scan func(rows *sql.Rows) error, text string, args ...any) error {
	s, err := tx.stmt(text)
	if err != nil {
		return err
	}
	rows, err := s.QueryContext(tx.ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// one runs a query for at most one row; false where there is none.
func (tx *Tx) one(dest []any, text string, args ...any) (bool, error) {
	s, err := tx.stmt(text)
	if err != nil {
		return false, err
	}
	err = s.QueryRowContext(tx.ctx, args...).Scan(dest...)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

// fail keeps the first error of a reading whose signature has none; the transaction then fails.
func (tx *Tx) fail(err error) {
	if err != nil && tx.err == nil {
		tx.err = err
	}
}

// Err is the first failure of a reading that has no error of its own.
func (tx *Tx) Err() error { return tx.err }

// Recorded is the moment all entries of this transaction carry.
func (tx *Tx) Recorded() time.Time { return time.UnixMilli(tx.recorded) }

// Site gives the site's settings.
func (tx *Tx) Site() lots.Site { return tx.reading.siteOf(tx) }
