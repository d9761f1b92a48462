// Package check looks for what in the records would break a recall, before the day of one.
//
// A rule is a row of a table: a stable name, how bad it is, what it breaks, how to fix it,
// and a function that finds it in the records. Each hit names the entry, and how many units
// and consignees stand behind it. What the records cannot decide has no rule: photographs,
// analyses and their expiry, artwork, retained samples, claims such as organic, transfers
// between sites, the clocks of telephones, backups, taps, whose lists a distributor keeps, which
// lots were in store when a brew's sheet was copied, and the date that a repacked package should
// bear. What cannot be entered at all has none either: a receipt without the supplier's lot, a
// correction without a reason, destruction without a witness, a ring of content, a unit that was
// never packed. What is worked out and never entered cannot be wrong: generations of yeast.
package check

import (
	"cmp"
	"encoding/json"
	"slices"
	"time"

	"heeltap/lots"
	"heeltap/lots/store"
)

// How bad a hit is.
const (
	Misses = "misses" // a recall would miss affected goods, or name wrong ones
	Widens = "widens" // its scope must be widened, or a list cannot be completed
	Slows  = "slows"  // it takes longer, or the evidence is weak
)

// Rule is one thing to look for.
type Rule struct {
	Name     string `json:"name"`
	Severity string `json:"severity"`
	Breaks   string `json:"breaks"` // what it does to a recall
	Mend     string `json:"mend"`   // how it is put right, where a hit does not say
	find     func(b *book) []Hit
}

// Hit is one place where a rule fires.
type Hit struct {
	Rule       string   `json:"rule"`
	Severity   string   `json:"severity"`
	Code       string   `json:"code"`
	Entry      int64    `json:"entry"` // 0 where no single entry is at fault
	Text       string   `json:"text"`
	Mend       string   `json:"mend"`
	Commands   []string `json:"commands"` // that the mend names; none where it is advice only
	Units      int      `json:"units"`    // that come from it
	Consignees int      `json:"consignees"`
	Muted      string   `json:"muted"` // why, and until when; empty where it is not
}

// Report is what a check found.
type Report struct {
	Rules    []Rule   `json:"rules"` // those looked at
	Hits     []Hit    `json:"hits"`  // the worst first
	Muted    int      `json:"muted"`
	Headline Headline `json:"headline"`
}

// Headline says in a few figures how ready the records are.
type Headline struct {
	Cases Shipped `json:"of_cases"` // what was shipped, ever, in cases and in kegs: they have no sum
	Kegs  Shipped `json:"of_kegs"`
	// Forwards is the share of the lots in packed beer all of whose beer stands on units.
	Used     float64 `json:"lots_used"`
	Packed   float64 `json:"lots_packed"` // those of them that are in beer that was packed
	Forwards float64 `json:"lots_complete_forward_pct"`
	// Delay is the median time between an act and its entry, in hours; acts of long before that came in by an import are left out.
	Delay float64 `json:"median_delay_hours"`
	// Chain is the vessel with the most units behind one chain of fills without a clean, and how many.
	Chain      string `json:"longest_chain"`
	ChainUnits int    `json:"longest_chain_units"`
}

// Shipped is what was shipped, in cases or in kegs. Backwards is the share of it whose unit leads back to a tank, and
// through a brew to malt, hops and yeast, with no fault on the way; Recent that of 90 days.
type Shipped struct {
	Quantity  float64 `json:"shipped"`
	Backwards float64 `json:"shipped_complete_back_pct"`
	Recent    float64 `json:"shipped_complete_back_90_days_pct"`

	good, recent, recentGood float64
}

// MarshalJSON gives every figure of what was shipped for cases and for kegs. The plain names stand for whichever of the
// two there is; where there are both they are null, because cases and kegs have no sum.
func (h Headline) MarshalJSON() ([]byte, error) {
	type rest Headline // without this method
	type plain struct {
		Quantity  *float64 `json:"shipped"`
		Backwards *float64 `json:"shipped_complete_back_pct"`
		Recent    *float64 `json:"shipped_complete_back_90_days_pct"`
	}
	var one plain
	switch {
	case h.Kegs.Quantity == 0:
		one = plain{&h.Cases.Quantity, &h.Cases.Backwards, &h.Cases.Recent}
	case h.Cases.Quantity == 0:
		one = plain{&h.Kegs.Quantity, &h.Kegs.Backwards, &h.Kegs.Recent}
	}
	return json.Marshal(struct {
		plain
		rest
	}{one, rest(h)})
}

// Rules lists every rule.
func Rules() []Rule {
	return slices.Concat(receivingRules(), cellarRules(), packagingRules(), codeRules(), tradeRules(), recordRules())
}

func known(name string) bool {
	return slices.ContainsFunc(Rules(), func(r Rule) bool { return r.Name == name })
}

// Run looks for everything, or for the rules named, in what happened since a day (zero: ever).
func Run(tx *store.Tx, names []string, since time.Time) (*Report, error) {
	for _, name := range names {
		if !known(name) {
			return nil, lots.Errorf(lots.NotFound, "there is no rule %s; heeltap check --list shows them all", name)
		}
	}
	b, err := read(tx)
	if err != nil {
		return nil, err
	}
	mutes, err := Mutes(tx)
	if err != nil {
		return nil, err
	}
	r := &Report{Rules: []Rule{}, Hits: []Hit{}}
	for _, rule := range Rules() {
		if len(names) > 0 && !slices.Contains(names, rule.Name) {
			continue
		}
		r.Rules = append(r.Rules, rule)
		for _, h := range rule.find(b) {
			if e := b.byEntry[h.Entry]; e != nil && !since.IsZero() && b.happened(e).From < since.Unix() && b.happened(e).From > 0 {
				continue
			}
			h.Rule, h.Severity, h.Mend = rule.Name, rule.Severity, b.mendOf(cmp.Or(h.Mend, rule.Mend), h)
			h.Commands = Commands(h.Mend)
			h.Units, h.Consignees = b.behind(h.Code)
			h.Muted = mutes.why(h, tx.Recorded(), b.zone)
			if h.Muted != "" {
				r.Muted++
			}
			r.Hits = append(r.Hits, h)
		}
	}
	if b.err != nil {
		return nil, b.err
	}
	order := []string{Misses, Widens, Slows}
	slices.SortStableFunc(r.Hits, func(x, y Hit) int {
		return cmp.Or(cmp.Compare(slices.Index(order, x.Severity), slices.Index(order, y.Severity)), cmp.Compare(y.Units, x.Units), cmp.Compare(x.Rule, y.Rule), cmp.Compare(x.Code, y.Code), cmp.Compare(x.Entry, y.Entry))
	})
	r.Headline = b.headline()
	return r, tx.Err()
}

// Open counts the hits that nobody muted.
func (r *Report) Open() int { return len(r.Hits) - r.Muted }

// ByStake lists the hits that nobody muted, those with the most units behind them first.
func (r *Report) ByStake() []Hit {
	out := slices.DeleteFunc(slices.Clone(r.Hits), func(h Hit) bool { return h.Muted != "" })
	slices.SortStableFunc(out, func(x, y Hit) int { return cmp.Compare(y.Units, x.Units) })
	return out
}
