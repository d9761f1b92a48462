package store

import (
	"cmp"
	"math"
	"strings"

	"heeltap/lots"
)

// never is when a stop that was not let go is over.
const never = math.MaxInt64

// enterStop notes a hold, and a lot that comes in on hold. Such a lot is stopped from its receipt on,
// until a hold of that very moment stands for it.
func (tx *Tx) enterStop(seq int64, s *lots.Sheet, row lots.Row, site lots.Site) error {
	when := func(column string) lots.When {
		w, _, _ := lots.ParseWhen(row[column], site.Zone) // was checked when it was recorded
		return w
	}
	over := int64(never)
	var code, reason string
	var at lots.When
	switch {
	case s.Name == "holds":
		code, at, reason = strings.TrimSpace(row["subject"]), when("at"), row["reason"]
		if row["released_at"] != "" {
			over = when("released_at").From
		}
	case s.Name == "receipts" && row["status"] == "hold":
		code, at = strings.TrimSpace(row["lot"]), when("received_at")
	default:
		return nil
	}
	return cmp.Or(
		tx.exec("INSERT INTO stop(seq, receipt, code, at_from, at_to, reason, over) VALUES (?,?,?,?,?,?,?)", seq, s.Name == "receipts", code, at.From, at.To, reason, over),
		tx.settleStops(code))
}

// leaveStop takes a row out of what is stopped.
func (tx *Tx) leaveStop(seq int64, s *lots.Sheet, row lots.Row) error {
	if s.Name != "holds" && s.Name != "receipts" {
		return nil
	}
	if err := tx.exec("DELETE FROM stop WHERE seq = ?", seq); err != nil {
		return err
	}
	return tx.settleStops(strings.TrimSpace(cmp.Or(row["subject"], row["lot"])))
}

// settleStops says for the receipt of a lot whether a hold of that very moment stands for it.
func (tx *Tx) settleStops(code string) error {
	return tx.exec(`UPDATE stop SET over = CASE WHEN EXISTS (SELECT 1 FROM stop h WHERE h.code = ?1 AND NOT h.receipt AND h.at_from = stop.at_from AND h.at_to = stop.at_to)
		THEN ?2 ELSE ?3 END WHERE code = ?1 AND receipt`, code, int64(math.MinInt64), int64(never))
}

// noteStops works out anew what is stopped: the site's zone decides how times read.
func (tx *Tx) noteStops() error {
	if err := tx.exec("DELETE FROM stop"); err != nil {
		return err
	}
	site := tx.Site()
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE sheet = 'holds' OR sheet = 'receipts' AND json_extract(body, '$.status') = 'hold' ORDER BY seq")
	if err != nil {
		return err
	}
	for _, e := range rows {
		if err := tx.enterStop(e.Seq, e.Sheet, e.Row, site); err != nil {
			return err
		}
	}
	return nil
}

// Stops lists the holds that are not over at a moment, and the receipts on hold for which no hold of their own moment
// stands, each in journal order. A release that has not come by then lets nothing go.
func (tx *Tx) Stops(moment int64) (holds []*lots.Hold, receipts []*lots.Receipt) {
	rows, err := tx.rows("SELECT r.seq, r.sheet, r.body FROM stop s CROSS JOIN record r ON r.seq = s.seq WHERE s.over > ? ORDER BY r.seq", moment)
	tx.fail(err)
	for _, rec := range tx.decode(rows) {
		switch x := rec.(type) {
		case *lots.Hold:
			holds = append(holds, x)
		case *lots.Receipt:
			receipts = append(receipts, x)
		}
	}
	return holds, receipts
}

// LetGo lists the holds for one of some reasons that were let go between two moments, in journal order.
func (tx *Tx) LetGo(reasons []string, from, to int64) []*lots.Hold {
	rows, err := tx.rows(`SELECT r.seq, r.sheet, r.body FROM stop s CROSS JOIN record r ON r.seq = s.seq
		WHERE s.reason IN (SELECT value FROM json_each(?)) AND s.over BETWEEN ? AND ? AND NOT s.receipt ORDER BY r.seq`, jsonList(reasons), from, to)
	tx.fail(err)
	var out []*lots.Hold
	for _, rec := range tx.decode(rows) {
		out = append(out, rec.(*lots.Hold))
	}
	return out
}

// AnyRejected reports whether any lot was ever rejected.
func (tx *Tx) AnyRejected() bool {
	var found bool
	_, err := tx.one([]any{&found}, "SELECT EXISTS (SELECT 1 FROM record WHERE sheet = 'receipts' AND json_extract(body, '$.status') = 'rejected')")
	tx.fail(err)
	return found
}

// Unnumbered lists the receipts of an item from a supplier that carried no supplier's lot, in journal order.
func (tx *Tx) Unnumbered(supplier, item string) []*lots.Receipt {
	rows, err := tx.rows(`SELECT r.seq, r.sheet, r.body FROM record r INDEXED BY record_unnumbered WHERE r.sheet = 'receipts' AND json_extract(r.body, '$.supplier_lot') = '-'
		AND EXISTS (SELECT 1 FROM mention WHERE code = ? AND seq = r.seq) AND EXISTS (SELECT 1 FROM mention WHERE code = ? AND seq = r.seq) ORDER BY r.seq`, supplier, item)
	tx.fail(err)
	var out []*lots.Receipt
	for _, rec := range tx.decode(rows) { // a code may be named in another column
		if r := rec.(*lots.Receipt); r.Supplier == supplier && r.Item == item {
			out = append(out, r)
		}
	}
	return out
}

// RejectedInto lists the receipts of lots that were rejected, and put into a vessel all the same, in journal order.
func (tx *Tx) RejectedInto(vessel string) []*lots.Receipt {
	rows, err := tx.rows("SELECT seq, sheet, body FROM record WHERE sheet = 'receipts' AND json_extract(body, '$.status') = 'rejected' AND json_extract(body, '$.into') = ? ORDER BY seq", vessel)
	tx.fail(err)
	var out []*lots.Receipt
	for _, rec := range tx.decode(rows) {
		out = append(out, rec.(*lots.Receipt))
	}
	return out
}
