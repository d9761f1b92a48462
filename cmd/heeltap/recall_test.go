package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What a recall verb says is done is in the journal by the time it is said: whoever reads the line
// and then the database, by another program, finds it there.
func TestWhatIsSaidIsKept(t *testing.T) {
	db := filepath.Join(t.TempDir(), "heeltap.db")
	do := func(out io.Writer, args ...string) int {
		return run(context.Background(), append([]string{"--db", db}, args...), &env{out: out, errOut: io.Discard, getenv: func(name string) string {
			return map[string]string{"HEELTAP_BY": "me"}[name]
		}, now: time.Now})
	}
	require.Equal(t, exitDone, do(io.Discard, "init"))
	require.Equal(t, exitDone, do(io.Discard, "import", filepath.Join("..", "..", "testdata", "scenarios", "base")))
	require.Equal(t, exitDone, do(io.Discard, "receive", "H-1", "--item", "HOP", "--supplier", "SUP", "--supplier-lot", "h", "--quantity", "5 kg", "--received-at", "2026-02-01 08:00"))
	for _, x := range []struct {
		args []string
		said string // what the log has then
	}{
		{[]string{"recall", "open", "H-1", "--mock", "--reason", "exercise"}, "Mock recall opened"},
		{[]string{"recall", "note", "team called together"}, "team called together"},
		{[]string{"recall", "hold"}, "Hold rehearsed on 1 thing"},
		{[]string{"recall", "account", "--strike"}, "Account struck"},
		{[]string{"recall", "letters", "--out", filepath.Join(t.TempDir(), "letters")}, "Letters drafted"},
		{[]string{"recall", "release", "--all", "--reason", "over"}, "Release rehearsed: H-1"},
	} {
		told := &watcher{}
		told.look = func() {
			var log bytes.Buffer
			require.Equal(t, exitDone, do(&log, "recall", "log"), x.args)
			require.Contains(t, log.String(), x.said, "it is said before it is kept")
		}
		require.Equal(t, exitDone, do(told, x.args...), x.args)
		require.Positive(t, told.n)
	}
}

// watcher looks at something each time that it is written to.
type watcher struct {
	look func()
	n    int
}

func (w *watcher) Write(p []byte) (int, error) {
	w.n++
	w.look()
	return len(p), nil
}
