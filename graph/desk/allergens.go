package desk

import (
	"slices"
	"strings"

	"heeltap/graph/claims"
	"heeltap/lots"
	law "heeltap/lots/allergens"
	"heeltap/lots/store"
)

// allergens warns, while it can still be stopped, that a run would carry what its label does not
// name: of a feed at length what this feed brings, and in one line what was lacking before.
func allergens(tx *store.Tx, s *lots.Sheet, row lots.Row) ([]string, error) {
	if s.Name != "feeds" && s.Name != "runs" {
		return nil, nil
	}
	a, err := claims.Of(tx, "run:"+row["run"])
	if err != nil && lots.KindOf(err) == lots.NotFound {
		return nil, nil // nothing feeds it yet
	}
	if err != nil {
		return nil, err
	}
	var out, still []string
	for _, c := range a.Carried {
		if !c.Missing {
			continue
		}
		if s.Name == "feeds" && !bringsIt(c, row["from"]) {
			still = append(still, c.Word)
			continue
		}
		text := "run " + row["run"] + " carries " + c.Word + " (" + c.Band + ", from lot " + c.Lot + "), and the label of " + strings.Join(a.Products, ", ") + " does not declare it: stop and check before you pack"
		if err := law.Check(c.Word); err != nil {
			text += " (" + err.Error() + ")"
		}
		out = append(out, text)
	}
	if len(still) > 0 {
		out = append(out, "the label of run "+row["run"]+" still does not declare "+strings.Join(still, ", ")+": heeltap allergens "+row["run"])
	}
	return out, nil
}

// bringsIt reports whether what carries an allergen comes by one of the codes that a feed names:
// the lot or unit itself, or a vessel by one of its fills.
func bringsIt(c claims.Carried, from string) bool {
	for _, code := range strings.Split(from, "|") {
		if slices.ContainsFunc(c.Why, func(step string) bool { return step == code || strings.HasPrefix(step, code+"@") }) {
			return true
		}
	}
	return false
}
