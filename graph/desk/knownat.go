package desk

import (
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// KnownAt reads a moment that something is asked as known at: a bare date means the end of that day.
func KnownAt(tx *store.Tx, text string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t, nil
	}
	w, _, err := lots.ParseWhen(text, tx.Site().Zone)
	if err != nil {
		return time.Time{}, err
	}
	return time.Unix(w.To, 0).Add(time.Second - time.Millisecond), nil
}
