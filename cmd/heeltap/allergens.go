package main

import (
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/claims"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) allergensCommand() *cobra.Command {
	return e.asks(&cobra.Command{
		Use:   "allergens CODE",
		Short: "Compare the allergens of everything that went into it with what its label declares",
		Long: `Compare the allergens of all lots in the lineage of a run, unit or date code, certain and possible, with what its
product declares, under US law (nine major allergens) and EU law (Annex II of Regulation 1169/2011). Exit status 3
where one is not declared under either.`,
		Example: "  heeltap allergens R26-0031\n  heeltap allergens \"BB 2027-03-10@09:42\" --json",
		Args:    cobra.ExactArgs(1), ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindRun, lots.KindUnit}),
		RunE: func(cmd *cobra.Command, args []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				a, err := claims.Of(tx, labels.ParsePayload(args[0]))
				if err != nil {
					return err
				}
				if e.json {
					err = e.writeJSON(a)
				} else {
					e.showClaims(a)
				}
				if err == nil && len(a.UndeclaredUS)+len(a.UndeclaredEU) > 0 {
					err = errFindings
				}
				return err
			})
		},
	})
}

func (e *env) showClaims(a *claims.Answer) {
	e.printf("%s, %s declares: %s\n", a.Code, orDash(strings.Join(a.Products, ", ")), orDash(strings.Join(a.Declares, ", ")))
	t := &table{head: []string{"traced", "band", "by lot", "US", "EU", "", "chain"}}
	for _, c := range a.Carried {
		note := ""
		switch {
		case c.Undeclared("US") || c.Undeclared("EU"):
			note = "NOT DECLARED"
		case !c.Known:
			note = "neither law has the word: judge it"
		case c.Exempt != "":
			note = "EU leaves out: " + c.Exempt
		}
		t.add(c.Word, c.Band, c.Lot, orDash(strings.Join(c.US, ", ")), orDash(strings.Join(c.EU, ", ")), note, chainText(c.Why))
	}
	e.print(t)
	if len(t.rows) == 0 {
		e.printf("  no lot behind it is recorded with an allergen. That does not prove that it holds none.\n")
	}
	if len(a.UndeclaredUS)+len(a.UndeclaredEU) > 0 {
		e.printf("\n%s Undeclared allergens can injure: hold it first. What a label must say is for the responsible person under the law where it is sold.\n", e.strong("Not declared: "+strings.Join(append(a.UndeclaredUS, a.UndeclaredEU...), ", ")+"."))
	}
}

// warnOfAllergens says, while it can still be stopped, that a run would carry what its label does not name.
func (e *env) warnOfAllergens(tx *store.Tx, s *lots.Sheet, row lots.Row) ([]string, error) {
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
	var out []string
	for _, c := range a.Carried {
		if c.Undeclared("US") || c.Undeclared("EU") {
			out = append(out, "run "+row["run"]+" carries "+c.Word+" ("+c.Band+", by lot "+c.Lot+"), and the label of "+strings.Join(a.Products, ", ")+" does not name it: stop, and look at it before it is packed")
		}
	}
	return out, nil
}
