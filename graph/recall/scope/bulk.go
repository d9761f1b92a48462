package scope

import (
	"slices"
	"strconv"
	"strings"

	"heeltap/graph/trace"
	"heeltap/lots"
)

// InBulk is goods in bulk that a consignee received, as an item keeps them.
type InBulk struct {
	Quantity             float64
	Unit, From, Shipment string
}

// text writes it as items keep it; no code holds an @.
func (b InBulk) text() string {
	return strconv.FormatFloat(b.Quantity, 'f', -1, 64) + " " + b.Unit + " of " + b.From + " @ " + b.Shipment
}

// InBulk is what a consignee received in bulk.
func (i Item) InBulk() (out []InBulk) {
	for _, part := range strings.Split(i.Bulk, "; ") {
		amount, rest, is := strings.Cut(part, " of ")
		number, unit, _ := strings.Cut(amount, " ")
		from, shipment, _ := strings.Cut(rest, " @ ")
		if n, err := strconv.ParseFloat(number, 64); err == nil && is {
			out = append(out, InBulk{n, unit, from, shipment})
		}
	}
	return out
}

// bulkText writes what was received in bulk, in order of the texts.
func bulkText(list []InBulk) string {
	var parts []string
	for _, b := range list {
		parts = append(parts, b.text())
	}
	slices.Sort(parts)
	return strings.Join(parts, "; ")
}

func inBulkOf(b trace.Bulk) InBulk { return InBulk{b.Quantity, b.Unit, b.Where(), b.Code} }

// moreBulk says what a consignee received more or less of in bulk.
func moreBulk(now, old string) (parts []string) {
	is, was := Item{Bulk: now}.InBulk(), Item{Bulk: old}.InBulk()
	list := func(sign string, some, others []InBulk) {
		for _, b := range some {
			if !slices.Contains(others, b) {
				parts = append(parts, sign+lots.FigureOf(b.Quantity, b.Unit)+" "+b.Unit+" of "+b.From)
			}
		}
	}
	list("+", is, was)
	list("-", was, is)
	return parts
}

// Bulk lists what left in bulk of what is in scope.
func (s *Scope) Bulk() []trace.Bulk { return s.Answer.Bulk }
