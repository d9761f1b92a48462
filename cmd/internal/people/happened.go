package people

import (
	"context"
	"database/sql"
	"time"
)

// Happening is one thing that happened to people, sessions and tablets. It holds no secret, and no login that is nobody's:
// people type passwords into the wrong box.
type Happening struct {
	Seq  int64
	At   time.Time
	What string // "signed in", "wrong password", "role changed" …
	Who  string // the login it is about; empty where it is nobody's
	By   string // the login of who did it, if that was somebody else
	From string // the address or tablet, where it is known
	Note string
}

// Happened lists what happened, the latest first.
func (b *Book) Happened(ctx context.Context, most int) (out []Happening, err error) {
	err = b.view(ctx, func(t *tx) error {
		return t.each(func(rows *sql.Rows) error {
			var h Happening
			var ms int64
			err := rows.Scan(&h.Seq, &ms, &h.What, &h.Who, &h.By, &h.From, &h.Note)
			h.At = at(ms)
			out = append(out, h)
			return err
		}, "SELECT seq, at, what, who, by, place, note FROM happened ORDER BY seq DESC LIMIT ?", most)
	})
	return out, err
}

// happened writes down what happened.
func (t *tx) happened(h Happening) error {
	return t.exec("INSERT INTO happened (at, what, who, by, place, note) VALUES (?, ?, ?, ?, ?, ?)", t.now.UnixMilli(), h.What, h.Who, h.By, h.From, h.Note)
}
