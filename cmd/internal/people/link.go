package people

import (
	"context"
	"database/sql"

	"heeltap/lots"
)

// link makes a one-time link for a person (0: the set-up link), in place of any older one.
func (b *Book) link(t *tx, person int64) (token string, err error) {
	if err := t.exec("DELETE FROM link WHERE person IS ?", orNull(person)); err != nil {
		return "", err
	}
	token, mark, hash := newToken()
	return token, t.exec("INSERT INTO link (mark, hash, person, until) VALUES (?, ?, ?, ?)", mark, hash, orNull(person), t.now.Add(b.Good).UnixMilli())
}

func orNull(id int64) sql.NullInt64 { return sql.NullInt64{Int64: id, Valid: id != 0} }

// linked reads whom a link is for: 0 is the set-up link.
func (t *tx) linked(token string) (person int64, err error) {
	p := read(token)
	var hash []byte
	var until int64
	err = t.row("SELECT hash, coalesce(person, 0), until FROM link WHERE mark = ?", p.mark).Scan(&hash, &person, &until)
	if none(err) || err == nil && (!p.fits(hash) || until <= t.now.UnixMilli()) {
		return 0, deadLink()
	}
	return person, err
}

// Holder says whom a one-time link is for, for a page that greets them; the set-up link is for a person without an ID.
func (b *Book) Holder(ctx context.Context, token string) (p Person, err error) {
	err = b.view(ctx, func(t *tx) error {
		p, err = t.holder(token)
		return err
	})
	return p, err
}

func (t *tx) holder(token string) (Person, error) {
	id, err := t.linked(token)
	if err != nil || id == 0 {
		return Person{}, err
	}
	p, err := t.person(id)
	if err == nil && p.Off {
		return Person{}, deadLink()
	}
	return p, err
}

// SetupToken makes the secret of a one-time set-up link, in place of any older one. It is refused once somebody
// can sign in who manages people.
func (b *Book) SetupToken(ctx context.Context) (token string, err error) {
	err = b.update(ctx, func(t *tx) error {
		if err := t.notSetUp(); err != nil {
			return err
		}
		token, err = b.link(t, 0)
		return err
	})
	return token, err
}

func (t *tx) notSetUp() error {
	n, err := t.managers(0)
	if err == nil && n > 0 {
		return lots.Errorf(lots.Conflict, "heeltap is set up already: ask somebody with the role admin for a link")
	}
	return err
}

// Setup makes the first person who manages people, by the set-up link.
func (b *Book) Setup(ctx context.Context, token, name, login, password string) (p Person, err error) {
	first := func(t *tx) error {
		id, err := t.linked(token)
		if err == nil && id != 0 {
			err = deadLink()
		}
		if err != nil {
			return err
		}
		return t.notSetUp()
	}
	if err := b.view(ctx, first); err != nil { // hashing is not for everybody who asks
		return Person{}, err
	}
	phc, err := b.fresh(ctx, password, login, name)
	if err != nil {
		return Person{}, err
	}
	err = b.update(ctx, func(t *tx) error {
		if err := first(t); err != nil {
			return err
		}
		if p, err = t.add(name, login, Admin); err != nil {
			return err
		}
		if err := t.exec("DELETE FROM link WHERE person IS NULL"); err != nil {
			return err
		}
		if err := t.setPassword(p.ID, phc); err != nil {
			return err
		}
		p.Invited = false
		return t.happened(Happening{What: "set up", Who: p.Login})
	})
	return p, err
}

// fresh hashes a new password, if it is acceptable.
func (b *Book) fresh(ctx context.Context, password, login, name string) (string, error) {
	p, err := acceptable(password, login, name)
	if err != nil {
		return "", err
	}
	return b.hash(ctx, p)
}

// setPassword gives a person a new password. What somebody who knew the old one could have made ends: sessions, the PIN
// and links; and so do the waits.
func (t *tx) setPassword(id int64, phc string) error {
	if err := t.exec("UPDATE person SET password = ?, pin = '', pin_failed = 0 WHERE id = ?", phc, id); err != nil {
		return err
	}
	if err := t.exec("DELETE FROM link WHERE person = ?", id); err != nil {
		return err
	}
	if err := t.clear(id); err != nil {
		return err
	}
	return t.endSessions(id)
}

// Invite adds a person, who sets their own password by the one-time link.
func (b *Book) Invite(ctx context.Context, by Person, name, login string, role Role) (token string, p Person, err error) {
	err = b.update(ctx, func(t *tx) error {
		if err := t.allow(by, Manage); err != nil {
			return err
		}
		if p, err = t.add(name, login, role); err != nil {
			return err
		}
		if token, err = b.link(t, p.ID); err != nil {
			return err
		}
		return t.happened(Happening{What: "invited", Who: p.Login, By: by.Login, Note: "as " + string(role)})
	})
	if err != nil {
		return "", Person{}, err
	}
	return token, p, nil
}

// Reset makes a one-time link by which a person sets a new password, in place of any older link. The old password, if
// there is one, is good until then.
func (b *Book) Reset(ctx context.Context, by Person, id int64) (token string, err error) {
	err = b.update(ctx, func(t *tx) error {
		if err := t.allow(by, Manage); err != nil {
			return err
		}
		p, err := t.person(id)
		if err != nil {
			return err
		}
		if p.Off {
			return lots.Errorf(lots.Conflict, "%s is switched off: switch them on first", p.Name)
		}
		if token, err = b.link(t, id); err != nil {
			return err
		}
		return t.happened(Happening{What: "new link", Who: p.Login, By: by.Login})
	})
	return token, err
}

// Redeem sets a password by a one-time link of Invite or Reset. It ends the person's sessions, PIN and waits,
// and begins no session.
func (b *Book) Redeem(ctx context.Context, token, password string) (p Person, err error) {
	err = b.view(ctx, func(t *tx) error {
		p, err = t.holder(token)
		return err
	})
	if err == nil && p.ID == 0 {
		err = deadLink()
	}
	if err != nil {
		return Person{}, err
	}
	phc, err := b.fresh(ctx, password, p.Login, p.Name)
	if err != nil {
		return Person{}, err
	}
	err = b.update(ctx, func(t *tx) error {
		again, err := t.holder(token) // it may have been used meanwhile
		if err != nil {
			return err
		}
		if err := t.setPassword(again.ID, phc); err != nil {
			return err
		}
		p = again
		p.Invited = false
		return t.happened(Happening{What: "password set", Who: p.Login, Note: "by a one-time link"})
	})
	return p, err
}

// ChangePassword sets a person's new password after the old one. It ends all their sessions, the one that asks
// among them, and their PIN.
func (b *Book) ChangePassword(ctx context.Context, p Person, old, password string) error {
	if err := b.confirm(ctx, p, old); err != nil {
		return err
	}
	phc, err := b.fresh(ctx, password, p.Login, p.Name)
	if err != nil {
		return err
	}
	return b.update(ctx, func(t *tx) error {
		if err := t.setPassword(p.ID, phc); err != nil {
			return err
		}
		return t.happened(Happening{What: "password set", Who: p.Login, Note: "after the old one"})
	})
}
