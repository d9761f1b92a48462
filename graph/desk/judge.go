package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/recall"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// CameBack records that goods or an empty keg came back. A keg is one; of cases somebody has to say how many.
func CameBack(tx *store.Tx, row lots.Row, by string) (*Said, error) {
	sheet, _ := lots.SheetNamed("returns")
	unit, err := unitScanned(tx, sheet, row["unit"])
	if err != nil {
		return nil, err
	}
	row["unit"] = unit
	if row["quantity"] == "" {
		thing, ok := tx.Thing(unit)
		switch {
		case ok && thing.UnitKind == "keg":
			row["quantity"] = "1"
		case ok:
			return nil, lots.Faults{{Column: "quantity", Reason: fmt.Sprintf("count the cases of %s that came back, and say how many", unit)}}
		}
	}
	return Record(tx, Act{Sheet: sheet, Row: row, By: by})
}

// ReturnedUnit is a unit that came back and waits for somebody's judgement.
type ReturnedUnit struct {
	Unit, Product   string
	DateCodes       []string
	Here            string // how much of it is here by the books
	From, When      string // who sent it back last, and when
	State, Document string
	Quantity        string // how much came back then
}

// ToJudge lists the units that are on hold since they came back, the longest first.
func ToJudge(tx *store.Tx) (out []ReturnedUnit, err error) {
	held, err := trace.Holdings(tx)
	if err != nil {
		return nil, err
	}
	first := map[string]int64{}
	for unit, holds := range held {
		for _, entry := range holds {
			rec, _ := tx.Record(entry)
			if h, ok := rec.(*lots.Hold); ok && h.Reason == NotJudged {
				first[unit] = entry
			}
		}
	}
	for unit := range first {
		u := ReturnedUnit{Unit: unit, Here: packages(tx, unit, max(0, trace.BooksOf(tx, unit).OnHand()))}
		u.Product, u.DateCodes = contentsOf(tx, unit)
		for _, rec := range tx.Touching(unit) {
			if r, ok := rec.(*lots.Return); ok && r.OfGoods() {
				u.From, u.When, u.State, u.Document = nameOf(tx, r.Consignee), moment(tx, r.At), cmp.Or(r.State, "full"), r.Document
				u.Quantity = packages(tx, unit, float64(r.Quantity))
			}
		}
		out = append(out, u)
	}
	slices.SortFunc(out, func(a, b ReturnedUnit) int { return cmp.Compare(first[a.Unit], first[b.Unit]) })
	return out, tx.Err()
}

// The verdicts on a unit that came back.
const (
	VerdictRelease = "release" // it is good, and may go out again
	VerdictDestroy = "destroyed"
)

// Judgement is what somebody decided about a unit that came back.
type Judgement struct {
	Unit, Verdict string
	Why           string
	Witness       string // who saw it destroyed
	By            string
}

// Judge lets a unit that came back go again, or records that what is here of it was destroyed before a witness.
func Judge(tx *store.Tx, j Judgement) (text string, entries []int64, err error) {
	switch j.Verdict {
	case VerdictRelease:
		if strings.TrimSpace(j.Why) == "" {
			return "", nil, lots.Faults{{Column: "why", Reason: "say why it is good: what you looked at, and what you found"}}
		}
		entries, err = recall.Release(tx, j.Unit, "", j.Why, j.By)
		return fmt.Sprintf("%s is released: %s", j.Unit, j.Why), entries, err
	case VerdictDestroy:
		if strings.TrimSpace(j.Witness) == "" {
			return "", nil, lots.Faults{{Column: "witness", Reason: "say who saw it destroyed"}}
		}
		said, err := destroy(tx, j)
		if err != nil {
			return "", nil, err
		}
		return said.Text, []int64{said.Entry}, nil
	}
	return "", nil, lots.Faults{{Column: "verdict", Reason: "choose what becomes of it"}}
}

func destroy(tx *store.Tx, j Judgement) (*Said, error) {
	here := trace.BooksOf(tx, j.Unit).OnHand()
	if here < 1 {
		return nil, lots.Errorf(lots.Conflict, "by the books nothing of %s is here: record its destruction with how many there were", j.Unit)
	}
	sheet, _ := lots.SheetNamed("removals")
	row := lots.Row{"subject": j.Unit, "quantity": strconv.FormatInt(int64(here), 10), "reason": "destroyed", "witness": j.Witness}
	return Record(tx, Act{Sheet: sheet, Row: row, By: j.By})
}
