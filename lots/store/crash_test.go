//go:build linux

package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/lots"
)

// The test program is also the program that is killed, or may do less: HEELTAP_CHILD says which.
func TestMain(m *testing.M) {
	path := os.Getenv("HEELTAP_CHILD_DB")
	switch os.Getenv("HEELTAP_CHILD") {
	case "":
		os.Exit(m.Run())
	case "write":
		childWrites(path)
	case "create":
		err := CreateWith(context.Background(), path, func(db *DB) error { return childRecords(db, "plant", plantRows()...) })
		fmt.Println("made", err)
	case "read":
		childReads(path)
	case "rebuild":
		childRebuilds(path)
	}
}

// plantRows are rows without a test's help.
func plantRows() (out []Statement) {
	for line := range strings.Lines(plant) {
		if words := strings.Fields(line); len(words) > 0 {
			sheet, _ := lots.SheetNamed(words[0])
			row := lots.Row{}
			for _, w := range words[1:] {
				name, value, _ := strings.Cut(w, "=")
				row[name] = strings.ReplaceAll(value, "_", " ")
			}
			out = append(out, Statement{Sheet: sheet, Row: row, By: "child"})
		}
	}
	return out
}

func childRecords(db *DB, what string, rows ...Statement) error {
	return db.Update(context.Background(), func(tx *Tx) error {
		_, _, faults, err := tx.RecordRows(rows)
		if err == nil && len(faults) > 0 {
			err = faults
		}
		if err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		return nil
	})
}

// childWrites records cleans without end and says each time, once it is kept, how far the journal goes.
func childWrites(path string) {
	db, err := Open(context.Background(), path)
	if err != nil {
		fmt.Println("failed", err)
		return
	}
	clean, _ := lots.SheetNamed("cleans")
	for i := time.Now().UnixNano(); ; i++ {
		row := lots.Row{"vessel": "FV", "at": "2026-02-25 10:37", "method": "rinse", "ref": fmt.Sprint(i)}
		if err := childRecords(db, "clean", Statement{Sheet: clean, Row: row, By: "child"}); err != nil {
			fmt.Println("failed", err)
			return
		}
		var head int64
		if err := db.View(context.Background(), func(tx *Tx) (err error) { head, err = tx.Head(); return err }); err != nil {
			fmt.Println("failed", err)
			return
		}
		fmt.Println("kept", head)
	}
}

// childRebuilds derives all anew, and says when it begins and when it is done.
func childRebuilds(path string) {
	db, err := Open(context.Background(), path)
	if err != nil {
		fmt.Println("failed", err)
		return
	}
	fmt.Println("begun")
	fmt.Println("rebuilt", db.Rebuild(context.Background()))
}

func childReads(path string) {
	db, err := Open(context.Background(), path)
	if err != nil {
		fmt.Println("failed", err)
		return
	}
	text, err := answers(context.Background(), db)
	fmt.Println("read", err, len(text) > 1000)
	clean, _ := lots.SheetNamed("cleans")
	err = childRecords(db, "clean", Statement{Sheet: clean, Row: lots.Row{"vessel": "FV", "at": "2026-02-26", "method": "cip"}, By: "child"})
	fmt.Println("wrote", err)
}

// child starts this program again to do something to a database.
func child(t *testing.T, do, path string) (*exec.Cmd, io.Reader) {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), "HEELTAP_CHILD="+do, "HEELTAP_CHILD_DB="+path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	return cmd, out
}

// roundsOf is how often a test is repeated: HEELTAP_KILLS, or a number that CI can bear.
func roundsOf(t *testing.T, bounded int) int {
	if n, err := strconv.Atoi(os.Getenv("HEELTAP_KILLS")); err == nil {
		return n
	}
	if testing.Short() {
		return 2
	}
	return bounded
}

// A program that is killed while it writes loses nothing that it said was kept, and leaves nothing half: every time the
// file opens, its seal fits, and its journal is at least as long as was said.
func TestKilledWhileWriting(t *testing.T) {
	path := filled(t)
	rnd := rand.New(rand.NewPCG(2, uint64(time.Now().UnixNano())))
	rounds, kept, said := roundsOf(t, 12), int64(0), 0
	for range rounds {
		cmd, out := child(t, "write", path)
		require.NoError(t, cmd.Start())
		lines := make(chan string, 1<<16)
		go func() {
			for s := bufio.NewScanner(out); s.Scan(); {
				lines <- s.Text()
			}
			close(lines)
		}()
		first := <-lines // it has begun
		time.Sleep(time.Duration(rnd.IntN(60_000)) * time.Microsecond)
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		for line := first; line != ""; line = <-lines {
			n, err := strconv.ParseInt(strings.TrimPrefix(line, "kept "), 10, 64)
			require.NoError(t, err, line)
			kept, said = max(kept, n), said+1
		}
		db, err := Open(context.Background(), path)
		require.NoError(t, err)
		require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
			head, err := tx.Head()
			require.GreaterOrEqual(t, head, kept)
			return errors.Join(err, tx.Sound())
		}))
		require.NoError(t, db.Close())
	}
	db, err := Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	requireSound(t, db)
	t.Logf("killed %d times; %d entries had been said to be kept, and none was lost", rounds, said)
}

// A program that is killed while it makes a database leaves a whole one or none.
func TestKilledWhileMaking(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, uint64(time.Now().UnixNano())))
	made, none := 0, 0
	for range roundsOf(t, 15) {
		path := filepath.Join(t.TempDir(), "new.db")
		cmd, out := child(t, "create", path)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(rnd.IntN(120_000)) * time.Microsecond)
		_ = cmd.Process.Kill()
		_, _ = io.ReadAll(out)
		_ = cmd.Wait()
		db, err := Open(context.Background(), path)
		if _, gone := os.Stat(path); errors.Is(gone, fs.ErrNotExist) {
			none++
			require.Equal(t, lots.NotFound, lots.KindOf(err))
			require.NoError(t, CreateWith(context.Background(), path, func(*DB) error { return nil }), "nothing is in the way")
			continue
		}
		made++
		require.NoError(t, err)
		require.NoError(t, db.View(context.Background(), func(tx *Tx) error {
			head, err := tx.Head()
			require.EqualValues(t, len(plantRows()), head)
			return errors.Join(err, tx.Sound())
		}))
		require.NoError(t, db.Close())
	}
	t.Logf("killed while making: %d times there was none, %d times a whole one", none, made)
}

// cleansOf are so many rows that a rebuild takes a while.
func cleansOf(n int) (out []Statement) {
	clean, _ := lots.SheetNamed("cleans")
	for i := range n {
		out = append(out, Statement{Sheet: clean, Row: lots.Row{"vessel": "FV", "at": fmt.Sprintf("2026-%02d-%02d %02d:37", 3+i/300, 1+i/12%25, i%12), "method": "rinse", "ref": fmt.Sprint(i)}, By: "tester"})
	}
	return out
}

func answersOf(t *testing.T, path string) string {
	t.Helper()
	db, err := Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	text, err := answers(context.Background(), db)
	require.NoError(t, err)
	return text
}

// A program that is killed while it rebuilds leaves what was there before or what the rebuild gives, whole. Here these
// differ, since a derived row was changed by SQL beforehand.
func TestKilledWhileRebuilding(t *testing.T) {
	ctx := context.Background()
	whole := filled(t)
	db, err := Open(ctx, whole)
	require.NoError(t, err)
	require.NoError(t, childRecords(db, "cleans", cleansOf(600)...))
	began := time.Now()
	require.NoError(t, db.Rebuild(ctx))
	long := time.Since(began)
	require.NoError(t, db.Close())
	broken := filepath.Join(t.TempDir(), "broken.db")
	copyFile(t, whole, broken)
	bySQL(t, broken, "UPDATE node SET total = total + 1 WHERE id = (SELECT max(id) FROM node)")
	was, is := answersOf(t, broken), answersOf(t, whole)
	require.False(t, was == is) // by truth alone, here and below: both are long
	rnd := rand.New(rand.NewPCG(5, uint64(time.Now().UnixNano())))
	before, after, midst := 0, 0, 0
	for range roundsOf(t, 12) {
		path := filepath.Join(t.TempDir(), "killed.db")
		copyFile(t, broken, path)
		cmd, out := child(t, "rebuild", path)
		require.NoError(t, cmd.Start())
		lines := bufio.NewScanner(out)
		require.True(t, lines.Scan())
		require.Equal(t, "begun", lines.Text())
		time.Sleep(time.Duration(rnd.Int64N(int64(long) * 5 / 4)))
		_ = cmd.Process.Kill()
		said := lines.Scan() && lines.Text() == "rebuilt <nil>"
		_ = cmd.Wait()
		if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 && !said {
			midst++
		}
		db, err := Open(ctx, path)
		require.NoError(t, err)
		switch sound := db.View(ctx, (*Tx).Sound); {
		case sound == nil:
			after++
			requireSound(t, db)
		default:
			before++
			require.False(t, said, "it said that it was done")
			require.Equal(t, lots.Corrupt, lots.KindOf(sound))
			now, err := answers(ctx, db)
			require.NoError(t, err)
			require.True(t, was == now, "something of it is half changed")
			require.NoError(t, db.Rebuild(ctx), "it can be tried again")
			requireSound(t, db)
		}
		now, err := answers(ctx, db)
		require.NoError(t, err)
		require.True(t, is == now, "it is what a rebuild gives")
		require.NoError(t, db.Close())
	}
	t.Logf("killed while rebuilding: %d times the old file was left, %d times the new one; %d times in the midst of writing", before, after, midst)
	require.Positive(t, before)
}

// What the disk had not yet written of the log when the power failed is lost from some byte on, or is rubbish: what is left
// is a history that was once whole, with a seal that fits.
func TestTornLog(t *testing.T) {
	ctx := context.Background()
	path := filled(t)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	db, err := Open(ctx, path)
	require.NoError(t, err)
	var before, after int64
	require.NoError(t, db.View(ctx, func(tx *Tx) (err error) { before, err = tx.Head(); return err }))
	clean, _ := lots.SheetNamed("cleans")
	for i := range 6 {
		enter(t, db, Statement{Sheet: clean, Row: lots.Row{"vessel": "FV", "at": "2026-02-25 10:37", "method": "cip", "ref": fmt.Sprint(i)}, By: "tester"})
	}
	require.NoError(t, db.View(ctx, func(tx *Tx) (err error) { after, err = tx.Head(); return err }))
	log, err := os.ReadFile(path + "-wal") // while it is open: closing would empty it
	require.NoError(t, err)
	require.NotEmpty(t, log)
	require.NoError(t, db.Close())

	rnd := rand.New(rand.NewPCG(4, 4))
	seen := map[int64]bool{}
	for i := range max(25, roundsOf(t, 25)) {
		torn := filepath.Join(t.TempDir(), "torn.db")
		require.NoError(t, os.WriteFile(torn, whole, 0o600))
		rest := append([]byte(nil), log[:rnd.IntN(len(log)+1)]...)
		if i%2 == 1 { // rubbish where nothing was written yet
			for len(rest) < len(log) {
				rest = append(rest, byte(rnd.Uint32()))
			}
		}
		require.NoError(t, os.WriteFile(torn+"-wal", rest, 0o600))
		db, err := Open(ctx, torn)
		require.NoError(t, err)
		require.NoError(t, db.View(ctx, func(tx *Tx) error {
			head, err := tx.Head()
			require.True(t, head >= before && head <= after)
			seen[head] = true
			return errors.Join(err, tx.Sound())
		}))
		require.NoError(t, db.Close())
	}
	require.Greater(t, len(seen), 1)
}

// Files are for the user that the program runs as alone, whatever the mask.
func TestModes(t *testing.T) {
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	path := filepath.Join(t.TempDir(), "new.db")
	require.NoError(t, CreateWith(context.Background(), path, func(db *DB) error { enter(t, db, statements(t, plant)...); return nil }))
	db, err := Open(context.Background(), path)
	require.NoError(t, err)
	defer db.Close()
	enter(t, db, statements(t, "cleans vessel=FV at=2026-02-25 method=cip")...)
	for _, ending := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(path + ending)
		require.NoError(t, err)
		require.EqualValues(t, 0o600, info.Mode().Perm(), ending)
	}
}

// A file and a folder that cannot be written still answer questions; what would be recorded is refused.
func TestReadOnly(t *testing.T) {
	folder, err := os.MkdirTemp("/tmp", "heeltap-test-")
	require.NoError(t, err)
	defer func() { _ = os.Chmod(folder, 0o700); os.RemoveAll(folder) }()
	exe, err := os.Executable()
	require.NoError(t, err)
	program, path := filepath.Join(folder, "program"), filepath.Join(folder, "small.db")
	copyFile(t, exe, program)
	copyFile(t, filled(t), path)
	require.NoError(t, os.Chmod(program, 0o555))
	require.NoError(t, os.Chmod(path, 0o444))
	require.NoError(t, os.Chmod(folder, 0o555))
	cmd := exec.Command(program)
	cmd.Env = []string{"HEELTAP_CHILD=read", "HEELTAP_CHILD_DB=" + path, "TMPDIR=/tmp", "PATH=" + os.Getenv("PATH")}
	if os.Getuid() == 0 { // to whom nothing is read-only
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "read <nil> true")
	require.Contains(t, string(out), "cannot be written (read-only file or folder); nothing was changed")
}

// On a full disk reading goes on, and what is to be recorded is refused in those words; with room again it is recorded.
func TestFullDisk(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=1m,mode=0700"); err != nil {
		t.Skipf("a small disk cannot be mounted here (%v): only root may", err)
	}
	defer func() { _ = syscall.Unmount(folder, syscall.MNT_DETACH) }()
	ctx := context.Background()
	path, filler := filepath.Join(folder, "small.db"), filepath.Join(folder, "filler")
	copyFile(t, filled(t), path)
	fill := func() {
		f, err := os.Create(filler)
		require.NoError(t, err)
		for err == nil {
			_, err = f.Write(make([]byte, 4096))
		}
		require.ErrorIs(t, err, syscall.ENOSPC)
		require.NoError(t, f.Close())
	}
	asked := func(db *DB) {
		text, err := answers(ctx, db)
		require.NoError(t, err)
		require.Greater(t, len(text), 1000)
	}
	fill()
	db, err := Open(ctx, path) // not even what SQLite needs beside the file has room
	require.NoError(t, err)
	asked(db)
	err = childRecords(db, "clean", statements(t, "cleans vessel=FV at=2026-02-26 method=cip")...)
	require.ErrorContains(t, err, "the disk is full; nothing was changed")
	require.NoError(t, db.Close())
	require.NoError(t, os.Remove(filler))

	db, err = Open(ctx, path)
	require.NoError(t, err)
	defer db.Close()
	asked(db)
	fill()
	for i := 0; err == nil; i++ {
		err = childRecords(db, "clean", statements(t, fmt.Sprintf("cleans vessel=FV at=2026-02-26 method=cip ref=%d", i))...)
	}
	require.ErrorContains(t, err, "the disk is full; nothing was changed")
	asked(db)
	require.NoError(t, db.View(ctx, (*Tx).Sound))
	require.NoError(t, os.Remove(filler))
	require.NoError(t, childRecords(db, "clean", statements(t, "cleans vessel=FV at=2026-02-27 method=cip")...))
	requireSound(t, db)
}
