package recall

import (
	"time"

	"heeltap/graph/recall/house"
	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Walked is something in scope and in the house, with what was found of it since the recall was opened: somebody who
// finds a thing counts it.
type Walked struct {
	house.Stock
	Found     string   `json:"found"` // when; empty where nobody has counted it since
	FoundMuch *float64 `json:"found_quantity"`
	FoundBy   string   `json:"found_by"`
}

// Walk lists what is to be found in the house, what was found last.
func (r *Recall) Walk(tx *store.Tx, s *scope.Scope) ([]Walked, error) {
	stock, err := r.InHouse(tx, s)
	if err != nil {
		return nil, err
	}
	since := r.OpenedAt.Truncate(time.Minute).Unix() // people write whole minutes
	out := []Walked{}
	for _, x := range stock {
		w := Walked{Stock: x}
		if x.Kind != "loose" {
			if c, ok := trace.LastCount(tx, x.Code, since); ok {
				w.fill(tx, c)
			}
		}
		out = append(out, w)
	}
	return out, tx.Err()
}

func (w *Walked) fill(tx *store.Tx, c *lots.StockCount) {
	w.Found = lots.RFC3339(c.At.From, tx.Site().Zone)
	n := c.Count
	if w.Kind != "unit" {
		n = lots.Nine(lots.Unit(w.Unit).Of(float64(c.Qty.N)))
	}
	w.FoundMuch = &n
	if e, ok, err := tx.Entry(c.Entry()); err == nil && ok {
		w.FoundBy = e.By
	}
}

// FoundText is how much was found, in words.
func (w Walked) FoundText() string {
	if w.FoundMuch == nil {
		return ""
	}
	return house.Amount(*w.FoundMuch, w.Unit)
}
