package oracle

import (
	"fmt"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
)

// pass is one piece of beer going through a path item or a line that keeps residue.
type pass struct {
	item  string
	entry int64
	s, e  int64 // earliest start, latest end
	ref   lineage.Ref
	dst   lineage.Ref
	srcs  map[lineage.Ref]bool
}

// movePasses notes the passes of one piece of a transfer.
func (w *world) movePasses(m *move, i *inflow, dst lineage.Ref) {
	for _, item := range m.via {
		p := &pass{item: item, entry: m.entry, s: i.s, e: i.e, dst: dst, srcs: map[lineage.Ref]bool{}}
		if m.lo < m.hi {
			p.s, p.e = m.lo, m.hi+1
		}
		for _, o := range m.outs {
			q := o.pieceAt(i.s)
			if q.fill != nil {
				p.srcs[q.fill.ref()] = true
			}
			for _, may := range q.maybes {
				for _, src := range w.inflowSources(may) {
					p.srcs[src] = true
				}
			}
		}
		w.passes = append(w.passes, p)
	}
}

// runPasses notes the passes of a run's segments.
func (w *world) runPasses(r *run) {
	for k, g := range r.segs {
		items := map[string]int64{}
		if r.residue {
			items[r.rec.Line] = r.rec.Entry()
		}
		for _, f := range r.feeds {
			if f.path && f.since <= g.s && g.e <= f.until {
				for _, s := range f.from {
					items[s.code] = r.rec.Entry()
				}
			}
		}
		for item, entry := range items {
			p := &pass{item: item, entry: entry, s: g.s, e: g.e, dst: r.segRef(k), srcs: map[lineage.Ref]bool{}}
			for _, x := range g.fed {
				l := w.lots[x.src.Code]
				if x.film {
					continue
				}
				if x.src.Kind == graph.Fill || x.src.Kind == graph.Lot && !lots.PackagingPart(l.kind) {
					p.srcs[x.src] = true
				}
			}
			w.passes = append(w.passes, p)
		}
	}
}

func (w *world) writePasses() {
	sortPasses(w.passes)
	for _, p := range w.passes {
		p.ref = w.fillRef(p.item, p.s)
		for n := 2; ; n++ {
			if _, taken := w.res.Nodes[p.ref]; !taken {
				break
			}
			p.ref.Code = fmt.Sprintf("%s@%s#%d", p.item, lots.Stamp(p.s, w.zone), n)
		}
		w.res.Nodes[p.ref] = 0
	}
	for _, p := range w.passes {
		for src := range p.srcs {
			w.contact(src, p.ref, graph.Path)
		}
		for _, q := range w.passes {
			if q != p && q.item == p.item && w.follows(q, p) {
				w.contact(q.ref, p.ref, graph.Path)
				w.contact(q.ref, p.dst, graph.Path)
			}
		}
	}
	w.writePassWashes()
}

// follows reports whether p may be the next pass after q.
func (w *world) follows(q, p *pass) bool {
	if q.s == p.s || q.s < p.e && p.s < q.e { // their order is not known
		return true
	}
	if q.e > p.s {
		return false
	}
	for _, r := range w.passes {
		if r != p && r != q && r.item == p.item && r.s >= q.e && r.e <= p.s && r.s != p.s && r.s != q.s {
			return false
		}
	}
	for _, rec := range w.Records() {
		c, ok := rec.(*lots.Clean)
		if ok && c.Breaks() && c.Subject.Code() == p.item && c.At.From >= q.e && c.At.To <= p.s {
			return false
		}
	}
	return true
}
