package deliveries

import (
	"math"
	"slices"
	"strings"

	"heeltap/graph/recall/scope"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Delivered lists the consignees as they are told: each line with the products and date codes that
// can have been on its unit when it was shipped, and a line that is kept, whose shipments the records
// do not give it any more, with their days and documents as they read in the last version.
func Delivered(tx *store.Tx, s *scope.Scope, versions []scope.Version) ([]Consignee, error) {
	list, err := Consignees(tx, s)
	if err != nil {
		return nil, err
	}
	units := map[string]trace.Unit{}
	for _, u := range s.Answer.Units {
		units[u.Code] = u
	}
	for i := range list {
		for k := range list[i].Lines {
			l := &list[i].Lines[k]
			kept := l.First == ""
			rows := shipmentsOf(tx, s, list[i].Party, l.Unit, kept)
			if head := lastGiven(versions, list[i].Party, l.Unit); kept && head > 0 {
				then, err := shippedThen(tx, list[i].Party, l.Unit, head)
				if err != nil {
					return nil, err
				}
				rows = append(rows, then...)
			}
			l.dated(tx, rows, kept)
			l.bearing(tx, units, rows, kept)
		}
	}
	return list, tx.Err()
}

// lastGiven is the journal's length at the last version in which the records themselves gave a party
// so much of a unit; 0 where none did.
func lastGiven(versions []scope.Version, party, unit string) (head int64) {
	for _, v := range versions {
		if i, ok := scope.ConsigneeIn(v.Items, party); ok && (!i.Kept || head == 0) && (i.Units()[unit] > 0 || i.Received == "") {
			head = v.Head
		}
	}
	return head
}

// shipmentsOf lists the shipments of a unit, or of one of several, to a party; of those that were over
// before anything affected stood on the unit only where the line is kept.
func shipmentsOf(tx *store.Tx, s *scope.Scope, party, unit string, kept bool) (out []*lots.Shipment) {
	first, _, _ := strings.Cut(unit, "|")
	for _, rec := range tx.Touching(first) {
		x, ok := rec.(*lots.Shipment)
		if !ok || x.Consignee != party || strings.Join(x.Unit.Codes, "|") != unit {
			continue
		}
		if !s.Over(x.Seq) || kept {
			out = append(out, x)
		}
	}
	return out
}

// shippedThen lists the shipments of a unit to a party as rows read when an entry was the journal's last.
func shippedThen(tx *store.Tx, party, unit string, head int64) (out []*lots.Shipment, err error) {
	var roots []*store.Entry
	if err := tx.Entries(1, func(e *store.Entry) bool {
		if e.Kind == "shipments" && e.Seq <= head {
			roots = append(roots, e)
		}
		return e.Seq < head
	}); err != nil {
		return nil, err
	}
	units := strings.Split(unit, "|")
	slices.Sort(units)
	for _, root := range roots {
		row, stands, err := tx.RowThen(root, head)
		if err != nil {
			return nil, err
		}
		of := strings.Split(row["unit"], "|")
		slices.Sort(of)
		if !stands || row["consignee"] != party || !slices.Equal(of, units) {
			continue
		}
		if at, _, err := lots.ParseWhen(row["shipped_at"], tx.Site().Zone); err == nil {
			out = append(out, &lots.Shipment{At: at, Document: row["document"]})
		}
	}
	return out, tx.Err()
}

// dated fills in when and with which documents a kept line's goods were shipped.
func (l *Line) dated(tx *store.Tx, rows []*lots.Shipment, kept bool) {
	if !kept {
		return
	}
	for _, x := range rows {
		at := x.At.Text(tx.Site().Zone)
		if l.First == "" || at < l.First {
			l.First = at
		}
		l.Last = max(l.Last, at)
		if x.Document != "" && !slices.Contains(l.Documents, x.Document) {
			l.Documents = append(l.Documents, x.Document)
		}
	}
}

// bearing leaves a line the products and date codes that can have been on its unit when it was last
// shipped there. What the books cannot explain so, and what nobody can date, keeps all of them. A line that
// a correction took away, and one of which nothing affected stood there, bears what anything there bore.
func (l *Line) bearing(tx *store.Tx, units map[string]trace.Unit, rows []*lots.Shipment, kept bool) {
	last := int64(math.MinInt64)
	for _, x := range rows {
		last = max(last, x.At.To)
	}
	if len(rows) == 0 {
		last = math.MaxInt64
	}
	var parts, stood []trace.Part // of what is affected; and all that can have stood there
	for _, code := range strings.Split(l.Unit, "|") {
		u := units[code]
		then, explained := standingThen(tx, u, last)
		for _, p := range u.Parts {
			if !explained || slices.Contains(then, p.Entry) {
				stood = append(stood, p)
			}
		}
		affected := affectedParts(u)
		parts = append(parts, slices.DeleteFunc(slices.Clone(stood), func(p trace.Part) bool {
			return !slices.ContainsFunc(affected, func(a trace.Part) bool { return a.Entry == p.Entry })
		})...)
	}
	if kept || len(parts) == 0 {
		parts = stood
	}
	var products, codes []string
	for _, p := range parts {
		products, codes = append(products, p.Product), append(codes, p.DateCodes...)
	}
	if len(codes) == 0 {
		return
	}
	slices.Sort(products)
	slices.Sort(codes)
	l.Product, l.DateCodes = strings.Join(slices.Compact(products), ", "), slices.Compact(codes)
	l.Codes = append([]trace.CodePart{}, affectedCodes(parts)...)
}

// standingThen lists the rows of a unit, by their entries, that can have stood on it at a moment, and
// reports whether they cover what had gone by then.
func standingThen(tx *store.Tx, u trace.Unit, then int64) (rows []int64, explained bool) {
	stood, gone := int64(0), 0.0
	for _, p := range u.Parts {
		if trace.Begun(tx, p) <= then {
			rows, stood = append(rows, p.Entry), stood+p.Quantity
		}
	}
	for _, rec := range tx.Touching(u.Code) {
		switch x := rec.(type) {
		case *lots.Shipment:
			if !x.Unit.OneOf() && x.At.From <= then {
				gone += float64(x.Quantity)
			}
		case *lots.Return:
			if !x.Unit.OneOf() && x.At.From <= then && x.OfGoods() {
				gone -= float64(x.Quantity)
			}
		case *lots.Removal:
			if x.Subject.Kind == lots.KindUnit && !x.Subject.OneOf() && x.At.From <= then {
				gone += x.Count
			}
		}
	}
	return rows, gone <= float64(stood)
}
