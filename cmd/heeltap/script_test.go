package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"image"
	_ "image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/rogpeppe/go-internal/testscript"
	_ "modernc.org/sqlite"
)

// TestScripts uses the program as people do. Scripts begin with an empty database, but for those that make one.
func TestScripts(t *testing.T) {
	params := asking("testdata/script")
	var release func() error
	params.Cmds["sql"] = func(ts *testscript.TestScript, _ bool, args []string) {
		db, err := sql.Open("sqlite", ts.MkAbs(args[0]))
		ts.Check(err)
		for _, statement := range args[1:] {
			_, err = db.Exec(statement)
			ts.Check(err)
		}
		ts.Check(db.Close())
	}
	params.Cmds["lock"] = func(ts *testscript.TestScript, _ bool, args []string) {
		db, err := sql.Open("sqlite", ts.MkAbs(args[0]))
		ts.Check(err)
		tx, err := db.Conn(context.Background())
		ts.Check(err)
		_, err = tx.ExecContext(context.Background(), "BEGIN IMMEDIATE")
		ts.Check(err)
		release = func() error {
			_, err := tx.ExecContext(context.Background(), "ROLLBACK")
			return errors.Join(err, tx.Close(), db.Close())
		}
		ts.Defer(func() {
			if release != nil {
				_ = release()
			}
		})
	}
	params.Cmds["unlock"] = func(ts *testscript.TestScript, _ bool, _ []string) {
		ts.Check(release())
		release = nil
	}
	params.Cmds["decode"] = decode
	testscript.Run(t, params)
}

// exit STATUS PROGRAM ARGS…: the program ends with just that status.
func exit(ts *testscript.TestScript, _ bool, args []string) {
	err := ts.Exec(args[1], args[2:]...)
	status := 0
	if e, ok := errors.AsType[*exec.ExitError](err); ok {
		status = e.ExitCode()
	} else {
		ts.Check(err)
	}
	if want, _ := strconv.Atoi(args[0]); status != want {
		ts.Fatalf("the exit status is %d", status)
	}
}

// decode FILE TEXT: the QR code in a picture holds the text.
func decode(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	picture, _, err := image.Decode(f)
	ts.Check(err)
	bitmap, err := gozxing.NewBinaryBitmapFromImage(picture)
	ts.Check(err)
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	ts.Check(err)
	if result.GetText() != args[1] {
		ts.Fatalf("the code holds %q", result.GetText())
	}
}

// emptyDatabase makes heeltap.db in a script's folder, and the base history beside it.
func emptyDatabase(base string) func(*testscript.Env) error {
	return func(s *testscript.Env) error {
		s.Setenv("HEELTAP_BY", "script")
		s.Setenv("NOW", "2026-04-01T12:00:00Z")
		db := filepath.Join(s.WorkDir, "heeltap.db")
		e := &env{out: io.Discard, errOut: os.Stderr, getenv: func(string) string { return "" }, now: time.Now}
		if run(context.Background(), []string{"--db", db, "init"}, e) != exitDone {
			return fmt.Errorf("no database")
		}
		return os.CopyFS(filepath.Join(s.WorkDir, "base"), os.DirFS(base))
	}
}
