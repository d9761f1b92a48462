package people_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

// A token that was planted in a browser before is worth nothing after: each sign-in makes its own.
func TestEverySignInHasATokenOfItsOwn(t *testing.T) {
	b, _, _ := setUp(t)
	seen := map[string]bool{}
	for range 5 {
		token := signedIn(t, b, "quint")
		require.False(t, seen[token])
		require.Len(t, token, 43, "32 bytes in base64")
		seen[token] = true
	}
	for token := range seen {
		_, err := b.Session(t.Context(), token)
		require.NoError(t, err, "another browser's session goes on")
	}
}

func TestWhatIsNoTokenIsSignedOut(t *testing.T) {
	b, _, _ := setUp(t)
	token := signedIn(t, b, "quint")
	flip := func(i int) string {
		other := byte('A')
		if token[i] == other {
			other = 'B'
		}
		return token[:i] + string(other) + token[i+1:]
	}
	for _, not := range []string{"", "x", token + "A", token[:42], token[1:], flip(0), flip(11), flip(30), "==="} {
		_, err := b.Session(t.Context(), not)
		require.Equal(t, people.SignedOut, why(t, err), not)
	}
	_, err := b.Session(t.Context(), token)
	require.NoError(t, err)
}

func TestSessionsEndByTime(t *testing.T) {
	b, c, p := setUp(t)
	b.Idle, b.IdlePIN, b.Longest = 8*time.Hour, 15*time.Minute, 20*time.Hour
	token := signedIn(t, b, "quint")
	c.add(8*time.Hour - time.Second)
	s, err := b.Session(t.Context(), token)
	require.NoError(t, err)
	require.Equal(t, c.now.Local(), s.LastSeen.Local(), "using it is written down")
	c.add(8 * time.Hour)
	_, err = b.Session(t.Context(), token)
	require.Equal(t, people.SignedOut, why(t, err), "unused for 8 hours")
	c.add(-time.Hour)
	_, err = b.Session(t.Context(), token)
	require.Equal(t, people.SignedOut, why(t, err), "and gone for good")

	token = signedIn(t, b, "quint")
	for range 3 {
		c.add(6 * time.Hour)
		_, err = b.Session(t.Context(), token)
		require.NoError(t, err)
	}
	c.add(2 * time.Hour)
	_, err = b.Session(t.Context(), token)
	require.Equal(t, people.SignedOut, why(t, err), "20 hours old, however busy")

	require.NoError(t, b.SetPIN(t.Context(), p, good, "4071"))
	tablet, err := b.RegisterDevice(t.Context(), p, "cellar")
	require.NoError(t, err)
	token, _, err = b.SwitchByPIN(t.Context(), tablet, "quint", "4071", here)
	require.NoError(t, err)
	c.add(15 * time.Minute)
	_, err = b.Session(t.Context(), token)
	require.Equal(t, people.SignedOut, why(t, err), "by PIN, unused for 15 minutes")
}

// The last use is written down once a minute at most: reading pages must not wait for writers.
func TestUseIsWrittenDownOnceAMinute(t *testing.T) {
	b, c, _ := setUp(t)
	token := signedIn(t, b, "quint")
	began := c.now
	c.add(59 * time.Second)
	s, err := b.Session(t.Context(), token)
	require.NoError(t, err)
	require.True(t, s.LastSeen.Equal(began))
	c.add(time.Second)
	s, err = b.Session(t.Context(), token)
	require.NoError(t, err)
	require.True(t, s.LastSeen.Equal(c.now))
}

// What changes a person's standing ends their sessions at once, and nobody else's.
func TestWhatEndsSessions(t *testing.T) {
	for name, act := range map[string]func(t *testing.T, b *people.Book, admin, p people.Person) error{
		"switched off": func(t *testing.T, b *people.Book, admin, p people.Person) error {
			return b.SetOff(t.Context(), admin, p.ID, true)
		},
		"less": func(t *testing.T, b *people.Book, admin, p people.Person) error {
			return b.SetRole(t.Context(), admin, p.ID, people.Viewer)
		},
		"more": func(t *testing.T, b *people.Book, admin, p people.Person) error {
			return b.SetRole(t.Context(), admin, p.ID, people.Quality)
		},
		"another password": func(t *testing.T, b *people.Book, admin, p people.Person) error {
			return b.ChangePassword(t.Context(), p, good, other)
		},
		"a link used": func(t *testing.T, b *people.Book, admin, p people.Person) error {
			token, err := b.Reset(t.Context(), admin, p.ID)
			require.NoError(t, err)
			_, err = b.Redeem(t.Context(), token, other)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			b, _, admin := setUp(t)
			p := joined(t, b, "mika", people.Floor)
			require.NoError(t, b.SetPIN(t.Context(), p, good, "4071"))
			tablet, err := b.RegisterDevice(t.Context(), admin, "cellar")
			require.NoError(t, err)
			byPIN, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "4071", here)
			require.NoError(t, err)
			mine, another, theirs := signedIn(t, b, "mika"), signedIn(t, b, "mika"), signedIn(t, b, "quint")
			require.NoError(t, act(t, b, admin, p))
			for _, token := range []string{mine, another, byPIN} {
				_, err := b.Session(t.Context(), token)
				require.Equal(t, people.SignedOut, why(t, err))
			}
			_, err = b.Session(t.Context(), theirs)
			require.NoError(t, err)
		})
	}
}

// After another password, what somebody who knew the old one could have prepared is worth nothing.
func TestAnotherPasswordEndsWhatTheOldOneMade(t *testing.T) {
	b, _, admin := setUp(t)
	p := joined(t, b, "mika", people.Floor)
	require.NoError(t, b.SetPIN(t.Context(), p, good, "4071"))
	tablet, err := b.RegisterDevice(t.Context(), admin, "cellar")
	require.NoError(t, err)
	link, err := b.Reset(t.Context(), admin, p.ID)
	require.NoError(t, err)
	require.NoError(t, b.ChangePassword(t.Context(), p, good, other))
	_, _, err = b.SwitchByPIN(t.Context(), tablet, "mika", "4071", here)
	require.Equal(t, people.Wrong, why(t, err))
	_, err = b.Redeem(t.Context(), link, good)
	require.Equal(t, people.DeadLink, why(t, err))
	_, _, err = b.SignIn(t.Context(), "mika", good, here)
	require.Equal(t, people.Wrong, why(t, err))
	_, _, err = b.SignIn(t.Context(), "mika", other, here)
	require.NoError(t, err)
}

func TestALinkIsGoodOnceAndForADay(t *testing.T) {
	b, c, admin := setUp(t)
	invite, p, err := b.Invite(t.Context(), admin, "Mika Aldous", "mika", people.Floor)
	require.NoError(t, err)
	require.True(t, p.Invited)
	_, _, err = b.SignIn(t.Context(), "mika", "", here)
	require.Equal(t, people.Wrong, why(t, err), "no password yet is not an empty one")
	c.add(b.Good)
	_, err = b.Redeem(t.Context(), invite, good)
	require.Equal(t, people.DeadLink, why(t, err), "expired")
	second, err := b.Reset(t.Context(), admin, p.ID)
	require.NoError(t, err)
	third, err := b.Reset(t.Context(), admin, p.ID)
	require.NoError(t, err)
	_, err = b.Redeem(t.Context(), second, good)
	require.Equal(t, people.DeadLink, why(t, err), "replaced")
	_, err = b.Redeem(t.Context(), third, "too short")
	require.ErrorContains(t, err, "too short")
	holder, err := b.Holder(t.Context(), third)
	require.NoError(t, err)
	require.Equal(t, p.ID, holder.ID)
	p, err = b.Redeem(t.Context(), third, good)
	require.NoError(t, err)
	require.False(t, p.Invited)
	_, err = b.Redeem(t.Context(), third, other)
	require.Equal(t, people.DeadLink, why(t, err), "used")

	fourth, err := b.Reset(t.Context(), admin, p.ID)
	require.NoError(t, err)
	_, _, err = b.SignIn(t.Context(), "mika", good, here)
	require.NoError(t, err, "the old password is good until the link is used")
	require.NoError(t, b.SetOff(t.Context(), admin, p.ID, true))
	require.NoError(t, b.SetOff(t.Context(), admin, p.ID, false))
	_, err = b.Redeem(t.Context(), fourth, other)
	require.Equal(t, people.DeadLink, why(t, err), "switched off meanwhile")
}

func TestASetupLinkExpires(t *testing.T) {
	b, c := opened(t)
	token, err := b.SetupToken(t.Context())
	require.NoError(t, err)
	c.add(24 * time.Hour)
	_, err = b.Setup(t.Context(), token, "Quint", "quint", good)
	require.Equal(t, people.DeadLink, why(t, err))
	token, err = b.SetupToken(t.Context())
	require.NoError(t, err)
	_, err = b.Redeem(t.Context(), token, good)
	require.Equal(t, people.DeadLink, why(t, err), "a set-up link is for setting up")
	_, err = b.Setup(t.Context(), token, "Quint", "quint", "password1234")
	require.ErrorContains(t, err, "tried first")
	_, err = b.Setup(t.Context(), token, "Quint", "quint", good)
	require.NoError(t, err, "a password that was refused does not use the link up")
}
