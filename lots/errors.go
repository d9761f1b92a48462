package lots

import (
	"errors"
	"fmt"
	"strings"
)

// ErrKind says what class of failure an Error is; callers map it once to an
// exit status or an HTTP status. The list is append-only.
type ErrKind string

// The kinds of failure.
const (
	NotFound ErrKind = "not found"
	Invalid  ErrKind = "invalid"
	Conflict ErrKind = "conflict"
	Locked   ErrKind = "locked"
	Corrupt  ErrKind = "corrupt"
	Internal ErrKind = "internal"
	Denied   ErrKind = "denied" // others may
)

// Error is a failure a person can act on: its text says what happened and what to do.
type Error struct {
	Kind ErrKind
	err  error
}

func (e *Error) Error() string { return e.err.Error() }

func (e *Error) Unwrap() error { return errors.Unwrap(e.err) }

// ErrorKind is the error's kind.
func (e *Error) ErrorKind() ErrKind { return e.Kind }

// Errorf makes an Error of a kind; the cause given with %w stays reachable.
func Errorf(kind ErrKind, format string, args ...any) *Error {
	return &Error{Kind: kind, err: fmt.Errorf(format, args...)}
}

// Kinded is an error that says itself of what kind it is. Every type of error here is one: of any other nobody can tell
// a refusal from a failure on our side, and people would be told of a failure.
type Kinded interface {
	error
	ErrorKind() ErrKind
}

// KindOf gives the kind of the nearest error in err's chain that says one, or Internal.
func KindOf(err error) ErrKind {
	if e, ok := errors.AsType[Kinded](err); ok {
		return e.ErrorKind()
	}
	return Internal
}

// Fault is one thing wrong with one row, located for the person who must fix it.
type Fault struct {
	File   string // file or sheet name; empty for a single entry
	Line   int    // 1-based line of the file (the heading is line 1); 0 for a single entry
	Column string // column name, or empty where the whole row is meant
	Reason string
	Held   bool // it takes what is on hold or was rejected: somebody may override that by name and reason
}

func (f Fault) String() string {
	var b strings.Builder
	if f.File != "" {
		fmt.Fprintf(&b, "%s:%d: ", f.File, f.Line)
	}
	if f.Column != "" {
		fmt.Fprintf(&b, "%s: ", f.Column)
	}
	b.WriteString(f.Reason)
	return b.String()
}

// Faults are all the things wrong in one piece of input.
type Faults []Fault

// ErrorKind is Invalid: what was written has to be put right.
func (f Faults) ErrorKind() ErrKind { return Invalid }

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, x := range f {
		lines[i] = x.String()
	}
	return strings.Join(lines, "\n")
}
