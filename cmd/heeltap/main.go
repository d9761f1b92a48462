// Command heeltap keeps a brewery's batch records as a lineage graph in one SQLite
// file and says where a lot went, what went into a date code, and who has it now.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"heeltap/lots"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], &env{in: os.Stdin, out: os.Stdout, errOut: os.Stderr, getenv: os.Getenv, now: time.Now}))
}

// The exit statuses.
const (
	exitDone     = 0
	exitRefused  = 1
	exitUsage    = 2
	exitFindings = 3
)

// errFindings ends a verb that checked something and has already reported the faults it found.
var errFindings = errors.New("there are findings")

// run does one command and gives its exit status.
func run(ctx context.Context, args []string, e *env) int {
	root := newRoot(e)
	root.SetArgs(args)
	root.SetIn(e.in)
	root.SetOut(e.out)
	root.SetErr(e.errOut)
	err := root.ExecuteContext(ctx)
	if e.lost != nil && (err == nil || errors.Is(err, errFindings)) {
		err = lots.Errorf(lots.Internal, "the answer could not be written completely: %w", e.lost)
	}
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errFindings):
		return exitFindings
	case !e.started: // arguments and flags are read before any verb starts
		if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
			if c, rest, _ := root.Find(args); c == root && len(rest) > 0 { // its flags were read as the program's own
				err = unknownVerb(root, args[0])
			}
		}
		fmt.Fprintf(e.errOut, "heeltap: %v\n", err)
		return exitUsage
	}
	tell(e.errOut, err)
	return exitRefused
}

// tell writes an error, each fault of several on a line of its own.
func tell(w io.Writer, err error) {
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(w, "heeltap: stopped; nothing was changed")
		return
	}
	if faults, ok := errors.AsType[lots.Faults](err); ok {
		for _, f := range faults {
			fmt.Fprintf(w, "heeltap: %s\n", oneLine(f.String()))
		}
		return
	}
	fmt.Fprintf(w, "heeltap: %s\n", oneLine(strings.ReplaceAll(err.Error(), "\n", "; ")))
}
