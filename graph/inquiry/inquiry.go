// Package inquiry turns a code read off a can, bottle, case or keg into what it could be and what
// is known about that: ranked candidates, what would tell them apart, and a card on the best.
// Only what was really printed is a candidate. It never says that something is not affected;
// it says what is known.
package inquiry

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

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
	Time    string   `json:"time"`    // time of day read with it, with ? for digits that were not read
	Runs    []string `json:"runs"`
	Units   []string `json:"units"`   // packed then; possible where the line's margin only touches
	Held    string   `json:"held"`    // in, possible or out: holds on it or on anything in its lineage
	Recalls []string `json:"recalls"` // recalls and mock recalls with any of it in scope
	Beside  []string `json:"beside"`  // units of the same code, of other times of day, that are on hold or under recall
	// Then are the codes that were printed at the time read, where this one was not.
	Then []trace.Then `json:"printed_then"`

	cost    float64
	code    string   // to ask trace for
	whole   []string // units of the code at any time of day, where a time was read
	clock   datecode.Clock
	located bool
}

// Stopped is a candidate that is on hold or under recall, shown or not.
type Stopped struct {
	Kind    string   `json:"kind"`
	Printed string   `json:"printed"`
	Product string   `json:"product"`
	Score   int      `json:"score"`
	Held    string   `json:"held"`
	Recalls []string `json:"recalls"`
	Beside  []string `json:"beside"` // not it, but units of the same code at other times of day

	near bool // about as likely as the first
}

// Answer is what an inquiry gives.
type Answer struct {
	Question   Question    `json:"question"`
	Exact      int         `json:"exact"` // candidates that read exactly so
	Candidates []Candidate `json:"candidates"`
	More       int         `json:"more"`    // further ones, less likely or as likely as the last
	Equal      []string    `json:"equal"`   // of those, what is as likely as the last: printed code and product
	Stopped    []Stopped   `json:"stopped"` // of all of them, what is on hold or under recall
	Ask        string      `json:"ask"`     // what would tell the first ones apart; empty where one stands out
	Urgent     []string    `json:"urgent"`
	Card       *Card       `json:"card"` // of the first; null where there is none
	Says       string      `json:"says"` // what can be said to the caller
	// Unnumbered are kegs with numbers that nobody wrote down, where what was read may be such a number.
	Unnumbered []Unnumbered `json:"kegs_without_number"`

	equalRuns []string
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
	// Elsewhere is true where the caller has it at a place that by the records received none of it.
	Elsewhere bool     `json:"elsewhere"`
	Findings  []string `json:"findings"`
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
	Consignee string
	Quantity  lots.Packages
	Possible  lots.Packages // by shipments of one of several units
	First     string
	Last      string
	// Parts are units of which the code asked about stands on a part only: "P-31: 20 of 60 cases".
	Parts []string
}

// MarshalJSON gives every sum for cases and for kegs. The plain names stand for whichever of the two there is; where
// there are both they are null, because cases and kegs have no sum.
func (s Sent) MarshalJSON() ([]byte, error) {
	type sums struct {
		Quantity *float64 `json:"quantity"`
		Possible *float64 `json:"possible"`
	}
	both := s.Quantity.Plus(s.Possible)
	plain := sums{&s.Quantity.Cases, &s.Possible.Cases}
	if both.Only() == nil {
		plain = sums{}
	} else if both.Cases == 0 {
		plain = sums{&s.Quantity.Kegs, &s.Possible.Kegs}
	}
	return json.Marshal(struct {
		Consignee string `json:"consignee"`
		sums
		OfCases sums     `json:"of_cases"`
		OfKegs  sums     `json:"of_kegs"`
		First   string   `json:"first"`
		Last    string   `json:"last"`
		Parts   []string `json:"parts"`
	}{s.Consignee, plain, sums{&s.Quantity.Cases, &s.Possible.Cases}, sums{&s.Quantity.Kegs, &s.Possible.Kegs}, s.First, s.Last, orEmpty(s.Parts)})
}

const (
	mostCandidates = 8
	mostLocated    = 40  // traced to their units
	mostSaid       = 200 // characters of what is said besides, and ten times that of a note
)

// What costs no more than this above the first may as well be it.
const costNear = 0.75

// check refuses what no question can be.
func (q Question) check(tx *store.Tx) error {
	if strings.TrimSpace(q.Read) == "" {
		return lots.Errorf(lots.Invalid, "give the text as it was read")
	}
	for _, x := range []struct {
		name, text string
		most       int
	}{{"what was read", q.Read, datecode.MostRead}, {"the product", q.Product, mostSaid}, {"the place", q.Place, mostSaid}, {"when it was bought", q.Bought, mostSaid}, {"the caller", q.Caller, mostSaid}, {"the note", q.Note, 10 * mostSaid}} {
		if n := utf8.RuneCountInString(x.text); n > x.most {
			return lots.Errorf(lots.Invalid, "%s has %d characters, and the most is %d: give what is on the package, line by line if need be", x.name, n, x.most)
		}
	}
	if q.Bought != "" {
		if _, _, err := lots.ParseWhen(q.Bought, tx.Site().Zone); err != nil {
			return lots.Errorf(lots.Invalid, "when it was bought: %w", err)
		}
	}
	return nil
}

// Ask looks for what was read among everything printed.
func Ask(tx *store.Tx, q Question) (*Answer, error) {
	if err := q.check(tx); err != nil {
		return nil, err
	}
	a := &Answer{Question: q, Candidates: []Candidate{}, Equal: []string{}, Stopped: []Stopped{}, Urgent: urgent(q.Note)}
	found, err := dateCodes(tx, q)
	if err != nil {
		return nil, err
	}
	found = append(found, numbers(tx, q)...)
	if err := locateFirst(tx, q, found); err != nil {
		return nil, err
	}
	stops, err := stopsOf(tx)
	if err != nil {
		return nil, err
	}
	for i := range found {
		if err := stops.judge(&found[i]); err != nil {
			return nil, err
		}
	}
	a.show(found)
	if a.Unnumbered, err = stops.unnumbered(q, a); err != nil {
		return nil, err
	}
	a.Ask = apart(a.Candidates)
	if len(a.Candidates) > 0 {
		if a.Card, err = cardOf(tx, a.Candidates[0], q); err != nil {
			return nil, err
		}
	}
	a.Says = says(a)
	return a, tx.Err()
}

// locateFirst finds the units of the likeliest candidates, and puts all in order. What a candidate's
// time of day contradicts makes it less likely, so that more are looked at than are shown.
func locateFirst(tx *store.Tx, q Question, found []Candidate) error {
	order := func() {
		slices.SortStableFunc(found, func(x, y Candidate) int {
			return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(y.Printed, x.Printed), cmp.Compare(x.Product, y.Product))
		})
	}
	order()
	for n := 0; n < mostLocated; n++ {
		i := slices.IndexFunc(found[:min(mostCandidates, len(found))], func(c Candidate) bool { return !c.located })
		if i < 0 {
			break
		}
		if err := found[i].locate(tx, q); err != nil {
			return err
		}
		order()
	}
	return nil
}

// show takes the first candidates for the answer, and counts the rest.
func (a *Answer) show(found []Candidate) {
	shown := found[:min(mostCandidates, len(found))]
	a.Candidates = append(a.Candidates, shown...)
	a.More = len(found) - len(shown)
	for i, c := range found {
		if i < len(shown) && c.Score == 100 {
			a.Exact++
		}
		if i >= len(shown) && c.cost <= shown[len(shown)-1].cost+1e-9 {
			a.Equal = append(a.Equal, strings.TrimSpace(c.Printed+" "+c.Product))
			a.equalRuns = append(a.equalRuns, c.Runs...)
		}
		if c.stopped() || len(c.Beside) > 0 {
			a.Stopped = append(a.Stopped, Stopped{c.Kind, c.Printed, c.Product, c.Score, c.Held, c.Recalls, c.Beside, c.cost <= found[0].cost+costNear})
		}
	}
}

func orEmpty(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

// apart finds the question that parts the first candidates: those about as likely as the best.
func apart(list []Candidate) string {
	var near []Candidate
	for _, c := range list {
		if c.cost <= list[0].cost+costNear {
			near = append(near, c)
		}
	}
	if len(near) < 2 {
		return ""
	}
	distinct := func(of func(c Candidate) string) []string {
		var out []string
		for _, c := range near {
			if text := of(c); text != "" && !slices.Contains(out, text) {
				out = append(out, text)
			}
		}
		return out
	}
	if products := distinct(func(c Candidate) string { return c.Product }); len(products) > 1 {
		return fmt.Sprintf("Which beer is it: %s?", or(products))
	}
	codes := distinct(func(c Candidate) string { return c.Printed })
	if len(codes) < 2 {
		return fmt.Sprintf("Where on it was this read: is it the number of a %s?", or(distinct(func(c Candidate) string { return c.Kind })))
	}
	shortest := slices.MinFunc(codes, func(a, b string) int { return cmp.Compare(len(datecode.Plain(a)), len(datecode.Plain(b))) })
	for i := range []rune(datecode.Plain(shortest)) {
		var here []string
		for _, c := range codes {
			if r := string([]rune(datecode.Plain(c))[i]); !slices.Contains(here, r) {
				here = append(here, r)
			}
		}
		if len(here) > 1 {
			return fmt.Sprintf("Is it %s? Character %d, leaving out spaces and punctuation, is %s.", or(codes), i+1, or(here))
		}
	}
	return fmt.Sprintf("Is it %s? Is anything printed after it?", or(codes))
}

// or joins what it may be.
func or(list []string) string {
	if n := len(list); n > 1 {
		return strings.Join(list[:n-1], ", ") + " or " + list[n-1]
	}
	return strings.Join(list, "")
}

// says is what the caller can be told: what is known, and never that all is well.
func says(a *Answer) string {
	for _, u := range a.Unnumbered {
		if u.stopped() {
			return "It may be a keg of run " + u.Run + " whose number nobody wrote down, and that run is on hold or under recall: ask what else is on the keg, ask them to set it aside unopened, and call the quality lead now."
		}
	}
	if len(a.Candidates) == 0 {
		return "Nothing ever printed reads like this. That does not mean that it is not affected: ask for a photo of the whole code, and ask them to set the package aside."
	}
	first := a.Candidates[0]
	var near, far []string
	for _, s := range a.Stopped {
		if s.Kind == first.Kind && s.Printed == first.Printed && s.Product == first.Product {
			continue
		}
		if text := strings.TrimSpace(s.Printed + " " + s.Product); s.near {
			near = append(near, text)
		} else {
			far = append(far, text)
		}
	}
	less := ""
	if len(far) > 0 {
		less = " Less like what was read, and on hold or under recall: " + some(far) + "."
	}
	switch {
	case first.stopped():
		return "It may be on hold or under recall: ask them to set it aside unopened, and call the quality lead now." + elsewhere(a) + less
	case len(near) > 0:
		return "It may also be " + some(near) + ", which is on hold or under recall: ask them to set it aside unopened, ask the question, and call the quality lead now." + less
	case len(first.Beside) > 0 && len(first.Then) > 0:
		return "It was not printed at that time. Other packages of this code, or of what was printed then, are on hold or under recall (" + some(first.Beside) + "): have the code and the time of day read again, ask them to set the package aside until then, and call the quality lead." + less
	case len(first.Beside) > 0:
		return "Other packages of this code are on hold or under recall (" + some(first.Beside) + "): have the time of day read again, ask them to set the package aside until then, and call the quality lead." + less
	case a.Card != nil && a.Card.Elsewhere && a.Exact > 0:
		return "By the records none of it has gone there, and somebody has it: a delivery, a return or a code is recorded wrongly, or it was passed on. Ask where it came from and for a photo of the code, ask them to set the package aside, and call the quality lead." + less
	case a.Exact == 0 || a.Ask != "" || len(first.Against) > 0 || len(far) > 0 && first.Score < 100:
		return "It is not clear yet which package this is: ask the question, or ask for a photo, and ask them to set the package aside until then." + elsewhere(a) + less
	}
	return "No hold or recall is recorded for it now. That is what the records say; it does not clear this package: if anything is wrong with it, set it aside and note it down." + less
}

// elsewhere says that by the records the package cannot be where somebody has it; empty where it can.
func elsewhere(a *Answer) string {
	if a.Card == nil || !a.Card.Elsewhere {
		return ""
	}
	return " By the records nothing of the first has gone to the place where somebody has it: find out how it came there."
}

// some lists the first of many.
func some(list []string) string {
	const most = 5
	if len(list) > most {
		return strings.Join(list[:most], ", ") + fmt.Sprintf(" and %d more", len(list)-most)
	}
	return strings.Join(list, ", ")
}
