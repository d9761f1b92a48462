package trace

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// The findings that concern several things at once are found when a question is asked.
const (
	casesUnassigned = "cases-unassigned"
)

// findings gathers the faults in the records that touch a start or anything reached.
func (q *asked) findings(a *Answer) []Finding {
	codes := map[string]bool{}
	for _, n := range q.reached.Nodes {
		codes[n.Code] = true
		if n.Kind == graph.Segment || n.Kind == graph.Stretch {
			codes[n.Home] = true
		}
	}
	for _, f := range a.From {
		codes[f.Code] = true
	}
	out := append(append(overdrawn(a.Units), q.target.notes...), q.noCodes(a.Runs)...)
	out = append(append(out, q.unrecordedUses()...), q.shippedAsOlder(a.Units)...)
	if q.dir == graph.Forward {
		out = append(out, q.cameBack(a)...)
	}
	out = q.stillUnnamed(a, out)
	for _, f := range q.tx.Findings(slices.Sorted(maps.Keys(codes))) {
		out = append(out, Finding{f.Name, f.Code, f.Text})
	}
	for _, r := range a.Runs {
		run, product, ok := runOf(q.tx, r.Code)
		if !ok {
			continue
		}
		if r.Unassigned > 0 {
			out = append(out, unassigned(q.tx, run, product, r.Unassigned))
		}
	}
	slices.SortFunc(out, func(x, y Finding) int {
		return cmp.Or(cmp.Compare(x.Code, y.Code), cmp.Compare(x.Name, y.Name), cmp.Compare(x.Text, y.Text))
	})
	return append([]Finding{}, slices.Compact(out)...)
}

// unassigned tells of cases or kegs that are on no unit, and on which open part pallets they may stand.
func unassigned(tx *store.Tx, run *lots.Run, product *lots.Product, cases int64) Finding {
	verb := "are"
	if cases == 1 {
		verb = "is"
	}
	text := fmt.Sprintf("%s of run %s %s on no unit", CasesOrKegs(tx, run.Run, cases), run.Run, verb)
	if open := openPallets(tx, run, product); len(open) > 0 {
		more := ""
		if len(open) > mostOpen {
			more, open = " and earlier ones", open[:mostOpen]
		}
		text += "; part pallets of " + run.Product + " that stood open then, the latest first: " + strings.Join(open, ", ") + more
	}
	return Finding{casesUnassigned, run.Run, text}
}

// mostOpen bounds how many open pallets an answer names.
const mostOpen = 10

// earlierRuns lists the runs of a product that began no later than one, the latest first.
func earlierRuns(tx *store.Tx, run *lots.Run) []*lots.Run {
	var out []*lots.Run
	for _, rec := range tx.Touching(run.Product) {
		other, ok := rec.(*lots.Run)
		if ok && other.Product == run.Product && other.Started.From <= run.Started.From && other.Run != run.Run {
			out = append(out, other)
		}
	}
	slices.SortStableFunc(out, func(a, b *lots.Run) int { return cmp.Compare(b.Started.From, a.Started.From) })
	return out
}

// openPallets lists the latest pallets of the run's product that were begun before it and had
// room and were here while it ran: at most one more than an answer names.
func openPallets(tx *store.Tx, run *lots.Run, product *lots.Product) []string {
	var open []string
	for _, other := range earlierRuns(tx, run) {
		for _, rec := range tx.Touching(other.Run) {
			p, ok := rec.(*lots.Packed)
			if !ok || p.Run != other.Run || p.UnitKind != "pallet" || p.Quantity >= product.CasesPerPallet || slices.Contains(open, p.Unit) {
				continue
			}
			if b := BooksOf(tx, p.Unit); b.Quantity < product.CasesPerPallet && !goneBefore(tx, p.Unit, b.Quantity, run.Started.From) {
				if open = append(open, p.Unit); len(open) > mostOpen {
					return open
				}
			}
		}
	}
	return open
}

// goneBefore reports whether a unit had been shipped whole before a moment.
func goneBefore(tx *store.Tx, unit string, quantity, moment int64) bool {
	for _, rec := range tx.Touching(unit) {
		if s, ok := rec.(*lots.Shipment); ok && !s.Unit.OneOf() && s.At.To < moment {
			quantity -= s.Quantity
		}
	}
	return quantity <= 0
}
