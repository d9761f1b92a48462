package people

import (
	"context"

	"heeltap/lots"
)

// allow checks, by the list as it is now, that a person has a right. A person who came by PIN has only what a PIN is good for.
func (t *tx) allow(by Person, x Right) error {
	if by.means == console {
		return nil
	}
	now, err := t.person(by.ID)
	if err != nil {
		return err
	}
	s := Session{Person: now, ByPIN: by.means == pin}
	if now.Off || !s.May(x) {
		return refused(MayNot, "%s may not %s here: ask somebody who may", now.Name, x.Words())
	}
	return nil
}

// change runs f on a person if by may manage people.
func (b *Book) change(ctx context.Context, by Person, id int64, f func(*tx, Person) error) error {
	return b.update(ctx, func(t *tx) error {
		if err := t.allow(by, Manage); err != nil {
			return err
		}
		p, err := t.person(id)
		if err != nil {
			return err
		}
		return f(t, p)
	})
}

// SetRole gives a person another role and ends their sessions. The last one who manages people keeps theirs.
func (b *Book) SetRole(ctx context.Context, by Person, id int64, role Role) error {
	return b.change(ctx, by, id, func(t *tx, p Person) error {
		if role.row().role == "" {
			return lots.Errorf(lots.Invalid, "there is no role %q: choose one of %s", role, listed(Roles()))
		}
		if p.Role == role {
			return nil
		}
		if !role.May(Manage) {
			if err := t.notLast(p); err != nil {
				return err
			}
		}
		if err := t.exec("UPDATE person SET role = ? WHERE id = ?", role, id); err != nil {
			return err
		}
		if err := t.endSessions(id); err != nil {
			return err
		}
		return t.happened(Happening{What: "role changed", Who: p.Login, By: by.Login, Note: "from " + string(p.Role) + " to " + string(role)})
	})
}

// notLast refuses to take the managing of people away from the last who can do it.
func (t *tx) notLast(p Person) error {
	if !p.Role.May(Manage) || p.Off || p.Invited {
		return nil
	}
	others, err := t.managers(p.ID)
	if err == nil && others == 0 {
		return lots.Errorf(lots.Conflict, "%s is the last who may say who signs in: give somebody else the role admin first, and let them set a password", p.Name)
	}
	return err
}

// SetOff switches a person off, which ends their sessions and links, or on again.
func (b *Book) SetOff(ctx context.Context, by Person, id int64, off bool) error {
	return b.change(ctx, by, id, func(t *tx, p Person) error {
		if p.Off == off {
			return nil
		}
		what := "switched on"
		if off {
			what = "switched off"
			if err := t.notLast(p); err != nil {
				return err
			}
			if err := t.exec("DELETE FROM link WHERE person = ?", id); err != nil {
				return err
			}
			if err := t.endSessions(id); err != nil {
				return err
			}
		}
		if err := t.exec("UPDATE person SET off = ? WHERE id = ?", off, id); err != nil {
			return err
		}
		return t.happened(Happening{What: what, Who: p.Login, By: by.Login})
	})
}

// Rename gives a person another name. What the journal says under the older one stays theirs.
func (b *Book) Rename(ctx context.Context, by Person, id int64, name string) error {
	return b.change(ctx, by, id, func(t *tx, p Person) error {
		if err := t.call(id, name); err != nil {
			return err
		}
		return t.happened(Happening{What: "renamed", Who: p.Login, By: by.Login, Note: "was " + p.Name})
	})
}
