package people_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

const good, other, here = "seven wet barrels", "eight dry corks!!", "192.0.2.7"

// clock is a book's clock, moved by hand.
type clock struct{ now time.Time }

func (c *clock) add(d time.Duration) { c.now = c.now.Add(d) }

// opened is a new book whose clock stands still.
func opened(t *testing.T) (*people.Book, *clock) {
	t.Helper()
	b, err := people.Open(t.Context(), filepath.Join(t.TempDir(), "heeltap-people.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	c := &clock{time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	b.Now = func() time.Time { return c.now }
	b.Cheap()
	return b, c
}

// setUp is a book with an admin, quint.
func setUp(t *testing.T) (*people.Book, *clock, people.Person) {
	t.Helper()
	b, c := opened(t)
	token, err := b.SetupToken(t.Context())
	require.NoError(t, err)
	p, err := b.Setup(t.Context(), token, "Quint Oszlop", "Quint", good)
	require.NoError(t, err)
	return b, c, p
}

// joined adds a person who has set the password.
func joined(t *testing.T, b *people.Book, login string, role people.Role) people.Person {
	t.Helper()
	token, _, err := b.Invite(t.Context(), people.Console("Quint"), "Name of "+login, login, role)
	require.NoError(t, err)
	p, err := b.Redeem(t.Context(), token, good)
	require.NoError(t, err)
	return p
}

func signedIn(t *testing.T, b *people.Book, login string) string {
	t.Helper()
	token, _, err := b.SignIn(t.Context(), login, good, here)
	require.NoError(t, err)
	return token
}

// why is the reason of a refusal.
func why(t *testing.T, err error) people.Why {
	t.Helper()
	var r *people.Refused
	require.ErrorAs(t, err, &r)
	return r.Why
}

func TestFromSetUpToSignOut(t *testing.T) {
	ctx := context.Background()
	b, c := opened(t)
	empty, err := b.Empty(ctx)
	require.NoError(t, err)
	require.True(t, empty)
	older, err := b.SetupToken(ctx)
	require.NoError(t, err)
	setup, err := b.SetupToken(ctx)
	require.NoError(t, err)
	_, err = b.Setup(ctx, older, "Quint Oszlop", "Quint", good)
	require.Equal(t, people.DeadLink, why(t, err), "a new link replaces the old one")
	holder, err := b.Holder(ctx, setup)
	require.NoError(t, err)
	require.Zero(t, holder.ID)

	p, err := b.Setup(ctx, setup, " Quint  Oszlop ", "Quint", good)
	require.NoError(t, err)
	require.Equal(t, people.Person{ID: p.ID, Name: "Quint Oszlop", Login: "quint", Role: people.Admin, Created: c.now.Local()}, p)
	empty, err = b.Empty(ctx)
	require.NoError(t, err)
	require.False(t, empty)
	_, err = b.Setup(ctx, setup, "Second", "second", good)
	require.Equal(t, people.DeadLink, why(t, err), "a link is good once")
	_, err = b.SetupToken(ctx)
	require.ErrorContains(t, err, "set up already")

	c.add(time.Hour)
	token, s, err := b.SignIn(ctx, "QUINT", good, here)
	require.NoError(t, err)
	require.Equal(t, p.ID, s.Person.ID)
	require.True(t, s.May(people.Manage))
	again, err := b.Session(ctx, token)
	require.NoError(t, err)
	require.Equal(t, s, again)
	all, err := b.People(ctx)
	require.NoError(t, err)
	require.Len(t, all, 1)
	require.Equal(t, c.now.Local(), all[0].LastIn)

	require.NoError(t, b.SignOut(ctx, token))
	require.NoError(t, b.SignOut(ctx, token))
	_, err = b.Session(ctx, token)
	require.Equal(t, people.SignedOut, why(t, err))
}
