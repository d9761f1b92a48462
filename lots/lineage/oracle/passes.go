package oracle

import (
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/allergens"
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

	label *lots.Product // of a run's
	maybe bool          // on a line of which nobody said whether it keeps residue
	next  map[*pass]bool
}

// movePasses notes the passes of one piece of a transfer.
func (w *world) movePasses(m *move, i *inflow, dst lineage.Ref) {
	for _, item := range m.via {
		p := &pass{item: item, entry: m.entry, s: i.s, e: i.e, dst: dst, srcs: map[lineage.Ref]bool{}}
		if line := w.lines[item]; line != nil {
			p.maybe = !line.HasResidue
		}
		if m.lo < m.hi {
			p.s, p.e = m.lo, m.hi+1
			p.ref = w.openPass(item, m)
		}
		for _, o := range m.outs {
			q := o.pieceAt(i.s)
			if q.fill != nil {
				p.srcs[q.fill.ref()] = true
			}
			for _, src := range w.mayHold(q) {
				if src != dst {
					p.srcs[src] = true
				}
			}
		}
		w.passes = append(w.passes, p)
	}
}

// openPass names what a transfer of uncertain time left in a path item: by the transfer, too.
func (w *world) openPass(item string, m *move) lineage.Ref {
	ref := w.fillRef(item, m.lo)
	ref.Code += "/" + m.name
	return ref
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
			p := &pass{item: item, entry: entry, s: g.s, e: g.e, dst: r.segRef(k), srcs: map[lineage.Ref]bool{}, label: w.prods[r.rec.Product]}
			p.maybe = item == r.rec.Line && !w.lines[item].HasResidue
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
	taken := map[lineage.Ref]bool{}
	for _, p := range w.passes {
		if p.ref == (lineage.Ref{}) {
			p.ref = w.fillRef(p.item, p.s)
		}
		plain := p.ref.Code
		for n := 2; taken[p.ref]; n++ {
			p.ref.Code = fmt.Sprintf("%s#%d", plain, n)
		}
		taken[p.ref] = true
		p.next = map[*pass]bool{}
		for _, q := range w.passes {
			p.next[q] = q != p && q.item == p.item && w.follows(p, q)
		}
	}
	for _, p := range w.passes {
		v := w.vessels[p.item]
		if v != nil && v.alien && !slices.ContainsFunc(v.cleans, func(c *clean) bool { return !c.all && c.hi <= p.s }) {
			w.fault("first-fill-unproven", p.dst.Code)
		}
	}
	for _, q := range w.passes {
		if !q.maybe || q.label == nil {
			w.writePass(q)
		}
		for _, p := range w.passes {
			if !q.next[p] {
				continue
			}
			if !q.maybe || w.bringsUndeclared(q, p) {
				w.writePass(q)
				w.contact(q.ref, p.dst, graph.Path)
			}
			if !q.maybe || w.passesOn(q, p) {
				w.writePass(q)
				w.writePass(p)
				w.contact(q.ref, p.ref, graph.Path)
			}
		}
	}
	w.writePassWashes()
}

func (w *world) writePass(p *pass) {
	w.res.Nodes[p.ref] = 0
	for src := range p.srcs {
		if src != p.ref {
			w.contact(src, p.ref, graph.Path)
		}
	}
}

// since lists all passes behind one, or ahead of it, without a clean between any two.
func (w *world) since(p *pass, linked func(a, b *pass) bool) []*pass {
	out := []*pass{p}
	for i := 0; i < len(out); i++ {
		for _, q := range w.passes {
			if linked(out[i], q) && !slices.Contains(out, q) {
				out = append(out, q)
			}
		}
	}
	return out
}

// bringsUndeclared reports whether what is left by a pass, and by all before it, has an allergen that a later one does not declare.
func (w *world) bringsUndeclared(q, p *pass) bool {
	for _, x := range w.since(q, func(a, b *pass) bool { return b.next[a] }) {
		if x.label == nil || p.label == nil && len(w.allergensOf(x)) > 0 {
			return true
		}
		for _, word := range w.allergensOf(x) {
			if !allergens.Declared(p.label.Declares, word) {
				return true
			}
		}
	}
	return false
}

// passesOn reports whether what is left by a pass comes through a later one to another that does not declare it.
func (w *world) passesOn(q, p *pass) bool {
	for _, x := range w.since(p, func(a, b *pass) bool { return a.next[b] }) {
		for _, y := range w.passes {
			if x.next[y] && w.bringsUndeclared(q, y) {
				return true
			}
		}
	}
	return false
}

// allergensOf lists what a run's pass holds by its label and by the lots dosed into it.
func (w *world) allergensOf(p *pass) (out []string) {
	if p.label != nil {
		out = append(out, p.label.Declares...)
	}
	for src := range p.srcs {
		if l := w.lots[src.Code]; src.Kind == graph.Lot && p.label != nil {
			out = append(out, w.carried[l.item]...)
		}
	}
	return out
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
