package oracle

import (
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// keg is one filling of a keg, filled at some second of [s, e).
type keg struct {
	number, unit, run string
	s, e              int64
	rows              []*lots.Packed
}

// writeKegs links each filling of a keg with the one before it, unless the keg was washed between or may be taken to have been.
func (w *world) writeKegs() {
	all := w.fillings()
	for _, q := range all {
		for _, p := range all {
			if p == q || p.number != q.number || w.comesBefore(q, p) || slices.ContainsFunc(all, func(x *keg) bool {
				return x.number == q.number && w.comesBefore(p, x) && w.comesBefore(x, q)
			}) {
				continue
			}
			if w.unwashed(all, p, q) {
				w.contact(lineage.Ref{Kind: graph.Unit, Code: p.unit}, lineage.Ref{Kind: graph.Unit, Code: q.unit}, graph.Heel)
				w.fault("keg-wash-in-doubt", q.unit)
			}
		}
	}
}

func (w *world) fillings() (out []*keg) {
	for code, u := range w.units {
		number, run, ok := strings.Cut(code, "/")
		if !ok {
			continue
		}
		k := &keg{number: number, unit: code, run: run, rows: u.rows, s: 1 << 62, e: -1 << 62}
		r := w.runOf[run].rec
		for _, row := range u.rows {
			s, e := r.Started.From, max(r.Ended.End(), r.Started.From+1)
			if row.HasFirst && row.First.From < e && row.First.To >= s {
				s, e = max(s, row.First.From), min(e, row.First.To+1)
			}
			k.s, k.e = min(k.s, s), max(k.e, e)
		}
		out = append(out, k)
	}
	return out
}

// comesBefore reports whether one filling was surely before another.
func (w *world) comesBefore(a, b *keg) bool { return a.e <= b.s }

// unwashed reports whether something speaks against a wash between two fillings.
func (w *world) unwashed(all []*keg, p, q *keg) bool {
	washed := false
	for _, row := range q.rows {
		if !row.Washed && row.Washer == "" {
			continue
		}
		washed = true
		if !row.Washed || row.WashedAt.From >= p.e && row.WashedAt.From < q.e {
			return false
		}
	}
	if washed || w.stillFull(p, q) {
		return true
	}
	for _, x := range all {
		for _, row := range x.rows {
			if (x.number == q.number || x.run == q.run) && (row.Washed || row.Washer != "") {
				return true
			}
		}
	}
	return false
}

// stillFull reports whether a filling was not known to be empty by the end of the next one.
func (w *world) stillFull(p, q *keg) bool {
	n, out, empties := 0.0, 0.0, []lots.When{}
	for _, row := range p.rows {
		n += float64(row.Quantity)
	}
	for _, rec := range w.Records() {
		switch r := rec.(type) {
		case *lots.Shipment:
			if len(r.Unit.Codes) == 1 && r.Unit.Codes[0] == p.unit && r.At.From < q.e {
				out += float64(r.Quantity)
			}
		case *lots.Removal:
			if len(r.Subject.Codes) == 1 && r.Subject.Codes[0] == p.unit && r.At.From < q.e {
				out += r.Count
			}
		case *lots.Addition:
			if len(r.From.Codes) == 1 && r.From.Codes[0] == p.unit && r.At.From < q.e {
				out += r.Count
			}
		case *lots.Feed:
			since := w.runOf[r.Run].s
			if r.HasSince {
				since = max(since, r.Since.From)
			}
			switch {
			case len(r.From.Codes) != 1 || r.From.Codes[0] != p.unit || since >= q.e:
			case r.HasQty:
				out += r.Count
			default:
				out += 1e9
			}
		case *lots.Return:
			if r.State == "empty" && len(r.Unit.Codes) == 1 && r.Unit.Codes[0] == p.unit && r.At.From < q.e && r.At.To >= p.s {
				empties = append(empties, r.At)
			}
		}
	}
	for _, rec := range w.Records() {
		if r, ok := rec.(*lots.Return); ok && r.State != "empty" && slices.Contains(r.Unit.Codes, p.unit) {
			if !slices.ContainsFunc(empties, func(e lots.When) bool { return e.From > r.At.To }) {
				return true
			}
		}
	}
	return len(empties) == 0 && n > out+slack
}
