package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/common"
	"heeltap/labels"
	"heeltap/lots/store"
)

func (e *env) commonCommand() *cobra.Command {
	var q common.Question
	var hazard string
	cmd := &cobra.Command{
		Use:   "common --bad CODE… --good CODE…",
		Short: "Rank what several complaints have in common, by how well it explains them",
		Long: `Rank every lot, crop, fill, pass, stretch of a run, pallet, store and consignee that complaints have in common by how
well it explains them. A complaint is a date code (with its time of day), a run, a pallet or a keg; several
parted by | where it is not known which. It takes complaints of three units: what is on one pallet shares all its
causes, so that a second complaint of it, or one that is given twice, is no further evidence. A clean sample of a unit
takes away what one complaint speaks for whatever it comes from; one of a unit that is complained of clears nothing.
It ranks; what the cause is, is for people and samples to find.`,
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
	cmd.Flags().IntVar(&q.Days, "days", 45, "days before the first and after the last of them that count")
	e.hazardFlag(cmd, &hazard)
	return e.asks(cmd)
}

func (e *env) showCommon(a *common.Answer) {
	e.printf("%s, %s, among %d units sold that were packed from %s to %s.\n", counted(a.Bad, "complaint"), counted(a.Good, "clean sample"), a.Population, a.From, a.Until)
	if a.Distinct < a.Bad {
		e.printf("They count as complaints of %s: several may be of the same one, which is no further evidence.\n", counted(a.Distinct, "unit"))
	}
	if a.TooFew {
		e.printf("%s\n", e.strong("Too few to rank: it takes complaints of three units. What stands below is what they share, and no more."))
	}
	t := &table{head: []string{"explains them", "#cover", "#base", "#lift", "#p", "#corrected", "#clean", "#would put in scope"}}
	for _, g := range a.Groups[:min(12, len(a.Groups))] {
		t.add(fewCodes(g.Codes), percentText(g.Cover), percentText(g.Base), number(g.Lift), small(g.P), small(g.Corrected), whole(g.Good), whole(g.ScopeUnits)+" units, "+whole(g.ScopeTo)+" consignees")
	}
	e.print(t)
	if len(a.Groups) > 12 {
		e.printf("  … and %d more: --json lists them\n", len(a.Groups)-12)
	}
	for _, s := range a.Separate {
		e.printf("  would tell the first two apart: %s\n", s)
	}
	e.printf("%d units of the period are still in the house: no complaint from them says nothing.\n", a.Here)
	e.printf("p: the chance that complaints, less clean samples, speak so much for it if they fell on any units (Fisher's exact test, one-sided);\ncorrected for all %d groups that units have in common (Holm).\nIt ranks what the records show; it is no finding of a cause, and what is not listed is not cleared.\n", a.Tested)
}

const mostCodes = 6

// fewCodes lists the first codes of a group, and counts the rest.
func fewCodes(codes []string) string {
	if len(codes) <= mostCodes {
		return strings.Join(codes, ", ")
	}
	return strings.Join(codes[:mostCodes], ", ") + " and " + whole(len(codes)-mostCodes) + " more"
}

func percentText(x float64) string { return strconv.FormatFloat(100*x, 'f', 1, 64) + " %" }

// small writes a probability with two digits that count.
func small(p float64) string { return strconv.FormatFloat(p, 'g', 2, 64) }
