package papers

import (
	"slices"
	"strings"

	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/printed"
)

// printedRules are the rules by which an affected package is told, for the public and the trade alike.
func (m *Maker) printedRules() []printed.Rule {
	if m.rules == nil {
		m.rules = printed.Rules(m.tx, m.s.Answer)
	}
	return m.rules
}

// rulesFor are the rules that touch what a consignee received; all of them where nobody can say what some of it was.
func (m *Maker) rulesFor(c deliveries.Consignee) []printed.Rule {
	touched := map[int]bool{}
	for _, l := range c.Lines {
		rules := touching(m.printedRules(), l)
		if len(rules) == 0 {
			return m.printedRules()
		}
		for _, i := range rules {
			touched[i] = true
		}
	}
	if len(touched) == 0 {
		return m.printedRules()
	}
	var out []printed.Rule
	for i, r := range m.printedRules() {
		if touched[i] {
			out = append(out, r)
		}
	}
	return out
}

// touching finds the rules for a line's products and date codes; all of its products where its codes are in none.
func touching(rules []printed.Rule, l deliveries.Line) (out []int) {
	var ofProduct []int
	for i, r := range rules {
		if !slices.Contains(strings.Split(l.Product, ", "), r.Product) {
			continue
		}
		ofProduct = append(ofProduct, i)
		if slices.ContainsFunc(l.DateCodes, func(code string) bool { return slices.Contains(r.Codes, code) }) {
			out = append(out, i)
		}
	}
	if len(out) == 0 {
		return ofProduct
	}
	return out
}

// lookFor reads rules out, a sentence for each.
func (m *Maker) lookFor(rules []printed.Rule) (items []string) {
	for _, r := range rules {
		items = append(items, sentence(m.ruleText(r)))
	}
	return items
}

// bearers names what bears the codes of rules.
func bearers(rules []printed.Rule) string {
	kegs := slices.ContainsFunc(rules, isKeg)
	switch other := slices.ContainsFunc(rules, func(r printed.Rule) bool { return !isKeg(r) }); {
	case kegs && other:
		return "the package, the case and the keg"
	case kegs:
		return "the keg"
	}
	return "the package and the case"
}
