package desk

import (
	"cmp"
	"slices"
	"time"

	"heeltap/graph/stock"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Arrived is a lot that came in, as the dock lists it.
type Arrived struct {
	Lot, Item, Supplier string // item and supplier by name
	SupplierLot         string
	Quantity            string
	Where               string
	Status              string
	Since               string // when it came in, for people
	WaitsFor            string // of one that waits on hold
}

// Dock is what the receiving clerk looks at: what came in today, and what still waits.
type Dock struct {
	Today   []Arrived // the newest first
	Waiting []Arrived // the longest first
	// Expected are the deliveries that their suppliers told of, the oldest first.
	Expected []*Expected
}

// AtTheDock lists what came in today, in the site's zone, and the lots that came in on hold and still wait.
func AtTheDock(tx *store.Tx) (*Dock, error) {
	records, err := tx.Records("receipts")
	if err != nil {
		return nil, err
	}
	d := &Dock{}
	from := today(tx)
	slices.Reverse(records)
	for _, rec := range records {
		if r := rec.(*lots.Receipt); r.At.To >= from {
			d.Today = append(d.Today, arrived(tx, r))
		}
	}
	waiting, err := stock.WaitingLots(tx)
	if err != nil {
		return nil, err
	}
	for _, w := range waiting {
		if r, ok := tx.Receipt(w.Lot); ok {
			a := arrived(tx, r)
			a.WaitsFor = w.Reason
			d.Waiting = append(d.Waiting, a)
		}
	}
	d.Expected, err = ExpectedAtTheDock(tx)
	return d, cmp.Or(err, tx.Err())
}

// today is when the day began in the site's zone.
func today(tx *store.Tx) int64 {
	now := tx.Recorded().In(tx.Site().Zone)
	return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location()).Unix()
}

func arrived(tx *store.Tx, r *lots.Receipt) Arrived {
	lot := r.SupplierLot
	if lot == "-" {
		lot = "none on the goods"
	}
	return Arrived{Lot: r.Lot, Item: nameOf(tx, r.Item), Supplier: nameOf(tx, r.Supplier), SupplierLot: lot,
		Quantity: lots.FigureOf(r.Unit.Of(float64(r.Qty.N)), string(r.Unit)) + " " + string(r.Unit), Where: cmp.Or(r.Into, r.Place), Status: cmp.Or(r.Status, "accepted"),
		Since: moment(tx, r.At)}
}

// moment writes when something happened for people: of today, the time; of a bare date, the day.
func moment(tx *store.Tx, at lots.When) string {
	if at.Certain() && at.From >= today(tx) {
		return time.Unix(at.From, 0).In(tx.Site().Zone).Format("15:04")
	}
	return stampOf(tx, at)
}

// stampOf writes when something happened with its day; of a bare date, the day.
func stampOf(tx *store.Tx, at lots.When) string {
	t := time.Unix(at.From, 0).In(tx.Site().Zone)
	if !at.Certain() {
		return t.Format("2 Jan 2006")
	}
	return t.Format("2 Jan 2006 15:04")
}
