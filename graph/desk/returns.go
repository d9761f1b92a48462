package desk

import (
	"fmt"
	"maps"
	"slices"

	"heeltap/graph/gate"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// SettingReturns is the site's setting for goods that come back: hold, the default, puts each unit
// on hold until somebody has judged it; accept lets it go out again as it is.
const SettingReturns = "returns"

// The values of SettingReturns.
const (
	returnsHold   = "hold"
	returnsAccept = "accept"
)

// NotJudged is the reason of the holds that returns place.
const NotJudged = "returned, not judged yet"

// stopReturned puts what came back by a row just recorded on hold, in the same transaction, and says so: of one
// of several each of them. An empty keg is no return of goods, and one hold for that reason is enough.
func stopReturned(tx *store.Tx, entry int64) (said []string, err error) {
	if tx.Setting(store.SiteSettings, SettingReturns) == returnsAccept {
		return nil, tx.Err()
	}
	row, _ := tx.Row(entry)
	sheet, _ := lots.SheetNamed("holds")
	for _, unit := range cameBack(tx, []int64{entry})[entry] {
		waits, err := waitsForJudgement(tx, unit)
		if err != nil {
			return nil, err
		}
		if waits {
			said = append(said, fmt.Sprintf("%s stays on hold: %s", unit, NotJudged))
			continue
		}
		by := row.Row["by"]
		hold, err := gate.Enter(tx, store.Statement{Sheet: sheet, By: by, Row: lots.Row{"subject": unit, "at": row.Row["returned_at"], "reason": NotJudged, "by": by}})
		if err != nil {
			return nil, err
		}
		said = append(said, fmt.Sprintf("%s is now on hold (entry %d): %s. Inspect it, then heeltap release %s --reason … or heeltap remove %s", unit, hold[0], NotJudged, unit, unit))
	}
	return said, nil
}

// waitsForJudgement reports whether a unit is on hold since it came back.
func waitsForJudgement(tx *store.Tx, unit string) (bool, error) {
	held, err := trace.Holdings(tx)
	return slices.ContainsFunc(held[unit], func(entry int64) bool {
		rec, _ := tx.Record(entry)
		h, ok := rec.(*lots.Hold)
		return ok && h.Reason == NotJudged
	}), err
}

// returnsCorrected warns where a corrected return leaves a unit on hold that did not come back, or lets one
// go out that did.
func returnsCorrected(tx *store.Tx, was, now map[int64][]string) (out []string, err error) {
	for _, entry := range slices.Sorted(maps.Keys(was)) {
		for _, unit := range was[entry] {
			waits, err := waitsForJudgement(tx, unit)
			if err != nil {
				return nil, err
			}
			if waits && !slices.Contains(now[entry], unit) {
				out = append(out, fmt.Sprintf("%s is still on hold (%s): if it never came back, heeltap release %s --reason …", unit, NotJudged, unit))
			}
		}
		for _, unit := range now[entry] {
			waits, err := waitsForJudgement(tx, unit)
			if err != nil {
				return nil, err
			}
			if !waits && !slices.Contains(was[entry], unit) && tx.Setting(store.SiteSettings, SettingReturns) != returnsAccept {
				out = append(out, fmt.Sprintf("%s came back, as now corrected, and is not on hold: heeltap hold %s --reason %q until it is judged", unit, unit, NotJudged))
			}
		}
	}
	return out, nil
}

// cameBack lists the units of rows that are returns of goods, by entry; a row that is none, or is void, has none.
func cameBack(tx *store.Tx, rows []int64) map[int64][]string {
	out := map[int64][]string{}
	for _, entry := range rows {
		out[entry] = nil
		rec, _ := tx.Record(entry)
		if r, ok := rec.(*lots.Return); ok && r.State != "empty" {
			out[entry] = r.Unit.Codes
		}
	}
	return out
}
