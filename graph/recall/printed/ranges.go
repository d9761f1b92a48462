package printed

import (
	"cmp"
	"slices"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/datecode"
	"heeltap/lots/store"
)

// leastRange is how many codes are worth a range.
const leastRange = 3

// ranges joins rules of one product for whole codes into one from the first to the last
// date, where a reader can put the codes in order of their dates, and every code of the product
// that was ever printed with a date between them is among them. What a code's date is, is read
// from the code itself and not from when it was printed: a coder that was set wrongly prints a
// date out of order, and that package must be found too.
func (s finder) ranges(rules []Rule) []Rule {
	joined := map[string][]datedRule{} // by product
	out := []Rule{}
	for _, r := range rules {
		if day, ok := dateOf(s.tx, r); ok {
			joined[r.Product] = append(joined[r.Product], datedRule{r, day})
		}
	}
	for _, r := range rules {
		if _, ok := dateOf(s.tx, r); !ok {
			out = append(out, r)
			continue
		}
		if list := joined[r.Product]; list != nil { // all of the product stand where the first did
			out = append(out, rangesOf(list, datesPrinted(s.tx, r.Product))...)
			delete(joined, r.Product)
		}
	}
	return out
}

// datedRule is a rule for one whole code, and the date that it shows.
type datedRule struct {
	Rule
	day time.Time
}

// dateOf gives the date of a rule that can be part of a range.
func dateOf(tx *store.Tx, r Rule) (time.Time, bool) {
	if r.FromTime != "" || !r.Separates || r.Inside != "" || len(r.Codes) != 1 {
		return time.Time{}, false
	}
	pattern, err := datecode.Parse(Product(tx, r.Product).DateCode)
	if err != nil || !pattern.Dated() {
		return time.Time{}, false
	}
	return pattern.Date(r.Codes[0])
}

// datesPrinted gives every date that was ever printed on a product, with its codes.
func datesPrinted(tx *store.Tx, product string) map[time.Time][]string {
	out := map[time.Time][]string{}
	pattern, err := datecode.Parse(Product(tx, product).DateCode)
	if err != nil {
		return out
	}
	add := func(code string) {
		if day, ok := pattern.Date(code); ok && !slices.Contains(out[day], code) {
			out[day] = append(out[day], code)
		}
	}
	for _, rec := range tx.Touching(product) {
		run, ok := rec.(*lots.Run)
		if !ok || run.Product != product {
			continue
		}
		add(run.DateCode)
		for _, rec := range tx.Touching(run.Run) {
			if c, ok := rec.(*lots.CodeChange); ok && c.Run == run.Run {
				add(c.DateCode)
			}
		}
	}
	return out
}

// rangesOf joins what stands in an unbroken row of dates.
func rangesOf(list []datedRule, printed map[time.Time][]string) []Rule {
	slices.SortStableFunc(list, func(a, b datedRule) int { return cmp.Or(a.day.Compare(b.day), cmp.Compare(a.Codes[0], b.Codes[0])) })
	var out []Rule
	for i := 0; i < len(list); {
		n := 1
		for i+n < len(list) && follows(list[i+n-1], list[i+n], printed) {
			n++
		}
		if n >= leastRange {
			out = append(out, asRange(list[i:i+n]))
		} else {
			for _, r := range list[i : i+n] {
				out = append(out, r.Rule)
			}
		}
		i += n
	}
	return out
}

// follows reports whether a reader who takes all dates from one to the other finds just the two:
// their dates rise, no other code shows one of them, and none that was printed lies between.
func follows(a, b datedRule, printed map[time.Time][]string) bool {
	if !a.day.Before(b.day) || len(printed[a.day]) > 1 || len(printed[b.day]) > 1 {
		return false
	}
	for day := range printed {
		if day.After(a.day) && day.Before(b.day) {
			return false
		}
	}
	return true
}

// asRange makes one rule of a row of them.
func asRange(list []datedRule) Rule {
	r := list[0].Rule
	for _, next := range list[1:] {
		r.Codes = append(slices.Clone(r.Codes), next.Codes...)
		r.Affected, r.Covered, r.Innocent = r.Affected+next.Affected, r.Covered+next.Covered, r.Innocent+next.Innocent
		r.Kegs, r.KegsMore = append(slices.Clone(r.Kegs), next.Kegs...), r.KegsMore+next.KegsMore
		if next.Band == graph.In.String() {
			r.Band = next.Band
		}
	}
	slices.Sort(r.Kegs)
	r.Kegs = slices.Compact(r.Kegs)
	r.Range = true
	return r
}
