package deliveries

import (
	"cmp"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Supplier is whom a suspect lot came from, and what else came in that delivery.
type Supplier struct {
	Party    string     `json:"party"`
	Name     string     `json:"name"`
	Contact  string     `json:"contact"`
	Phone    string     `json:"phone"`
	Email    string     `json:"email"`
	Address  string     `json:"address"`
	Lots     []Received `json:"lots"`      // the suspects
	SameLoad []Received `json:"same_load"` // other lots of the same deliveries
}

// Received is one lot as it came in.
type Received struct {
	Lot         string  `json:"lot"`
	Item        string  `json:"item"`
	SupplierLot string  `json:"supplier_lot"` // as printed
	Quantity    float64 `json:"quantity"`
	Unit        string  `json:"unit"`
	ReceivedAt  string  `json:"received_at"`
	Document    string  `json:"document"`
	Carrier     string  `json:"carrier"`
	BestBy      string  `json:"best_by"`
}

// Suppliers lists whom to ask upstream: the suppliers of the suspect lots. What came on the
// same day from the same supplier, with the same document where one is noted, is the same load.
func Suppliers(tx *store.Tx, suspects []string) ([]Supplier, error) {
	found := map[string]*Supplier{}
	for _, code := range suspects {
		a, err := trace.Ask(tx, trace.Question{Dir: graph.Back, From: []string{code}})
		if err != nil {
			return nil, err
		}
		for _, from := range a.From {
			if from.Kind != "lot" {
				continue
			}
			if rec, ok := tx.Receipt(from.Code); ok {
				addSupplier(tx, found, rec)
			}
		}
	}
	var out []Supplier
	for _, s := range found {
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b Supplier) int { return cmp.Compare(a.Party, b.Party) })
	return out, tx.Err()
}

func addSupplier(tx *store.Tx, found map[string]*Supplier, rec *lots.Receipt) {
	s := found[rec.Supplier]
	if s == nil {
		s = &Supplier{Party: rec.Supplier, Name: rec.Supplier, Lots: []Received{}, SameLoad: []Received{}}
		if p, ok := tx.Party(rec.Supplier); ok {
			s.Name, s.Contact, s.Phone, s.Email, s.Address = p.Name, p.Contact, p.Phone, p.Email, p.Address
		}
		found[rec.Supplier] = s
	}
	s.Lots = append(s.Lots, received(tx, rec))
	s.SameLoad = slices.DeleteFunc(s.SameLoad, func(x Received) bool { return x.Lot == rec.Lot })
	for _, other := range tx.Touching(rec.Supplier) {
		o, ok := other.(*lots.Receipt)
		if !ok || o.Supplier != rec.Supplier || o.Lot == rec.Lot || o.Document != rec.Document || !sameDay(tx, o.At, rec.At) {
			continue
		}
		listed := func(x Received) bool { return x.Lot == o.Lot }
		if !slices.ContainsFunc(s.Lots, listed) && !slices.ContainsFunc(s.SameLoad, listed) {
			s.SameLoad = append(s.SameLoad, received(tx, o))
		}
	}
}

func sameDay(tx *store.Tx, a, b lots.When) bool {
	zone := tx.Site().Zone
	return lots.RFC3339(a.From, zone)[:10] == lots.RFC3339(b.From, zone)[:10]
}

func received(tx *store.Tx, r *lots.Receipt) Received {
	return Received{Lot: r.Lot, Item: r.Item, SupplierLot: r.SupplierLot, Quantity: lots.Nine(r.Unit.Of(float64(r.Qty.N))), Unit: string(r.Unit),
		ReceivedAt: r.At.Text(tx.Site().Zone), Document: r.Document, Carrier: r.Carrier, BestBy: r.BestBy}
}
