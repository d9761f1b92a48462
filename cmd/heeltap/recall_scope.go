package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph"
	"heeltap/graph/recall"
	"heeltap/graph/recall/papers"
	"heeltap/graph/trace"
	"heeltap/lots"
	"heeltap/lots/store"
)

// scopeAnswer is a scope as JSON: the trace, and what recall adds to it.
type scopeAnswer struct {
	Recall    recallSummary     `json:"recall"`
	Head      int64             `json:"as_known_with_entry"`
	Decisions []recall.Decision `json:"decisions"`
	InHouse   []recall.Stock    `json:"in_house"`
	Declared  []string          `json:"declared"` // units whose product declares the allergen
	Kept      []recall.Item     `json:"kept"`     // wait for a signature
	Left      bool              `json:"left"`     // something has left the brewery's control
	Served    []recall.Served   `json:"served"`   // drawn or sold in the taproom
	LeftOut   []recall.LeftOut  `json:"left_out"` // shipments of affected units that carried nothing affected
	Lost      []recall.Lost     `json:"lost"`     // suspects and decisions that mean nothing now
	If        []recall.Change   `json:"if"`       // what other decisions would change
	Trace     *trace.Answer     `json:"trace"`
}

func scopeCommand(e *env) *cobra.Command {
	var ifs []string
	var all bool
	cmd := e.ask(&cobra.Command{
		Use: "scope", Short: "Show what is affected: first what is in the house, then what has left", Args: cobra.NoArgs,
		Long: `Show what is affected by the records as they stand and the lead's decisions. --if shows what a
wider or narrower decision would change without taking it: +CODE includes, -CODE excludes, ?CODE suspects
besides, hazard=KIND judges anew.`,
		Example: `  heeltap recall scope
  heeltap recall scope --if -R26-0031 --if hazard=spoiler
  heeltap recall scope --known-at "2026-07-01 09:00"`,
	}, func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
		s, err := now.Scope(tx)
		if err != nil {
			return err
		}
		var changes []recall.Change
		if len(ifs) > 0 {
			other, err := parseIf(ifs)
			if err != nil {
				return err
			}
			would, err := now.ScopeIf(tx, other)
			if err != nil {
				return err
			}
			changes = recall.Compare(s, would)
		}
		return r.showScope(tx, now, s, changes, len(ifs) > 0, all)
	})
	cmd.Flags().StringArrayVar(&ifs, "if", nil, "what if: +CODE, -CODE, ?CODE or hazard=KIND (repeatable)")
	cmd.Flags().BoolVar(&all, "all", false, "list every row, with the chain behind it")
	return cmd
}

func parseIf(ifs []string) (recall.If, error) {
	var c recall.If
	for _, text := range ifs {
		switch {
		case strings.HasPrefix(text, "+") && len(text) > 1:
			c.Include = append(c.Include, text[1:])
		case strings.HasPrefix(text, "-") && len(text) > 1:
			c.Exclude = append(c.Exclude, text[1:])
		case strings.HasPrefix(text, "?") && len(text) > 1:
			c.Suspects = append(c.Suspects, text[1:])
		case strings.HasPrefix(text, "hazard="):
			h, err := graph.ParseHazard(strings.TrimPrefix(text, "hazard="))
			if err != nil {
				return c, lots.Errorf(lots.Invalid, "--if: %w", err)
			}
			c.Hazard = h
		default:
			return c, lots.Errorf(lots.Invalid, "--if %q: write +CODE to include, -CODE to exclude, ?CODE to suspect besides, or hazard=KIND", text)
		}
	}
	return c, nil
}

func (r *inRecall) showScope(tx *store.Tx, now *recall.Recall, s *recall.Scope, changes []recall.Change, what, all bool) error {
	stock, err := s.InHouse(tx)
	if err != nil {
		return err
	}
	head, err := tx.Head()
	if err != nil {
		return err
	}
	if r.json {
		return r.writeJSON(scopeAnswer{Recall: summarize(tx, now), Head: head, Decisions: orEmpty(now.Decisions), InHouse: orEmpty(stock), Declared: orEmpty(s.Declared),
			Kept: orEmpty(s.Kept), Left: s.HasLeft(tx), Served: s.Served(tx), LeftOut: orEmpty(s.LeftOut), Lost: orEmpty(s.Lost), If: orEmpty(changes), Trace: s.Answer})
	}
	if what {
		r.printf("%s\n", r.strong("If it were so, against the scope that stands"))
		r.printChanges(tx, now, changes)
		return nil
	}
	r.printf("%s (%s), hazard %s: %s\nAs known with entry %d.\n\n%s\n", now.Code, now.Kind(), now.Hazard, now.Reason, head, cautionText())
	for _, l := range s.Lost {
		r.printf("\n%s\n", r.strong(fmt.Sprintf("NOT TRACED: %s %s: %s", l.What, l.Code, l.Why)))
	}
	r.showStock("In the house: "+counted(len(stock), "thing")+" to stop", stock)
	r.printf("\n%s\n", r.strong("What is affected"))
	r.showTotals(s.Answer)
	r.showEither(s.Answer)
	shown := *s.Answer
	shown.Shipments = s.Shipments()
	r.showConsignees(&shown)
	r.showLeft(tx, s)
	r.showUnits(s.Answer, all)
	r.showLots(s.Answer, all)
	r.showInside(tx.Site(), s.Answer, all)
	r.showDecisions(now, s)
	if !s.HasLeft(tx) {
		r.printf("\nNothing has left the brewery's control: where no part of a lot was released, that is a stock recovery, not a recall (21 CFR 7.3(k)).\n")
	}
	for _, f := range s.Answer.Findings {
		r.printf("  finding: %s: %s\n", f.Code, f.Text)
	}
	return nil
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

func (r *inRecall) showStock(title string, stock []recall.Stock) {
	t := &table{head: []string{"in the house", "code", "band", "what", "#by the books", "#counted", "place", "held"}}
	for _, x := range stock {
		quantity := number(x.Quantity) + " " + x.Unit
		if x.Unit == "case" || x.Unit == "keg" {
			quantity = number(x.Quantity) + " " + x.Unit + map[bool]string{true: "s"}[x.Quantity != 1]
		}
		if !x.Sure {
			quantity = "at most " + quantity
		}
		held := ""
		switch {
		case x.HeldHere:
			held = "held"
		case x.Held:
			held = "held, not by this recall"
		}
		counted := "-"
		if x.Counted != nil {
			counted = number(*x.Counted)
		}
		t.add(x.Kind, x.Code, x.Band, x.What, quantity, counted, orDash(x.Place), held)
	}
	r.printf("\n%s\n", r.strong(title))
	r.printMost(t, false)
}

// showLeft tells of what was served here, and of shipments that carried nothing affected.
func (r *inRecall) showLeft(tx *store.Tx, s *recall.Scope) {
	t := &table{head: []string{"served here", "code", "#quantity", "when", ""}}
	for _, x := range s.Served(tx) {
		t.add(x.Kind, x.Code, number(x.Quantity)+" "+x.Unit, minute(x.At), map[bool]string{true: "may be"}[x.MayBe])
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Drawn or sold in the taproom: it reached the public"))
		r.printMost(t, false)
	}
	r.showLeftOut(s)
}

// showLeftOut says why shipments of affected units are not called back.
func (r *inRecall) showLeftOut(s *recall.Scope) {
	for i, x := range s.LeftOut {
		if i == 0 {
			r.printf("\n%s\n", r.strong("Left out: shipped before anything affected stood on the unit, which was topped up later"))
		}
		r.printf("  %s: %d of %s to %s, %s; the first affected case at %s\n", x.Shipment, x.Quantity, x.Unit, x.Consignee, minute(x.ShippedAt), minute(x.ToppedUp))
	}
}

func (r *inRecall) showDecisions(now *recall.Recall, s *recall.Scope) {
	t := &table{head: []string{"decision", "on", "because", "by"}}
	for _, d := range now.Decisions {
		t.add(d.Choice, d.Code, d.Reason, d.By)
	}
	if len(t.rows) > 0 {
		r.printf("\n%s\n", r.strong("Decisions"))
		r.print(t)
	}
	if len(s.Kept) > 0 {
		r.printf("\nTaken out by a correction and kept until the lead signs for it (heeltap recall sign-off CODE… --reason TEXT, or --all):\n")
		for _, i := range s.Kept {
			r.printf("  %s %s\n", i.Kind, i.Code)
		}
	}
	if len(s.Declared) > 0 {
		r.printf("\nThe product of %s declares the allergen; proposed for exclusion:\n  heeltap recall exclude %s --reason \"declared on the label\"\n", counted(len(s.Declared), "unit"), strings.Join(s.Declared, " "))
	}
}

// printChanges lists what changed, and the entries that changed it.
func (r *inRecall) printChanges(tx *store.Tx, now *recall.Recall, changes []recall.Change) {
	if len(changes) == 0 {
		r.printf("  nothing changes\n")
		return
	}
	t := &table{head: []string{"", "kind", "code", "now", "was", "because of"}}
	for _, c := range changes {
		stands := c.State()
		if c.Detail != "" {
			stands += " (" + c.Detail + ")"
		}
		if c.What == recall.Removed {
			stands = "-"
		}
		t.add(c.What, c.Kind, c.Code, stands, orDash(c.Was), r.entriesText(tx, now, c.Entries))
	}
	r.print(t)
}

// entriesText tells of journal entries: of a recall's own steps what was done, else kind and who.
func (r *inRecall) entriesText(tx *store.Tx, now *recall.Recall, entries []int64) string {
	steps := map[int64]recall.Logged{}
	for _, l := range now.Log {
		steps[l.Entry] = l
	}
	var out []string
	for _, n := range entries {
		x, ok, err := tx.Entry(n)
		if err != nil || !ok {
			continue
		}
		text := fmt.Sprintf("entry %d (%s by %s, recorded %s", n, x.Kind, x.By, stampOf(x.Recorded, tx.Site().Zone))
		if l, step := steps[n]; step {
			text = fmt.Sprintf("entry %d (%s by %s, recorded %s", n, strings.TrimSuffix(l.Text(), "."), x.By, stampOf(x.Recorded, tx.Site().Zone))
		}
		if x.At != nil {
			text += ", of " + x.At.Text(tx.Site().Zone)
		}
		out = append(out, text+")")
		if len(out) == 3 && len(entries) > 3 {
			out = append(out, fmt.Sprintf("and %d more", len(entries)-3))
			break
		}
	}
	return strings.Join(out, "; ")
}

// onDatabase makes a verb that needs the whole database and not one transaction.
func (e *env) onDatabase(cmd *cobra.Command, f func(ctx context.Context, db *store.DB, r *inRecall, code string) error) *cobra.Command {
	r := &inRecall{env: e}
	cmd.Flags().StringVar(&r.code, "recall", "", "which recall (else the one that is open)")
	cmd.Flags().StringVar(&r.by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.RunE = func(cmd *cobra.Command, _ []string) (err error) {
		ctx := cmd.Context()
		opened, err := e.open(ctx)
		if err != nil {
			return err
		}
		defer func() { err = cmp.Or(err, opened.Close()) }()
		db := opened
		if e.knownAt != "" {
			moment, err := e.moment(ctx, db)
			if err != nil {
				return err
			}
			then, err := db.AsKnown(ctx, moment)
			if err != nil {
				return err
			}
			defer then.Close()
			db = then
		}
		code := ""
		if err := db.View(ctx, func(tx *store.Tx) error {
			now, err := r.chosen(tx)
			if err != nil {
				return err
			}
			code = now.Code
			return nil
		}); err != nil {
			return err
		}
		return f(ctx, db, r, code)
	}
	return cmd
}

func freezeCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.onDatabase(&cobra.Command{Use: "freeze", Short: "Freeze the scope as the next numbered version", Args: cobra.NoArgs,
		Long:    "Freeze the scope as it stands, as known now. What later entries change makes the next version, and the difference names them.",
		Example: `  heeltap recall freeze --reason "first scope, before letters"`},
		func(ctx context.Context, db *store.DB, r *inRecall, code string) error {
			by, err := r.who(r.by)
			if err != nil {
				return err
			}
			after, err := recall.Freeze(ctx, db, code, reason, by)
			if err != nil {
				return err
			}
			return db.View(ctx, func(tx *store.Tx) error {
				r.saidStep(tx, after)
				last := after.Latest()
				if last.Version > 1 {
					r.printChanges(tx, after, last.Changes)
				}
				if parties := after.NewParties(last.Items); len(parties) > 0 {
					r.printf("To notify: %s\n", strings.Join(parties, ", "))
				}
				return r.toTellAgain(tx, after)
			})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why now")
	return cmd
}

// toTellAgain names who was told of less, or of more, than the scope has at them now.
func (r *inRecall) toTellAgain(tx *store.Tx, now *recall.Recall) error {
	s, err := now.Scope(tx)
	if err != nil {
		return err
	}
	consignees, err := s.Consignees(tx)
	for _, c := range consignees {
		if again, ok := now.TellAgain(s, c.Party); ok {
			r.printf("To tell again: %s: %s\n", c.Party, again.Text())
		}
	}
	return err
}

func changesCommand(e *env) *cobra.Command {
	var json bool
	var version int
	cmd := e.onDatabase(&cobra.Command{Use: "changes", Short: "Show what changed since the last frozen version, or between two versions, and which entries changed it", Args: cobra.NoArgs,
		Example: "  heeltap recall changes\n  heeltap recall changes --version 2"},
		func(ctx context.Context, db *store.DB, r *inRecall, code string) error {
			changes, err := []recall.Change(nil), error(nil)
			if version == 0 {
				changes, err = recall.Changes(ctx, db, code)
			}
			if err != nil {
				return err
			}
			return db.View(ctx, func(tx *store.Tx) error {
				now, err := recall.Load(tx, code)
				if err != nil {
					return err
				}
				if version > 0 {
					if version > len(now.Versions) {
						return lots.Errorf(lots.NotFound, "%s has %s", code, counted(len(now.Versions), "version"))
					}
					changes = now.Versions[version-1].Changes
				}
				if json {
					return r.writeJSON(orEmpty(changes))
				}
				if now.Latest() == nil {
					r.printf("No version is frozen yet: heeltap recall freeze\n")
					return nil
				}
				r.printChanges(tx, now, changes)
				return nil
			})
		})
	cmd.Flags().BoolVar(&json, "json", false, "answer as JSON")
	cmd.Flags().StringVar(&e.knownAt, "known-at", "", "answer from what had been entered by then")
	cmd.Flags().IntVar(&version, "version", 0, "what this version changed against the one before")
	return cmd
}

func signOffCommand(e *env) *cobra.Command {
	var reason string
	var all bool
	cmd := e.step(&cobra.Command{Use: "sign-off [CODE…]", Short: "Let what a correction took out of scope go, by signature",
		Long: "Let what a correction took out of scope go, by signature. The code of a vessel means what it held. A signature lapses when the thing is frozen in scope again.",
		Example: `  heeltap recall sign-off P26-0817 --reason "weigh sheet and photo show the other lot"
  heeltap recall sign-off --all --reason "weigh sheet and photo show the other lot"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			if all != (len(args) == 0) {
				return lots.Errorf(lots.Invalid, "name what is signed off, or give --all, not both")
			}
			s, err := now.SignOff(tx, args, reason)
			if err != nil {
				return err
			}
			return r.take(tx, now, s)
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	cmd.Flags().BoolVar(&all, "all", false, "everything that waits")
	return cmd
}

func holdAllCommand(e *env) *cobra.Command {
	return e.step(&cobra.Command{Use: "hold", Short: "Hold everything in scope that is in the house, in one step", Args: cobra.NoArgs,
		Example: "  heeltap recall hold"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			after, stock, err := now.HoldAll(tx, r.by)
			if err != nil {
				return err
			}
			r.saidStep(tx, after)
			title := "Stopped now: " + counted(len(stock), "thing")
			if now.Mock {
				title = "To be stopped, were it real: " + counted(len(stock), "thing")
			}
			r.showStock(title, stock)
			return nil
		})
}

func holdListCommand(e *env) *cobra.Command {
	var out string
	cmd := e.ask(&cobra.Command{Use: "holds", Short: "List what is held or to be held, with its place, to walk the house by", Args: cobra.NoArgs,
		Example: "  heeltap recall holds --out holds.pdf"},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, _ []string) error {
			s, err := now.Scope(tx)
			if err != nil {
				return err
			}
			stock, err := s.InHouse(tx)
			if err != nil {
				return err
			}
			switch {
			case out != "":
				return r.writePaper(tx, now, out, false, (*papers.Maker).HoldList)
			case r.json:
				return r.writeJSON(orEmpty(stock))
			}
			r.showStock("In the house: "+counted(len(stock), "thing")+" to stop", stock)
			return nil
		})
	cmd.Flags().StringVar(&out, "out", "", "write it as .pdf, .html or .txt")
	return cmd
}

func letGoCommand(e *env) *cobra.Command {
	var reason string
	var all bool
	cmd := e.step(&cobra.Command{Use: "release [CODE…]", Short: "Release some or all of what is held for the recall",
		Long:    "Release some or all of what is held for the recall. It ends the recall's own holds; holds of others, and of other recalls, stand, and are told of.",
		Example: `  heeltap recall release P26-0817 --reason "opened and inspected, sheet 4"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if len(args) == 0 && !all {
				return lots.Errorf(lots.Invalid, "name what to release, or --all")
			}
			released := args
			if len(args) == 0 {
				released = slices.Clone(now.Holds)
			}
			after, err := now.LetGo(tx, args, reason, r.by)
			if err != nil {
				return err
			}
			r.saidStep(tx, after)
			if now.Mock {
				return nil
			}
			still, err := now.StillStopped(tx, released)
			for _, text := range still {
				r.note("%s", text)
			}
			return err
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
	cmd.Flags().BoolVar(&all, "all", false, "everything held for the recall")
	return cmd
}

// day is the date part of a time in an answer.
func day(at string) string {
	if len(at) < len(time.DateOnly) {
		return orDash(at)
	}
	return at[:len(time.DateOnly)]
}
