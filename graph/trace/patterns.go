package trace

import (
	"encoding/json"
	"slices"

	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// Patterns lists every pattern that a product has or had, the present one first.
func Patterns(tx *store.Tx, product string) ([]*datecode.Pattern, error) {
	texts := []string{productOf(tx, product).DateCode}
	if entry, _, ok := tx.Introduces(product); ok {
		said, err := tx.Corrections(entry)
		if err != nil {
			return nil, err
		}
		first, ok, err := tx.Entry(entry)
		if err != nil {
			return nil, err
		}
		if ok {
			said = append(said, first)
		}
		for _, e := range said {
			var body struct {
				DateCode string `json:"date_code"` // of a row
				Set      struct {
					DateCode string `json:"date_code"` // of a correction
				} `json:"set"`
			}
			if err := json.Unmarshal([]byte(e.Body), &body); err != nil {
				return nil, lots.Errorf(lots.Corrupt, "entry %d cannot be read: %w", e.Seq, err)
			}
			texts = append(texts, body.DateCode, body.Set.DateCode)
		}
	}
	var out []*datecode.Pattern
	for i, text := range texts {
		if p, err := datecode.Parse(text); err == nil && text != "" && !slices.Contains(texts[:i], text) {
			out = append(out, p)
		}
	}
	return out, nil
}
