package main

import (
	"context"
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"time"

	"heeltap/cmd/internal/people"
	"heeltap/cmd/internal/web"
	"heeltap/lots"
	"heeltap/lots/store"
)

// cast are the persons of the demo, one for each role; they are as invented as their brewery.
var cast = []struct {
	login, name, words string
	role               people.Role
}{
	{"tove", "Tove", "floor: dock, cellar, line and loading bay", people.Floor},
	{"quint", "Quint", "quality: holds, releases, recalls", people.Quality},
	{"maren", "Maren", "admin: everything, and who may sign in", people.Admin},
	{"auditor", "A visiting auditor", "viewer: reads everything but personal details, changes nothing", people.Viewer},
}

// serveDemo opens the demo's pages with its persons. Their passwords are made anew each time and known to the
// sign-in page alone: the demo listens on this machine only.
func (e *env) serveDemo(ctx context.Context, folder, listen string) error {
	e.db = filepath.Join(folder, demoFile)
	personas, err := e.castOf(ctx, people.PathFor(e.db))
	if err != nil {
		return err
	}
	return e.serve(ctx, serving{listen: listen, personas: personas, story: true})
}

// afterTheStory is a clock for the demo: it starts on the morning after the last entry and goes on as clocks do, so that
// the pages show a brewery at work and not one that was left long ago.
func afterTheStory(ctx context.Context, db *store.DB, now func() time.Time) (func() time.Time, error) {
	started := now()
	var morning time.Time
	err := db.View(ctx, func(tx *store.Tx) error {
		head, err := tx.Head()
		if err != nil {
			return err
		}
		last, ok, err := tx.Entry(head)
		if err != nil || !ok {
			return err
		}
		day := last.Recorded.In(tx.Site().Zone).AddDate(0, 0, 1)
		morning = time.Date(day.Year(), day.Month(), day.Day(), 8, 0, 0, 0, day.Location())
		return nil
	})
	return func() time.Time { return morning.Add(now().Sub(started)) }, err
}

// castOf gives the demo's persons accounts in a file of their own, in place of an earlier one.
func (e *env) castOf(ctx context.Context, path string) (personas []web.Persona, err error) {
	for _, ending := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(path + ending); err != nil && !errors.Is(err, os.ErrNotExist) {
			return nil, lots.Errorf(lots.Invalid, "the earlier demo's accounts cannot be replaced: %w", err)
		}
	}
	book, err := people.Open(ctx, path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if closed := book.Close(); err == nil {
			err = closed
		}
	}()
	token, err := book.SetupToken(ctx)
	if err != nil {
		return nil, err
	}
	password := rand.Text()
	first, err := book.Setup(ctx, token, "Maren", "maren", password)
	if err != nil {
		return nil, err
	}
	for _, p := range cast {
		if p.login != first.Login {
			invite, _, err := book.Invite(ctx, first, p.name, p.login, p.role)
			if err != nil {
				return nil, err
			}
			if _, err := book.Redeem(ctx, invite, password); err != nil {
				return nil, err
			}
		}
		personas = append(personas, web.Persona{Login: p.login, Password: password, Name: p.name, For: p.words})
	}
	return personas, nil
}
