package trace

import (
	"fmt"

	"heeltap/lots"
	"heeltap/lots/store"
)

// leastKeg is the least that a package counted one by one holds to be taken for a keg, in mL,
// where no unit of its run says what it is.
const leastKeg = 5000

// OfKegs reports whether a run filled kegs: as its units say, else by its product.
func OfKegs(tx *store.Tx, code string) bool {
	packed := false
	for _, rec := range tx.Touching(code) {
		if p, ok := rec.(*lots.Packed); ok && p.Run == code {
			if p.UnitKind == "keg" {
				return true
			}
			packed = true
		}
	}
	run, ok := tx.Run(code)
	if packed || !ok {
		return false
	}
	p := productOf(tx, run.Product)
	return p.PerCase <= 1 && p.ContainerML >= leastKeg
}

// OnNoUnit counts the good cases or kegs of a run that are on no unit.
func OnNoUnit(tx *store.Tx, run *lots.Run) int64 {
	return max(0, run.Good/max(productOf(tx, run.Product).PerCase, 1)-packedFrom(tx, run.Run))
}

// CasesOrKegs counts what a run filled, in words.
func CasesOrKegs(tx *store.Tx, run string, n int64) string {
	one := "case"
	if OfKegs(tx, run) {
		one = "keg"
	}
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
