package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/common"
	"heeltap/labels"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) commonCommand() *cobra.Command {
	var q common.Question
	var hazard string
	cmd := &cobra.Command{
		Use:   "common --bad CODE… --good CODE…",
		Short: "Rank what complaints have in common by how well it explains them",
		Long: `Rank every lot, crop, fill, pass, stretch of a run, pallet, store and consignee that complaints have in common by
how well it explains them. A complaint is a date code (with its time of day), a run, a pallet or a keg; put |
between several if it is not known which. You need complaints about at least three units: everything on one pallet
shares its causes, so a second complaint about the same pallet, or one given twice, adds no evidence. A clean sample
of a unit cancels one complaint for everything that unit came from; a clean sample of a unit that has a complaint
clears nothing. This is a ranking: finding the cause is up to people and samples.`,
		Example: `  heeltap common --bad "BB 2027-03-10@09:42" --bad "BB 2027-03-11" --bad K0417 --good R26-0031
  heeltap common --bad R26-0031 --bad R26-0033 --bad "R26-0035|R26-0036" --hazard spoiler`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			h, err := graph.ParseHazard(hazard)
			if err != nil {
				return err
			}
			q.Hazard, q.Bad, q.Good = h, labels.ParsePayloads(q.Bad), labels.ParsePayloads(q.Good)
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				a, err := common.Ask(tx, q)
				if err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(a)
				}
				e.showCommon(a)
				return nil
			})
		},
	}
	cmd.Flags().StringArrayVar(&q.Bad, "bad", nil, "a complaint (repeatable)")
	cmd.Flags().StringArrayVar(&q.Good, "good", nil, "a clean sample (repeatable)")
	cmd.Flags().IntVar(&q.Days, "days", 45, "how many days before the first and after the last complaint count")
	e.hazardFlag(cmd, &hazard)
	return e.asks(cmd)
}

func (e *env) showCommon(a *common.Answer) {
	e.printf("%s, %s, among %d units sold that were packed from %s to %s.\n", counted(a.Bad, "complaint"), counted(a.Good, "clean sample"), a.Population, a.From, a.Until)
	if a.Distinct < a.Bad {
		e.printf("They count as complaints about %s: several about the same one add no evidence.\n", counted(a.Distinct, "unit"))
	}
	if a.TooFew {
		e.printf("%s\n", e.strong("Too few to rank: that takes complaints about three units. Below is what they share, nothing more."))
	}
	t := &table{head: []string{"explains them", "#cover", "#base", "#lift", "#p", "#corrected", "#clean", "#would put in scope"}}
	for _, g := range a.Groups[:min(12, len(a.Groups))] {
		t.add(fewCodes(g.Codes), percentText(g.Cover), percentText(g.Base), lots.Figure(g.Lift), small(g.P), small(g.Corrected), whole(g.Good), counted(g.ScopeUnits, "unit")+", "+counted(g.ScopeTo, "consignee"))
	}
	e.print(t)
	if len(a.Groups) > 12 {
		e.printf("  … and %d more: --json lists them\n", len(a.Groups)-12)
	}
	for _, s := range a.Separate {
		e.printf("  to tell the first two apart: %s\n", s)
	}
	e.printf("Units of that period still in the house: %d. That nobody has complained about them means nothing.\n", a.Here)
	e.printf("p: the chance of so many complaints, less clean samples, if they had fallen on units at random (Fisher's exact test, one-sided);\ncorrected for all %d groups that units have in common (Holm).\nThis ranks what the records show. It does not prove a cause, and what is not listed is not cleared.\n", a.Tested)
}

const mostCodes = 6

// fewCodes lists the first codes of a group, and counts the rest.
func fewCodes(codes []string) string {
	if len(codes) <= mostCodes {
		return strings.Join(codes, ", ")
	}
	return strings.Join(codes[:mostCodes], ", ") + " and " + whole(len(codes)-mostCodes) + " more"
}

func percentText(x float64) string { return lots.PercentFigure(100*x) + " %" }

// small writes a probability with two significant digits.
func small(p float64) string { return strconv.FormatFloat(p, 'g', 2, 64) }
