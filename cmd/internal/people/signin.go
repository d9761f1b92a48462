package people

import (
	"context"
)

// account is what a sign-in needs to know; ID is 0 where the login is nobody's.
type account struct {
	id       int64
	login    string
	password string // PHC, empty where nobody can sign in with one
	pin      string // PHC
	charges  []charge
}

// account looks a login up; a person who is switched off or not yet here has no password to compare with.
func (t *tx) account(login string) (a account, err error) {
	var off bool
	err = t.row("SELECT id, login, password, pin, off FROM person WHERE login = ?", fold(login)).Scan(&a.id, &a.login, &a.password, &a.pin, &off)
	if none(err) {
		return account{}, nil
	}
	if off {
		a.password, a.pin = "", ""
	}
	return a, err
}

// who is the key that a login's tries are counted under.
func (a account) who(login string) string {
	if a.id == 0 {
		return stranger(fold(login))
	}
	return whoKey(a.id)
}

func wrong() error { return refused(Wrong, "the login or the password is wrong") }

// SignIn begins a session with login and password, from an address. It is Refused with Wrong or TooSoon.
func (b *Book) SignIn(ctx context.Context, login, password, from string) (token string, s *Session, err error) {
	var a account
	login = login[:min(len(login), 256)]
	err = b.update(ctx, func(t *tx) error {
		if a, err = t.account(login); err != nil {
			return err
		}
		if a.charges, err = t.charges(a.who(login), a.id, place(from)); err != nil {
			return err
		}
		return t.take(a.charges)
	})
	if err != nil {
		return "", nil, err
	}
	right, err := b.matches(ctx, normal(password), a.password)
	if err != nil {
		return "", nil, err
	}
	if !right {
		return "", nil, b.failed(ctx, a, "wrong password", from, wrong())
	}
	stronger := ""
	if b.weaker(a.password) {
		if stronger, err = b.hash(ctx, normal(password)); err != nil {
			return "", nil, err
		}
	}
	err = b.update(ctx, func(t *tx) error {
		token, s, err = b.letIn(t, a, stronger, from)
		return err
	})
	return token, s, err
}

// failed writes a failure down and gives the error for it.
func (b *Book) failed(ctx context.Context, a account, what, from string, answer error) error {
	err := b.update(ctx, func(t *tx) error {
		note := ""
		if a.id == 0 {
			note = "a login that is nobody's"
		}
		return t.happened(Happening{What: what, Who: a.login, From: notedFrom(from), Note: note})
	})
	if err != nil {
		return err
	}
	return answer
}

// letIn begins a session for a person whose password was right, unless something changed while it was compared.
func (b *Book) letIn(t *tx, a account, stronger, from string) (token string, s *Session, err error) {
	now, err := t.account(a.login)
	if err != nil {
		return "", nil, err
	}
	if now.password != a.password {
		return "", nil, wrong()
	}
	if stronger != "" {
		if err := t.exec("UPDATE person SET password = ? WHERE id = ?", stronger, a.id); err != nil {
			return "", nil, err
		}
	}
	if err := t.giveBack(a.charges); err != nil {
		return "", nil, err
	}
	if err := t.remember(a.id, place(from)); err != nil {
		return "", nil, err
	}
	if token, s, err = b.start(t, a.id, false, 0); err != nil {
		return "", nil, err
	}
	return token, s, t.happened(Happening{What: "signed in", Who: a.login, From: notedFrom(from)})
}

// remember keeps where a person signed in.
func (t *tx) remember(id int64, place string) error {
	if err := t.exec("DELETE FROM known WHERE last <= ?", t.now.Add(-familiar).UnixMilli()); err != nil {
		return err
	}
	return t.exec("INSERT OR REPLACE INTO known (person, place, last) VALUES (?, ?, ?)", id, place, t.now.UnixMilli())
}

// confirm checks the password of somebody who is signed in already, before something that a session alone is not enough for.
func (b *Book) confirm(ctx context.Context, p Person, password string) error {
	var a account
	err := b.update(ctx, func(t *tx) (err error) {
		if a, err = t.account(p.Login); err != nil {
			return err
		}
		if a.id == 0 || a.id != p.ID {
			return noPerson(p.ID)
		}
		a.charges = []charge{{whoKey(a.id) + " confirms", atUnknown}}
		return t.take(a.charges)
	})
	if err != nil {
		return err
	}
	right, err := b.matches(ctx, normal(password), a.password)
	if err != nil {
		return err
	}
	if !right {
		return b.failed(ctx, a, "wrong password", "", refused(Wrong, "the password is wrong"))
	}
	return b.update(ctx, func(t *tx) error { return t.giveBack(a.charges) })
}
