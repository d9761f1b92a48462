package trace

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// What an answer cannot follow, because a record leaves it open.
const (
	lineNotRecorded      = "line-not-recorded"
	lotNumberNotRecorded = "lot-number-not-recorded"
	mayHaveComeBack      = "may-have-come-back"
)

// namingNoLine tells of the runs of a time that a tank fed and that name no line: they may have been on this one.
func namingNoLine(tx *store.Tx, line string, during span) (out []Finding) {
	rows, err := tx.Records("runs")
	if err != nil {
		return nil // the transaction keeps the failure
	}
	for _, rec := range rows {
		run := rec.(*lots.Run)
		if run.Line == "" && during.meets(run.Started.From, run.Ended.End()) && FedByTank(tx, run.Run) {
			out = append(out, Finding{lineNotRecorded, run.Run, fmt.Sprintf("run %s names no line: if it was on %s, it is affected too. Record the line: heeltap amend %s line=%s --reason TEXT, or the one it was on", run.Run, line, run.Run, line)})
		}
	}
	return out
}

// stillUnnamed drops the runs without a line that are in the answer anyway, or that a person left out.
func (q *asked) stillUnnamed(a *Answer, found []Finding) []Finding {
	return slices.DeleteFunc(found, func(f Finding) bool {
		return f.Name == lineNotRecorded && (q.leftOut(f.Code) || slices.ContainsFunc(a.Runs, func(r Run) bool { return r.Code == f.Code }))
	})
}

// FedByTank reports whether beer was filled in a run, rather than packs by hand.
func FedByTank(tx *store.Tx, run string) bool {
	return slices.ContainsFunc(tx.Touching(run), func(rec lots.Record) bool {
		f, ok := rec.(*lots.Feed)
		return ok && f.Run == run && f.From.Kind == lots.KindVessel
	})
}

// firstAfter is the time in which a run may have been the first on a line after a clean of it: from the clean to the
// end of the first run that names the line and certainly came after.
func firstAfter(tx *store.Tx, line string, c *lots.Clean) span {
	after := span{c.At.From, 1 << 62}
	for _, rec := range tx.Touching(line) {
		if run, ok := rec.(*lots.Run); ok && run.Line == line && run.Started.From >= c.At.To {
			after.until = min(after.until, run.Ended.End())
		}
	}
	return after
}

// linesCleanedWith tells of the runs that may have been the first after a clean with a lot that the answer starts at.
func (q *asked) linesCleanedWith(lot string) (out []Finding) {
	for _, rec := range q.tx.Touching(lot) {
		c, ok := rec.(*lots.Clean)
		if ok && c.Subject.Kind == lots.KindLine && slices.Contains(c.From.Codes, lot) {
			out = append(out, namingNoLine(q.tx, c.Subject.Code(), firstAfter(q.tx, c.Subject.Code(), c))...)
		}
	}
	return out
}

// unnumbered tells of deliveries of the same material from the same supplier that carried no lot number: they may
// be of the lot that the answer starts at.
func (q *asked) unnumbered(lot string) (out []Finding) {
	r, ok := q.tx.Receipt(lot)
	if !ok || r.SupplierLot == noNumber {
		return nil
	}
	for _, x := range q.tx.Unnumbered(r.Supplier, r.Item) {
		if q.startsAt(x.Lot) || q.leftOut(x.Lot) {
			continue
		}
		out = append(out, Finding{lotNumberNotRecorded, x.Lot, fmt.Sprintf(
			"%s is the same material from %s and carries no supplier's lot: it may be of %s too. Look at the goods and the delivery note. If it is, suspect it as well (heeltap recall suspect %s --reason TEXT); if it shows another lot, heeltap amend %s supplier_lot=… --reason TEXT",
			x.Lot, r.Supplier, r.SupplierLot, x.Lot, x.Lot)})
	}
	return out
}

// noNumber stands for the supplier's lot where the goods carry none.
const noNumber = "-"

// leftOut reports whether a person decided that the walk stops at a thing: then it is not asked about again.
func (q *asked) leftOut(code string) bool {
	return slices.ContainsFunc(append(q.tx.NodesNamed(code), q.tx.NodesOf(code)...), func(n store.Node) bool { return q.cut[n.ID] })
}

func (q *asked) startsAt(lot string) bool {
	return slices.ContainsFunc(q.target.starts, func(s start) bool { return s.Kind == graph.Lot && s.Code == lot })
}

// cameBack tells of deliveries from whoever had received something affected in bulk before: it may be some of that.
func (q *asked) cameBack(a *Answer) (out []Finding) {
	reached := map[string]bool{}
	for _, l := range a.Lots {
		reached[l.Code] = true
	}
	for _, b := range a.Bulk {
		sent, ok := q.tx.Record(b.entry)
		if !ok || b.Kind == string(lots.KindBrew) { // nobody sends back spent grain
			continue
		}
		for _, rec := range q.tx.Touching(b.Consignee) {
			x, ok := rec.(*lots.Receipt)
			if !ok || x.Supplier != b.Consignee || reached[x.Lot] || q.leftOut(x.Lot) || x.At.To < sent.(*lots.Bulk).At.From || !q.mayHoldBeer(x) {
				continue
			}
			out = append(out, Finding{mayHaveComeBack, x.Lot, fmt.Sprintf("%s came from %s after it had received %s in bulk (%s): if it is some of that, it is affected too (heeltap recall suspect %s --reason TEXT); if not, heeltap recall exclude %s --reason TEXT",
				x.Lot, b.Consignee, b.Amount(), b.Code, x.Lot, x.Lot)})
		}
	}
	return out
}

// mayHoldBeer reports whether a delivery may be beer, yeast or an ingredient, rather than packaging, gas or chemicals.
func (q *asked) mayHoldBeer(r *lots.Receipt) bool {
	item, ok := q.tx.Item(r.Item)
	return !ok || !item.PackagingPart() && item.Kind != "gas" && item.Kind != "chemical" && item.Kind != "water"
}
