package people_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"heeltap/cmd/internal/people"
)

const elsewhere = "198.51.100.9"

// try signs in and gives what came of it: "" if it worked.
func try(t *testing.T, b *people.Book, login, password, from string) (people.Why, time.Duration) {
	t.Helper()
	_, _, err := b.SignIn(t.Context(), login, password, from)
	if err == nil {
		return "", 0
	}
	var r *people.Refused
	require.ErrorAs(t, err, &r)
	return r.Why, r.Wait
}

// failUntilWait tries wrong passwords until one has to wait, and gives how many were let through.
func failUntilWait(t *testing.T, b *people.Book, login, from string) (tries int, wait time.Duration) {
	t.Helper()
	for {
		w, wait := try(t, b, login, "wrong wrong wrong", from)
		if w == people.TooSoon {
			return tries, wait
		}
		require.Equal(t, people.Wrong, w)
		tries++
		require.Less(t, tries, 100)
	}
}

func TestWrongTriesCostTime(t *testing.T) {
	b, c, _ := setUp(t)
	tries, wait := failUntilWait(t, b, "quint", elsewhere)
	require.Equal(t, 5, tries)
	require.Equal(t, 2*time.Second, wait)
	_, _, err := b.SignIn(t.Context(), "quint", good, elsewhere)
	require.EqualError(t, err, "too many wrong tries: wait 2 seconds, then try again", "also with the right password")
	for _, seconds := range []time.Duration{4, 8, 16, 32, 64, 128, 256, 512, 900, 900} {
		c.add(wait)
		w, _ := try(t, b, "quint", "wrong wrong wrong", elsewhere)
		require.Equal(t, people.Wrong, w)
		w, wait = try(t, b, "quint", "wrong wrong wrong", elsewhere)
		require.Equal(t, people.TooSoon, w)
		require.Equal(t, seconds*time.Second, wait)
	}
	c.add(wait)
	w, _ := try(t, b, "quint", good, elsewhere)
	require.Empty(t, w)
	tries, _ = failUntilWait(t, b, "quint", elsewhere)
	require.Equal(t, 5, tries, "a right password ends the count")
}

// What strangers try elsewhere does not make somebody wait who signs in from where they usually do.
func TestAStrangerCannotLockAnybodyOut(t *testing.T) {
	b, c, _ := setUp(t)
	signedIn(t, b, "quint") // makes here familiar
	for i := range 60 {     // from many addresses, until a login must wait everywhere else
		try(t, b, "quint", "wrong wrong wrong", fmt.Sprintf("203.0.113.%d", i))
	}
	w, wait := try(t, b, "quint", good, "198.51.100.77")
	require.Equal(t, people.TooSoon, w, "at a new address the login waits for what was tried at others")
	require.LessOrEqual(t, wait, 15*time.Minute)
	w, _ = try(t, b, "quint", good, here)
	require.Empty(t, w)

	for range 20 { // at the very same address, a minute at a time
		_, wait = failUntilWait(t, b, "quint", here)
		c.add(wait)
	}
	require.Equal(t, time.Minute, wait)
	w, _ = try(t, b, "quint", good, here)
	require.Empty(t, w)

	c.add(31 * 24 * time.Hour)
	for i := range 60 {
		try(t, b, "quint", "wrong wrong wrong", fmt.Sprintf("203.0.113.%d", i))
	}
	w, _ = try(t, b, "quint", good, here)
	require.Equal(t, people.TooSoon, w, "an address is forgotten after thirty days")
}

// A one-time link is the way in that waits for nothing.
func TestALinkClearsTheWaits(t *testing.T) {
	b, _, admin := setUp(t)
	failUntilWait(t, b, "quint", elsewhere)
	link, err := b.Reset(t.Context(), people.Console("Quint"), admin.ID)
	require.NoError(t, err)
	_, err = b.Redeem(t.Context(), link, other)
	require.NoError(t, err)
	w, _ := try(t, b, "quint", other, elsewhere)
	require.Empty(t, w)
}

// An address that tries one password for many logins waits too, but not for those who signed in there before.
func TestAnAddressThatTriesManyLoginsWaits(t *testing.T) {
	b, _, _ := setUp(t)
	joined(t, b, "mika", people.Floor)
	joined(t, b, "ines", people.Floor)
	w, _ := try(t, b, "mika", good, here)
	require.Empty(t, w)
	for i := range 30 {
		w, _ := try(t, b, fmt.Sprintf("somebody%d", i), "wrong wrong wrong", here)
		require.Equal(t, people.Wrong, w)
	}
	w, _ = try(t, b, "ines", good, here)
	require.Equal(t, people.TooSoon, w)
	w, _ = try(t, b, "mika", good, here)
	require.Empty(t, w)
	w, _ = try(t, b, "ines", good, elsewhere)
	require.Empty(t, w)
}

// What is known of a login cannot be learnt from words, waits or the list of what happened.
func TestALoginThatIsNobodysLooksLikeAnyOther(t *testing.T) {
	b, _, admin := setUp(t)
	joined(t, b, "mika", people.Floor)
	off := joined(t, b, "ines", people.Floor)
	require.NoError(t, b.SetOff(t.Context(), admin, off.ID, true))
	_, _, err := b.Invite(t.Context(), admin, "Not Yet", "notyet", people.Floor)
	require.NoError(t, err)
	var words []string
	for i, login := range []string{"mika", "ines", "notyet", "nobody at all"} {
		from := fmt.Sprintf("203.0.113.%d", i)
		_, _, err := b.SignIn(t.Context(), login, "wrong wrong wrong", from)
		words = append(words, err.Error())
		tries, wait := failUntilWait(t, b, login, from)
		require.Equal(t, 4, tries, login)
		require.Equal(t, 2*time.Second, wait, login)
	}
	for _, w := range words {
		require.Equal(t, "the login or the password is wrong", w)
	}
	w, _ := try(t, b, "ines", good, elsewhere)
	require.Equal(t, people.Wrong, w, "switched off")
}

// Tries at the same time are counted before any of them is compared.
func TestTriesAtOnceDoNotSlipPast(t *testing.T) {
	b, _, _ := setUp(t)
	var let sync.Map
	var all sync.WaitGroup
	for i := range 40 {
		all.Go(func() {
			if _, _, err := b.SignIn(t.Context(), "quint", "wrong wrong wrong", elsewhere); err != nil && err.Error() == "the login or the password is wrong" {
				let.Store(i, true)
			}
		})
	}
	all.Wait()
	n := 0
	let.Range(func(any, any) bool { n++; return true })
	require.Equal(t, 5, n)
}

// Waits outlast the program.
func TestWaitsAreKept(t *testing.T) {
	b, c, _ := setUp(t)
	failUntilWait(t, b, "quint", elsewhere)
	again, err := people.Open(t.Context(), b.Path())
	require.NoError(t, err)
	defer again.Close()
	again.Now = func() time.Time { return c.now }
	w, _ := try(t, again, "quint", good, elsewhere)
	require.Equal(t, people.TooSoon, w)
}

// Confirming by password in a session that somebody left open is throttled as well.
func TestConfirmingIsThrottled(t *testing.T) {
	b, _, p := setUp(t)
	for range 5 {
		require.Equal(t, people.Wrong, why(t, b.ChangePassword(t.Context(), p, "wrong wrong wrong", other)))
	}
	require.Equal(t, people.TooSoon, why(t, b.SetPIN(t.Context(), p, good, "4071")))
}

// Many hashes at once would take the machine's memory: the next one waits its turn, or until its page is closed.
func TestHashesWaitTheirTurn(t *testing.T) {
	b, _, _ := setUp(t)
	back := b.Busy()
	done := make(chan error)
	go func() {
		_, _, err := b.SignIn(t.Context(), "quint", good, here)
		done <- err
	}()
	select {
	case err := <-done:
		t.Fatal("it did not wait", err)
	case <-time.After(50 * time.Millisecond):
	}
	back()
	require.NoError(t, <-done)
}
