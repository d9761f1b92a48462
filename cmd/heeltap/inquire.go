package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/inquiry"
	"heeltap/graph/recall"
	"heeltap/labels"
	"heeltap/lots/store"
)

func (e *env) inquireCommand() *cobra.Command {
	var q inquiry.Question
	var by string
	var look bool
	cmd := &cobra.Command{
		Use:   `inquire "TEXT AS READ"`,
		Short: "Find what a code read off a package could be, and what is known about it",
		Long: `Find what a code read off a can, bottle, case or keg could be, even if it is partial, misread or upside down. Only
codes that were really printed are candidates; write ? for a character you cannot read. The inquiry is noted down with
the text as read and all candidates, unless you add --look-only.`,
		Example: `  heeltap inquire "BB 2O27-03-10 09:42" --product pale --place "Sixpenny" --caller "Una, shop" --note "two cans swollen"
  heeltap inquire 0417 --look-only`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			q.Read = labels.ParsePayload(args[0])
			if look || e.knownAt != "" {
				return e.question(cmd.Context(), func(tx *store.Tx) error { return e.inquire(tx, q, "") })
			}
			by, err := e.who(by)
			if err != nil {
				return err
			}
			return e.update(cmd.Context(), func(tx *store.Tx) error { return e.inquire(tx, q, by) })
		},
	}
	f := cmd.Flags()
	f.StringVar(&q.Product, "product", "", "which beer, in the caller's words")
	f.Int64Var(&q.SizeML, "size-ml", 0, "what one package holds, mL")
	f.StringVar(&q.Place, "place", "", "where it was bought, or who has it")
	f.StringVar(&q.Bought, "bought", "", "when it was bought (date)")
	f.StringVar(&q.Caller, "caller", "", "who called")
	f.StringVar(&q.Note, "note", "", "what is wrong, in the caller's words")
	f.StringVar(&by, "by", "", "who took the call (else HEELTAP_BY)")
	f.BoolVar(&look, "look-only", false, "do not note the inquiry down")
	return e.asks(cmd)
}

func (e *env) inquire(tx *store.Tx, q inquiry.Question, by string) error {
	a, err := inquiry.Ask(tx, q)
	if err != nil {
		return err
	}
	if by != "" {
		if _, err := inquiry.Note(tx, a, by); err != nil {
			return err
		}
	}
	if e.json {
		return e.writeJSON(a)
	}
	if len(a.Urgent) > 0 {
		e.printf("%s\n%s\n\n", e.strong("CALL THE QUALITY LEAD NOW ("+strings.Join(a.Urgent, ", ")+")"), strings.Join(recall.Cautions(), "\n"))
	}
	t := &table{head: []string{"", "printed", "product", "#score", "stopped", "because", "against", "runs", "#units"}}
	for _, c := range a.Candidates {
		because := strings.Join(c.Because, "; ")
		if c.Score == 100 {
			because = "exact match"
		}
		if c.Time != "" {
			because += ", at " + c.Time
		}
		t.add(c.Kind, c.Printed, orDash(c.Product), whole(c.Score), stoppedText(c.Held, c.Recalls, c.Beside), because, strings.Join(c.Against, "; "), strings.Join(c.Runs, " "), whole(len(c.Units)))
	}
	e.print(t)
	e.showFurther(a)
	e.showUnnumbered(a.Unnumbered)
	if a.Ask != "" {
		e.printf("\n%s %s\n", e.strong("Ask:"), a.Ask)
	}
	if a.Card != nil {
		e.showCard(a.Card)
	}
	e.printf("\n%s\n", e.strong(a.Says))
	return nil
}

// stoppedText says whether a candidate is on hold or under recall.
func stoppedText(held string, recalls, beside []string) string {
	words := recalls
	switch held {
	case "in":
		words = append([]string{"ON HOLD"}, recalls...)
	case "possible":
		words = append([]string{"possibly on hold"}, recalls...)
	}
	if len(beside) > 0 {
		words = append(slices.Clone(words), counted(len(beside), "other unit")+" of this code")
	}
	return strings.Join(words, ", ")
}

// showFurther counts the candidates that are not shown, and lists those of them that are stopped.
func (e *env) showFurther(a *inquiry.Answer) {
	const most = 12
	hidden := a.Stopped[:0:0]
	for _, s := range a.Stopped {
		shown := func(c inquiry.Candidate) bool {
			return c.Kind == s.Kind && c.Printed == s.Printed && c.Product == s.Product
		}
		if !slices.ContainsFunc(a.Candidates, shown) {
			hidden = append(hidden, s)
		}
	}
	if a.More == 0 {
		return
	}
	text := "\n" + counted(a.More, "further candidate") + " not shown"
	if n := len(a.Equal); n > 0 {
		text += ", " + whole(n) + " of them as likely as the last: ask for more of the code"
	}
	e.printf("%s.\n", text)
	for i, s := range hidden {
		if i == most {
			e.printf("  … and %s that are stopped: --json lists all\n", counted(len(hidden)-most, "more candidate"))
			break
		}
		e.printf("  %s %s %s (score %d): %s\n", s.Kind, s.Printed, s.Product, s.Score, stoppedText(s.Held, s.Recalls, s.Beside))
	}
}

// showUnnumbered lists runs with kegs whose numbers nobody wrote down: the one asked for may be among them.
func (e *env) showUnnumbered(list []inquiry.Unnumbered) {
	const most = 8
	if len(list) == 0 {
		return
	}
	e.printf("\n%s no keg with this number is on record; it may be one of those whose numbers nobody wrote down:\n", e.strong("If it is a keg:"))
	t := &table{head: []string{"run", "product", "date code", "#kegs", "stopped", "where they may be"}}
	for _, u := range list[:min(most, len(list))] {
		where := "here by the books"
		if len(u.Consignees) > 0 {
			where += ", or with whoever got other kegs of the run: " + strings.Join(u.Consignees, ", ")
		}
		t.add(u.Run, u.Product, strings.Join(u.DateCodes, ", "), whole(u.Kegs), stoppedText(u.Held, u.Recalls, nil), where)
	}
	e.print(t)
	if n := len(list) - most; n > 0 {
		e.printf("  … and %s before them: --json lists all\n", counted(n, "run"))
	}
}

func (e *env) showCard(c *inquiry.Card) {
	e.printf("\n%s %s\n", e.strong(c.Product), c.Name)
	line := func(name, text string) {
		if text != "" {
			e.printf("  %-14s %s\n", name, text)
		}
	}
	line("packed", c.Packed+" in "+strings.Join(c.Runs, ", ")+" on "+orDash(strings.Join(c.Lines, ", ")))
	line("age", whole(c.AgeDays)+" days; best before "+orDash(c.BestBy))
	line("declares", orDash(strings.Join(c.Declares, ", ")))
	var traced []string
	for _, a := range c.Allergens {
		text := a.Name + " (" + a.Lot + ", " + a.Band
		if !a.Declared {
			text += ", NOT DECLARED"
		}
		traced = append(traced, text+")")
	}
	line("traced", orDash(strings.Join(traced, ", ")))
	line("held", map[string]string{"in": "YES: it, or something in it, is on hold", "possible": "possibly: something that may be in it is on hold", "out": "no hold is recorded"}[c.Held])
	line("recalls", orDash(strings.Join(c.Recalls, ", ")))
	var sent []string
	for _, s := range c.Shipped {
		text := s.Consignee + " " + s.Quantity.String()
		if !s.Possible.None() {
			text += " and possibly " + s.Possible.String()
		}
		if len(s.Parts) > 0 {
			text += " (the code stands on part of " + strings.Join(s.Parts, ", of ") + ")"
		}
		sent = append(sent, text+" from "+s.First)
	}
	line("shipped", orDash(strings.Join(sent, ", ")))
	line("place", c.Place)
	line("lots", whole(len(c.Lots))+" behind it: heeltap trace back lists them")
	for _, f := range c.Findings[:min(5, len(c.Findings))] {
		line("finding", f)
	}
}

func (e *env) inquiriesCommand() *cobra.Command {
	return e.asks(&cobra.Command{
		Use: "inquiries", Short: "List the inquiries noted down", Args: cobra.NoArgs, Example: "  heeltap inquiries",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.question(cmd.Context(), func(tx *store.Tx) error {
				all, err := inquiry.All(tx)
				if err != nil {
					return err
				}
				if e.json {
					return e.writeJSON(all)
				}
				t := &table{head: []string{"#entry", "when", "by", "read", "caller", "place", "note", "candidates"}}
				for _, n := range all {
					t.add(whole(n.Entry), stampOf(n.At, tx.Site().Zone), n.By, n.Question.Read, n.Question.Caller, n.Question.Place, n.Question.Note, strings.Join(n.Candidates, ", "))
				}
				e.print(t)
				if len(all) == 0 {
					e.printf("No inquiry yet.\n")
				}
				return nil
			})
		},
	})
}
