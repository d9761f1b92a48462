package check

import (
	"cmp"
	"slices"
	"strings"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/lineage"
	"heeltap/lots/store"
)

// filledNotEmpty finds vessels that were filled on top of what was still in them: a bright or serving
// tank, or a brink. Inflows within some hours of each other are one filling, unless something was
// drawn between them.
func filledNotEmpty(b *book) (out []Hit) {
	hours := b.limit("filled-not-empty.hours")
	carried := map[int64]bool{}
	for l := range b.g.Links() {
		if l.Cause == graph.Carried {
			carried[l.Dst] = true
		}
	}
	for _, vessel := range sortedKeys(b.vessels) {
		if k := b.vessels[vessel].Kind; k != "bright" && k != "serving" && k != "brink" {
			continue
		}
		fills := b.tx.NodesOf(vessel)
		for i := 1; i < len(fills); i++ {
			n, before := fills[i], fills[i-1]
			if _, beer := b.byEntry[n.Entry].(*lots.Transfer); !carried[n.ID] || !beer && b.vessels[vessel].Kind != "brink" {
				continue // an addition goes to what is there
			}
			drawn := slices.ContainsFunc(b.draws(vessel), func(d lineage.Draw) bool { return d.Fill == before.Since && d.Qty > 0 && !d.OneOf })
			if before.Total > 0 && (drawn || float64(n.Since-before.Since) > hours*3600) {
				h := hit(n.Code, n.Entry, "%s was filled on %s while it still held the fill of %s", vessel, b.stamp(n.Since), b.stamp(before.Since))
				h.Mend = "heeltap remove " + vessel + " --quantity all --reason loss --at …, if it was empty; heeltap mute filled-not-empty " + n.Code + " --reason … --until …, if it is a blend"
				out = append(out, h)
			}
		}
	}
	return out
}

// additionToEmpty finds additions to a tank with no beer in it, to which none came soon after.
func additionToEmpty(b *book) (out []Hit) {
	hours := b.limit("addition-to-empty.hours")
	for _, x := range b.additions {
		v := b.vessels[x.Vessel]
		if v == nil || !lots.BeerVessel(v.Kind) {
			continue
		}
		arrivals := b.tx.ArrivalsOf(x.Seq)
		if len(arrivals) == 0 {
			continue
		}
		since := arrivals[0].Fill
		fills := b.tx.NodesOf(x.Vessel)
		at := slices.IndexFunc(fills, func(n store.Node) bool { return n.Kind == graph.Fill && n.Since == since })
		if at < 0 || fills[at].Total > b.volumeAdded(x) {
			continue
		}
		come := false
		for _, n := range fills[at+1:] {
			if float64(n.Since-since) > hours*3600 || b.cleanedBetween(x.Vessel, since, n.Since) {
				break
			}
			come = come || b.isBeer(n.Entry)
		}
		if last := b.lastEntered(); !come && (len(fills) > at+1 || float64(last-since) > hours*3600) {
			out = append(out, hit(x.Vessel, x.Seq, "%s was added to %s on %s while it was empty, and no beer followed", strings.Join(x.From.Codes, " or "), x.Vessel, b.stamp(since)))
		}
	}
	return out
}

// volumeAdded is what an addition alone puts into a tank.
func (b *book) volumeAdded(x *lots.Addition) float64 {
	if x.HasVolume {
		return float64(x.Volume)
	}
	if x.Qty.Dim == lots.Volume {
		return float64(x.Qty.N)
	}
	return 0
}

// isBeer reports whether an entry brings beer or wort.
func (b *book) isBeer(entry int64) bool {
	switch x := b.byEntry[entry].(type) {
	case *lots.Brew, *lots.Transfer:
		return true
	case *lots.Circulation:
		return !x.Perhaps
	}
	return false
}

// lastEntered is when the last thing happened that is recorded.
func (b *book) lastEntered() int64 {
	var last int64
	for _, e := range b.entries {
		if e.At != nil {
			last = max(last, e.At.To)
		}
	}
	return last
}

// atOneTime finds a clean of a vessel in the middle of a flow from or into it, and two runs on one line.
func atOneTime(b *book) (out []Hit) {
	cleans := map[string][]*lots.Clean{}
	for _, c := range b.cleans {
		if c.Breaks() && !c.At.Day {
			cleans[c.Subject.Code()] = append(cleans[c.Subject.Code()], c)
		}
	}
	within := func(vessel string, from, until int64, what string) {
		for _, c := range cleans[vessel] {
			if c.At.From > from && c.At.From < until {
				out = append(out, hit(vessel, c.Seq, "%s was cleaned on %s, in the middle of %s", vessel, b.stamp(c.At.From), what))
			}
		}
	}
	for _, x := range b.transfers {
		if x.Started.Day || x.Ended.Day {
			continue
		}
		for _, vessel := range append(slices.Clone(x.From.Codes), x.To) {
			if !x.From.OneOf() || vessel == x.To {
				within(vessel, x.Started.From, x.Ended.From, "transfer "+x.Transfer)
			}
		}
	}
	byLine := map[string][]*lots.Run{}
	for _, r := range b.runs {
		if r.Started.Day || r.Ended.Day {
			continue
		}
		if r.Line != "" {
			byLine[r.Line] = append(byLine[r.Line], r)
		}
		for _, f := range b.feeds[r.Run] {
			if from, until := span(r, f); f.From.Kind == lots.KindVessel && !f.From.OneOf() && !f.Since.Day && !f.Until.Day {
				within(f.From.Code(), from, until, "run "+r.Run)
			}
		}
	}
	for _, line := range sortedKeys(byLine) {
		out = append(out, b.runsAtOnce(line, byLine[line])...)
	}
	return out
}

func (b *book) runsAtOnce(line string, list []*lots.Run) (out []Hit) {
	slices.SortStableFunc(list, func(x, y *lots.Run) int { return cmp.Compare(x.Started.From, y.Started.From) })
	for i := 1; i < len(list); i++ {
		before, r := list[i-1], list[i]
		if r.Started.From < before.Ended.From {
			h := hit(r.Run, r.Seq, "run %s began on %s on %s, but run %s was on it until %s", r.Run, line, b.stamp(r.Started.From), before.Run, b.stamp(before.Ended.From))
			h.Mend = "heeltap amend " + r.Run + " started_at=…, or line=…"
			out = append(out, h)
		}
	}
	return out
}

func (b *book) transfersOff(gain bool) (out []Hit) {
	more, less := 1+b.limit("transfer-gain.percent")/100, 1-b.limit("transfer-loss.percent")/100
	for _, x := range b.transfers {
		went, came := float64(x.Out), float64(x.In)
		switch {
		case gain && came > went*more:
			out = append(out, hit(x.Transfer, x.Seq, "transfer %s: %.5g L left %s, but %.5g L reached %s", x.Transfer, went/1000, strings.Join(x.From.Codes, " or "), came/1000, x.To))
		case !gain && came < went*less:
			out = append(out, hit(x.Transfer, x.Seq, "transfer %s: of the %.5g L that left %s, only %.5g L reached %s", x.Transfer, went/1000, strings.Join(x.From.Codes, " or "), came/1000, x.To))
		}
	}
	return out
}

// tankAge compares when a run began with when the youngest brew that is surely in it was cast out.
func tankAge(b *book) (out []Hit) {
	least, most := b.limit("tank-age.least-days"), b.limit("tank-age.days")
	cast := map[string]*lots.Brew{}
	for _, x := range b.brews {
		if o := cast[x.Brew]; o == nil || x.CastOut.To > o.CastOut.To {
			cast[x.Brew] = x
		}
	}
	for _, r := range b.runs {
		var young *lots.Brew
		for n, band := range b.back(r.Run).All() {
			x := cast[n.Code]
			if n.Kind == graph.Brew && band == graph.In && x != nil && (young == nil || x.CastOut.To > young.CastOut.To) {
				young = x
			}
		}
		if _, units := b.tanksOf(r.Run); young == nil || len(units) > 0 {
			continue
		}
		if days := float64(r.Started.To-young.CastOut.From) / 86400; days < least || days > most {
			out = append(out, hit(r.Run, r.Seq, "run %s began on %s, %.1f days after its youngest brew %s was cast out", r.Run, b.stamp(r.Started.From), days, young.Brew))
		}
	}
	return out
}

// cellarSilent finds stretches of many days in which beer was packed, or shipped on several days, and
// no brew, transfer, addition, crop, clean or removal was recorded.
func cellarSilent(b *book) (out []Hit) {
	days := int64(b.limit("cellar-silent.days"))
	var acts, runs []int64
	shipped := map[int64]int64{}
	for _, e := range b.entries {
		if e.At == nil {
			continue
		}
		switch e.Kind {
		case "brews", "transfers", "additions", "crops", "cleans", "circulations", "brew_inputs":
			acts = append(acts, e.At.From)
		case "runs":
			runs = append(runs, e.At.From)
		case "shipments":
			shipped[e.At.From/86400] = e.At.From
		}
	}
	if len(acts) == 0 {
		return nil
	}
	slices.Sort(acts)
	acts = append(acts, b.lastEntered()+1)
	for i := 1; i < len(acts); i++ {
		from, until := acts[i-1], acts[i]
		if until-from <= days*86400 {
			continue
		}
		in := func(at int64) bool { return at > from+86400 && at < until }
		n, sent := 0, 0
		for _, at := range runs {
			if in(at) {
				n++
			}
		}
		for _, at := range shipped {
			if in(at) {
				sent++
			}
		}
		if n > 0 && n+sent >= 3 {
			out = append(out, hit("site", 0, "from %s to %s nothing was recorded in the cellar; runs: %d, days with shipments: %d", b.day(from), b.day(until), n, sent))
		}
	}
	return out
}

func (b *book) cleanedBetween(code string, from, until int64) bool {
	return slices.ContainsFunc(b.cleans, func(c *lots.Clean) bool {
		return c.Subject.Code() == code && c.Breaks() && c.At.To >= from && c.At.From <= until
	})
}
