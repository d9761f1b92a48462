// Package retell tells a history of package demo again, into a database.
package retell

import (
	"context"

	"heeltap/cmd/internal/demo"
	"heeltap/graph/desk"
	"heeltap/graph/gate"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Into records a history evening by evening, with the clock set to it; all of it or nothing.
func Into(ctx context.Context, db *store.DB, history []demo.Entry) error {
	return db.Load(ctx, func(tx *store.Tx) error {
		for len(history) > 0 {
			n := 1
			for n < len(history) && history[n].Recorded.Equal(history[0].Recorded) {
				n++
			}
			tx.At(history[0].Recorded)
			if err := enter(tx, history[:n]); err != nil {
				return err
			}
			history = history[n:]
		}
		return nil
	})
}

// enter records one evening's rows, then its corrections.
func enter(tx *store.Tx, evening []demo.Entry) error {
	var rows []store.Statement
	for _, x := range evening {
		if s, ok := lots.SheetNamed(x.Sheet); ok {
			rows = append(rows, store.Statement{Sheet: s, Row: x.Row, By: x.By})
		}
	}
	if _, err := gate.Enter(tx, rows...); err != nil {
		return err
	}
	for _, x := range evening {
		if x.Fix == nil {
			continue
		}
		entry, err := desk.EntryOf(tx, x.Fix.Name)
		if err != nil {
			return err
		}
		if x.Fix.Set == nil {
			_, err = tx.Void(entry, x.Fix.Reason, x.By)
		} else {
			_, err = tx.Amend(entry, x.Fix.Set, x.Fix.Reason, x.By)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
