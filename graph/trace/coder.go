package trace

import (
	"cmp"
	"math"
	"slices"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// coder follows codes back through repacks.
type coder struct {
	tx   *store.Tx
	hit  reaches
	busy map[string]bool // units that are being looked at: contacts may form a ring
}

// codesOn lists what stands on a unit, in order of code and run.
func codesOn(tx *store.Tx, unit string, hit reaches) []CodePart {
	c := coder{tx, hit, map[string]bool{}}
	return c.unit(unit)
}

func (c coder) unit(unit string) []CodePart {
	if c.busy[unit] {
		return nil
	}
	c.busy[unit] = true
	defer delete(c.busy, unit)
	rows := rowsOf(c.tx, unit)
	some := slices.ContainsFunc(rows, func(p *lots.Packed) bool { return c.hit.run(p.Run) })
	var all []CodePart
	var of int64
	for _, p := range rows {
		of += p.Quantity
		parts := c.row(p)
		for i := range parts {
			parts[i].Affected = parts[i].Affected && (!some || c.hit.run(p.Run))
		}
		all = append(all, parts...)
	}
	for i := range all {
		all[i].Of = of
	}
	return together(all)
}

// row lists what stands on one row of a unit.
func (c coder) row(p *lots.Packed) []CodePart {
	run, product, ok := runOf(c.tx, p.Run)
	if !ok {
		return nil
	}
	w, _ := lineage.WindowOf(p, run, lineOf(c.tx, run.Line).Margin)
	codes := sortedSet(codesIn(codesOf(c.tx, run), w))
	if slices.Contains(codes, "") {
		return c.repacked(p, run, product)
	}
	var out []CodePart
	for _, code := range codes {
		out = append(out, CodePart{Code: code, Run: run.Run, Product: run.Product, AtMost: p.Quantity, Band: graph.In.String(), Affected: true,
			about: float64(p.Quantity) / float64(len(codes)), from: codeSource{p.Unit, p.Seq}}.exactly(len(codes) == 1))
	}
	return out
}

// exactly gives a part its number of cases where it is known.
func (x CodePart) exactly(known bool) CodePart {
	if x.Cases = nil; known {
		n := lots.Nine(x.about)
		x.Cases = &n
	}
	return x
}

// repacked lists what stands on a row of a unit whose run printed nothing: what its stretches were fed.
func (c coder) repacked(p *lots.Packed, run *lots.Run, product *lots.Product) (out []CodePart) {
	node, ok := unitNode(c.tx, p.Unit)
	if !ok {
		return nil
	}
	for _, src := range c.tx.SourcesInto(node.ID) {
		if src.Home != run.Run || src.Kind != graph.Segment && src.Kind != graph.Stretch {
			continue
		}
		got := float64(p.Quantity)
		if src.Known && src.Grade == graph.Content {
			got = src.Qty / float64(max(product.PerCase, 1))
		}
		piece := fedPiece{run: run, row: p, perCase: float64(max(product.PerCase, 1)), got: got, known: src.Known && src.Grade == graph.Content, sure: src.Grade == graph.Content}
		out = append(out, c.piece(piece, src.Node)...)
	}
	return out
}

func unitNode(tx *store.Tx, unit string) (store.Node, bool) {
	nodes := tx.NodesNamed(unit)
	i := slices.IndexFunc(nodes, func(n store.Node) bool { return n.Kind == graph.Unit })
	if i < 0 {
		return store.Node{}, false
	}
	return nodes[i], true
}

// fedPiece is what a unit got from one stretch of a repack.
type fedPiece struct {
	run         *lots.Run
	row         *lots.Packed
	perCase     float64
	got         float64 // cases
	known, sure bool
}

// piece lists the codes in a piece: those printed then, else those of the units fed then.
func (c coder) piece(x fedPiece, node store.Node) (out []CodePart) {
	bare := false
	for _, printed := range codesOf(c.tx, x.run) {
		if !printed.meets(node.Since, node.Until) {
			continue
		}
		if printed.code == "" {
			bare = true
			continue
		}
		out = append(out, CodePart{Code: printed.code, Run: x.run.Run, Product: x.run.Product, AtMost: upTo(x.got), Band: sureness(!x.sure).String(), Affected: true,
			about: x.got, from: codeSource{x.row.Unit, x.row.Seq}}.exactly(node.Kind == graph.Segment && x.known))
	}
	if !bare {
		return out
	}
	sources := c.tx.SourcesInto(node.ID)
	all := c.allOf(node, sources)
	fed, ok := 0.0, true
	units := sources[:0:0]
	for _, s := range sources {
		switch s.Kind {
		case graph.Unit:
			thing, _ := c.tx.Thing(s.Code)
			s.Qty *= float64(max(thing.PerCase, 1)) // a unit is counted in its cases
			units = append(units, s)
			fed, ok = fed+s.Qty, ok && s.Known && s.Grade == graph.Content
		case graph.Fill: // beer that was packed along with them bears no code
			ok = false
		}
	}
	for _, s := range units {
		share := c.shareOf(x, s, len(units), fed/x.perCase, ok)
		out = append(out, c.fedBy(s, share, all || c.hit.node(s.ID))...)
	}
	return out
}

func upTo(cases float64) int64 { return int64(math.Ceil(cases - 1e-6)) }

// allOf reports whether a stretch is affected otherwise than through some of the units fed to it.
func (c coder) allOf(node store.Node, sources []store.Source) bool {
	through := false
	for _, s := range sources {
		if s.Kind != graph.Unit && s.Kind != graph.Segment && c.hit.node(s.ID) {
			return true
		}
		through = through || s.Kind == graph.Unit && c.hit.node(s.ID)
	}
	return !through
}

// share is how many cases of a unit one fed unit gave.
type share struct {
	about       float64
	most        float64
	exact, sure bool
}

// shareOf spreads a piece over the units that were fed in it. How many of its cases are of one of several is known
// only where all that was fed in the piece is on this unit. A pack of another product may have some of each in every case.
func (c coder) shareOf(x fedPiece, s store.Source, units int, fed float64, known bool) share {
	out := share{about: x.got / float64(units), most: x.got, sure: x.sure && s.Grade == graph.Content}
	if !known || !x.known || fed <= 0 {
		return out
	}
	gave := s.Qty / x.perCase
	out.about = x.got * gave / fed
	if units == 1 {
		out.about, out.exact = x.got, true
		return out
	}
	if !c.sameProduct(x.run, s.Code) {
		return out
	}
	out.exact = x.got >= fed-1/x.perCase
	out.most = min(x.got, gave)
	return out
}

func (c coder) sameProduct(run *lots.Run, unit string) bool {
	return !slices.ContainsFunc(rowsOf(c.tx, unit), func(p *lots.Packed) bool {
		from, ok := c.tx.Run(p.Run)
		return !ok || from.Product != run.Product
	})
}

// fedBy lists the codes of a fed unit, with the part that the share has of each.
func (c coder) fedBy(s store.Source, of share, hit bool) []CodePart {
	parts := c.unit(s.Code)
	for i, p := range parts {
		x := &parts[i]
		x.Affected = x.Affected && hit
		x.about = of.about * p.about / float64(max(p.Of, 1))
		entire := p.Sure() && *p.Cases >= float64(p.Of)
		x.AtMost = upTo(min(of.most, float64(p.AtMost)))
		if entire {
			x.AtMost = upTo(of.most)
		}
		if !of.sure {
			x.Band = graph.Possible.String()
		}
		*x = x.exactly(of.exact && (entire || p.Sure() && of.about >= float64(p.Of)))
	}
	return parts
}

// together joins the parts of one code and run.
func together(parts []CodePart) []CodePart {
	slices.SortStableFunc(parts, func(a, b CodePart) int {
		return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(a.Run, b.Run), cmp.Compare(a.Product, b.Product))
	})
	var out []CodePart
	for _, p := range parts {
		n := len(out) - 1
		if n < 0 || out[n].Code != p.Code || out[n].Run != p.Run || out[n].Product != p.Product {
			out = append(out, p)
			continue
		}
		o := &out[n]
		sure := o.Sure() && p.Sure()
		o.AtMost, o.about, o.Affected = min(o.AtMost+p.AtMost, o.Of), o.about+p.about, o.Affected || p.Affected
		if p.Band == graph.In.String() {
			o.Band = p.Band
		}
		*o = o.exactly(sure)
	}
	if len(out) == 0 {
		return nil
	}
	return out
}
