package people

import (
	"context"
	"strings"

	"heeltap/lots"
)

// pinTries is how many wrong tries in a row end a PIN. Ten thousand PINs are too few to rely on waits; its
// owner still has the password, and sets a new one.
const pinTries = 10

// checkPIN refuses what is no PIN, or one of the first that anybody tries.
func checkPIN(pin string) error {
	bad := len(pin) < 4 || len(pin) > 8 || strings.ContainsFunc(pin, func(r rune) bool { return r < '0' || r > '9' })
	if bad {
		return lots.Errorf(lots.Invalid, "a PIN has 4 to 8 digits")
	}
	half := len(pin) / 2
	mirrored := len(pin)%2 == 0 && pin[half:] == backwards(pin[:half])
	year := len(pin) == 4 && (pin[:2] == "19" || pin[:2] == "20")
	column := strings.Contains("2580 0852 1470 3690", pin)
	if year || column || mirrored || stepwise(pin) || len(pin) <= 8 && repeatsShort(pin) {
		return lots.Errorf(lots.Invalid, "this PIN is too easy to guess: no years, no counting, no repeating")
	}
	return nil
}

func backwards(digits string) string {
	out := []byte(digits)
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return string(out)
}

// repeatsShort reports whether a PIN is one piece of at most half its length over and over.
func repeatsShort(pin string) bool {
	for size := 1; size <= len(pin)/2; size++ {
		if strings.Repeat(pin[:size], len(pin)/size+1)[:len(pin)] == pin {
			return true
		}
	}
	return false
}

// SetPIN gives a person a PIN, after their password; an empty one takes it away.
func (b *Book) SetPIN(ctx context.Context, p Person, password, pin string) error {
	if pin != "" {
		if err := checkPIN(pin); err != nil {
			return err
		}
	}
	if err := b.confirm(ctx, p, password); err != nil {
		return err
	}
	phc, what := "", "PIN taken away"
	if pin != "" {
		var err error
		if phc, err = b.hash(ctx, pin); err != nil {
			return err
		}
		what = "PIN set"
	}
	return b.update(ctx, func(t *tx) error {
		if err := t.exec("UPDATE person SET pin = ?, pin_failed = 0 WHERE id = ?", phc, p.ID); err != nil {
			return err
		}
		return t.happened(Happening{What: what, Who: p.Login})
	})
}

func wrongPIN() error {
	return refused(Wrong, "the login or the PIN is wrong; a PIN ends after %d wrong tries, then sign in with your password and set a new one", pinTries)
}

// SwitchByPIN begins a session by PIN on a registered tablet. It is Refused with MayNot on any other device, with Wrong or
// with TooSoon. The session that was there before is the caller's to end.
func (b *Book) SwitchByPIN(ctx context.Context, deviceToken, login, pin, from string) (token string, s *Session, err error) {
	var a account
	var d Device
	login = login[:min(len(login), 256)]
	err = b.update(ctx, func(t *tx) error {
		if d, err = t.device(deviceToken); err != nil {
			return err
		}
		if a, err = t.account(login); err != nil {
			return err
		}
		a.charges = []charge{{a.who(login) + " PIN", ofPIN}, {"tablet " + d.Name, atTablet}}
		if err := t.take(a.charges); err != nil {
			return err
		}
		return t.exec("UPDATE person SET pin_failed = pin_failed + 1 WHERE id = ? AND pin <> ''", a.id)
	})
	if err != nil {
		return "", nil, err
	}
	right, err := b.matches(ctx, pin, a.pin)
	if err != nil {
		return "", nil, err
	}
	where := d.Name + " " + place(from)
	if !right {
		if err := b.endPIN(ctx, a); err != nil {
			return "", nil, err
		}
		return "", nil, b.failed(ctx, a, "wrong PIN", where, wrongPIN())
	}
	err = b.update(ctx, func(t *tx) error {
		token, s, err = b.letInByPIN(t, a, d, where)
		return err
	})
	return token, s, err
}

// endPIN takes a PIN away after too many wrong tries.
func (b *Book) endPIN(ctx context.Context, a account) error {
	return b.update(ctx, func(t *tx) error {
		n, err := t.changed("UPDATE person SET pin = '', pin_failed = 0 WHERE id = ? AND pin_failed >= ?", a.id, pinTries)
		if err != nil || n == 0 {
			return err
		}
		return t.happened(Happening{What: "PIN ended", Who: a.login, Note: "wrong too often"})
	})
}

// letInByPIN begins a session for a person whose PIN was right, unless something changed while it was compared.
func (b *Book) letInByPIN(t *tx, a account, d Device, where string) (token string, s *Session, err error) {
	now, err := t.account(a.login)
	if err != nil {
		return "", nil, err
	}
	if now.pin != a.pin || now.pin == "" {
		return "", nil, wrongPIN()
	}
	if err := t.exec("UPDATE person SET pin_failed = 0 WHERE id = ?", a.id); err != nil {
		return "", nil, err
	}
	if err := t.exec("UPDATE device SET last_in = ? WHERE id = ?", t.now.UnixMilli(), d.ID); err != nil {
		return "", nil, err
	}
	if err := t.giveBack(a.charges); err != nil {
		return "", nil, err
	}
	if token, s, err = b.start(t, a.id, true, d.ID); err != nil {
		return "", nil, err
	}
	return token, s, t.happened(Happening{What: "signed in by PIN", Who: a.login, From: notedFrom(where)})
}
