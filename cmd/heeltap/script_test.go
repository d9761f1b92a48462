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
	"slices"
	"strconv"
	"strings"
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
	params.Cmds["pdfsays"] = pdfSays
	params.Cmds["pdfcode"] = pdfCode
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

// tool finds a program that a check needs; without it the check is left out, but not on the build machine.
func tool(ts *testscript.TestScript, name string) (string, bool) {
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("HEELTAP_CI") != "" {
		ts.Fatalf("%s is missing", name)
	}
	return path, err == nil
}

// pdfSays FILE TEXT…: another program reads the texts out of a PDF, wherever its lines break.
func pdfSays(ts *testscript.TestScript, _ bool, args []string) {
	path, ok := tool(ts, "pdftotext")
	if !ok {
		return
	}
	out, err := exec.Command(path, "-layout", ts.MkAbs(args[0]), "-").Output()
	ts.Check(err)
	text := strings.Join(strings.Fields(string(out)), " ")
	for _, want := range args[1:] {
		if !strings.Contains(text, want) {
			ts.Fatalf("%s does not say %q:\n%s", args[0], want, text)
		}
	}
}

// pdfCode FILE TEXT: some page, drawn by another program, shows a QR code that holds the text.
func pdfCode(ts *testscript.TestScript, _ bool, args []string) {
	draw, ok := tool(ts, "pdftoppm")
	scan, ok2 := tool(ts, "zbarimg")
	if !ok || !ok2 {
		return
	}
	pages := filepath.Join(ts.Getenv("WORK"), "page")
	ts.Check(exec.Command(draw, "-r", "203", "-png", ts.MkAbs(args[0]), pages).Run())
	files, err := filepath.Glob(pages + "*.png")
	ts.Check(err)
	var seen []string
	for _, f := range files {
		out, _ := exec.Command(scan, "-q", "--raw", f).Output() // a page without a code is none
		seen = append(seen, strings.Fields(string(out))...)
	}
	if !slices.Contains(seen, args[1]) {
		ts.Fatalf("the codes are %q", seen)
	}
}
