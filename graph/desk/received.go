package desk

import (
	"fmt"
	"strings"

	"heeltap/graph/gate"
	"heeltap/lots"
	"heeltap/lots/store"
)

// stopReceived writes down why a delivery just recorded came in on hold: a hold of the receipt's very moment
// is the receipt's own, and heeltap release ends it.
func (said *Said) stopReceived(tx *store.Tx, a Act) error {
	rec, _ := tx.Record(said.Entry)
	row, _ := tx.Row(said.Entry)
	r, ok := rec.(*lots.Receipt)
	held, reason := ok && r.Status == "hold", strings.TrimSpace(a.Reason)
	switch {
	case !held && reason == "":
		return nil
	case !held:
		return lots.Errorf(lots.Invalid, "a reason belongs to a hold: give it with --status hold")
	case reason == "":
		said.Warnings = append(said.Warnings, fmt.Sprintf("nobody will know what %s is waiting for: give --reason with --status hold (to add it now, heeltap hold %[1]s --at %[2]q --reason …)", r.Lot, row.Row["received_at"]))
		return nil
	}
	sheet, _ := lots.SheetNamed("holds")
	hold, err := gate.Enter(tx, store.Statement{Sheet: sheet, By: a.By, Row: lots.Row{"subject": r.Lot, "at": row.Row["received_at"], "reason": reason, "by": row.Row["by"]}})
	if err != nil {
		return err
	}
	said.Also = append(said.Also, fmt.Sprintf("%s is waiting (entry %d): %s. When that is settled, heeltap release %s --reason …, or heeltap remove %s --reason supplier-return", r.Lot, hold[0], reason, r.Lot, r.Lot))
	return nil
}
