package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/backup"
	"heeltap/lots/store"
)

// built builds the program as it is shipped, and gives its path.
func built(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "heeltap")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	return path
}

// The program itself, serving, makes a backup by its own schedule while rows come in from another process; the newest
// backup can be brought back and answers as the database did, told to stop it stops, and no half-written backup is left.
func TestServeBacksUp(t *testing.T) {
	program, dir := built(t), t.TempDir()
	db, folder := filepath.Join(dir, "heeltap.db"), filepath.Join(dir, "backups")
	heeltap := func(args ...string) string {
		t.Helper()
		out, err := exec.Command(program, append([]string{"--db", db}, args...)...).CombinedOutput()
		require.NoError(t, err, "%v: %s", args, out)
		return string(out)
	}
	base, err := filepath.Abs("../../testdata/scenarios/base")
	require.NoError(t, err)
	heeltap("import", base)

	var said bytes.Buffer
	server := exec.Command(program, "--db", db, "serve", "--listen", "127.0.0.1:0", "--backup", folder)
	server.Stdout, server.Stderr = &said, &said
	require.NoError(t, server.Start())
	ended := make(chan error, 1)
	go func() { ended <- server.Wait() }()
	stopped := false
	t.Cleanup(func() {
		if !stopped {
			_ = server.Process.Kill()
			<-ended
		}
	})
	var made []backup.Made
	for until := time.Now().Add(time.Minute); len(made) == 0; time.Sleep(50 * time.Millisecond) {
		require.True(t, time.Now().Before(until), "no backup was made")
		select {
		case err := <-ended:
			stopped = true
			t.Fatalf("it ended: %v: %s", err, &said)
		default:
		}
		made, _ = backup.In(folder)
	}
	require.Contains(t, heeltap("drill", folder), "It can be brought back, and answers as the database did then")
	heeltap("set", "site", "sender.name", "Testbrew the second", "--by", "Quint")
	require.Contains(t, heeltap("drill", folder), "1 journal entry recorded since")

	require.NoError(t, server.Process.Signal(syscall.SIGTERM))
	select {
	case err := <-ended:
		stopped = true
		require.NoError(t, err, said.String())
	case <-time.After(time.Minute):
		t.Fatal("it does not stop")
	}
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, left, 1)
	require.Equal(t, filepath.Base(made[0].Path), left[0].Name())

	back := filepath.Join(dir, "back.db")
	out, err := exec.Command(program, "--db", back, "restore", made[0].Path).CombinedOutput()
	require.NoError(t, err, "%s", out)
	again, err := store.Open(t.Context(), back)
	require.NoError(t, err)
	defer again.Close()
	report, err := again.Audit(t.Context(), func(string) {})
	require.NoError(t, err)
	require.Empty(t, report.Differences)
	require.False(t, strings.Contains(said.String(), "no backup was made"))
}
