package graph

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// brewery makes a lineage of the shape that breweries have, large enough to measure, the same every
// time. Its sites work in turn, so that what one site made lies scattered among the others' nodes.
// The numbers of a site: some 250 brews a year in tanks of three to four, a dry hop, two to three runs a tank
// over a heel every tenth time, two to four segments a run, 35 to 45 pallets a run and some of them of two
// segments; malt lots for 5 to 20 brews, hop lots for 20 to 60, packaging lots for 2 to 6 segments;
// yeast cropped for up to three pitches and eight generations. The first site has a malt silo that
// never runs empty, so its first delivery is in everything after it.
type brewery struct {
	rng    *rand.Rand
	nodes  []Node
	links  []Link
	sites  []site
	hops   []int64 // the hop lots in order
	first  int64   // the first delivery into the silo
	pallet int64   // the last one made
}

type site struct {
	hasSilo          bool
	silo             int64
	malt, hops       supply
	cans, ends, cold supply
	yeast            []culture
	bright           [4]int64 // the last fill of each bright tank
	batches          int
}

// supply is a lot and how often it is still used.
type supply struct {
	lot  int64
	left int
}

type culture struct {
	supply
	generation int
}

// newBrewery makes at least so many links.
func newBrewery(links int) *brewery {
	b := &brewery{rng: rand.New(rand.NewPCG(7, 11)), sites: make([]site, 4)}
	b.sites[0].hasSilo = true
	for turn := 0; len(b.links) < links; turn++ {
		b.batch(&b.sites[turn%len(b.sites)])
	}
	return b
}

func (b *brewery) add(kind Kind, code string) int64 {
	id := int64(len(b.nodes) + 1)
	b.nodes = append(b.nodes, Node{ID: id, Kind: kind, Code: fmt.Sprintf("%s%d", code, id), Total: 1000, Den: 1000})
	return id
}

func (b *brewery) join(src, dst int64, cause Cause, qty float64) {
	l := Link{Src: src, Dst: dst, Cause: cause, Qty: qty, Entry: dst}
	if math.IsNaN(qty) && cause != Cropped {
		l.Grade = Contact
	}
	b.links = append(b.links, l)
}

// use takes from a supply, beginning a new lot where the last is used up.
func (b *brewery) use(s *supply, code string, least, most int) (lot int64, fresh bool) {
	if s.left == 0 {
		*s, fresh = supply{b.add(Lot, code), least + b.rng.IntN(most-least+1)}, true
	}
	s.left--
	return s.lot, fresh
}

// batch fills a tank, lets it ferment and packs it.
func (b *brewery) batch(s *site) {
	var fill int64
	for range 3 + b.rng.IntN(2) {
		brew, next := b.brew(s), b.add(Fill, "F")
		b.join(brew, next, Moved, 1000)
		if fill != 0 {
			b.join(fill, next, Carried, 1000)
		}
		fill = next
	}
	pitched := b.add(Fill, "F")
	b.join(fill, pitched, Carried, 1000)
	generation := b.pitch(s, pitched)
	crop := culture{supply{b.add(Lot, "C"), 3}, generation + 1}
	b.join(pitched, crop.lot, Cropped, math.NaN())
	s.yeast = append(s.yeast, crop)
	dry := b.add(Fill, "F")
	b.join(pitched, dry, Carried, 950)
	hop, _ := b.use(&s.cold, "H", 20, 60)
	b.join(hop, dry, Moved, 10)
	for run := range 2 + b.rng.IntN(2) {
		tank := &s.bright[(s.batches+run)%len(s.bright)]
		bright := b.add(Fill, "T")
		b.join(dry, bright, Moved, 330)
		if *tank != 0 && b.rng.IntN(10) == 0 {
			b.join(*tank, bright, Heel, math.NaN())
		}
		*tank = bright
		b.run(s, bright)
	}
	s.batches++
}

// brew takes malt and hops.
func (b *brewery) brew(s *site) int64 {
	malt, delivered := b.use(&s.malt, "M", 5, 20)
	if s.hasSilo && delivered {
		state := b.add(Fill, "SILO")
		b.join(malt, state, Moved, 1000)
		if s.silo == 0 {
			b.first = malt
		} else {
			b.join(s.silo, state, Carried, 300)
		}
		s.silo = state
	}
	brew := b.add(Brew, "B")
	if s.hasSilo {
		malt = s.silo
	}
	b.join(malt, brew, Moved, 30)
	hop, fresh := b.use(&s.hops, "H", 20, 60)
	if fresh {
		b.hops = append(b.hops, hop)
	}
	b.join(hop, brew, Moved, 10)
	return brew
}

// pitch takes the oldest yeast that may still be used, else a new culture.
func (b *brewery) pitch(s *site, fill int64) (generation int) {
	for len(s.yeast) > 0 && (s.yeast[0].left == 0 || s.yeast[0].generation >= 8 || len(s.yeast) > 4) {
		s.yeast = s.yeast[1:]
	}
	if len(s.yeast) == 0 {
		s.yeast = append(s.yeast, culture{supply{b.add(Lot, "Y"), 1}, 0})
	}
	y := &s.yeast[0]
	y.left--
	b.join(y.lot, fill, Moved, 300)
	return y.generation
}

// run packs a bright tank.
func (b *brewery) run(s *site, bright int64) {
	segments := make([]int64, 2+b.rng.IntN(3))
	for i := range segments {
		segments[i] = b.add(Segment, "S")
		b.nodes[segments[i]-1].Run = fmt.Sprintf("R%d", bright)
		b.join(bright, segments[i], Moved, 1000/float64(len(segments)))
		for _, part := range []*supply{&s.cans, &s.ends} {
			lot, _ := b.use(part, "E", 2, 6)
			b.join(lot, segments[i], Part, 150)
		}
	}
	pallets := 35 + b.rng.IntN(11)
	for p := range pallets {
		b.pallet = b.add(Unit, "P")
		at := p * len(segments) / pallets
		b.join(segments[at], b.pallet, Packed, 15)
		if before := (p - 1) * len(segments) / pallets; p > 0 && before != at {
			b.join(segments[before], b.pallet, Packed, 10)
		}
	}
}
