// Package inquiry turns what somebody reads off a can, bottle, case or keg into what it may
// be, and what is known of that: ranked candidates, what would tell them apart, and a card
// of the best. Only what was really printed is a candidate. It never says that something is
// not affected; it says what is known.
package inquiry

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// Question is what somebody read, and what else they said.
type Question struct {
	Read    string `json:"read"`              // as read: never changed
	Product string `json:"product,omitempty"` // code, or part of its name
	SizeML  int64  `json:"size_ml,omitempty"`
	Place   string `json:"place,omitempty"`  // consignee, or where it was bought
	Bought  string `json:"bought,omitempty"` // date
	Caller  string `json:"caller,omitempty"`
	Note    string `json:"note,omitempty"` // what is the matter
}

// Candidate is one printed code, or number, that what was read may be.
type Candidate struct {
	Kind    string   `json:"kind"` // date-code, unit, keg, sscc
	Printed string   `json:"printed"`
	Product string   `json:"product"`
	Score   int      `json:"score"` // 100: reads exactly so
	Because []string `json:"because"`
	Against []string `json:"against"` // what does not fit the rest of what was said
	Time    string   `json:"time"`    // time of day read with it
	Runs    []string `json:"runs"`
	Units   []string `json:"units"` // packed then; possible where the line's margin only touches

	cost float64
	code string // to ask trace for
}

// Answer is what an inquiry gives.
type Answer struct {
	Question   Question    `json:"question"`
	Exact      int         `json:"exact"` // candidates that read exactly so
	Candidates []Candidate `json:"candidates"`
	Ask        string      `json:"ask"` // what would tell the first ones apart; empty where one stands out
	Urgent     []string    `json:"urgent"`
	Card       *Card       `json:"card"` // of the first; null where there is none
	Says       string      `json:"says"` // what can be said to the caller
}

// Card is what is known of a candidate.
type Card struct {
	Product   string     `json:"product"`
	Name      string     `json:"name"`
	Runs      []string   `json:"runs"`
	Packed    string     `json:"packed"` // first and last moment
	Lines     []string   `json:"lines"`
	AgeDays   int64      `json:"age_days"`
	BestBy    string     `json:"best_by"`
	Declares  []string   `json:"declares"`
	Allergens []Allergen `json:"allergens"` // of the lots in its lineage
	Lots      []string   `json:"lots"`
	Held      string     `json:"held"`    // in, possible or out: holds on it or on anything in its lineage
	Recalls   []string   `json:"recalls"` // recalls and mock recalls with any of it in scope
	Shipped   []Sent     `json:"shipped"`
	Place     string     `json:"place"` // whether the caller's place fits
	Findings  []string   `json:"findings"`
}

// Allergen is one that a lot in the lineage carries.
type Allergen struct {
	Name     string `json:"name"`
	Lot      string `json:"lot"`
	Band     string `json:"band"`
	Declared bool   `json:"declared"`
}

// Sent is where some of it went.
type Sent struct {
	Consignee string `json:"consignee"`
	Quantity  int64  `json:"quantity"`
	First     string `json:"first"`
	Last      string `json:"last"`
}

// the words after which somebody must be called at once; common practice.
var alarming = []string{"ill", "sick", "vomit", "hospital", "allerg", "rash", "glass", "metal", "burst", "explod", "swollen", "bulging", "chemical", "burn", "injur", "cut", "child", "tamper", "poison"}

const mostCandidates = 8

// Ask looks for what was read among everything printed.
func Ask(tx *store.Tx, q Question) (*Answer, error) {
	if strings.TrimSpace(q.Read) == "" {
		return nil, lots.Errorf(lots.Invalid, "give what was read, as it was read")
	}
	a := &Answer{Question: q, Candidates: []Candidate{}, Urgent: urgent(q)}
	found := append(dateCodes(tx, q), numbers(tx, q)...)
	slices.SortStableFunc(found, func(x, y Candidate) int {
		return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(y.Printed, x.Printed), cmp.Compare(x.Product, y.Product))
	})
	for _, c := range found[:min(mostCandidates, len(found))] {
		if err := c.locate(tx); err != nil {
			return nil, err
		}
		if c.Score == 100 {
			a.Exact++
		}
		a.Candidates = append(a.Candidates, c)
	}
	a.Ask = apart(a.Candidates)
	if len(a.Candidates) > 0 {
		var err error
		if a.Card, err = cardOf(tx, a.Candidates[0], q); err != nil {
			return nil, err
		}
	}
	a.Says = says(a)
	return a, tx.Err()
}

func urgent(q Question) []string {
	out := []string{}
	note := strings.ToLower(q.Note)
	for _, w := range alarming {
		if i := strings.Index(note, w); i >= 0 && (i == 0 || note[i-1] == ' ') {
			out = append(out, w)
		}
	}
	return out
}

// products finds the runs that printed each code, by product.
func dateCodes(tx *store.Tx, q Question) []Candidate {
	byCode := map[[2]string]*Candidate{}
	patterns := map[string]*datecode.Pattern{}
	products := map[string]*lots.Product{}
	for _, text := range tx.PrintedTexts(store.PrintedDateCode) {
		for _, printed := range tx.PrintedAs(text, true) {
			run, ok := runOf(tx, printed)
			if !ok {
				continue
			}
			p := products[run.Product]
			if p == nil {
				p = productOf(tx, run.Product)
				products[run.Product] = p
				if pattern, err := datecode.Parse(p.DateCode); err == nil && p.DateCode != "" {
					patterns[run.Product] = pattern
				}
			}
			key := [2]string{text, run.Product}
			if c := byCode[key]; c != nil {
				if !slices.Contains(c.Runs, run.Run) {
					c.Runs = append(c.Runs, run.Run)
				}
				continue
			}
			m, ok := datecode.Fit(q.Read, text, patterns[run.Product])
			if !ok {
				continue
			}
			c := &Candidate{Kind: "date-code", Printed: text, Product: run.Product, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Time: m.Time, Runs: []string{run.Run}, Units: []string{}, cost: m.Cost, code: "date-code:" + text}
			c.weigh(tx, q, p, run)
			byCode[key] = c
		}
	}
	var out []Candidate
	for _, c := range byCode {
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(a.Printed, b.Printed), cmp.Compare(a.Product, b.Product))
	})
	return out
}

func orEmpty(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
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

func (c *Candidate) weigh(tx *store.Tx, q Question, p *lots.Product, run *lots.Run) {
	against := func(format string, args ...any) {
		c.Against = append(c.Against, fmt.Sprintf(format, args...))
		c.cost += costAgainst
	}
	if q.Product != "" && !strings.EqualFold(q.Product, p.Code) && !strings.Contains(strings.ToLower(p.Name+" "+p.Beer), strings.ToLower(q.Product)) {
		against("it is %s", p.Name)
	}
	if q.SizeML > 0 && p.ContainerML != q.SizeML {
		against("its containers hold %d mL", p.ContainerML)
	}
	if w, _, err := lots.ParseWhen(q.Bought, tx.Site().Zone); err == nil && q.Bought != "" && w.To < run.Started.From {
		against("it was packed after it was bought")
	}
}

// numbers finds units, kegs and pallets by their own numbers.
func numbers(tx *store.Tx, q Question) []Candidate {
	var out []Candidate
	add := func(kind, text, code string) {
		m, ok := datecode.Fit(q.Read, text, nil)
		if ok && m.Cost <= 1 {
			out = append(out, Candidate{Kind: kind, Printed: text, Score: m.Score(), Because: orEmpty(m.How), Against: []string{}, Runs: []string{}, Units: []string{}, cost: m.Cost + 0.01, code: code})
		}
	}
	for _, code := range tx.CodesFrom("", lots.KindUnit) {
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

// locate finds the units that a candidate's goods stand on, narrowed by the time read.
func (c *Candidate) locate(tx *store.Tx) error {
	if c.Kind != "date-code" {
		a, err := trace.Trace(tx, graph.Forward, c.code)
		if lots.KindOf(err) == lots.NotFound && err != nil {
			c.Against = append(c.Against, err.Error())
			return nil
		}
		if err != nil {
			return err
		}
		for _, u := range a.Units {
			if len(u.Why) == 1 {
				c.Units, c.Runs = append(c.Units, u.Code), append(c.Runs, u.Runs...)
				c.Product = cmp.Or(c.Product, strings.Join([]string{deref(u.Product)}, ""))
			}
		}
		return nil
	}
	slices.Sort(c.Runs)
	for _, run := range c.Runs {
		code := "run:" + run
		if c.Time != "" {
			code += "@" + c.Time
		}
		a, err := trace.Trace(tx, graph.Forward, code)
		if err != nil && c.Time != "" { // printed by another run, or not at that time of day
			c.Against = append(c.Against, fmt.Sprintf("run %s did not print at %s", run, c.Time))
			c.cost += costAgainst
			a, err = trace.Trace(tx, graph.Forward, "run:"+run)
		}
		if err != nil {
			return err
		}
		for _, u := range a.Units {
			if slices.Contains(u.Runs, run) {
				c.Units = append(c.Units, u.Code)
			}
		}
	}
	slices.Sort(c.Units)
	c.Units = slices.Compact(c.Units)
	return nil
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// apart finds the question that parts the first candidates: those nearly as likely as the best.
func apart(list []Candidate) string {
	if len(list) < 2 || list[1].cost > list[0].cost+0.5 {
		return ""
	}
	a, b := list[0], list[1]
	if a.Product != b.Product {
		return fmt.Sprintf("Which beer is it: %s or %s?", a.Product, b.Product)
	}
	x, y := []rune(datecode.Plain(a.Printed)), []rune(datecode.Plain(b.Printed))
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return fmt.Sprintf("Is it %s or %s? Character %d, without blanks and marks, is %c or %c.", a.Printed, b.Printed, i+1, x[i], y[i])
		}
	}
	return fmt.Sprintf("Is it %s or %s? Is anything printed after it?", a.Printed, b.Printed)
}

// says is what can be told to the caller: what is known, and never that all is well.
func says(a *Answer) string {
	switch {
	case len(a.Candidates) == 0:
		return "Nothing that was ever printed reads like this. That does not mean that it is not affected: ask for a picture of the whole code, and ask to keep the package apart."
	case a.Card != nil && (a.Card.Held != graph.Out.String() || len(a.Card.Recalls) > 0):
		return "It may be on hold or under recall: ask to set it apart, unopened, and call the quality lead now."
	case a.Exact == 0 || a.Ask != "":
		return "It is not settled which package it is: ask the question, or for a picture, and ask to keep the package apart until then."
	}
	return "No hold and no recall is recorded for it now. That is what the records know, and no word about this package: if anything is wrong with it, keep it apart and note it down."
}
