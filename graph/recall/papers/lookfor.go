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

// rulesFor are the rules that touch what a consignee received; all of them where nobody can say what that was.
func (m *Maker) rulesFor(c deliveries.Consignee) []printed.Rule {
	var out []printed.Rule
	for _, r := range m.printedRules() {
		touches := func(l deliveries.Line) bool {
			return slices.Contains(strings.Split(l.Product, ", "), r.Product) && slices.ContainsFunc(l.DateCodes, func(code string) bool { return slices.Contains(r.Codes, code) })
		}
		if slices.ContainsFunc(c.Lines, touches) {
			out = append(out, r)
		}
	}
	if len(out) == 0 {
		return m.printedRules()
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
