// Package gate is the only way into the records: no row that takes goods on hold passes without
// an override by name and reason.
package gate

import (
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Override lets acts take goods on hold: why, and who decided it. Without a reason it lets nothing through.
type Override struct{ Reason, By string }

// Given reports whether there is a reason.
func (o Override) Given() bool { return strings.TrimSpace(o.Reason) != "" }

// Record journals that entries took goods on hold under this override.
func (o Override) Record(tx *store.Tx, entries []int64) error {
	entries = slices.Compact(slices.Sorted(slices.Values(entries)))
	_, err := tx.Act(store.AboutHolds, store.Override{Do: "override", Entries: entries, Reason: o.Reason}, o.By)
	return err
}

// Post records rows together: all of them, or none where one is faulty or takes from what is on
// hold. Faults and warnings carry in Line the index of the row, counted from 1.
func Post(tx *store.Tx, rows []store.Statement, o Override) (entries []int64, warnings, faults lots.Faults, err error) {
	entries, warnings, faults, err = tx.RecordRows(rows)
	if err != nil || len(faults) > 0 {
		return nil, warnings, faults, err
	}
	doubtful, faults := trace.Uncoded(tx, entries)
	if len(faults) > 0 {
		return nil, warnings, faults, tx.Err()
	}
	warnings = append(warnings, doubtful...)
	faults, err = trace.Stopped(tx, entries)
	if err != nil || len(faults) == 0 {
		return entries, warnings, nil, err
	}
	if !o.Given() {
		return nil, warnings, faults, nil
	}
	taken := make([]int64, len(faults))
	for i, f := range faults {
		taken[i] = entries[f.Line-1]
	}
	return entries, warnings, nil, o.Record(tx, taken)
}

// Enter is Post for rows that the program writes itself: any fault is an error.
func Enter(tx *store.Tx, rows ...store.Statement) ([]int64, error) {
	entries, _, faults, err := Post(tx, rows, Override{})
	return entries, Failed(err, faults)
}

// Failed makes one error of a failure and of faults; nil where there is neither.
func Failed(err error, faults lots.Faults) error {
	if err != nil || len(faults) == 0 {
		return err
	}
	return faults
}
