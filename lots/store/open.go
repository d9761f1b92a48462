package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/sqlfile"
)

// applicationID marks the file as heeltap's ("htap").
const applicationID = 0x68746170

//go:embed migration/*.sql
var migrations embed.FS

// DB is an open database.
type DB struct {
	// Now is the clock that entries are recorded by. It is a field so that a
	// program that replays history can set it; no setting from outside moves it.
	Now    func() time.Time
	Limits lineage.Limits

	path     string
	scratch  bool
	unsealed bool // what is done puts the seal on by itself
	file     *sqlfile.File
	write    *sql.DB
	read     *sql.DB
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
	err = db.file.Migrate(ctx)
	if err == nil {
		err = db.unsealedUpdate(ctx, func(tx *Tx) error { return tx.setSeal(total{}) })
	}
	if err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// Open opens an existing database, bringing it to the current layout. It refuses one whose records and lineage were not
// derived from its journal as it ends.
func Open(ctx context.Context, path string) (*DB, error) {
	db, err := OpenAnyway(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := db.View(ctx, (*Tx).belongs); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// OpenAnyway is Open for whoever looks into what is wrong with a database, or mends it.
func OpenAnyway(ctx context.Context, path string) (*DB, error) {
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
	file, err := sqlfile.Form{Name: "a heeltap database", ID: applicationID, Layouts: migrations, Also: views}.Connect(path, mode)
	if err != nil {
		return nil, err
	}
	return &DB{Now: time.Now, Limits: lineage.DefaultLimits(), path: path, file: file, write: file.Write, read: file.Read}, nil
}

// check refuses a file that is not ours or newer than this program, and brings an older one up to date.
func (db *DB) check(ctx context.Context) error {
	if err := db.file.Check(ctx); err != nil {
		return err
	}
	return db.catchUp(ctx)
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
	err := db.file.Close()
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

// explain turns the driver's errors into what a person can act on.
func (db *DB) explain(err error) error { return db.file.Explain(err) }
