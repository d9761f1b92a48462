package demo

import (
	"fmt"
	"time"
)

// beer is how a beer is made.
type beer struct {
	name    string
	brews   int
	strain  int // of b.yeast
	weeks   int // in the fermenter
	vessels []string
	plato   string
	hose    string
}

var (
	ales   = []string{"FV1", "FV2", "FV3", "FV4", "FV5", "FV6"}
	lagers = []string{"FV7", "FV8", "FV9"}
	pale   = beer{"Skerry Pale", 2, 0, 2, ales, "11.8", "HOSE-1"}
	stout  = beer{"Gannet Stout", 2, 1, 2, ales, "15.2", "HOSE-2"}
	bitter = beer{"Lamplight Bitter", 2, 1, 2, ales, "10.4", "HOSE-2"}
	lager  = beer{"Slack Water Lager", 3, 2, 3, lagers, "11.2", "HOSE-1"}
)

// batch is beer that ferments together.
type batch struct {
	beer
	n    int // of its beer, from 1
	fv   string
	left float64 // hL in the fermenter
	age  int     // generation of its yeast, 1 for a new culture
}

// strain is a line of yeast that is cropped and pitched again.
type strain struct {
	item, brink string
	generation  int // of the crop in the brink; 0 where it holds none to pitch
}

// plan starts two batches a week, until some weeks before the end.
func (b *book) plan(weeksBefore int) {
	b.yeast = [4]strain{{item: "YEAST-ALE", brink: "YB1"}, {item: "YEAST-ALE", brink: "YB2"}, {item: "YEAST-LAG", brink: "YB3"}, {item: "YEAST-ALE", brink: "YB4"}}
	order := []beer{pale, lager, stout, pale, bitter, lager, pale}
	made := map[string]int{}
	for n := range 2 * (b.days/7 - weeksBefore) {
		x := order[n%len(order)]
		made[x.name]++
		key := x.vessels[0]
		made[key]++
		fv := x.vessels[(made[key]-1)%len(x.vessels)]
		t := &batch{beer: x, n: made[x.name], fv: fv}
		if x.name == pale.name && t.n%2 == 0 {
			t.strain = 3 // two lines of yeast take turns with the beer brewed most
		}
		b.later(b.day(n/2*7+n%2*3, 6, 0), func(at time.Time) { b.brewBatch(t, at) })
	}
	for week := range b.days / 7 {
		b.later(b.day(week*7+4, 16, 0), b.taproom)
		if week%4 == 3 {
			b.later(b.day(week*7+5, 10, 0), b.countStock)
		}
	}
	for month := range b.days / 60 {
		b.later(b.day(month*60, 11, 0), func(at time.Time) { b.receive("CO2", at) })
	}
}

// brewBatch casts a batch's brews into its fermenter and pitches the first.
func (b *book) brewBatch(t *batch, at time.Time) {
	b.fermenting = append(b.fermenting, t)
	for i := range t.brews {
		start := at.Add(time.Duration(i) * 7 * time.Hour)
		if i == 2 {
			start = at.AddDate(0, 0, 1)
		}
		b.later(start, func(at time.Time) { b.brew(t, i == 0, at) })
	}
	ready := at.AddDate(0, 0, 7*t.weeks-1).Add(3 * time.Hour)
	if t.name == pale.name && t.n%2 == 1 {
		b.later(at.AddDate(0, 0, 8).Add(2*time.Hour), func(at time.Time) { b.rackKegs(t, at) })
	}
	if t.name == pale.name {
		b.later(at.AddDate(0, 0, 8).Add(7*time.Hour), func(at time.Time) { b.dryHop(t, at) })
	}
	b.later(at.AddDate(0, 0, 7).Add(4*time.Hour), func(at time.Time) { b.crop(t, at) })
	if t.name == lager.name && t.n == 6 {
		b.later(at.AddDate(0, 0, 8).Add(5*time.Hour), func(at time.Time) { b.even(t, at) })
	}
	b.later(ready, func(at time.Time) { b.rack(t, at) })
}

func (b *book) brew(t *batch, pitch bool, at time.Time) {
	code := b.number("B", at)
	b.drawMalt(380, at)
	volume := 19.6 + float64(b.rng.IntN(9))/10
	cast := at.Add(6*time.Hour + time.Duration(b.rng.IntN(30))*time.Minute)
	b.write(at, brewer, "brews", "brew", code, "beer", t.name, "started_at", b.at(at), "cast_out_at", b.at(cast), "into", t.fv, "volume", num(volume), "unit", "hL", "plato", t.plato)
	t.left += volume
	use := func(from string, quantity float64, unit, stage string) {
		b.write(at, brewer, "brew_inputs", "brew", code, "from", from, "quantity", num(quantity), "unit", unit, "stage", stage)
	}
	use("SILO-1", 380, "kg", "mash")
	uses := func(item string, quantity float64, unit, stage string) {
		for _, p := range b.take(item, quantity, at) {
			use(p.lot, p.quantity, unit, stage)
		}
	}
	uses("GYPSUM", 400, "g", "mash")
	uses("FININGS", 60, "g", "boil")
	b.bitter(code, at)
	uses("HOP-AROMA", 4, "kg", "whirlpool")
	switch t.name {
	case stout.name:
		uses("MALT-DARK", 45, "kg", "mash")
		uses("LACTOSE", 70, "kg", "boil")
	case lager.name:
		uses("MALT-PILS", 110, "kg", "mash")
		uses("ENZYME", 60, "g", "mash")
	case pale.name:
		uses("OATS", 25, "kg", "mash")
	}
	if pitch {
		b.pitch(t, code, at)
	}
}

// bitter weighs the bittering hops. Once nobody noted whether the old box or the new one was used.
func (b *book) bitter(code string, at time.Time) {
	parts := b.take("HOP-BIT", 3, at)
	if len(parts) == 2 && b.times("hop box") == 1 {
		b.write(at, brewer, "brew_inputs", "brew", code, "from", parts[0].lot+"|"+parts[1].lot, "quantity", "3", "unit", "kg", "stage", "boil")
		return
	}
	for _, p := range parts {
		b.write(at, brewer, "brew_inputs", "brew", code, "from", p.lot, "quantity", num(p.quantity), "unit", "kg", "stage", "boil")
	}
}

const oldest = 8 // generations, then a new culture is taken

// pitch uses the brink's crop, or a new culture where there is none.
func (b *book) pitch(t *batch, brew string, at time.Time) {
	s := &b.yeast[t.strain]
	from, litres := s.brink, 20*float64(t.brews)
	if t.age = s.generation; t.age == 0 {
		from, t.age = b.one(s.item, litres, at), 1
	}
	s.generation = 0
	b.write(at, brewer, "brew_inputs", "brew", brew, "from", from, "quantity", num(litres), "unit", "L", "stage", "pitch")
}

// crop takes yeast for the next batch of the strain into its brink, which is emptied and cleaned before.
func (b *book) crop(t *batch, at time.Time) {
	s := &b.yeast[t.strain]
	if t.age >= oldest {
		return
	}
	b.write(at.Add(-2*time.Hour), cellar, "removals", "subject", s.brink, "quantity", "all", "at", b.at(at.Add(-2*time.Hour)), "reason", "dumped")
	if b.times("brink clean") != 23 { // one time the clean was done, or forgotten: nobody knows
		b.clean(s.brink, at.Add(-time.Hour), "")
	}
	b.write(at, cellar, "crops", "lot", b.number("Y", at), "item", s.item, "vessel", t.fv, "quantity", "80", "unit", "L", "at", b.at(at), "into", s.brink)
	s.generation = t.age + 1
	t.left -= 0.8
}

func (b *book) clean(vessel string, at time.Time, ref string) {
	b.write(at, cellar, "cleans", "vessel", vessel, "at", b.at(at), "method", "cip", "verified", "yes", "ref", ref)
}

// dryHop adds the late hops, after what goes into kegs has left.
func (b *book) dryHop(t *batch, at time.Time) {
	when := b.at(at)
	ref := fmt.Sprintf("dry-hop-%02d", t.n)
	if t.n == 9 {
		when = b.date(at) // the time was not noted
	}
	for _, p := range b.take("HOP-LATE", 12, at) {
		b.write(at, cellar, "additions", "vessel", t.fv, "from", p.lot, "quantity", num(p.quantity), "unit", "kg", "at", when, "purpose", "dry hop", "ref", ref)
		ref += "-b"
	}
}

// even joins a lager with the one before it, which had turned out darker.
func (b *book) even(t *batch, at time.Time) {
	for _, x := range b.fermenting {
		if x.name == t.name && x != t && x.left > 30 {
			b.write(at, cellar, "circulations", "vessels", x.fv+";"+t.fv, "started_at", b.at(at), "ended_at", b.at(at.Add(3*time.Hour)), "ref", "colour evened out")
		}
	}
}

// bright gives the next bright tank, cleaned.
func (b *book) bright(at time.Time) string {
	b.nextBright++
	bt := fmt.Sprintf("BT%d", 1+b.nextBright%4)
	if bt == b.dirty {
		b.dirty = "" // filled over what was left
		return bt
	}
	b.clean(bt, at.Add(-90*time.Minute), "")
	return bt
}

// move transfers beer to a bright tank; what it passes is cleaned before, but for one time.
func (b *book) move(t *batch, bt string, out float64, at time.Time) float64 {
	via := t.hose
	if t.hose == "HOSE-1" {
		via += ";CENTRIFUGE"
		b.clean("CENTRIFUGE", at.Add(-40*time.Minute), "")
	}
	if t.name != bitter.name || t.n != 4 {
		b.clean(t.hose, at.Add(-45*time.Minute), "")
	}
	in := out - 0.2
	b.write(at, cellar, "transfers", "transfer", b.number("T", at), "from", t.fv, "to", bt, "out", num(out), "in", num(in), "unit", "hL",
		"started_at", b.at(at), "ended_at", b.at(at.Add(time.Duration(out*2)*time.Minute)), "via", via)
	t.left -= out
	return in
}

// turn waits until the cellar hand has moved the batch before.
func (b *book) turn(at time.Time) time.Time {
	if b.free["cellar"].After(at) {
		at = b.free["cellar"]
	}
	b.free["cellar"] = at.Add(4 * time.Hour)
	return at
}

// rackKegs moves the part of a pale batch that goes into kegs, before it is dry hopped.
func (b *book) rackKegs(t *batch, at time.Time) {
	at = b.turn(at)
	bt := b.bright(at)
	in := b.move(t, bt, 8, at)
	b.later(at.Add(22*time.Hour), func(at time.Time) { b.fillKegs(t, bt, "PALE-KEG", in, at, true) })
}

// rack empties a fermenter into a bright tank and has it packed the next day.
func (b *book) rack(t *batch, at time.Time) {
	at = b.turn(at)
	bt := b.bright(at)
	in := b.move(t, bt, t.left-1, at)
	if t.name == bitter.name && t.n == 8 {
		in += b.blend(bt, at.Add(2*time.Hour))
	}
	if t.name != bitter.name || t.n != 6 { // once nobody wrote down that the rest went down the drain
		b.write(at.Add(3*time.Hour), cellar, "removals", "subject", t.fv, "quantity", "all", "at", b.at(at.Add(3*time.Hour)), "reason", "dumped")
	}
	b.clean(t.fv, at.Add(5*time.Hour), "")
	t.left = 0
	b.later(at.Add(23*time.Hour), func(at time.Time) { b.packBatch(t, bt, in, at) })
}

// blend makes up a bright tank with beer from another fermenter. The cellar sheet lay in a drawer for ten weeks.
func (b *book) blend(bt string, at time.Time) float64 {
	for i := len(b.fermenting) - 1; i >= 0; i-- {
		t := b.fermenting[i]
		if t.name != pale.name || t.left < 30 {
			continue
		}
		b.clean("HOSE-2", at.Add(-30*time.Minute), "")
		e := b.write(at, cellar, "transfers", "transfer", b.number("T", at), "from", t.fv, "to", bt, "out", "1.5", "in", "1.5", "unit", "hL",
			"started_at", b.at(at), "ended_at", b.at(at.Add(10*time.Minute)), "via", "HOSE-2")
		e.Recorded = e.Recorded.AddDate(0, 0, 70)
		t.left -= 1.5
		return 1.5
	}
	panic("nothing to blend with")
}

func num(x float64) string {
	return fmt.Sprint(float64(int64(x*1000+0.5)) / 1000)
}
