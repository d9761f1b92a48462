package people

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"

	"heeltap/lots"
	"heeltap/lots/sqlfile"
)

// applicationID marks the file as heeltap's list of people ("htpp").
const applicationID = 0x68747070

//go:embed migration/*.sql
var layouts embed.FS

// Book is the open list of people.
type Book struct {
	Now func() time.Time // the clock; tests set it

	Idle    time.Duration // a session that was not used for so long ends
	IdlePIN time.Duration // the same for a session by PIN
	Longest time.Duration // a session ends after so long, however busy
	Good    time.Duration // how long a one-time link can be used

	file *sqlfile.File
	cost cost
	room chan struct{} // a place for each hash that may be computed at a time
}

// PathFor is the list's file beside a database: heeltap.db has heeltap-people.db.
func PathFor(db string) string {
	ending := filepath.Ext(db)
	return strings.TrimSuffix(db, ending) + "-people" + ending
}

// Open opens the list, or begins one that only the user it runs as can read. It refuses a file
// of another kind or of a newer heeltap, and changes nothing in it.
func Open(ctx context.Context, path string) (*Book, error) {
	if err := private(path); err != nil {
		return nil, err
	}
	file, err := sqlfile.Form{Name: "heeltap's list of people", ID: applicationID, Layouts: layouts}.Connect(path, "rw")
	if err != nil {
		return nil, err
	}
	b := &Book{Now: time.Now, Idle: 8 * time.Hour, IdlePIN: 15 * time.Minute, Longest: 7 * 24 * time.Hour, Good: 24 * time.Hour,
		file: file, cost: strong, room: make(chan struct{}, hashesAtOnce)}
	if err := b.begin(ctx); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return b, nil
}

// private makes the file if there is none, and takes other users' rights to it away.
func private(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err == nil {
		return f.Close()
	}
	info, statErr := os.Stat(path)
	switch {
	case statErr != nil:
		return lots.Errorf(lots.NotFound, "%s cannot be made: %w", path, err)
	case !info.Mode().IsRegular():
		return lots.Errorf(lots.Invalid, "%s is not a file", path)
	case info.Mode().Perm()&0o077 == 0:
		return nil
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return lots.Errorf(lots.Invalid, "other users can read %s, and that cannot be changed: %w", path, err)
	}
	return nil
}

// begin lays out a file with nothing in it, and checks any other.
func (b *Book) begin(ctx context.Context) error {
	id, layout, err := b.file.Layout(ctx)
	if err != nil {
		return err
	}
	var tables int
	if err := b.file.Read.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_master").Scan(&tables); err != nil {
		return b.file.Explain(err)
	}
	if id == 0 && layout == 0 && tables == 0 {
		return b.file.Migrate(ctx)
	}
	return b.file.Check(ctx)
}

// Close closes the file.
func (b *Book) Close() error { return b.file.Close() }

// Path is the file.
func (b *Book) Path() string { return b.file.Path }

// tx is one transaction at one moment.
type tx struct {
	ctx context.Context
	sql *sql.Tx
	now time.Time
}

// update runs f in a transaction that is kept if f returns nil, and leaves no trace otherwise.
func (b *Book) update(ctx context.Context, f func(*tx) error) error {
	return b.within(ctx, b.file.Write, f)
}

// view runs f on a snapshot.
func (b *Book) view(ctx context.Context, f func(*tx) error) error {
	return b.within(ctx, b.file.Read, f)
}

func (b *Book) within(ctx context.Context, pool *sql.DB, f func(*tx) error) (err error) {
	t, err := pool.BeginTx(ctx, &sql.TxOptions{ReadOnly: pool == b.file.Read})
	if err != nil {
		return b.file.Explain(err)
	}
	defer func() { _ = t.Rollback() }() // does nothing after Commit
	if err := f(&tx{ctx: ctx, sql: t, now: b.Now()}); err != nil {
		return b.file.Explain(err)
	}
	return b.file.Explain(t.Commit())
}

func (t *tx) exec(text string, args ...any) error {
	_, err := t.sql.ExecContext(t.ctx, text, args...)
	return err
}

// changed is exec that says how many rows it changed.
func (t *tx) changed(text string, args ...any) (int64, error) {
	r, err := t.sql.ExecContext(t.ctx, text, args...)
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

func (t *tx) row(text string, args ...any) *sql.Row {
	return t.sql.QueryRowContext(t.ctx, text, args...)
}

// each runs a query and gives every row to scan.
func (t *tx) each(scan func(*sql.Rows) error, text string, args ...any) error {
	rows, err := t.sql.QueryContext(t.ctx, text, args...)
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

// at reads a stored time; 0 is none.
func at(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms)
}

// none reports whether a query found no row.
func none(err error) bool { return errors.Is(err, sql.ErrNoRows) }
