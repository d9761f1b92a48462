package check

import (
	"slices"

	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/allergens"
)

// lineResidueUnknown finds lines of which nobody said whether they keep residue, and that run products one of
// which declares an allergen that another does not.
func lineResidueUnknown(b *book) (out []Hit) {
	ran := map[string][]*lots.Product{}
	for _, r := range b.runs {
		if p := b.products[r.Product]; p != nil && !slices.Contains(ran[r.Line], p) {
			ran[r.Line] = append(ran[r.Line], p)
		}
	}
	for _, line := range sortedKeys(ran) {
		l := b.lines[line]
		if l == nil || l.HasResidue {
			continue
		}
		if word, has, lacks := apart(ran[line]); word != "" {
			h := hit(line, l.Seq, "nobody said whether %s keeps residue: after %s, which declares %s, it may bring it to %s, which does not", line, has, word, lacks)
			out = append(out, h)
		}
	}
	return out
}

// apart finds an allergen that one of some products declares and another does not; empty where all declare the same.
func apart(products []*lots.Product) (word, has, lacks string) {
	for _, x := range products {
		for _, y := range products {
			for _, w := range x.Declares {
				if !allergens.Declared(y.Declares, w) {
					return w, x.Code, y.Code
				}
			}
		}
	}
	return "", "", ""
}

// runWithoutLine finds runs that name no line though other runs of their product do.
func runWithoutLine(b *book) (out []Hit) {
	named := map[string]bool{}
	for _, r := range b.runs {
		named[r.Product] = named[r.Product] || r.Line != ""
	}
	for _, r := range b.runs {
		if r.Line == "" && named[r.Product] && trace.FedByTank(b.tx, r.Run) {
			out = append(out, hit(r.Run, r.Seq, "run %s names no line, as other runs of %s do", r.Run, r.Product))
		}
	}
	return out
}
