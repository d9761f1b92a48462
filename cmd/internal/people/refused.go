package people

import (
	"fmt"
	"time"

	"heeltap/lots"
)

// Why is the reason of a refusal that pages answer in a way of their own.
type Why string

// The reasons.
const (
	SignedOut Why = "signed out" // there is no such session (any more): sign in again
	Wrong     Why = "wrong"      // login, password or PIN is wrong; never which
	TooSoon   Why = "too soon"   // too many wrong tries: Wait says how long
	MayNot    Why = "may not"    // the person has not the right
	DeadLink  Why = "dead link"  // a one-time link that is used, expired, or never was
)

// Refused is a refusal in words for the person refused.
type Refused struct {
	Why  Why
	Wait time.Duration // with TooSoon
	text string
}

func (r *Refused) Error() string { return r.text }

// ErrorKind is Denied, whatever the reason.
func (r *Refused) ErrorKind() lots.ErrKind { return lots.Denied }

func refused(why Why, format string, args ...any) *Refused {
	return &Refused{Why: why, text: fmt.Sprintf(format, args...)}
}

func tooSoon(wait time.Duration) *Refused {
	wait = (wait + time.Second - 1).Truncate(time.Second) // rounded up: who waits as told is let try
	r := refused(TooSoon, "too many wrong tries: wait %s, then try again", inWords(wait))
	r.Wait = wait
	return r
}

// inWords writes a wait as people say it.
func inWords(d time.Duration) string {
	n, unit := int(d/time.Second), "second"
	if d > 90*time.Second {
		n, unit = int((d+time.Minute-1)/time.Minute), "minute"
	}
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

func signedOut() error { return refused(SignedOut, "you are signed out: sign in again") }

func deadLink() error {
	return refused(DeadLink, "this link is no longer good: it was used, it expired, or it was replaced; ask for a new one")
}

func noPerson(id int64) error {
	return lots.Errorf(lots.NotFound, "there is no person %d", id)
}
