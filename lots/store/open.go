package store

import (
	"cmp"
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"heeltap/lots"
	"heeltap/lots/files"
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
	queue    *queue // of the programs that write it; nil where there is none
	logged   int64  // how large the log was when it was last tried to empty it
	live     *live  // the lineage in memory; nil where none is kept
	write    *sql.DB
	read     *sql.DB
}

// Create makes a new database file; it refuses one that exists.
func Create(ctx context.Context, path string) (*DB, error) {
	if err := free(path); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600) // SQLite gives its other files the same mode
	if err != nil {
		return nil, files.Failed(path, err)
	}
	if err := f.Close(); err != nil {
		return nil, files.Failed(path, err)
	}
	db, err := connect(path, "rw")
	if err != nil {
		return nil, err
	}
	err = db.file.Migrate(ctx)
	if err == nil {
		err = db.unsealedUpdate(ctx, func(tx *Tx) error { return tx.setSeal(total{}) })
	}
	if err != nil {
		return nil, cmp.Or(db.Discard(), err)
	}
	return db, nil
}

// free refuses a name where nothing can be made.
func free(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return lots.Errorf(lots.Conflict, "%s already exists: choose another name, or use it", path)
	}
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		return lots.Errorf(lots.NotFound, "the folder %s does not exist: create it first", filepath.Dir(path))
	}
	return nil
}

// CreateWith makes a new database with what fill puts into it, or none. It is made under another name and gets its own only
// when it is whole and on the disk, so that a program that is stopped at any moment leaves nothing in the way.
func CreateWith(ctx context.Context, path string, fill func(*DB) error) error {
	if err := free(path); err != nil {
		return err
	}
	beside, err := os.MkdirTemp(filepath.Dir(path), ".heeltap-*")
	if err != nil {
		return files.Failed(path, err)
	}
	defer os.RemoveAll(beside)
	made := filepath.Join(beside, filepath.Base(path))
	db, err := Create(ctx, made)
	if err != nil {
		return err
	}
	if err := errors.Join(fill(db), db.Close()); err != nil {
		return err
	}
	if left, err := os.Stat(made + "-wal"); err == nil && left.Size() > 0 {
		return lots.Errorf(lots.Internal, "%s could not be finished: another program looks into it", made)
	}
	if err := os.Link(made, path); err != nil { // unlike a rename it never takes the place of what was made there meanwhile
		if errors.Is(err, os.ErrExist) {
			return free(path)
		}
		if err := cmp.Or(free(path), os.Rename(made, path)); err != nil { // not every system has links
			return files.Failed(path, err)
		}
	}
	return files.SyncFolder(filepath.Dir(path))
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
	err = db.check(ctx)
	if err == nil {
		return db, nil
	}
	db.Close()
	if read := unwritable(ctx, path, err); read != nil {
		return read, nil
	}
	return nil, err
}

// unwritable opens a file that cannot be written, nor anything beside it, for questions alone: SQLite cannot even read it
// with others then. It gives nothing where that is not what is wrong.
func unwritable(ctx context.Context, path string, because error) *DB {
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 {
		return nil // entries stand in it that reading the file alone would miss
	}
	if !sqlfile.CannotWrite(because) {
		return nil
	}
	db, err := connect(path, "ro")
	if err != nil {
		return nil
	}
	if db.check(ctx) != nil {
		db.Close()
		return nil
	}
	db.file.Full = files.Full(filepath.Dir(path))
	return db
}

func connect(path, mode string) (*DB, error) {
	file, err := sqlfile.Form{Name: "a heeltap database", ID: applicationID, Layouts: migrations, Also: views}.Connect(path, mode)
	if err != nil {
		return nil, err
	}
	db := &DB{Now: time.Now, Limits: lineage.DefaultLimits(), path: path, file: file, write: file.Write, read: file.Read}
	if mode != "ro" {
		db.queue = &queue{path: path + "-queue"}
	}
	return db, nil
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
	db.live.close()
	err := errors.Join(db.file.Close(), db.queue.close())
	if db.scratch { // it lies alone in a folder of its own
		err = errors.Join(err, os.RemoveAll(filepath.Dir(db.path)))
	}
	return err
}

// Discard closes a database that was just made and removes its files.
func (db *DB) Discard() error {
	err := db.Close()
	for _, ending := range []string{"", "-wal", "-shm", "-queue"} {
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
