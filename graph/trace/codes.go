package trace

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// CodePart is a date code that stands on a unit, and on how many of its cases or kegs.
type CodePart struct {
	Code    string   `json:"code"`
	Run     string   `json:"run"`     // that printed it
	Product string   `json:"product"` // of that run
	Cases   *float64 `json:"cases"`   // cases or kegs; null where the records do not tell how many
	AtMost  int64    `json:"at_most"`
	Of      int64    `json:"of"` // all of the unit
	Band    string   `json:"band"`

	// Affected is false where an answer reaches the unit, but nothing that bears the code.
	Affected bool `json:"affected"`

	about float64    // estimate of the cases, by what was fed
	from  codeSource // where it was printed
}

// codeSource is where a code was printed: the window of the unit that was fed.
type codeSource struct {
	unit  string
	entry int64 // of the unit's row
}

// Sure reports whether the records tell how many cases bear the code.
func (c CodePart) Sure() bool { return c.Cases != nil }

// Text says how much of the unit bears the code, such as "20 of 60 cases"; empty where all of it does.
func (c CodePart) Text(noun string) string {
	if c.Sure() && *c.Cases >= float64(c.Of) && c.Band == graph.In.String() {
		return ""
	}
	most, noun := "", noun+"s"
	if !c.Sure() || c.Band != graph.In.String() {
		most = "at most "
	}
	if c.Of == 1 {
		noun = noun[:len(noun)-1]
	}
	return fmt.Sprintf("%s%s of %s %s", most, lots.Figure(float64(c.AtMost)), lots.Figure(float64(c.Of)), noun)
}

// CodesOfRun lists the date codes that stand on what a run packed. A stretch of a repack in which nothing
// was printed bears the codes of the units that were fed to it.
func CodesOfRun(tx *store.Tx, run *lots.Run) []string {
	return sortedSet(codesOfRun(tx, run, map[string]bool{}))
}

func codesOfRun(tx *store.Tx, run *lots.Run, seen map[string]bool) (out []string) {
	bare := false
	for _, c := range codesOf(tx, run) {
		if c.code == "" {
			bare = true
			continue
		}
		out = append(out, c.code)
	}
	if !bare || seen[run.Run] {
		return out
	}
	seen[run.Run] = true
	for _, unit := range fedUnits(tx, run.Run) {
		for _, p := range rowsOf(tx, unit) {
			if from, ok := tx.Run(p.Run); ok {
				out = append(out, codesOfRun(tx, from, seen)...)
			}
		}
	}
	return out
}

// CodesOfUnit lists the date codes that stand on a unit.
func CodesOfUnit(tx *store.Tx, unit string) []string {
	var out []string
	for _, c := range codesOn(tx, unit, whole) {
		out = append(out, c.Code)
	}
	return sortedSet(out)
}

// CodesOfRow lists the date codes that stand on one row of a unit.
func CodesOfRow(tx *store.Tx, p *lots.Packed) (out []string) {
	for _, c := range CodePartsOfRow(tx, p) {
		out = append(out, c.Code)
	}
	return sortedSet(out)
}

// CodePartsOfRow lists the date codes that stand on one row of a unit, each with its part of the row's cases or kegs.
func CodePartsOfRow(tx *store.Tx, p *lots.Packed) []CodePart {
	parts := coder{tx, whole, map[string]bool{p.Unit: true}}.row(p)
	for i := range parts {
		parts[i].Of = p.Quantity
	}
	return together(parts)
}

// CodesText names codes; where one does not stand on all of the unit, with the part that it has, such as
// "BB 2027-03-10 (20 of 60 cases)".
func CodesText(parts []CodePart, noun string) string {
	var out []string
	for _, c := range ByCode(parts) {
		text := c.Code
		if part := c.Text(noun); part != "" {
			text += " (" + part + ")"
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// ByCode joins the parts of one code, whatever run printed it.
func ByCode(parts []CodePart) []CodePart {
	parts = slices.Clone(parts)
	for i := range parts {
		parts[i].Run, parts[i].Product = "", ""
	}
	return together(parts)
}

// CodePartsOf lists the date codes on a unit, each with its part of the unit's cases or kegs.
func CodePartsOf(tx *store.Tx, unit string) []CodePart { return codesOn(tx, unit, whole) }

// Bare reports whether a run has a stretch without a date code of its own.
func Bare(tx *store.Tx, run *lots.Run) bool {
	return slices.ContainsFunc(codesOf(tx, run), func(c coded) bool { return c.code == "" })
}

// fedUnits are the units that were fed to a run, also as one of several.
func fedUnits(tx *store.Tx, run string) (out []string) {
	for _, rec := range tx.Touching(run) {
		if f, ok := rec.(*lots.Feed); ok && f.Run == run && f.From.Kind == lots.KindUnit {
			out = append(out, f.From.Codes...)
		}
	}
	return sortedSet(out)
}

// rowsOf are the rows of a unit: one for each run that stands on it.
func rowsOf(tx *store.Tx, unit string) (out []*lots.Packed) {
	for _, rec := range tx.Touching(unit) {
		if p, ok := rec.(*lots.Packed); ok && p.Unit == unit {
			out = append(out, p)
		}
	}
	return out
}

// reaches tells what an answer reaches: of nodes, and of runs by their segments.
type reaches struct {
	node func(id int64) bool
	run  func(code string) bool
}

// whole is the view of who asks for all that stands on a unit.
var whole = reaches{func(int64) bool { return true }, func(string) bool { return true }}

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
