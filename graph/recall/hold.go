package recall

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"heeltap/graph/gate"
	"heeltap/graph/recall/house"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// HoldAll stops everything in scope that is in the house and that this recall does not hold yet,
// in one step. What somebody else stopped gets a hold of this recall's own, so that neither
// release lets go what the other still wants stopped. In an exercise it stops nothing and says so.
func (r *Recall) HoldAll(tx *store.Tx, by string) (*Recall, []house.Stock, error) {
	s, err := r.Scope(tx)
	if err != nil {
		return nil, nil, err
	}
	stock, err := r.InHouse(tx, s)
	if err != nil {
		return nil, nil, err
	}
	loose, unheld := house.Loose(stock), house.Unheld(stock)
	stock = slices.DeleteFunc(stock, func(x house.Stock) bool {
		return x.Kind == "loose" || r.Mock && slices.Contains(r.Holds, x.Code) || !r.Mock && x.HeldHere
	})
	if len(stock) == 0 && r.Mock {
		return nil, nil, lots.Errorf(lots.Conflict, "nothing more to rehearse a hold on: it was rehearsed on all that is in scope and in the house, or that has left")
	}
	if len(stock) == 0 {
		open := ""
		if unheld != "" {
			open = "; " + unheld
		}
		for _, y := range s.Undecided() {
			open += "; not decided: " + y.Text()
		}
		return nil, nil, lots.Errorf(lots.Conflict, "nothing more to hold: all that is in scope and in the house is held, or has left%s", open)
	}
	step := &Stopped{}
	for _, x := range loose {
		step.Loose = append(step.Loose, x.Amount())
	}
	for i, x := range stock {
		step.Subjects = append(step.Subjects, x.Code)
		stock[i].Held, stock[i].HeldHere = !r.Mock, !r.Mock
	}
	if !r.Mock {
		if step.Entries, err = r.stop(tx, step.Subjects, by); err != nil {
			return nil, nil, err
		}
	}
	after, err := r.Take(tx, step, At{}, by)
	return after, stock, err
}

// InHouse lists what of a scope is in the house, and says of each thing whether the recall holds it.
func (r *Recall) InHouse(tx *store.Tx, s *scope.Scope) ([]house.Stock, error) {
	return house.InScope(tx, s, r.heldBy)
}

// stop records the holds.
func (r *Recall) stop(tx *store.Tx, subjects []string, by string) ([]int64, error) {
	sheet, _ := lots.SheetNamed("holds")
	zone := tx.Site().Zone
	var rows []store.Statement
	for _, c := range subjects {
		at := tx.Recorded().In(zone).Format("2006-01-02 15:04") // whole minutes, as what it stops is written
		if content, ok := trace.ContentOf(tx, c); ok && content.Fill.Since > tx.Recorded().Truncate(time.Minute).Unix() {
			at = time.Unix(content.Fill.Since, 0).In(zone).Format("2006-01-02 15:04:05") // what came in within this minute is meant
		}
		if rec, ok := tx.Receipt(c); ok && rec.Status == "hold" && rec.At == minuteAt(at, zone) {
			at += ":01" // a hold of the receipt's very moment is the receipt's own
		}
		rows = append(rows, store.Statement{Sheet: sheet, By: by, Row: lots.Row{"subject": c, "at": at, "reason": r.Code + ": " + r.Reason, "by": by}})
	}
	return gate.Enter(tx, rows...)
}

func minuteAt(text string, zone *time.Location) lots.When {
	w, _, err := lots.ParseWhen(text, zone)
	if err != nil {
		panic(err) // it was just written
	}
	return w
}

// LetGo releases what was held for the recall. It ends the recall's own holds and nobody else's. In an
// exercise there is nothing to release but the exercise's own list.
func (r *Recall) LetGo(tx *store.Tx, codes []string, reason, by string) (*Recall, error) {
	step := &LetGo{Subjects: codes, Reason: reason}
	if err := r.canLetGo(step); err != nil {
		return nil, err
	}
	for _, c := range codes {
		for _, entry := range r.heldBy[c] {
			if err := endHold(tx, entry, reason, by); err != nil {
				return nil, err
			}
		}
	}
	return r.Take(tx, step, At{}, by)
}

// LetGoAll releases all that was held for the recall.
func (r *Recall) LetGoAll(tx *store.Tx, reason, by string) (*Recall, error) {
	if len(r.Holds) == 0 {
		if r.Mock {
			return nil, lots.Errorf(lots.Conflict, "no hold was rehearsed in %s", r.Code)
		}
		return nil, lots.Errorf(lots.Conflict, "nothing is held for %s", r.Code)
	}
	return r.LetGo(tx, slices.Clone(r.Holds), reason, by)
}

// endHold writes its end into a hold; one that was ended or taken back is left as it is.
func endHold(tx *store.Tx, entry int64, reason, by string) error {
	row, ok := tx.Row(entry)
	if !ok || row.Row["released_at"] != "" {
		return nil
	}
	at := tx.Recorded().In(tx.Site().Zone).Format("2006-01-02 15:04")
	if momentOf(tx, row.Row["at"]).From > momentOf(tx, at).From { // held within this minute
		at = row.Row["at"]
	}
	_, err := tx.Amend(entry, map[string]string{"released_at": at, "released_by": by, "release_reason": reason}, reason, by)
	return err
}

// momentOf reads a recorded time: holds are told apart by their moments, however those are written.
func momentOf(tx *store.Tx, text string) lots.When {
	w, _, _ := lots.ParseWhen(text, tx.Site().Zone) // what is recorded can be read
	return w
}

// StillStopped says of things that were let go what else stops them, or should: other holds,
// and other recalls that have them in scope.
func (r *Recall) StillStopped(tx *store.Tx, codes []string) ([]string, error) {
	held, err := trace.Holdings(tx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, c := range codes {
		thing, _ := tx.Thing(c)
		by, err := trace.StoppedBy(tx, thing.Kind, c)
		if err != nil {
			return nil, err
		}
		if by != "" && len(held[c]) == 0 {
			out = append(out, fmt.Sprintf("%s holds %s, which is on hold for another reason: it stays stopped", c, by))
		}
		for _, entry := range held[c] {
			why := "it came in on hold"
			if rec, ok := tx.Record(entry); ok {
				if h, isHold := rec.(*lots.Hold); isHold {
					why = h.Reason + ", by " + h.By
				}
			}
			out = append(out, fmt.Sprintf("%s stays on hold: %s (entry %d)", c, why, entry))
		}
	}
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	for _, other := range all {
		if other.Code == r.Code || other.Mock || !other.Open {
			continue
		}
		s, err := other.Scope(tx)
		if err != nil {
			return nil, err
		}
		stock, err := other.InHouse(tx, s)
		if err != nil {
			return nil, err
		}
		for _, x := range stock {
			if slices.Contains(codes, x.Code) && !x.HeldHere {
				out = append(out, fmt.Sprintf("%s is in scope of %s too, which does not hold it: heeltap recall hold --recall %s", x.Code, other.Code, other.Code))
			}
		}
	}
	return out, tx.Err()
}

// placedBy tells which recall placed a hold, by the hold's entry: closing a recall releases nothing.
func placedBy(tx *store.Tx) (map[int64]string, error) {
	all, err := All(tx)
	if err != nil {
		return nil, err
	}
	out := map[int64]string{}
	for _, r := range all {
		for _, entries := range r.heldBy {
			for _, entry := range entries {
				out[entry] = r.Code
			}
		}
	}
	return out, nil
}

// HoldsStand refuses rows, as they were just corrected, that were holds of an open recall and stop
// nothing any more: a recall lets go of its own holds, and its log says so.
func HoldsStand(tx *store.Tx, rows []int64) error {
	placed, err := placedBy(tx)
	if err != nil {
		return err
	}
	for _, entry := range rows {
		row, stands := tx.Row(entry)
		if code := placed[entry]; code != "" && (!stands || row.Row["released_at"] != "") {
			return lots.Errorf(lots.Conflict, "entry %d is a hold of recall %s: let it go with heeltap recall release --recall %s", entry, code, code)
		}
	}
	return tx.Err()
}

// Release ends every open hold of a subject but those of open recalls, which let go of their
// own; a lot received on hold gets the row that says so. An empty time means now.
func Release(tx *store.Tx, subject, at, reason, by string) ([]int64, error) {
	if strings.TrimSpace(reason) == "" {
		return nil, lots.Errorf(lots.Invalid, "a release needs a reason: --reason TEXT")
	}
	at = cmp.Or(at, tx.Recorded().In(tx.Site().Zone).Format("2006-01-02 15:04"))
	if w, _, err := lots.ParseWhen(at, tx.Site().Zone); err == nil && w.From > tx.Recorded().Unix() {
		return nil, lots.Errorf(lots.Invalid, "%s has not come yet: a release is entered when it is made", at)
	}
	rows, err := tx.Naming(subject)
	if err != nil {
		return nil, err
	}
	placed, err := placedBy(tx)
	if err != nil {
		return nil, err
	}
	var entries []int64
	stopped, recalls := map[lots.When]bool{}, ""
	for _, row := range rows {
		if row.Sheet.Name != "holds" || row.Row["subject"] != subject {
			continue
		}
		stopped[momentOf(tx, row.Row["at"])] = true
		if row.Row["released_at"] != "" {
			continue
		}
		if placed[row.Seq] != "" {
			recalls = placed[row.Seq]
			continue
		}
		entry, err := tx.Amend(row.Seq, map[string]string{"released_at": at, "released_by": by, "release_reason": reason}, reason, by)
		if err != nil {
			return nil, err
		}
		entries = append(entries, entry)
	}
	more, err := releaseReceived(tx, rows, subject, stopped, lots.Row{"released_at": at, "released_by": by, "release_reason": reason})
	if err != nil {
		return nil, err
	}
	if entries = append(entries, more...); len(entries) > 0 {
		return entries, nil
	}
	if recalls != "" {
		return nil, lots.Errorf(lots.Conflict, "%s is held for recall %s: heeltap recall release %s --recall %s releases it (if the recall is closed, after heeltap recall reopen)", subject, recalls, subject, recalls)
	}
	if _, ok := tx.Thing(subject); !ok {
		return nil, lots.Errorf(lots.NotFound, "nothing is called %q; nearest are: %s", subject, cmp.Or(strings.Join(tx.Nearest(subject), ", "), "-"))
	}
	thing, _ := tx.Thing(subject)
	if by, err := trace.StoppedBy(tx, thing.Kind, subject); err != nil || by != "" {
		return nil, cmp.Or(err, error(lots.Errorf(lots.Conflict, "%s has no hold of its own: it is stopped by %s; release that, or go on with --override REASON", subject, by)))
	}
	if rec, ok := tx.Receipt(subject); ok && rec.Status == "rejected" {
		return nil, lots.Errorf(lots.Conflict, "%s was rejected when it was received, not put on hold: if it was accepted after all, put its status right (heeltap amend %s status=accepted)", subject, subject)
	}
	return nil, lots.Errorf(lots.Conflict, "%s is not on hold", subject)
}

// releaseReceived gives a lot that came in on hold the hold row that says it was let go.
func releaseReceived(tx *store.Tx, rows []lots.Entered, subject string, stopped map[lots.When]bool, release lots.Row) ([]int64, error) {
	sheet, _ := lots.SheetNamed("holds")
	var entries []int64
	for _, row := range rows {
		if row.Sheet.Name != "receipts" || row.Row["lot"] != subject || row.Row["status"] != "hold" || stopped[momentOf(tx, row.Row["received_at"])] {
			continue
		}
		by := release["released_by"]
		hold := lots.Row{"subject": subject, "at": row.Row["received_at"], "reason": "received on hold", "by": cmp.Or(row.Row["by"], by)}
		for k, v := range release {
			hold[k] = v
		}
		seqs, err := gate.Enter(tx, store.Statement{Sheet: sheet, Row: hold, By: by})
		if err != nil {
			return nil, err
		}
		entries = append(entries, seqs...)
	}
	return entries, nil
}
