package draw

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"

	"heeltap/lots"
)

// The levels of effectiveness checks of 21 CFR 7.42(b)(3): what part of the consignees
// is to be contacted. At level B the part is set case by case, more than 10 and less than 100.
var levels = map[string]float64{"A": 100, "C": 10, "D": 2, "E": 0}

// SampleSize is how many of n consignees a level asks to check, never fewer than its
// percentage: the regulation gives no rule of rounding, so parts of one count as one.
// percent is used at level B alone.
func SampleSize(level string, percent float64, n int) (int, float64, error) {
	p, ok := levels[level]
	switch {
	case level == "B" && !(percent > 10 && percent < 100):
		return 0, 0, lots.Errorf(lots.Invalid, "level B needs --percent, more than 10 and less than 100 (21 CFR 7.42(b)(3))")
	case level == "B":
		p = percent
	case !ok:
		return 0, 0, lots.Errorf(lots.Invalid, "%q is no level: choose A (all), B (with --percent), C (10 %%), D (2 %%) or E (none)", level)
	}
	return int(math.Ceil(p*float64(n)/100 - 1e-9)), p, nil
}

// Parties picks which of the parties to check: those with the smallest digests of seed and
// name. The same seed picks the same ones, in whatever order they come and whoever joins.
func Parties(parties []string, size int, seed string) []string {
	digest := func(p string) uint64 {
		sum := sha256.Sum256([]byte(seed + "\x00" + p))
		return binary.BigEndian.Uint64(sum[:8])
	}
	out := slices.Clone(parties)
	slices.SortFunc(out, func(a, b string) int {
		x, y := digest(a), digest(b)
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	out = out[:min(size, len(out))]
	slices.Sort(out)
	return out
}
