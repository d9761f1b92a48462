package draw

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"heeltap/graph"
	"heeltap/lots"
	"heeltap/lots/store"
)

// Pick is a lot picked for an exercise.
type Pick struct {
	Code   string
	Hazard graph.Hazard
	Why    string
}

// The weights of a lot in the draw add up over what makes its kind easy to forget. A lot of
// a kind that was exercised before keeps a small chance.
const (
	weightPlain     = 1
	weightTiny      = 4 // used in small amounts, and so in nearly everything
	weightBulk      = 4 // in a silo or tank
	weightPackaging = 4
	weightOddHours  = 3 // used in a night or weekend run
	weightRework    = 4 // came to rework: units emptied into a vessel, or repacked
	weightNotYet    = 3 // no exercise ever looked at a lot of this kind
)

// Lot picks a lot that was used or went into a vessel, at random with a seed: the same seed on the
// same records picks the same lot. seen holds the kinds of items that were exercised before.
func Lot(tx *store.Tx, seed string, seen map[string]bool) (Pick, error) {
	rows, err := tx.Records("receipts")
	if err != nil {
		return Pick{}, err
	}
	var picks []Pick
	var weights []int
	sum := 0
	for _, rec := range rows {
		p, w := weigh(tx, rec.(*lots.Receipt), seen)
		if w == 0 {
			continue
		}
		picks, weights = append(picks, p), append(weights, w)
		sum += w
	}
	if sum == 0 {
		return Pick{}, lots.Errorf(lots.NotFound, "no received lot was used yet: there is nothing to rehearse on")
	}
	digest := sha256.Sum256([]byte(seed))
	at := rand.New(rand.NewPCG(binary.BigEndian.Uint64(digest[:8]), binary.BigEndian.Uint64(digest[8:16]))).IntN(sum)
	for i, w := range weights {
		if at -= w; at < 0 {
			return picks[i], tx.Err()
		}
	}
	panic("draw: a draw outside its weights")
}

// weigh gives a lot's weight in the draw and why; 0 where nothing came of it.
func weigh(tx *store.Tx, r *lots.Receipt, seen map[string]bool) (Pick, int) {
	thing, _ := tx.Thing(r.Lot)
	p := Pick{Code: r.Lot, Hazard: graph.Dissolved}
	if lots.PackagingPart(thing.ItemKind) {
		p.Hazard = graph.PackagePart
	}
	used := false
	odd, rework := false, false
	for _, rec := range tx.Touching(r.Lot) {
		switch x := rec.(type) {
		case *lots.BrewInput, *lots.Addition, *lots.Clean:
			used = true
		case *lots.Feed:
			used = true
			odd = odd || oddHours(tx, x.Run)
			rework = rework || fedByUnits(tx, x.Run)
		}
	}
	if !used && r.Into == "" {
		return p, 0
	}
	weight := weightPlain
	var why []string
	for _, x := range []struct {
		is     bool
		weight int
		text   string
	}{
		{tiny(thing.ItemKind), weightTiny, "used in small amounts"}, {r.Into != "", weightBulk, "bulk"},
		{lots.PackagingPart(thing.ItemKind), weightPackaging, "a part of the package"}, {odd, weightOddHours, "used in a night or weekend run"},
		{rework, weightRework, "used in a repack"}, {!seen[thing.ItemKind], weightNotYet, "of a kind never exercised"},
	} {
		if x.is {
			weight += x.weight
			why = append(why, x.text)
		}
	}
	p.Why = fmt.Sprintf("%s lot %s picked at random", thing.ItemKind, r.Lot)
	if len(why) > 0 {
		p.Why += " (" + strings.Join(why, ", ") + ")"
	}
	return p, weight
}

// tiny reports item kinds used by the gram.
func tiny(kind string) bool {
	return slices.Contains([]string{"finings", "salt", "enzyme", "acid", "chemical", "other"}, kind)
}

// oddHours reports a run at night, between 20:00 and 06:00, or at a weekend.
func oddHours(tx *store.Tx, code string) bool {
	run, ok := tx.Run(code)
	if !ok {
		return false
	}
	t := time.Unix(run.Started.From, 0).In(tx.Site().Zone)
	return t.Hour() >= 20 || t.Hour() < 6 || t.Weekday() == time.Saturday || t.Weekday() == time.Sunday
}

func fedByUnits(tx *store.Tx, code string) bool {
	for _, rec := range tx.Touching(code) {
		if f, ok := rec.(*lots.Feed); ok && f.Run == code && f.From.Kind == lots.KindUnit {
			return true
		}
	}
	return false
}
