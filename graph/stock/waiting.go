package stock

import (
	"cmp"
	"slices"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// NoReason is what stands for the reason of a hold that a delivery came in on without one.
const NoReason = "received on hold"

// Waiting is a lot that came in on hold, and that nobody has released or sent away yet: a certificate
// is missing, or somebody's judgement.
type Waiting struct {
	Lot         string  `json:"lot"`
	Item        string  `json:"item"`
	Supplier    string  `json:"supplier"`
	SupplierLot string  `json:"supplier_lot"`
	Since       string  `json:"since"` // RFC 3339 in the site's zone, or a date
	Reason      string  `json:"reason"`
	Where       *string `json:"where"` // the vessel it was put into, else its place; null where nobody said
}

// WaitingLots lists the lots that came in on hold and still wait, the longest first.
func WaitingLots(tx *store.Tx) ([]Waiting, error) {
	holds, err := trace.Holdings(tx)
	if err != nil {
		return nil, err
	}
	var receipts []*lots.Receipt
	for code := range holds {
		if r, ok := tx.Receipt(code); ok && r.Status == "hold" {
			receipts = append(receipts, r)
		}
	}
	slices.SortFunc(receipts, func(a, b *lots.Receipt) int {
		return cmp.Or(cmp.Compare(a.At.From, b.At.From), cmp.Compare(a.Lot, b.Lot))
	})
	out := []Waiting{}
	for _, r := range receipts {
		reason, waits := waitsFor(tx, r, holds[r.Lot])
		if !waits || !isHere(tx, r) {
			continue
		}
		out = append(out, Waiting{r.Lot, r.Item, r.Supplier, r.SupplierLot, r.At.Text(tx.Site().Zone), reason, given(cmp.Or(r.Into, r.Place))})
	}
	return out, tx.Err()
}

// waitsFor is why a lot is still on the hold that it came in on; false where that was let go.
func waitsFor(tx *store.Tx, r *lots.Receipt, holds []int64) (reason string, waits bool) {
	for _, entry := range holds {
		rec, _ := tx.Record(entry)
		if h, ok := rec.(*lots.Hold); ok && h.At == r.At {
			return h.Reason, true
		}
		waits = waits || entry == r.Seq
	}
	return NoReason, waits
}

// isHere reports whether something is left of a lot by the books, or it was put into a vessel.
func isHere(tx *store.Tx, r *lots.Receipt) bool {
	left, _ := trace.LotLeft(tx, r.Lot)
	return r.Into != "" || left >= 1
}
