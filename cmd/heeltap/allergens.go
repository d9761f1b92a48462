package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/claims"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/allergens"
	"heeltap/lots/store"
)

func (e *env) allergensCommand() *cobra.Command {
	return e.asks(&cobra.Command{
		Use:   "allergens CODE",
		Short: "Compare the allergens in a product with what its label declares",
		Long: `Compare the allergens of every lot that went, or may have gone, into a run, unit or date code with what its
product declares, under US law (nine major allergens) and EU law (Annex II of Regulation 1169/2011). A label
covers what it names and nothing else. Exit status 3 if the label leaves out an allergen that is traced, under
either law or under a word that neither law knows.`,
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
				if err == nil && len(a.Missing) > 0 {
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
	var missing []string
	for _, c := range a.Carried {
		note := ""
		switch {
		case len(c.Lacking) > 0:
			note = "NOT DECLARED"
			missing = append(missing, c.Word+" ("+strings.Join(c.Lacking, ", ")+")")
		case c.Missing:
			note = "NOT DECLARED; neither law knows this word: judge it yourself"
			missing = append(missing, c.Word+" (neither law knows this word)")
		case !c.Known:
			note = "neither law knows this word: judge it yourself"
		case c.Exempt != "":
			note = "exempt in the EU: " + c.Exempt
		}
		t.add(c.Word, c.Band, c.Lot, orDash(strings.Join(c.US, ", ")), orDash(strings.Join(c.EU, ", ")), note, chainText(c.Why))
	}
	e.print(t)
	if len(t.rows) == 0 {
		e.printf("  no lot in it is recorded as carrying an allergen. That does not prove that there is none.\n")
	}
	for _, word := range slices.Concat(a.Unknown, a.Strange) {
		if err := allergens.Check(word); err != nil {
			e.printf("  note: %v\n", err)
		}
	}
	if len(missing) > 0 {
		e.printf("\n%s Undeclared allergens can injure: hold it first. What the label must say is for the responsible person to decide, under the law where it is sold.\n", e.strong("Not declared: "+strings.Join(missing, ", ")+"."))
	}
}
