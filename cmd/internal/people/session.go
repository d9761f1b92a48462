package people

import (
	"context"
	"database/sql"
	"time"
)

// Session is one person signed in on one browser.
type Session struct {
	ID              int64
	Person          Person
	ByPIN           bool
	Began, LastSeen time.Time
	Device          int64 // the shared tablet it is on; 0 for none
}

// touchEvery is how often at most a session's last use is written down.
const touchEvery = time.Minute

// Session finds the session that a token stands for. It is Refused with SignedOut where there is none (any more).
func (b *Book) Session(ctx context.Context, token string) (*Session, error) {
	var s *Session
	now := b.Now()
	err := b.view(ctx, func(t *tx) (err error) {
		s, err = t.session(token)
		return err
	})
	switch {
	case err != nil:
		return nil, err
	case b.over(s, now):
		err := b.update(ctx, func(t *tx) error { return t.exec("DELETE FROM session WHERE id = ?", s.ID) })
		if err != nil {
			return nil, err
		}
		return nil, signedOut()
	case now.Sub(s.LastSeen) < touchEvery:
		return s, nil
	}
	s.LastSeen = now
	return s, b.update(ctx, func(t *tx) error {
		n, err := t.changed("UPDATE session SET last_seen = ? WHERE id = ?", now.UnixMilli(), s.ID)
		if err == nil && n == 0 { // it was ended meanwhile
			return signedOut()
		}
		return err
	})
}

// Still is Session for somebody who is only shown what goes on: looking at a page that renews itself is no use of a
// session, and does not put off its end.
func (b *Book) Still(ctx context.Context, token string) (s *Session, err error) {
	err = b.view(ctx, func(t *tx) (err error) {
		s, err = t.session(token)
		return err
	})
	if err == nil && b.over(s, b.Now()) {
		return nil, signedOut()
	}
	return s, err
}

// session reads a session and its person.
func (t *tx) session(token string) (*Session, error) {
	p := read(token)
	var hash []byte
	var began, lastSeen, person int64
	s := &Session{}
	err := t.row("SELECT id, hash, person, by_pin, coalesce(device, 0), began, last_seen FROM session WHERE mark = ?", p.mark).
		Scan(&s.ID, &hash, &person, &s.ByPIN, &s.Device, &began, &lastSeen)
	if none(err) || err == nil && !p.fits(hash) {
		return nil, signedOut()
	}
	if err != nil {
		return nil, err
	}
	s.Began, s.LastSeen = at(began), at(lastSeen)
	s.Person, err = t.person(person)
	if s.ByPIN {
		s.Person.means = pin
	}
	if err == nil && s.Person.Off {
		return nil, signedOut()
	}
	return s, err
}

// over reports whether a session has ended by time.
func (b *Book) over(s *Session, now time.Time) bool {
	return now.Sub(s.LastSeen) >= b.idle(s.ByPIN) || now.Sub(s.Began) >= b.Longest
}

func (b *Book) idle(byPIN bool) time.Duration {
	if byPIN {
		return b.IdlePIN
	}
	return b.Idle
}

// start begins a session with a token of its own.
func (b *Book) start(t *tx, person int64, byPIN bool, device int64) (token string, s *Session, err error) {
	if err := b.sweep(t); err != nil {
		return "", nil, err
	}
	now := t.now.UnixMilli()
	if err := t.exec("UPDATE person SET last_in = ? WHERE id = ?", now, person); err != nil {
		return "", nil, err
	}
	token, mark, hash := newToken()
	err = t.exec("INSERT INTO session (mark, hash, person, by_pin, device, began, last_seen) VALUES (?, ?, ?, ?, ?, ?, ?)",
		mark, hash, person, byPIN, sql.NullInt64{Int64: device, Valid: device != 0}, now, now)
	if err != nil {
		return "", nil, err
	}
	s, err = t.session(token)
	return token, s, err
}

// sweep removes the sessions that have ended by time.
func (b *Book) sweep(t *tx) error {
	since := func(d time.Duration) int64 { return t.now.Add(-d).UnixMilli() }
	return t.exec("DELETE FROM session WHERE began <= ? OR last_seen <= CASE by_pin WHEN 1 THEN ? ELSE ? END", since(b.Longest), since(b.IdlePIN), since(b.Idle))
}

// SignOut ends a session; a token that stands for none is fine.
func (b *Book) SignOut(ctx context.Context, token string) error {
	return b.update(ctx, func(t *tx) error {
		s, err := t.session(token)
		if _, gone := err.(*Refused); gone {
			return nil
		}
		if err != nil {
			return err
		}
		if err := t.exec("DELETE FROM session WHERE id = ?", s.ID); err != nil {
			return err
		}
		return t.happened(Happening{What: "signed out", Who: s.Person.Login})
	})
}

// endSessions ends whatever sessions a person has.
func (t *tx) endSessions(id int64) error {
	return t.exec("DELETE FROM session WHERE person = ?", id)
}
