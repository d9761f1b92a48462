package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"heeltap/lots"
	"heeltap/lots/lineage"
)

// applicationID marks the file as heeltap's ("htap").
const applicationID = 0x68746170

// wait is how long a connection waits for another process that holds the file.
const wait = 5 * time.Second

//go:embed migration/*.sql
var migrations embed.FS

// DB is an open database.
type DB struct {
	// Now is the clock that entries are recorded by. It is a field so that a
	// program that replays history can set it; no setting from outside moves it.
	Now    func() time.Time
	Limits lineage.Limits

	path    string
	scratch bool
	write   *sql.DB
	read    *sql.DB
}

func address(path, mode string, params ...string) string {
	q := url.Values{"mode": {mode}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", wait.Milliseconds()), "foreign_keys(1)", "recursive_triggers(1)", "trusted_schema(0)", "cache_size(-65536)",
	}}
	for i := 0; i+1 < len(params); i += 2 {
		q.Add(params[i], params[i+1])
	}
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath(), RawQuery: q.Encode()}
	return u.String()
}

// Create makes a new database file; it refuses one that exists.
func Create(ctx context.Context, path string) (*DB, error) {
	if _, err := os.Lstat(path); err == nil {
		return nil, lots.Errorf(lots.Conflict, "%s already exists: choose another name, or use it", path)
	}
	if dir := filepath.Dir(path); dir != "" {
		if _, err := os.Stat(dir); err != nil {
			return nil, lots.Errorf(lots.NotFound, "the folder %s does not exist: create it first", dir)
		}
	}
	db, err := connect(path, "rwc")
	if err != nil {
		return nil, err
	}
	if err := db.migrate(ctx, 0); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// Open opens an existing database, bringing it to the current layout.
func Open(ctx context.Context, path string) (*DB, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, lots.Errorf(lots.NotFound, "there is no database %s: create one with heeltap init, or name another with --db", path)
	case err != nil:
		return nil, lots.Errorf(lots.NotFound, "%s cannot be read: %w", path, err)
	case info.IsDir():
		return nil, lots.Errorf(lots.Invalid, "%s is a folder, not a database", path)
	}
	db, err := connect(path, "rw")
	if err != nil {
		return nil, err
	}
	if err := db.check(ctx); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

func connect(path, mode string) (*DB, error) {
	db := &DB{Now: time.Now, Limits: lineage.DefaultLimits(), path: path}
	var err error
	if db.write, err = sql.Open("sqlite", address(path, mode, "_pragma", "journal_mode(WAL)", "_pragma", "synchronous(FULL)",
		"_pragma", "journal_size_limit(16777216)", "_txlock", "immediate")); err != nil {
		return nil, db.explain(err)
	}
	db.write.SetMaxOpenConns(1)
	if db.read, err = sql.Open("sqlite", address(path, mode, "_pragma", "query_only(1)")); err != nil {
		return nil, db.explain(err)
	}
	db.read.SetMaxOpenConns(4)
	return db, nil
}

// latest is the number of the newest migration.
func latest() int {
	entries, _ := migrations.ReadDir("migration")
	return len(entries)
}

// check refuses a file that is not ours or newer than this program, and brings an older one up to date.
func (db *DB) check(ctx context.Context) error {
	var id, version int
	if err := db.read.QueryRowContext(ctx, "SELECT (SELECT application_id FROM pragma_application_id), (SELECT user_version FROM pragma_user_version)").Scan(&id, &version); err != nil {
		return db.explain(err)
	}
	switch {
	case id != applicationID:
		return lots.Errorf(lots.Invalid, "%s is not a heeltap database; nothing in it was changed", db.path)
	case version > latest():
		return lots.Errorf(lots.Conflict, "%s has layout %d, and this heeltap knows only up to %d: use a newer heeltap", db.path, version, latest())
	case version < latest():
		if err := db.migrate(ctx, version); err != nil {
			return err
		}
	}
	return db.catchUp(ctx)
}

// migrate runs the migrations above a version, each in its own transaction.
func (db *DB) migrate(ctx context.Context, from int) error {
	entries, err := migrations.ReadDir("migration")
	if err != nil {
		return err
	}
	for i := from; i < len(entries); i++ {
		text, err := migrations.ReadFile("migration/" + entries[i].Name())
		if err != nil {
			return err
		}
		tx, err := db.write.BeginTx(ctx, nil)
		if err != nil {
			return db.explain(err)
		}
		var version int // another program may have done it while this one waited
		if err := tx.QueryRowContext(ctx, "SELECT user_version FROM pragma_user_version").Scan(&version); err != nil || version > i {
			if err = errors.Join(err, tx.Rollback()); err != nil {
				return db.explain(err)
			}
			continue
		}
		script := fmt.Sprintf("%s\n%s\nPRAGMA application_id=%d;\nPRAGMA user_version=%d;", text, views(), applicationID, i+1)
		if _, err := tx.ExecContext(ctx, script); err != nil {
			return db.explain(errors.Join(err, tx.Rollback()))
		}
		if err := tx.Commit(); err != nil {
			return db.explain(err)
		}
	}
	return nil
}

// views gives every sheet a table-like reading for people who open the file with SQL tools.
func views() string {
	out := ""
	for _, s := range lots.Sheets {
		cols := "seq"
		for _, c := range s.Columns {
			cols += fmt.Sprintf(`, json_extract(body, '$.%s') AS "%s"`, c.Name, c.Name)
		}
		out += fmt.Sprintf("DROP VIEW IF EXISTS \"sheet_%s\";\nCREATE VIEW \"sheet_%s\" AS SELECT %s FROM record WHERE sheet = '%s';\n", s.Name, s.Name, cols, s.Name)
	}
	return out
}

// Close closes the database; a scratch database is removed.
func (db *DB) Close() error {
	err := errors.Join(db.read.Close(), db.write.Close())
	if db.scratch { // it lies alone in a folder of its own
		err = errors.Join(err, os.RemoveAll(filepath.Dir(db.path)))
	}
	return err
}

// Discard closes a database that was just made and removes its files.
func (db *DB) Discard() error {
	err := db.Close()
	for _, ending := range []string{"", "-wal", "-shm"} {
		if e := os.Remove(db.path + ending); e != nil && !errors.Is(e, os.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}
	return err
}

// Path is the database file.
func (db *DB) Path() string { return db.path }

// explain turns the driver's errors into what a person can act on, by code and never by text.
func (db *DB) explain(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return lots.Errorf(lots.Locked, "%s has been in use by another program for more than %s: try again when it is done; nothing was changed", db.path, wait)
	case sqlite3.SQLITE_READONLY:
		return lots.Errorf(lots.Invalid, "%s cannot be written (read-only file or folder); nothing was changed", db.path)
	case sqlite3.SQLITE_NOTADB:
		return lots.Errorf(lots.Invalid, "%s is not a heeltap database; nothing in it was changed", db.path)
	case sqlite3.SQLITE_CORRUPT:
		return lots.Errorf(lots.Corrupt, "%s is damaged: restore it from a backup (%w)", db.path, err)
	case sqlite3.SQLITE_CANTOPEN:
		return lots.Errorf(lots.NotFound, "%s cannot be opened: check the path and its permissions", db.path)
	case sqlite3.SQLITE_FULL:
		return lots.Errorf(lots.Internal, "the disk is full; nothing was changed")
	}
	return lots.Errorf(lots.Internal, "%s: %w", db.path, err)
}
