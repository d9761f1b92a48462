package main

import (
	"errors"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/graph/recall/deliveries"
	"heeltap/graph/recall/papers"
	"heeltap/lots"
	"heeltap/lots/store"
)

func toldCommand(e *env) *cobra.Command {
	s := recall.Told{}
	notReached := false
	cmd := e.step(&cobra.Command{Use: "told PARTY", Short: "Log that a consignee or supplier was told, or could not be reached", Args: cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall told D-11 --how phone --who Otto
  heeltap recall told D-12 --how phone --not-reached`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Party, s.Reached = args[0], !notReached
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.How, "how", "phone", "phone, letter, e-mail, visit …")
	cmd.Flags().StringVar(&s.Who, "who", "", "whom you spoke to")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was said")
	cmd.Flags().BoolVar(&notReached, "not-reached", false, "nobody was reached")
	return cmd
}

func answerCommand(e *env) *cobra.Command {
	var line deliveries.AnswerLine
	s := recall.Answered{}
	var kegs deliveries.AnswerLine
	var bulk bulkAnswer
	cmd := e.step(&cobra.Command{Use: "answer PARTY", Short: "Log what a consignee says became of what it received", Args: cobra.ExactArgs(1),
		Long: `Log what a consignee says became of what it received: on hand when the notice came, sold or served, passed on
to its own customers; and of what was on hand, sent back and destroyed there. A later answer replaces an earlier
one. "Nothing on hand" is an answer too.`,
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall answer D-11 --on-hand 40 --sold 12 --passed-on 28 --who Otto
  heeltap recall answer P-31 --kegs-on-hand 1 --kegs-sold 2
  heeltap recall answer D-31 --bulk-sold "400 kg"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Party = papers.PartyRead(now, args[0])
			kegs.Kegs = true
			s.Lines = []deliveries.AnswerLine{line, kegs}
			more, err := bulk.lines(tx)
			if err != nil {
				return err
			}
			s.Lines = append(s.Lines, more...)
			return r.take(tx, now, &s)
		})
	f := cmd.Flags()
	for _, x := range []struct {
		prefix, of string
		line       *deliveries.AnswerLine
	}{{"", "cases", &line}, {"kegs-", "kegs", &kegs}} {
		f.Float64Var(&x.line.OnHand, x.prefix+"on-hand", 0, x.of+" on hand when the notice came")
		f.Float64Var(&x.line.Sold, x.prefix+"sold", 0, x.of+" sold or served")
		f.Float64Var(&x.line.PassedOn, x.prefix+"passed-on", 0, x.of+" passed on to its own customers")
		f.Float64Var(&x.line.Returned, x.prefix+"returned", 0, x.of+" it sent back, of what was on hand")
		f.Float64Var(&x.line.Destroyed, x.prefix+"destroyed", 0, x.of+" destroyed there, of what was on hand")
	}
	bulk.flags(f)
	f.StringVar(&s.Who, "who", "", "who answered")
	f.StringVar(&s.Text, "text", "", "what was said")
	return cmd
}

func passedOnCommand(e *env) *cobra.Command {
	replace := false
	cmd := e.step(&cobra.Command{Use: "passed-on PARTY FILE.csv", Short: "Read in a consignee's list of the customers it supplied", Args: cobra.ExactArgs(2),
		Long: `Read in a consignee's list of the customers it supplied: a CSV file whose first line names its columns: name (needed),
contact, phone, email, address, product, date_code, quantity, unit (case or keg). A second list adds to the first;
rows that were already read in are refused. heeltap recall consignees --all shows the lists.`,
		Example: "  heeltap recall passed-on D-11 otto.csv"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			file, err := os.Open(args[1])
			if err != nil {
				return lots.Errorf(lots.Invalid, "%s cannot be read: %w", args[1], err)
			}
			defer file.Close()
			list, err := deliveries.ReadAccounts(file)
			if faults, ok := errors.AsType[lots.Faults](err); ok {
				for i := range faults {
					faults[i].File = args[1]
				}
				return faults
			}
			if err != nil {
				return lots.Errorf(lots.Invalid, "%s: %w", args[1], err)
			}
			return r.take(tx, now, &recall.PassedOn{Party: args[0], Accounts: list, Replace: replace})
		})
	cmd.Flags().BoolVar(&replace, "replace", false, "replace the list it gave before")
	return cmd
}

func dueCommand(e *env) *cobra.Command {
	return e.ask(&cobra.Command{Use: "responses", Short: "Show where every consignee stands and who has to be told or reminded", Args: cobra.NoArgs,
		Example: "  heeltap recall responses"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			list, err := now.Standings(tx, s)
			if err != nil {
				return err
			}
			if r.json {
				return r.writeJSON(list)
			}
			t := &table{head: []string{"consignee", "name", "state", "#tries", "reached", "answered", "#not explained", "due", ""}}
			for _, x := range list {
				var notes []string
				if x.Overdue {
					notes = append(notes, "overdue")
				}
				if wants := x.Wants(); wants != "" && (x.NeedList || x.Answered != "" || x.Again != "") {
					notes = append(notes, wants)
				}
				t.add(x.Party, x.Name, x.State, whole(x.Tries), minute(x.Notified), minute(x.Answered), unexplained(x.Left), minute(x.Due), strings.Join(notes, "; "))
			}
			r.print(t)
			uncalled := now.Uncalled(s)
			for _, p := range slices.Sorted(maps.Keys(uncalled)) {
				r.printf("%s was told under version %d and no longer has anything in scope: freeze the scope and tell it so\n", p, uncalled[p])
			}
			return nil
		})
}

// unexplained counts what is not explained; nothing is 0, whatever it would be of.
func unexplained(p lots.Packages) string {
	if p.None() {
		return "0"
	}
	return p.String()
}

func sampleCommand(e *env) *cobra.Command {
	var s recall.Sampled
	cmd := e.step(&cobra.Command{Use: "sample", Short: "Draw the consignees for effectiveness checks", Args: cobra.NoArgs,
		Long:    "Draw the consignees for effectiveness checks, at one of the levels of 21 CFR 7.42(b)(3): A all, B more than 10 and less than 100 percent, C 10, D 2, E none. The same seed draws the same consignees.",
		Example: "  heeltap recall sample --level B --percent 40 --seed 26"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			if err := r.take(tx, now, &s); err != nil {
				return err
			}
			r.printf("To check: %s\n", orDash(strings.Join(s.Parties, ", ")))
			return nil
		})
	cmd.Flags().StringVar(&s.Level, "level", "A", "A, B, C, D or E")
	cmd.Flags().Float64Var(&s.Percent, "percent", 0, "percent at level B")
	cmd.Flags().StringVar(&s.Seed, "seed", "", "seed of the draw (else the recall's code)")
	return cmd
}

func checkedCommand(e *env) *cobra.Command {
	var s recall.Checked
	var noNotice, notFollowed bool
	cmd := e.step(&cobra.Command{Use: "checked PARTY", Short: "Log what an effectiveness check found", Args: cobra.ExactArgs(1),
		ValidArgsFunction: e.codesOf([]lots.Kind{lots.KindParty}),
		Example: `  heeltap recall checked D-11 --how visit
  heeltap recall checked R-23 --how phone --not-followed --on-sale 4`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			s.Party, s.Notified, s.Followed = args[0], !noNotice, !notFollowed
			return r.take(tx, now, &s)
		})
	cmd.Flags().StringVar(&s.How, "how", "phone", "phone, visit …")
	cmd.Flags().BoolVar(&noNotice, "no-notice", false, "it never got the notice")
	cmd.Flags().BoolVar(&notFollowed, "not-followed", false, "it did not do what the notice says")
	cmd.Flags().Float64Var(&s.OnSale, "on-sale", 0, "cases still on sale")
	cmd.Flags().Float64Var(&s.KegsOnSale, "kegs-on-sale", 0, "kegs still on sale")
	cmd.Flags().StringVar(&s.Text, "text", "", "what was found")
	return cmd
}
