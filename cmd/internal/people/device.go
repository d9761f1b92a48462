package people

import (
	"context"
	"database/sql"
	"time"

	"heeltap/lots"
)

// Device is a tablet that several people share, on which a PIN is enough to change who is signed in.
type Device struct {
	ID     int64
	Name   string
	By     string // the name of who registered it
	Began  time.Time
	LastIn time.Time // when somebody last signed in there by PIN
}

// RegisterDevice makes a shared tablet known, and gives the token it keeps.
func (b *Book) RegisterDevice(ctx context.Context, by Person, name string) (token string, err error) {
	err = b.update(ctx, func(t *tx) error {
		if err := t.allow(by, Tablet); err != nil {
			return err
		}
		if by.ID == 0 {
			return lots.Errorf(lots.Invalid, "a tablet is registered on the tablet itself: sign in there first")
		}
		if name, err = checkName(name); err != nil {
			return lots.Errorf(lots.Invalid, "a tablet's name has 1 to 80 characters: say where it hangs")
		}
		var mark, hash []byte
		token, mark, hash = newToken()
		if err := t.exec("INSERT INTO device (mark, hash, name, began, person) VALUES (?, ?, ?, ?, ?)", mark, hash, name, t.now.UnixMilli(), by.ID); err != nil {
			return err
		}
		return t.happened(Happening{What: "tablet registered", By: by.Login, From: name})
	})
	if err != nil {
		return "", err
	}
	return token, nil
}

const deviceColumns = "d.id, d.name, p.name, d.began, d.last_in, d.hash FROM device d JOIN person p ON p.id = d.person"

func scanDevice(scan func(...any) error) (d Device, hash []byte, err error) {
	var began, lastIn int64
	err = scan(&d.ID, &d.Name, &d.By, &began, &lastIn, &hash)
	d.Began, d.LastIn = at(began), at(lastIn)
	return d, hash, err
}

// Devices lists the shared tablets.
func (b *Book) Devices(ctx context.Context) (out []Device, err error) {
	err = b.view(ctx, func(t *tx) error {
		return t.each(func(rows *sql.Rows) error {
			d, _, err := scanDevice(rows.Scan)
			out = append(out, d)
			return err
		}, "SELECT "+deviceColumns+" ORDER BY d.name, d.id")
	})
	return out, err
}

// Device finds the shared tablet that a token stands for.
func (b *Book) Device(ctx context.Context, token string) (d Device, err error) {
	err = b.view(ctx, func(t *tx) error {
		d, err = t.device(token)
		return err
	})
	return d, err
}

func (t *tx) device(token string) (Device, error) {
	p := read(token)
	d, hash, err := scanDevice(t.row("SELECT "+deviceColumns+" WHERE d.mark = ?", p.mark).Scan)
	if none(err) || err == nil && !p.fits(hash) {
		return Device{}, refused(MayNot, "this is no shared tablet: sign in with your password; somebody who decides about quality can register it")
	}
	return d, err
}

// ForgetDevice takes a tablet off the list, and ends the sessions on it.
func (b *Book) ForgetDevice(ctx context.Context, by Person, id int64) error {
	return b.update(ctx, func(t *tx) error {
		if err := t.allow(by, Tablet); err != nil {
			return err
		}
		var name string
		err := t.row("DELETE FROM device WHERE id = ? RETURNING name", id).Scan(&name)
		if none(err) {
			return lots.Errorf(lots.NotFound, "there is no tablet %d", id)
		}
		if err != nil {
			return err
		}
		return t.happened(Happening{What: "tablet forgotten", By: by.Login, From: name})
	})
}
