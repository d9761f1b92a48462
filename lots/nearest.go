package lots

import (
	"cmp"
	"slices"
	"strings"
)

// folds maps letters that people and printers confuse to one of each group
// (common practice: O and zero, I, l and one, B and eight, S and five, Z and two, G and six).
var folds = strings.NewReplacer("O", "0", "Q", "0", "I", "1", "L", "1", "B", "8", "S", "5", "Z", "2", "G", "6", " ", "", "-", "", "_", "", ".", "")

// Fold writes a code as a misreader might: upper case, look-alikes made equal, separators dropped.
func Fold(code string) string { return folds.Replace(strings.ToUpper(strings.TrimSpace(code))) }

const nearestMost = 5

// NearestOf picks at most five of the known codes that look like code, best
// first: equal when folded, then by edit distance (with neighbours swapped as one
// edit) up to a third of the length.
func NearestOf(code string, known []string) []string {
	type near struct {
		code string
		dist int
	}
	want := Fold(code)
	limit := max(1, len([]rune(want))/3)
	var found []near
	for _, k := range known {
		f := Fold(k)
		d := distance(want, f, limit)
		if d <= limit {
			found = append(found, near{k, d})
		} else if len(want) >= 3 && strings.Contains(f, want) {
			found = append(found, near{k, limit + 1})
		}
	}
	slices.SortFunc(found, func(a, b near) int {
		return cmp.Or(cmp.Compare(a.dist, b.dist), cmp.Compare(a.code, b.code))
	})
	out := make([]string, 0, nearestMost)
	for _, n := range found[:min(len(found), nearestMost)] {
		out = append(out, n.code)
	}
	return out
}

// distance is the optimal string alignment distance of a and b, or limit+1
// where it is more. Source: Damerau 1964, Levenshtein 1966 (restricted form).
func distance(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if len(x)-len(y) > limit || len(y)-len(x) > limit {
		return limit + 1
	}
	prev2, prev, cur := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		for j := 1; j <= len(y); j++ {
			same := 1
			if x[i-1] == y[j-1] {
				same = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+same)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(y)]
}
