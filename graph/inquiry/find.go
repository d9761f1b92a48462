package inquiry

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// dateCodes fits what was read to every date code that was printed, of each product that bore it.
func dateCodes(tx *store.Tx, q Question) ([]Candidate, error) {
	byCode := map[[2]string]*Candidate{}
	patterns := map[string][]*datecode.Pattern{}
	for _, text := range tx.PrintedTexts(store.PrintedDateCode) {
		for _, printed := range tx.PrintedAs(text, true) {
			run, ok := runOf(tx, printed)
			if !ok {
				continue
			}
			key := [2]string{text, run.Product}
			if c := byCode[key]; c != nil {
				if !slices.Contains(c.Runs, run.Run) {
					c.Runs = append(c.Runs, run.Run)
				}
				continue
			}
			if _, known := patterns[run.Product]; !known {
				var err error
				if patterns[run.Product], err = patternsOf(tx, run.Product); err != nil {
					return nil, err
				}
			}
			m, ok := fit(q.Read, text, patterns[run.Product])
			if !ok {
				continue
			}
			byCode[key] = &Candidate{Kind: "date-code", Printed: text, Product: run.Product, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Time: m.Time, Runs: []string{run.Run},
				Units: []string{}, Recalls: []string{}, Beside: []string{}, cost: m.Cost, code: "date-code:" + text, clock: m.Clock}
		}
	}
	var out []Candidate
	for _, c := range byCode {
		slices.Sort(c.Runs)
		c.weigh(tx, q)
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(a.Printed, b.Printed), cmp.Compare(a.Product, b.Product))
	})
	return out, nil
}

// fit takes the best fit by any of the patterns that a product has or had.
func fit(read, code string, patterns []*datecode.Pattern) (datecode.Match, bool) {
	if len(patterns) == 0 {
		return datecode.Fit(read, code, nil)
	}
	var best datecode.Match
	found := false
	for _, p := range patterns {
		if m, ok := datecode.Fit(read, code, p); ok && (!found || m.Cost < best.Cost) {
			best, found = m, true
		}
	}
	return best, found
}

// patternsOf lists every pattern that a product has or had, the present one first.
func patternsOf(tx *store.Tx, product string) ([]*datecode.Pattern, error) {
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
				return nil, lots.Errorf(lots.Corrupt, "entry %d can not be read: %w", e.Seq, err)
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

func runOf(tx *store.Tx, printed store.Printed) (*lots.Run, bool) {
	rec, ok := tx.Record(printed.Entry)
	if !ok || printed.Kind != store.PrintedDateCode {
		return nil, false
	}
	switch x := rec.(type) {
	case *lots.Run:
		return x, true
	case *lots.CodeChange:
		return tx.Run(x.Run)
	}
	return nil, false
}

func productOf(tx *store.Tx, code string) *lots.Product {
	if p, ok := tx.Product(code); ok {
		return p
	}
	return &lots.Product{Code: code, Name: code, PerCase: 1}
}

// What does not fit the rest of what was said makes a candidate less likely, and never drops it:
// people take a carton's code for a can's, and remember dates wrong.
const costAgainst = 0.7

// against notes what contradicts a candidate.
func (c *Candidate) against(format string, args ...any) {
	c.Against = append(c.Against, fmt.Sprintf(format, args...))
	c.cost += costAgainst
}

// weigh sets a candidate against the rest of what was said.
func (c *Candidate) weigh(tx *store.Tx, q Question) {
	p := productOf(tx, c.Product)
	if q.Product != "" && !strings.EqualFold(q.Product, p.Code) && !strings.Contains(strings.ToLower(p.Name+" "+p.Beer), strings.ToLower(q.Product)) {
		c.against("it is %s", p.Name)
	}
	if q.SizeML > 0 && p.ContainerML != q.SizeML {
		c.against("its containers hold %d mL", p.ContainerML)
	}
	w, _, err := lots.ParseWhen(q.Bought, tx.Site().Zone)
	if err != nil || len(c.Runs) == 0 {
		return
	}
	later := func(code string) bool {
		run, ok := tx.Run(code)
		return ok && w.To < run.Started.From
	}
	if !slices.ContainsFunc(c.Runs, func(code string) bool { return !later(code) }) {
		c.against("it was packed after it was bought")
	}
}

// numbers finds units, kegs and pallets by their own numbers.
func numbers(tx *store.Tx, q Question) []Candidate {
	var out []Candidate
	add := func(kind, text, code string) {
		m, ok := datecode.Fit(q.Read, text, nil)
		if ok && m.Cost <= 1 {
			out = append(out, Candidate{Kind: kind, Printed: text, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Runs: []string{}, Units: []string{}, Recalls: []string{}, Beside: []string{}, cost: m.Cost + 0.01, code: code})
		}
	}
	for _, code := range tx.CodesOf(lots.KindUnit) {
		if !strings.Contains(code, "/") {
			add("unit", code, "unit:"+code)
		}
	}
	for _, text := range tx.PrintedTexts(store.PrintedSSCC) {
		add("sscc", text, "sscc:"+text)
	}
	for _, text := range tx.PrintedTexts(store.PrintedKeg) {
		code := "keg:" + text
		if q.Bought != "" {
			code += "@" + q.Bought
		}
		add("keg", text, code)
	}
	return out
}
