package main

import (
	"maps"
	"slices"

	"github.com/spf13/pflag"

	"heeltap/graph/recall/account"
	"heeltap/graph/recall/deliveries"
	"heeltap/lots"
	"heeltap/lots/store"
)

// bulkAnswer is what a consignee says of goods in bulk: amounts with their units, one for each sort of unit.
type bulkAnswer struct{ onHand, sold, passedOn, returned, destroyed []string }

func (b *bulkAnswer) flags(f *pflag.FlagSet) {
	for _, x := range []struct {
		to         *[]string
		name, help string
	}{
		{&b.onHand, "on-hand", "on hand when the notice came"}, {&b.sold, "sold", "sold, used or fed"}, {&b.passedOn, "passed-on", "passed on to its own customers"},
		{&b.returned, "returned", "sent back, of what was on hand"}, {&b.destroyed, "destroyed", "destroyed there, of what was on hand"},
	} {
		f.StringArrayVar(x.to, "bulk-"+x.name, nil, "of what came in bulk, "+x.help+": with its unit, such as \"5 hL\"")
	}
}

// lines reads the amounts, a line for each sort of unit.
func (b *bulkAnswer) lines(tx *store.Tx) ([]deliveries.AnswerLine, error) {
	by := map[string]*deliveries.AnswerLine{}
	for _, x := range []struct {
		said []string
		of   func(*deliveries.AnswerLine) *float64
	}{
		{b.onHand, func(l *deliveries.AnswerLine) *float64 { return &l.OnHand }}, {b.sold, func(l *deliveries.AnswerLine) *float64 { return &l.Sold }},
		{b.passedOn, func(l *deliveries.AnswerLine) *float64 { return &l.PassedOn }}, {b.returned, func(l *deliveries.AnswerLine) *float64 { return &l.Returned }},
		{b.destroyed, func(l *deliveries.AnswerLine) *float64 { return &l.Destroyed }},
	} {
		for _, text := range x.said {
			n, unit, err := deliveries.ReadMeasured(tx, text)
			if err != nil {
				return nil, err
			}
			if by[unit] == nil {
				by[unit] = &deliveries.AnswerLine{Unit: unit}
			}
			*x.of(by[unit]) = lots.Nine(*x.of(by[unit]) + n)
		}
	}
	var out []deliveries.AnswerLine
	for _, unit := range slices.Sorted(maps.Keys(by)) {
		out = append(out, *by[unit])
	}
	return out, nil
}

// showBulkRecovery sets what left in bulk against what the consignees say of it.
func (r *inRecall) showBulkRecovery(a *account.Account) {
	t := &table{head: []string{"consignee", "", "#received", "#may be", "#says sent back", "#destroyed there", "#on hand there", "#sold or used", "#passed on", "#elsewhere", "#not explained"}}
	for _, x := range a.Bulk {
		f := func(n float64) string { return lots.FigureOf(n, x.Unit) }
		t.add(x.Party, x.Unit, f(x.Distributed), f(x.MayBe), f(x.Says), f(x.Destroyed), f(x.OnHand), f(x.Sold), f(x.PassedOn), f(x.Elsewhere), f(x.Unexplained))
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Left in bulk: in no sum of cases and kegs"))
		r.print(t)
	}
}

// showBulk lists what consignees received in bulk.
func (r *inRecall) showBulk(c deliveries.Consignee) {
	t := &table{head: []string{"in bulk", "from", "band", "#quantity", "shipment", "when", "document"}}
	for _, l := range c.Bulk {
		amount := l.Amount()
		if l.MayBe {
			amount = "perhaps " + amount
		}
		t.add(l.Goods, l.From, l.Band, amount, l.Shipment, day(l.ShippedAt), l.Document)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s %s\n", r.strong(c.Party), "received in bulk")
		r.print(t)
	}
}
