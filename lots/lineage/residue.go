package lineage

import (
	"maps"
	"slices"

	"heeltap/lots"
	"heeltap/lots/allergens"
)

// after is that what one pass left behind may be in a later one: places in a list of passes.
type after struct {
	from, to int
	pass     bool // it counts from pass to pass,
	filled   bool // and for what the later one filled
}

// untold is held by whatever passed that no label tells of.
const untold = ""

// residueOf tells which of an item's passes leave something that counts in those after them: all, but on a line of
// which nobody said whether it keeps residue, only what may bring a product an allergen that it does not declare.
func (e *engine) residueOf(item string, passes []Pass, cleans cleanings) []after {
	if rec, ok := e.src.Stated(item); ok {
		if line, ok := rec.(*lots.Line); ok && !line.HasResidue {
			return e.untoldResidue(passes, cleans)
		}
	}
	list := uncleaned(passes, cleans)
	for i := range list {
		list[i].pass, list[i].filled = true, true
	}
	return list
}

// uncleaned lists the pairs of passes of which the second came, or may have come, next without a clean between.
func uncleaned(passes []Pass, cleans cleanings) (out []after) {
	for q, before := range predecessors(stretchesOf(passes)) {
		for _, p := range before {
			switch {
			case !passes[p].stretch().surelyBefore(passes[q].stretch()):
				out = append(out, after{from: p, to: q}, after{from: q, to: p})
			case !cleans.between(passes[p], passes[q]):
				out = append(out, after{from: p, to: q})
			}
		}
	}
	return out
}

// untoldResidue follows each word that a pass holds to the products that do not declare it.
func (e *engine) untoldResidue(passes []Pass, cleans cleanings) []after {
	holds, lacks := map[string][]int{}, map[string][]int{}
	labels := make([]*lots.Product, len(passes))
	for i, p := range passes {
		labels[i] = e.productOf(p)
		for _, word := range e.heldBy(p, labels[i]) {
			holds[word] = append(holds[word], i)
		}
	}
	for word := range holds {
		for i, label := range labels {
			if !e.declared(label, word) {
				lacks[word] = append(lacks[word], i)
			}
		}
	}
	if len(lacks) == 0 {
		return nil
	}
	list := uncleaned(passes, cleans)
	for word, lacking := range lacks {
		follow(list, len(passes), holds[word], lacking)
	}
	return slices.DeleteFunc(list, func(a after) bool { return !a.pass && !a.filled })
}

// follow marks where a word counts: what went through since any of the passes that hold it, up to those that lack it.
func follow(list []after, n int, holding, lacking []int) {
	forward, back := make([][]int, n), make([][]int, n)
	for _, a := range list {
		forward[a.from] = append(forward[a.from], a.to)
		back[a.to] = append(back[a.to], a.from)
	}
	lacks, wanted := make([]bool, n), make([]bool, n)
	for _, i := range lacking {
		lacks[i] = true
		for _, before := range back[i] {
			spread(wanted, back, before)
		}
	}
	has := make([]bool, n)
	for _, i := range holding {
		spread(has, forward, i)
	}
	for i, a := range list {
		list[i].filled = a.filled || has[a.from] && lacks[a.to]
		list[i].pass = a.pass || has[a.from] && wanted[a.to]
	}
}

// spread marks a place and all that can be reached from it.
func spread(marked []bool, next [][]int, from int) {
	todo := []int{from}
	for len(todo) > 0 {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if !marked[i] {
			marked[i] = true
			todo = append(todo, next[i]...)
		}
	}
}

// productOf is the product of a run's pass; nil of a transfer's.
func (e *engine) productOf(p Pass) *lots.Product {
	rec, _ := e.src.Record(p.Entry)
	if run, ok := rec.(*lots.Run); ok {
		stated, _ := e.src.Stated(run.Product)
		product, _ := stated.(*lots.Product)
		return product
	}
	return nil
}

// heldBy lists the allergens that a pass is known to hold: what its product declares, and what the lots dosed into it carry.
func (e *engine) heldBy(p Pass, label *lots.Product) []string {
	if label == nil {
		return []string{untold}
	}
	words := map[string]bool{}
	for _, w := range label.Declares {
		words[w] = true
	}
	for _, src := range p.Srcs {
		receipt, _ := e.src.Stated(src.Code)
		if r, ok := receipt.(*lots.Receipt); ok {
			item, _ := e.src.Stated(r.Item)
			if x, ok := item.(*lots.Item); ok {
				for _, w := range x.Allergens {
					words[w] = true
				}
			}
		}
	}
	return slices.Collect(maps.Keys(words))
}

// declared reports whether a label names an allergen.
func (e *engine) declared(label *lots.Product, word string) bool {
	if label == nil || word == untold {
		return false
	}
	key := [2]string{label.Code, word}
	known, ok := e.labels[key]
	if !ok {
		known = allergens.Declared(label.Declares, word)
		e.labels[key] = known
	}
	return known
}
