package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
	"time"

	"golang.org/x/term"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

// env is what a command sees of the world.
type env struct {
	in          io.Reader
	out, errOut io.Writer
	getenv      func(string) string
	now         func() time.Time

	db      string // --db
	json    bool   // --json
	knownAt string // --known-at
	started bool   // the arguments were understood and a verb has begun
	lost    error  // the first failure to write an answer
}

// path is the database file: --db, else HEELTAP_DB, else heeltap.db here.
func (e *env) path() string { return cmp.Or(e.db, e.getenv("HEELTAP_DB"), "heeltap.db") }

// open opens the database; the caller closes it.
func (e *env) open(ctx context.Context) (*store.DB, error) {
	db, err := store.Open(ctx, e.path())
	if err != nil {
		return nil, err
	}
	db.Now = e.now
	return db, nil
}

// update runs f in one transaction of the database: all of it is kept, or nothing.
func (e *env) update(ctx context.Context, f func(*store.Tx) error) (err error) {
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	return db.Update(ctx, e.telling(f))
}

// telling is f followed by notes on texts that were read as something written differently.
func (e *env) telling(f func(*store.Tx) error) func(*store.Tx) error {
	return func(tx *store.Tx) error {
		err := f(tx)
		for _, r := range tx.Readings() {
			e.note("%s read as %s", r.Text, r.As)
		}
		return err
	}
}

// question runs f on a snapshot of the database, as known at the moment asked for.
func (e *env) question(ctx context.Context, f func(*store.Tx) error) (err error) {
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	f = e.telling(f)
	if e.knownAt == "" {
		return db.View(ctx, f)
	}
	moment, err := e.moment(ctx, db)
	if err != nil {
		return err
	}
	then, err := db.AsKnown(ctx, moment)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, then.Close()) }()
	if err := then.View(ctx, f); err != nil && lots.KindOf(err) == lots.NotFound {
		return lots.Errorf(lots.NotFound, "%w (as known at %s; later entries are left out)", err, e.knownAt)
	} else if err != nil {
		return err
	}
	return nil
}

// moment reads --known-at.
func (e *env) moment(ctx context.Context, db *store.DB) (moment time.Time, err error) {
	err = db.View(ctx, func(tx *store.Tx) (err error) {
		moment, err = desk.KnownAt(tx, e.knownAt)
		return err
	})
	if err != nil {
		return time.Time{}, lots.Errorf(lots.Invalid, "--known-at: %w", err)
	}
	return moment, nil
}

// writeJSON writes a value as indented JSON.
func (e *env) writeJSON(v any) error {
	enc := json.NewEncoder(e.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// terminal reports whether a stream is a terminal and colour is not switched off.
func (e *env) terminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && e.getenv("NO_COLOR") == "" && e.getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd()))
}

// strong writes a text in bold where that can be seen.
func (e *env) strong(text string) string {
	if !e.terminal(e.out) {
		return text
	}
	return boldOn + text + boldOff
}

const boldOn, boldOff = "\x1b[1m", "\x1b[0m"

func (e *env) printf(format string, args ...any) {
	if _, err := io.WriteString(e.out, shown(fmt.Sprintf(format, args...))); err != nil {
		e.lost = cmp.Or(e.lost, err)
	}
}

// note prints what is worth knowing beside the answer; it stops nothing.
func (e *env) note(format string, args ...any) {
	fmt.Fprintf(e.errOut, "note: %s\n", oneLine(fmt.Sprintf(format, args...)))
}

// steering matches what would drive a terminal or turn its text around; texts as printed on goods may hold any character.
var steering = regexp.MustCompile(`\x1b\[[01]m|[\p{Cc}\x{202a}-\x{202e}\x{2066}-\x{2069}]`)

// shown replaces what must not reach a terminal by a mark; our own bold stays.
func shown(text string) string {
	return steering.ReplaceAllStringFunc(text, func(s string) string {
		switch s {
		case "\n", "\t", boldOn, boldOff:
			return s
		}
		return "\uFFFD"
	})
}

// oneLine is shown for a text that must not begin a line of its own.
func oneLine(text string) string {
	return strings.NewReplacer("\n", "\uFFFD", "\t", "\uFFFD").Replace(shown(text))
}
