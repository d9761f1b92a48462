// Package sqlfile opens the SQLite files that heeltap keeps: it knows how a file is
// recognised, brought to the current layout and shared between programs, and turns
// the driver's errors into what a person can act on. It must not know what is in them.
package sqlfile

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"heeltap/lots"
)

// wait is how long a connection waits for another process that holds the file.
const wait = 5 * time.Second

// Form is what a kind of file is known by.
type Form struct {
	Name    string        // as errors call it: "a heeltap database"
	ID      int           // SQLite's application_id
	Layouts fs.FS         // the folder "migration" with one script per layout, in order
	Also    func() string // SQL run after the scripts; may be nil
}

// File is an open file: one connection that writes, and several that only read.
type File struct {
	Path  string
	Write *sql.DB
	Read  *sql.DB
	Full  bool // it was opened for reading alone because the disk is full
	form  Form
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

// Connect opens a file in one of SQLite's modes ("rw", "rwc"), without a look at what it is; "ro" opens one that nobody
// writes meanwhile, and neither can this program.
func (form Form) Connect(path, mode string) (*File, error) {
	f := &File{Path: path, form: form}
	var err error
	if mode == "ro" {
		if f.Read, err = sql.Open("sqlite", address(path, mode, "immutable", "1")); err != nil {
			return nil, f.Explain(err)
		}
		f.Write, err = sql.Open("sqlite", address(path, mode, "immutable", "1"))
		return f, f.Explain(err)
	}
	if f.Write, err = sql.Open("sqlite", address(path, mode, "_pragma", "journal_mode(WAL)", "_pragma", "synchronous(FULL)",
		"_pragma", "journal_size_limit(16777216)", "_txlock", "immediate")); err != nil {
		return nil, f.Explain(err)
	}
	f.Write.SetMaxOpenConns(1)
	if f.Read, err = sql.Open("sqlite", address(path, mode, "_pragma", "query_only(1)")); err != nil {
		return nil, f.Explain(err)
	}
	f.Read.SetMaxOpenConns(4)
	return f, nil
}

// Copy writes a copy of a file as it stands at one moment, while others go on using it. Of two files that should fit
// together, copy first the one that names what is in the other.
func Copy(ctx context.Context, from, to string) (err error) {
	f := &File{Path: from, form: Form{Name: "a SQLite file"}}
	db, err := sql.Open("sqlite", address(from, "ro"))
	if err != nil {
		return f.Explain(err)
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", to); err != nil {
		return f.Explain(err)
	}
	return os.Chmod(to, 0o600)
}

// Close closes all connections.
func (f *File) Close() error { return errors.Join(f.Read.Close(), f.Write.Close()) }

// Layout says which kind of file it is and at which layout; both are 0 in a file with nothing in it.
func (f *File) Layout(ctx context.Context) (id, layout int, err error) {
	err = f.Read.QueryRowContext(ctx, "SELECT (SELECT application_id FROM pragma_application_id), (SELECT user_version FROM pragma_user_version)").Scan(&id, &layout)
	return id, layout, f.Explain(err)
}

// Check refuses a file of another kind or newer than this program, and brings an older one up to date.
func (f *File) Check(ctx context.Context) error {
	id, layout, err := f.Layout(ctx)
	if err != nil {
		return err
	}
	all, err := fs.ReadDir(f.form.Layouts, "migration")
	switch {
	case err != nil:
		return err
	case id != f.form.ID:
		return lots.Errorf(lots.Invalid, "%s is not %s; nothing in it was changed", f.Path, f.form.Name)
	case layout > len(all):
		return lots.Errorf(lots.Conflict, "%s has layout %d, and this heeltap knows only up to %d: use a newer heeltap", f.Path, layout, len(all))
	case layout < len(all):
		if err := f.keep(ctx, layout); err != nil {
			return err
		}
		return f.Migrate(ctx)
	}
	return nil
}

// keep copies a file, as it is, before it is brought to a newer layout: heeltap.db at layout 10 is kept as
// heeltap.db.layout-10. One that was kept before stays.
func (f *File) keep(ctx context.Context, layout int) error {
	to := fmt.Sprintf("%s.layout-%d", f.Path, layout)
	if _, err := os.Lstat(to); err == nil {
		return nil
	}
	beside, err := os.MkdirTemp(filepath.Dir(f.Path), ".heeltap-*")
	if err == nil {
		defer os.RemoveAll(beside)
		made := filepath.Join(beside, "copy")
		if err = Copy(ctx, f.Path, made); err == nil {
			err = os.Rename(made, to)
		}
	}
	if err != nil {
		return lots.Errorf(lots.KindOf(err), "%s has an older layout and is not brought up to date, since no copy of it could be kept first: %w", f.Path, err)
	}
	return nil
}

// Migrate runs the scripts above a layout, in one transaction: a file is at its old layout or at the newest.
func (f *File) Migrate(ctx context.Context) error {
	all, err := fs.ReadDir(f.form.Layouts, "migration")
	if err != nil {
		return err
	}
	tx, err := f.Write.BeginTx(ctx, nil)
	if err != nil {
		return f.Explain(err)
	}
	defer func() { _ = tx.Rollback() }() // of what was not kept
	var from int
	if err := tx.QueryRowContext(ctx, "SELECT user_version FROM pragma_user_version").Scan(&from); err != nil { // another program may have done it while this one waited
		return f.Explain(err)
	}
	var script strings.Builder
	for i := from; i < len(all); i++ {
		text, err := fs.ReadFile(f.form.Layouts, "migration/"+all[i].Name())
		if err != nil {
			return err
		}
		script.Write(text)
		script.WriteByte('\n')
	}
	if from >= len(all) {
		return nil
	}
	if f.form.Also != nil {
		script.WriteString(f.form.Also())
	}
	fmt.Fprintf(&script, "\nPRAGMA application_id=%d;\nPRAGMA user_version=%d;", f.form.ID, len(all))
	if _, err := tx.ExecContext(ctx, script.String()); err != nil {
		return f.Explain(err)
	}
	return f.Explain(tx.Commit())
}

// Explain turns the driver's errors into what a person can act on, by code and never by text.
func (f *File) Explain(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	code := e.Code() & 0xff
	if f.Full && code == sqlite3.SQLITE_READONLY {
		code = sqlite3.SQLITE_FULL
	}
	switch code {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return lots.Errorf(lots.Locked, "%s has been in use by another program for more than %s: try again when it is done; nothing was changed", f.Path, wait)
	case sqlite3.SQLITE_READONLY:
		return lots.Errorf(lots.Invalid, "%s cannot be written (read-only file or folder); nothing was changed%w", f.Path, quiet{err})
	case sqlite3.SQLITE_NOTADB:
		return lots.Errorf(lots.Invalid, "%s is not %s; nothing in it was changed", f.Path, f.form.Name)
	case sqlite3.SQLITE_CORRUPT:
		return lots.Errorf(lots.Corrupt, "%s is damaged: restore it from a backup (%w)", f.Path, err)
	case sqlite3.SQLITE_CANTOPEN:
		return lots.Errorf(lots.NotFound, "%s cannot be opened: check the path and its permissions%w", f.Path, quiet{err})
	case sqlite3.SQLITE_FULL:
		return lots.Errorf(lots.Internal, "the disk is full; nothing was changed: make room on it (%s)%w", f.Path, quiet{err})
	}
	return lots.Errorf(lots.Internal, "%s: %w", f.Path, err)
}

// CannotWrite reports whether an error says that a file, or the folder that it is in, cannot be written: because it is
// read-only, or because the disk is full.
func CannotWrite(err error) bool {
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR:
			return true
		}
	}
	return false
}

// quiet keeps a cause reachable without its text.
type quiet struct{ error }

func (quiet) Error() string             { return "" }
func (q quiet) ErrorKind() lots.ErrKind { return lots.KindOf(q.error) }
func (q quiet) Unwrap() error           { return q.error }
