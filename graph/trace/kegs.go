package trace

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

const shippedAsOlder = "keg-shipped-as-older-filling"

// ShippedAsOlder lists the shipments that name an older filling of a keg at a time when it had been filled again with
// this one: a keg holds one filling, so it may be this one that left. It happens where the shipping clerk
// goes by the keg's number before the packaging sheet is entered.
func ShippedAsOlder(tx *store.Tx, unit string) (out []*lots.Shipment) {
	number, _, ok := lots.SplitFilling(unit)
	if !ok {
		return nil
	}
	filled := filledFrom(tx, number)
	this, ok := filled[unit]
	if !ok {
		return nil
	}
	for older, at := range filled {
		if at >= this {
			continue
		}
		for _, rec := range tx.Touching(older) {
			if s, ok := rec.(*lots.Shipment); ok && is(s.Unit, older) && this <= s.At.To && !filledBetween(filled, this, s.At.From) {
				out = append(out, s)
			}
		}
	}
	slices.SortFunc(out, func(a, b *lots.Shipment) int { return cmp.Compare(a.Seq, b.Seq) })
	return out
}

// filledFrom is when each filling of a keg began.
func filledFrom(tx *store.Tx, number string) map[string]int64 {
	out := map[string]int64{}
	for _, rec := range tx.Fillings(number) {
		p, ok := rec.(*lots.Packed)
		if !ok {
			continue
		}
		run, _, ok := runOf(tx, p.Run)
		if !ok {
			continue
		}
		from := run.Started.From
		if w, _ := lineage.WindowOf(p, run, 0); p.HasFirst && !w.None {
			from = w.From
		}
		if had, ok := out[p.Unit]; !ok || from < had {
			out[p.Unit] = from
		}
	}
	return out
}

// filledBetween reports whether a keg was filled once more after a filling and before a moment.
func filledBetween(filled map[string]int64, after, until int64) bool {
	for _, at := range filled {
		if at > after && at < until {
			return true
		}
	}
	return false
}

// AsOlder says that a shipment may have taken a keg filling though it names an older one, and how to put it right.
func AsOlder(tx *store.Tx, s *lots.Shipment, unit string) string {
	number, _, _ := lots.SplitFilling(unit)
	at := strings.Replace(s.At.Text(tx.Site().Zone), "T", " ", 1)
	return fmt.Sprintf("shipment %s to %s on %s names %s, but keg %s had been filled again by then: it may be %s that left. Ask %s which it has; if it is that, heeltap amend %d unit=%s --reason TEXT",
		s.Shipment, s.Consignee, at[:min(len(at), len("2006-01-02"))], s.Unit.Code(), number, unit, s.Consignee, s.Seq, unit)
}

// asOlder adds the shipments that may have taken a reached keg filling though they name an older one: as of one of
// the two, not known which.
func (q *asked) asOlder(units []Unit, rows map[int64]Shipment) {
	for _, u := range units {
		for _, s := range ShippedAsOlder(q.tx, u.Code) {
			if _, ok := rows[s.Seq]; ok {
				continue // the older filling is reached itself
			}
			e := Shipment{Reached: Reached{s.Shipment, graph.Possible.String(), append(slices.Clone(u.Why), s.Shipment)}, Unit: s.Unit.Code() + "|" + u.Code,
				Consignee: s.Consignee, Quantity: s.Quantity, ShippedAt: s.At.Text(q.site.Zone), entry: s.Seq, oneOf: true}
			if s.Document != "" {
				e.Document = &s.Document
			}
			rows[s.Seq] = e
		}
	}
}

// shippedAsOlder tells of the reached keg fillings that may have left under the name of an older one.
func (q *asked) shippedAsOlder(units []Unit) (out []Finding) {
	for _, u := range units {
		for _, s := range ShippedAsOlder(q.tx, u.Code) {
			out = append(out, Finding{shippedAsOlder, u.Code, AsOlder(q.tx, s, u.Code)})
		}
	}
	return out
}
