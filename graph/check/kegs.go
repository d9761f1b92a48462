package check

import (
	"cmp"
	"fmt"
	"slices"

	"heeltap/graph"
	"heeltap/graph/trace"
	"heeltap/lots"
)

// fillings lists the fillings of each keg, in order of time.
func (b *book) fillings() map[string][]*lots.Packed {
	out := map[string][]*lots.Packed{}
	for _, x := range b.packed {
		if keg, _, ok := lots.SplitFilling(x.Unit); ok && x.UnitKind == "keg" && b.run[x.Run] != nil {
			out[keg] = append(out[keg], x)
		}
	}
	for _, list := range out {
		slices.SortStableFunc(list, func(a, c *lots.Packed) int {
			return cmp.Compare(b.filledAt(a).From, b.filledAt(c).From)
		})
	}
	return out
}

// filledAt is when a keg was filled: by its row, else by its run's start.
func (b *book) filledAt(x *lots.Packed) lots.When {
	if x.HasFirst {
		return x.First
	}
	return b.run[x.Run].Started
}

// kegFilledWhileOut finds fillings of a keg that had not come back before: a later return clears nothing.
func kegFilledWhileOut(b *book) (out []Hit) {
	back := map[string][]lots.When{}
	for _, r := range b.returns {
		for _, u := range r.Unit.Codes {
			back[u] = append(back[u], r.At)
		}
	}
	fillings := b.fillings()
	for _, keg := range sortedKeys(fillings) {
		list := fillings[keg]
		for i := 1; i < len(list); i++ {
			before, next := list[i-1].Unit, b.run[list[i].Run].Ended
			came := slices.ContainsFunc(back[before], func(at lots.When) bool { return at.From <= next.To })
			if b.sentBy(before, next) && !came {
				h := hit(list[i].Unit, list[i].Seq, "%s was filled while, by the records, %s was still out", list[i].Unit, before)
				h.Mend = "heeltap return --unit " + before + " --quantity 1 --state empty --consignee … --returned-at …"
				out = append(out, h)
			}
		}
	}
	return out
}

// sentBy reports whether a unit was shipped, for certain, by a time.
func (b *book) sentBy(unit string, at lots.When) bool {
	return slices.ContainsFunc(b.shipped[unit], func(s *lots.Shipment) bool { return !s.Unit.OneOf() && s.At.From <= at.To })
}

// kegFilledWhileFull finds fillings of a keg whose last filling was still full and here by the books.
func kegFilledWhileFull(b *book) (out []Hit) {
	fillings := b.fillings()
	for _, keg := range sortedKeys(fillings) {
		list := fillings[keg]
		for i := 1; i < len(list); i++ {
			before := list[i-1].Unit
			if before == list[i].Unit || b.several(before) {
				continue
			}
			if trace.UnitBooksAt(b.tx, before, b.run[list[i].Run].Ended.To).OnHand() > 0 {
				h := hit(list[i].Unit, list[i].Seq, "%s was filled while, by the books, %s was still here with beer in it", list[i].Unit, before)
				h.Mend = "heeltap ship --unit " + before + " --quantity 1 --consignee … --shipped-at …, or heeltap remove " + before + " --quantity 1 --reason … --at …"
				out = append(out, h)
			}
		}
	}
	return out
}

// kegShippedAsOlder finds keg fillings that may have left under the name of an older filling of their keg.
func kegShippedAsOlder(b *book) (out []Hit) {
	for _, x := range b.packed {
		if x.UnitKind != "keg" {
			continue
		}
		for _, s := range trace.ShippedAsOlder(b.tx, x.Unit) {
			h := hit(x.Unit, s.Seq, "shipment %s to %s names %s, but the keg had been filled again by then as %s", s.Shipment, s.Consignee, s.Unit.Code(), x.Unit)
			h.Mend = fmt.Sprintf("heeltap amend %d unit=%s, if that is what left", s.Seq, x.Unit)
			out = append(out, h)
		}
	}
	return out
}

// several reports whether a unit may have been shipped as one of several.
func (b *book) several(unit string) bool {
	return slices.ContainsFunc(b.shipped[unit], func(s *lots.Shipment) bool { return s.Unit.OneOf() })
}

// kegNotWashed finds keg fillings with no time of washing; where no filling has one, it says so once.
func kegNotWashed(b *book) (out []Hit) {
	kegs, first := 0, (*lots.Packed)(nil)
	for _, x := range b.packed {
		if x.UnitKind != "keg" {
			continue
		}
		if kegs++; first == nil {
			first = x
		}
		if !x.Washed {
			h := hit(x.Unit, x.Seq, "nobody noted when %s was washed", x.Unit)
			h.Mend = "heeltap amend " + x.Unit + " washed_at=… washer=…"
			out = append(out, h)
		}
	}
	if kegs > 1 && len(out) == kegs {
		return []Hit{hit("site", first.Seq, "none of %d keg fillings says when the keg was washed", kegs)}
	}
	return out
}

// kegWashInDoubt folds the lineage's finding, with the command that puts each right.
func kegWashInDoubt(b *book) []Hit {
	out := b.folded("keg-wash-in-doubt")
	for i, h := range out {
		out[i].Mend = "heeltap amend " + h.Code + " washed_at=…, if it was washed before it was filled"
	}
	return out
}

// fewestOthers is how many other runs of a product it takes to say what is usual.
const fewestOthers = 5

// usualLotMissing finds runs that lack a kind of lot that nearly all other runs of their product have
// behind them: salts, enzymes, finings, gas, fruit, hops added in the cellar. Malt, hops and yeast at
// large, and parts of the package, have rules of their own.
func usualLotMissing(b *book) (out []Hit) {
	least := b.limit("usual-lot-missing.percent") / 100
	cold := map[int64]bool{} // fills that hops went into
	for l := range b.g.Links() {
		if src := b.g.Node(l.Src); src.Kind == graph.Lot && b.kindOf(src.Code) == "hop" && b.g.Node(l.Dst).Kind == graph.Fill {
			cold[l.Dst] = true
		}
	}
	byProduct := map[string][]*lots.Run{}
	for _, r := range b.runs {
		byProduct[r.Product] = append(byProduct[r.Product], r)
	}
	for _, product := range sortedKeys(byProduct) {
		list := byProduct[product]
		count := map[string]int{}
		has := make([]map[string]bool, len(list))
		for i, r := range list {
			has[i] = b.kindsBehind(r.Run, cold)
			for k := range has[i] {
				count[k]++
			}
		}
		for _, kind := range sortedKeys(count) {
			for i, r := range list {
				if others := len(list) - 1; !has[i][kind] && others >= fewestOthers && float64(count[kind]) >= least*float64(others) {
					out = append(out, hit(r.Run, r.Seq, "run %s of %s has no %s in it; %d of %d others do", r.Run, product, kind, count[kind], others))
				}
			}
		}
	}
	return out
}

// kindsBehind lists the kinds of lots behind a run, in either band.
func (b *book) kindsBehind(run string, cold map[int64]bool) map[string]bool {
	out := map[string]bool{}
	for n := range b.back(run).All() {
		if cold[n.ID] {
			out["hop added in the cellar"] = true
		}
		if n.Kind != graph.Lot {
			continue
		}
		switch kind := b.kindOf(n.Code); {
		case kind == "", kind == "other", kind == "malt", kind == "hop", kind == "yeast", lots.PackagingPart(kind):
		default:
			out[kind] = true
		}
	}
	return out
}
