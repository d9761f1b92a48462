package trace

import (
	"fmt"
	"slices"

	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// rejected lists what an entry took of lots that were rejected at the dock, of which nothing is taken but with a named
// override: by name, and out of the vessels that they were put into on receipt. What one went into under an override is not stopped by that alone.
func (g *guard) rejected(entry int64, from []lots.Ref) (out []stop) {
	for _, ref := range from {
		for _, code := range ref.Codes {
			if r, ok := g.tx.Receipt(code); ok && ref.Kind == lots.KindLot && r.Status == "rejected" {
				out = append(out, stop{code, RejectedText(code)})
			}
		}
	}
	if len(from) == 0 {
		return out
	}
	for _, d := range g.tx.DrawsOf(entry) {
		for _, r := range g.refusedInto(d.Vessel) {
			if g.stillIn(d, r) {
				out = append(out, stop{d.Vessel, fmt.Sprintf("%s holds %s, which was rejected when it was received: nothing may be drawn from it; correct where the lot went or its status (heeltap amend %s), or go on with --override REASON", d.Vessel, r.Lot, r.Lot)})
			}
		}
	}
	return out
}

// refusedInto reads the rejected lots of a vessel once.
func (g *guard) refusedInto(vessel string) []*lots.Receipt {
	receipts, ok := g.refused[vessel]
	if !ok {
		receipts = g.tx.RejectedInto(vessel)
		g.refused[vessel] = receipts
	}
	return receipts
}

// stillIn reports whether what was drawn from a vessel still carried a lot that was received into it.
func (g *guard) stillIn(d lineage.Draw, r *lots.Receipt) bool {
	fill := func(since int64) string { return lineage.FillRef(d.Vessel, since, g.r.site.Zone).Code }
	for _, a := range g.tx.ArrivalsOf(r.Seq) {
		if a.Vessel == d.Vessel && Carries(g.tx, d.Vessel, fill(d.Fill), fill(a.Fill)) {
			return true
		}
	}
	return false
}

// RejectedText says that nothing may be taken of a rejected lot, and what can be done.
func RejectedText(lot string) string {
	return fmt.Sprintf("%s was rejected when it was received: nothing may be taken from it; send it back or destroy it (heeltap remove %s), put its status right if it was accepted (heeltap amend %s status=accepted), or go on with --override REASON", lot, lot, lot)
}

// Used reports whether something was taken of a lot, other than samples, destruction and what went back.
func Used(tx *store.Tx, lot string) bool {
	g := &guard{tx: tx}
	return slices.ContainsFunc(tx.Touching(lot), func(rec lots.Record) bool {
		_, from := g.took(rec)
		return slices.ContainsFunc(from, func(ref lots.Ref) bool { return slices.Contains(ref.Codes, lot) })
	})
}
