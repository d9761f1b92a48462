package people_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

// cellar is a book with a shared tablet and two people with a PIN: quint, admin, 4071; mika, floor, 58203.
func cellar(t *testing.T) (b *people.Book, c *clock, admin people.Person, tablet string) {
	t.Helper()
	b, c, admin = setUp(t)
	require.NoError(t, b.SetPIN(t.Context(), admin, good, "4071"))
	require.NoError(t, b.SetPIN(t.Context(), joined(t, b, "mika", people.Floor), good, "58203"))
	tablet, err := b.RegisterDevice(t.Context(), admin, "cellar")
	require.NoError(t, err)
	return b, c, admin, tablet
}

func TestAPINIsGoodForLess(t *testing.T) {
	b, _, admin, tablet := cellar(t)
	before := signedIn(t, b, "quint")
	token, s, err := b.SwitchByPIN(t.Context(), tablet, "Quint", "4071", here)
	require.NoError(t, err)
	require.NotEqual(t, before, token)
	require.NotEqual(t, tablet, token)
	require.True(t, s.ByPIN)
	require.NotZero(t, s.Device)
	require.True(t, s.Person.HasPIN)
	s, err = b.Session(t.Context(), token)
	require.NoError(t, err)
	require.True(t, s.ByPIN)
	for _, x := range []people.Right{people.Override, people.Release, people.Recall, people.Sign, people.Contacts, people.Tablet, people.Manage} {
		require.True(t, admin.Role.May(x))
		require.False(t, s.May(x), x)
	}
	require.True(t, s.OwnOnly())

	// A page that forgets to ask is refused by the book itself.
	_, _, err = b.Invite(t.Context(), s.Person, "Ines", "ines", people.Admin)
	require.Equal(t, people.MayNot, why(t, err))
	require.Equal(t, people.MayNot, why(t, b.SetRole(t.Context(), s.Person, s.Person.ID+1, people.Admin)))
	_, err = b.RegisterDevice(t.Context(), s.Person, "another")
	require.Equal(t, people.MayNot, why(t, err))
	_, err = b.Reset(t.Context(), s.Person, admin.ID)
	require.Equal(t, people.MayNot, why(t, err))
}

func TestAPINIsGoodOnASharedTabletOnly(t *testing.T) {
	b, _, admin, tablet := cellar(t)
	session := signedIn(t, b, "mika")
	for _, not := range []string{"", "x", session, tablet[:42] + "!"} {
		_, _, err := b.SwitchByPIN(t.Context(), not, "mika", "58203", here)
		require.Equal(t, people.MayNot, why(t, err))
	}
	_, _, err := b.SignIn(t.Context(), "mika", "58203", here)
	require.Equal(t, people.Wrong, why(t, err), "a PIN is no password")
	_, err = b.Session(t.Context(), tablet)
	require.Equal(t, people.SignedOut, why(t, err), "a tablet is no session")

	all, err := b.Devices(t.Context())
	require.NoError(t, err)
	require.Len(t, all, 1)
	require.Equal(t, "cellar", all[0].Name)
	require.Equal(t, admin.Name, all[0].By)
	token, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
	require.NoError(t, err)
	d, err := b.Device(t.Context(), tablet)
	require.NoError(t, err)
	require.False(t, d.LastIn.IsZero())
	require.NoError(t, b.ForgetDevice(t.Context(), admin, d.ID))
	_, err = b.Session(t.Context(), token)
	require.Equal(t, people.SignedOut, why(t, err), "forgetting a tablet ends the sessions on it")
	_, _, err = b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
	require.Equal(t, people.MayNot, why(t, err))
	_, err = b.Session(t.Context(), session)
	require.NoError(t, err)
	require.ErrorContains(t, b.ForgetDevice(t.Context(), admin, d.ID), "there is no tablet")
}

func TestWhoRegistersTablets(t *testing.T) {
	b, _, _, _ := cellar(t)
	for _, r := range people.Roles() {
		p := joined(t, b, "a-"+string(r), r)
		_, err := b.RegisterDevice(t.Context(), p, "dock of "+string(r))
		if r == people.Quality || r == people.Admin {
			require.NoError(t, err)
		} else {
			require.Equal(t, people.MayNot, why(t, err))
		}
	}
}

func TestAPINIsSetAfterThePassword(t *testing.T) {
	b, _, _, tablet := cellar(t)
	mika, err := b.ByLogin(t.Context(), "mika")
	require.NoError(t, err)
	require.Equal(t, people.Wrong, why(t, b.SetPIN(t.Context(), mika, "58203", "90417")))
	require.ErrorContains(t, b.SetPIN(t.Context(), mika, good, "1234"), "too easy")
	require.NoError(t, b.SetPIN(t.Context(), mika, good, ""))
	for _, pin := range []string{"58203", ""} {
		_, _, err = b.SwitchByPIN(t.Context(), tablet, "mika", pin, here)
		require.Equal(t, people.Wrong, why(t, err))
	}
	mika, err = b.ByLogin(t.Context(), "mika")
	require.NoError(t, err)
	require.False(t, mika.HasPIN)
}

// A PIN has waits of its own, and ends after ten wrong tries; the password is not touched by that.
func TestAPINEndsAfterTenWrongTries(t *testing.T) {
	b, c, _, tablet := cellar(t)
	tries, waited := 0, 0
	for tries < 10 {
		_, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "90417", here)
		var r *people.Refused
		require.ErrorAs(t, err, &r)
		if r.Why == people.TooSoon {
			waited++
			c.add(r.Wait)
			continue
		}
		tries++
	}
	require.GreaterOrEqual(t, waited, 6)
	c.add(time.Hour)
	_, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
	require.Equal(t, people.Wrong, why(t, err))
	mika, err := b.ByLogin(t.Context(), "mika")
	require.NoError(t, err)
	require.False(t, mika.HasPIN)
	signedIn(t, b, "mika")
	c.add(time.Minute) // the longest that a tablet makes everybody wait
	_, _, err = b.SwitchByPIN(t.Context(), tablet, "quint", "4071", here)
	require.NoError(t, err, "others are not touched")
}

// The count goes on over days, and ends with the right PIN.
func TestWrongPINsAreCountedUntilARightOne(t *testing.T) {
	b, c, _, tablet := cellar(t)
	wrong := func(n int) {
		for range n {
			_, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "90417", here)
			require.Equal(t, people.Wrong, why(t, err))
			c.add(25 * time.Hour)
		}
	}
	for range 2 {
		wrong(9)
		_, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
		require.NoError(t, err)
	}
	wrong(10)
	_, _, err := b.SwitchByPIN(t.Context(), tablet, "mika", "58203", here)
	require.Equal(t, people.Wrong, why(t, err))
}
