package common

import "math/big"

// Chance is the chance that the complaints speak so much for something, or more, if they and the
// clean samples fell on any units: of the population so many units are marked (come from it), bad
// are complained of, k of them marked, and clean are sampled and found clean, g of them marked.
// Each clean one that is marked takes away what one complaint speaks for it: outcomes are ordered
// by k − g, and their chances summed exactly, with all four totals held fixed.
//
// Without clean samples it is Fisher's exact test of complained of or not against marked or not, one-sided;
// where every unit is either complained of or found clean, it is his test of these two. What can be
// seen has a chance above 0.
func Chance(k, g, marked, bad, clean, population int) *big.Rat {
	rest := population - marked
	sum := new(big.Int)
	for x := max(0, bad-rest); x <= min(bad, marked); x++ {
		ways := new(big.Int).Mul(binomial(marked, x), binomial(rest, bad-x))
		left, leftRest := marked-x, rest-(bad-x)
		tail := new(big.Int)
		for y := max(0, clean-leftRest); y <= min(clean, left) && x-y >= k-g; y++ {
			tail.Add(tail, new(big.Int).Mul(binomial(left, y), binomial(leftRest, clean-y)))
		}
		sum.Add(sum, ways.Mul(ways, tail))
	}
	all := new(big.Int).Mul(binomial(population, bad), binomial(population-bad, clean))
	if all.Sign() == 0 {
		return big.NewRat(1, 1)
	}
	return new(big.Rat).SetFrac(sum, all)
}

// speaks is the most that any outcome speaks for it.
func speaks(marked, bad, clean, population int) int {
	x := min(bad, marked)
	return x - max(0, clean-(population-marked-(bad-x)))
}

func binomial(n, k int) *big.Int { return new(big.Int).Binomial(int64(n), int64(k)) }
