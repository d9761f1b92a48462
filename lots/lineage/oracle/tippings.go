package oracle

import (
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// readTips moves in the books what was tipped from lot to lot.
func (w *world) readTips() {
	for _, t := range w.tips {
		w.lots[t.Into].tipped += float64(t.Qty.N)
		if !t.From.OneOf() {
			w.lots[t.From.Code()].used += float64(t.Qty.N)
		}
	}
}

// tipped lists the lots of which some may have been in a lot at a time: tippings are followed backwards along every
// way that comes to no lot twice.
func (w *world) tipped(lot string, at int64) (out []string) {
	w.eachTip(lot, at, nil, func(code string) {
		if !slices.Contains(out, code) {
			out = append(out, code)
		}
	})
	return out
}

func (w *world) eachTip(lot string, at int64, way []string, found func(code string)) {
	way = append(slices.Clone(way), lot)
	for _, t := range w.tips {
		if t.Into != lot || t.At.From > at {
			continue
		}
		for _, code := range t.From.Codes {
			if !slices.Contains(way, code) {
				found(code)
				w.eachTip(code, min(at, t.At.To), way, found)
			}
		}
	}
}

// tippedSince lists the times up to a moment at which more lots may be in a lot than just before.
func (w *world) tippedSince(lot string, at int64) (out []int64) {
	for _, t := range w.tips {
		if since := t.At.From; since <= at && len(w.tipped(lot, since)) > len(w.tipped(lot, since-1)) {
			out = append(out, since)
		}
	}
	return out
}

// writeTips links what may have been in the lots that a move took.
func (w *world) writeTips(m *move, dst lineage.Ref) {
	for _, s := range m.from {
		if s.kind != lots.KindLot {
			continue
		}
		for _, code := range w.tipped(s.code, m.hi) {
			w.contact(lotRef(code), dst, graph.Tipped)
		}
	}
}
