package inquiry

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// dateCodes fits what was read to every date code that was printed, of each product that bore it.
func dateCodes(tx *store.Tx, q Question) ([]Candidate, error) {
	byCode := map[[2]string]*Candidate{}
	patterns := map[string][]*datecode.Pattern{}
	for _, x := range tx.CodesPrinted() {
		key := [2]string{x.Code, x.Product}
		if c := byCode[key]; c != nil {
			if !slices.Contains(c.Runs, x.Run) {
				c.Runs = append(c.Runs, x.Run)
			}
			continue
		}
		if _, known := patterns[x.Product]; !known {
			var err error
			if patterns[x.Product], err = trace.Patterns(tx, x.Product); err != nil {
				return nil, err
			}
		}
		m, ok := datecode.FitAny(q.Read, x.Code, patterns[x.Product])
		if !ok {
			continue
		}
		byCode[key] = &Candidate{Kind: "date-code", Printed: x.Code, Product: x.Product, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Time: m.Time, Runs: []string{x.Run},
			Units: []string{}, Recalls: []string{}, Beside: []string{}, Then: []trace.Then{}, cost: m.Cost, code: "date-code:" + x.Code, clock: m.Clock}
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

func productOf(tx *store.Tx, code string) *lots.Product {
	if p, ok := tx.Product(code); ok {
		return p
	}
	return &lots.Product{Code: code, Name: code, PerCase: 1}
}

// What does not fit the rest of what was said makes a candidate less likely, but never drops it:
// people mistake a carton's code for a can's, and misremember dates.
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
		c.against("it was packed after the package was bought")
	}
}

// numbers finds units, kegs and pallets by their own numbers.
func numbers(tx *store.Tx, q Question) []Candidate {
	var out []Candidate
	add := func(kind, text, code string) {
		m, ok := datecode.Fit(q.Read, text, nil)
		if ok && m.Cost <= 1 {
			out = append(out, Candidate{Kind: kind, Printed: text, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Runs: []string{}, Units: []string{}, Recalls: []string{}, Beside: []string{}, Then: []trace.Then{}, cost: m.Cost + 0.01, code: code})
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
