package check

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/graph/balance"
	"heeltap/lots"
	"heeltap/lots/allergens"
)

func cellarRules() []Rule {
	return []Rule{
		{"brew-lacks-input", Misses, "a trace forward from the missing lots does not reach this brew", "heeltap input BREW --from LOT --quantity …", brewLacksInput},
		{"extract-impossible", Widens, "more extract than was mashed, or far less: a lot, a weight or a volume is missing or wrong", "see the arithmetic (heeltap balance BREW), then correct what is wrong", extractImpossible},
		{"turns-far-apart", Widens, "brews days apart in one fermenter: the fermenter may be wrong, or the second sits on a heel", "heeltap amend ENTRY into=…", turnsFarApart},
		{"drawn-above-content", Misses, "more came out than went in: a top-up was not recorded, and nobody knows what it was", "find the inflow and record it, such as heeltap transfer --from TANK --to VESSEL --out … --in … --started-at … --ended-at …", func(b *book) []Hit { return b.folded("drawn-above-content") }},
		{"nothing-there", Misses, "something was drawn from an empty vessel: a vessel or a time is wrong", "heeltap amend ENTRY from=…, or its time", func(b *book) []Hit { return b.folded("nothing-there") }},
		{"break-in-doubt", Misses, "a clean is recorded while the vessel was not empty: it may not have been a clean break", "heeltap amend ENTRY at=…, if the time of the clean is wrong; else record the inflow", func(b *book) []Hit { return b.folded("break-in-doubt") }},
		{"cleaned-with-beer-in", Widens, "much of the fill was still there at the clean: its time or vessel is wrong, or a flow is missing", "heeltap remove VESSEL --quantity all --reason loss --at …, if it was poured away; else record the flow", cleanedWithBeerIn},
		{"no-clean-between", Widens, "the next fill may contain what was there before", "record the clean: heeltap clean VESSEL --method cip --at …", noCleanBetween},
		{"clean-not-verified", Widens, "an unverified clean is not a clean break", "heeltap amend ENTRY verified=yes, if it was", cleanNotVerified},
		{"line-after-allergen", Misses, "an allergen may be carried over to a product that does not declare it", "record the clean, if it was cleaned in between: heeltap clean LINE --method cip --at …", lineAfterAllergen},
		{"line-residue-unknown", Widens, "an allergen left in the line may be in a product that does not declare it: it counts as if it were until somebody says", "heeltap amend LINE residue=…, which is yes or no", lineResidueUnknown},
		{"first-fill-unproven", Misses, "a hired vessel, or one of another site, came with no clean on record: what it held before may be in the beer", "record the clean it came with: heeltap clean VESSEL --method cip --at …", firstFillUnproven},
		{"no-time-of-day", Widens, "only the date is known, and beer left that day: nobody can tell which came first", "heeltap amend ENTRY at=…, with the time of day", noTimeOfDay},
		{"filled-not-empty", Misses, "what was left is in the next fill: the vessel is wrong, it was emptied and that was not recorded, or it is a blend that nobody knows of", "heeltap remove VESSEL --quantity all --reason loss --at …, if it was empty; heeltap mute filled-not-empty CODE --reason … --until …, if it is a blend", filledNotEmpty},
		{"addition-to-empty", Misses, "no beer ever joined it: the vessel or the time is wrong, so the beer it really went into is missed", "heeltap amend ENTRY at=…, or vessel=…", additionToEmpty},
		{"at-one-time", Misses, "both cannot be true: a time is wrong, and so is what touched what", "heeltap amend ENTRY at=…, or correct the other row", atOneTime},
		{"transfer-gain", Misses, "more arrived than left: another inflow was not recorded", "heeltap amend TRANSFER in=…, or out=…", func(b *book) []Hit { return b.transfersOff(true) }},
		{"transfer-loss", Slows, "much was lost on the way: another transfer may be missing", "heeltap amend TRANSFER in=…, or out=…", func(b *book) []Hit { return b.transfersOff(false) }},
		{"cellar-silent", Misses, "beer was packed or shipped while nothing happened in the cellar: the cellar sheets have not been entered", "enter what was done in the cellar", cellarSilent},
		{"lot-in-vessel", Slows, "it names a lot that went into a vessel: what was really drawn is whatever the vessel held", "heeltap amend ENTRY from=…, with the vessel that held it", func(b *book) []Hit { return b.folded("lot-in-vessel") }},
	}
}

// brewLacksInput looks for malt, hops and yeast: in the brew, or added where it was cast into.
func brewLacksInput(b *book) (out []Hit) {
	has := b.kindsOfBrews()
	done := map[string]bool{}
	for _, x := range b.brews {
		if done[x.Brew] {
			continue
		}
		done[x.Brew] = true
		var lacks []string
		for _, k := range []string{"malt", "hop", "yeast"} {
			if !has[x.Brew][k] && !shared(b, x, k, has) {
				lacks = append(lacks, k)
			}
		}
		if len(lacks) > 0 {
			out = append(out, hit(x.Brew, x.Seq, "brew %s has no %s", x.Brew, strings.Join(lacks, " and no ")))
		}
	}
	return out
}

// kindsOfBrews tells for each brew the kinds of lots in it, or added while it can have been where it was cast into.
func (b *book) kindsOfBrews() map[string]map[string]bool {
	has := map[string]map[string]bool{}
	mark := func(brew, kind string) {
		if has[brew] == nil {
			has[brew] = map[string]bool{}
		}
		has[brew][kind] = true
	}
	for _, x := range b.inputs {
		for _, k := range b.kindsFrom(x.From) {
			mark(x.Brew, k)
		}
	}
	ends := map[string][]*lots.Brew{}
	for _, x := range b.brews {
		ends[x.Into] = append(ends[x.Into], x)
	}
	late := func(vessel string, at lots.When, kind string) {
		for _, x := range ends[vessel] { // the brews of this vessel that can have been in it then: within a month
			if d := at.To - x.CastOut.From; d > -2*86400 && d < 31*86400 {
				mark(x.Brew, kind)
			}
		}
	}
	for _, x := range b.additions {
		for _, k := range b.kindsFrom(x.From) {
			late(x.Vessel, x.At, k)
		}
	}
	for _, x := range b.transfers {
		for _, k := range b.kindsFrom(x.From) {
			if k == "yeast" {
				late(x.To, x.Started, k)
			}
		}
	}
	return has
}

// kindsFrom lists the kinds of lots that something comes from; a store stands for what it usually holds.
func (b *book) kindsFrom(from lots.Ref) []string {
	var out []string
	for _, c := range from.Codes {
		if from.Kind == lots.KindLot {
			out = append(out, b.kindOf(c))
		}
		if v := b.vessels[c]; from.Kind == lots.KindVessel && v != nil {
			out = append(out, map[string]string{"silo": "malt", "brink": "yeast", "fermenter": "yeast"}[v.Kind])
		}
	}
	return out
}

// shared reports whether another turn of the same fermenter, within two days, brought the yeast.
func shared(b *book, x *lots.Brew, kind string, has map[string]map[string]bool) bool {
	if kind != "yeast" {
		return false
	}
	return slices.ContainsFunc(b.brews, func(o *lots.Brew) bool {
		d := o.CastOut.From - x.CastOut.From
		return o.Into == x.Into && d > -3*86400 && d < 3*86400 && has[o.Brew][kind]
	})
}

func extractImpossible(b *book) (out []Hit) {
	done := map[string]bool{}
	for _, x := range b.brews {
		if done[x.Brew] || x.Plato == 0 {
			continue
		}
		done[x.Brew] = true
		list, err := balance.Of(b.tx, x.Brew, balance.Period{})
		if err != nil {
			continue
		}
		for _, bal := range list {
			if bal.Kind == "extract" && bal.Wrong {
				out = append(out, hit(x.Brew, x.Seq, "brew %s: %s", x.Brew, strings.Join(bal.Notes, "; ")))
			}
		}
	}
	return out
}

func turnsFarApart(b *book) (out []Hit) {
	most := b.limit("turns-far-apart.hours")
	byVessel := map[string][]*lots.Brew{}
	for _, x := range b.brews {
		byVessel[x.Into] = append(byVessel[x.Into], x)
	}
	for _, vessel := range sortedKeys(byVessel) {
		list := byVessel[vessel]
		slices.SortFunc(list, func(a, c *lots.Brew) int { return cmp.Compare(a.CastOut.From, c.CastOut.From) })
		for i := 1; i < len(list); i++ {
			hours := float64(list[i].CastOut.From-list[i-1].CastOut.From) / 3600
			if hours > most && b.carriedOver(vessel, list[i-1].CastOut.From, list[i].CastOut.From) {
				out = append(out, hit(list[i].Brew, list[i].Seq, "%s went into %s %.0f hours after %s, with nothing drawn and no clean between", list[i].Brew, vessel, hours, list[i-1].Brew))
			}
		}
	}
	return out
}

// carriedOver reports whether a vessel was neither cleaned nor drawn on between two moments.
func (b *book) carriedOver(vessel string, from, until int64) bool {
	for _, c := range b.cleans {
		if c.Subject.Code() == vessel && c.At.From >= from && c.At.To <= until {
			return false
		}
	}
	for _, d := range b.draws(vessel) {
		if d.Start >= from && d.Start < until && d.Qty > 0 {
			return false
		}
	}
	return true
}

// cleanedWithBeerIn takes the lineage's unrecorded losses where they are much of the fill.
func cleanedWithBeerIn(b *book) (out []Hit) {
	share := b.limit("cleaned-with-beer-in.percent") / 100
	for _, h := range b.folded("unrecorded-loss") {
		vessel, _, _ := strings.Cut(h.Code, "@")
		drawn, total := 0.0, 0.0
		for _, n := range b.tx.NodesNamed(h.Code) {
			total = n.Total
			for _, d := range b.draws(vessel) {
				if d.Fill == n.Since {
					drawn += d.Qty
				}
			}
		}
		if total > 0 && (total-drawn)/total > share {
			out = append(out, h)
		}
	}
	return out
}

// noCleanBetween finds the fills that may hold what was there before by a heel.
func noCleanBetween(b *book) (out []Hit) {
	for l := range b.g.Links() {
		if l.Cause != graph.Heel {
			continue
		}
		to := b.g.Node(l.Dst)
		vessel, _, _ := strings.Cut(to.Code, "@")
		if v := b.vessels[vessel]; v == nil || v.Kind == "gas" || to.Kind != graph.Fill {
			continue
		}
		h := hit(to.Code, l.Entry, "%s was filled with no clean since %s", vessel, b.g.Node(l.Src).Code)
		h.Mend = "heeltap clean " + vessel + " --method cip --at …, if it was cleaned"
		out = append(out, h)
	}
	return out
}

func cleanNotVerified(b *book) (out []Hit) {
	for _, c := range b.cleans {
		if !c.Verified && (c.Method == "cip" || c.Method == "manual") {
			h := hit(c.Subject.Code(), c.Seq, "the clean of %s on %s was not verified", c.Subject.Code(), b.stamp(c.At.From))
			out = append(out, h)
		}
	}
	return out
}

// lineAfterAllergen finds what a run may hold only by what went before it through a line, a hose or a
// machine that was not cleaned since, and that its label does not name: by the lots in it, and by the
// label of the run before it on its line.
func lineAfterAllergen(b *book) (out []Hit) {
	told := map[[2]string]bool{}
	for _, r := range b.runs {
		p := b.products[r.Product]
		if p == nil {
			continue
		}
		all := b.undeclared(p, b.back(r.Run))
		if len(all) == 0 {
			continue
		}
		without := b.undeclared(p, b.backWithout(r.Run, noPath))
		for _, word := range sortedKeys(all) {
			if _, ok := without[word]; ok {
				continue // undeclared-allergen tells of it
			}
			told[[2]string{r.Run, word}] = true
			out = append(out, hit(r.Run, r.Seq, "%s may contain %s from lot %s%s, with no clean between, and its label does not say so", r.Run, word, all[word].lot, b.through(r.Run, all[word].node)))
		}
	}
	byLine := map[string][]*lots.Run{}
	for _, r := range b.runs {
		if l := b.lines[r.Line]; l != nil && l.MayKeepResidue() {
			byLine[r.Line] = append(byLine[r.Line], r)
		}
	}
	for _, line := range sortedKeys(byLine) {
		list := byLine[line]
		slices.SortStableFunc(list, func(a, c *lots.Run) int { return cmp.Compare(a.Started.From, c.Started.From) })
		for i := 1; i < len(list); i++ {
			before, after := b.products[list[i-1].Product], b.products[list[i].Product]
			if before == nil || after == nil || b.cleanedBetween(line, list[i-1].Ended.From, list[i].Started.To) {
				continue
			}
			for _, a := range before.Declares {
				if !allergens.Declared(after.Declares, a) && !told[[2]string{list[i].Run, a}] {
					out = append(out, hit(list[i].Run, list[i].Seq, "%s was packed on %s after %s, which contains %s, with no clean between", list[i].Run, line, list[i-1].Run, a))
				}
			}
		}
	}
	return out
}

// noPath leaves out what is carried over by hoses, machines and lines.
func noPath(_, _ graph.Node, l graph.Link) bool { return l.Cause != graph.Path }

// through names what a chain passed with no clean, and what had passed before.
func (b *book) through(run string, lot int64) string {
	steps := b.back(run).Why(lot)
	for i, s := range steps {
		item, _, ok := strings.Cut(s.Node.Code, "@")
		if i > 0 && ok && s.Node.Kind == graph.Fill && s.Link.Cause == graph.Path && (b.lines[item] != nil || b.vessels[item] != nil && b.vessels[item].Kind == "path") {
			return ", from what went through " + item + " before it"
		}
	}
	return ""
}

// noTimeOfDay finds acts on a vessel of which only the date is known, on a day on which it was drawn on.
func noTimeOfDay(b *book) (out []Hit) {
	see := func(vessel string, at lots.When, entry int64, what string) {
		if !at.Day {
			return
		}
		for _, d := range b.draws(vessel) {
			if d.Entry != entry && d.End >= at.From && d.Start <= at.To {
				out = append(out, hit(vessel, entry, "%s on %s has no time of day, and beer left %s that day", what, b.day(at.From), vessel))
				return
			}
		}
	}
	for _, x := range b.additions {
		see(x.Vessel, x.At, x.Seq, "the addition to "+x.Vessel)
	}
	for _, x := range b.cleans {
		see(x.Subject.Code(), x.At, x.Seq, "the clean of "+x.Subject.Code())
	}
	return out
}
