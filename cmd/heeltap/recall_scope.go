package main

import (
	"context"
	"fmt"
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
		a := scopeAnswer{summarize(tx, now), head, now.Decisions, stock, s.Declared, s.Kept, s.HasLeft(tx), changes, s.Answer}
		if a.Decisions == nil {
			a.Decisions = []recall.Decision{}
		}
		a.Declared, a.Kept, a.If = orEmpty(a.Declared), orEmpty(a.Kept), orEmpty(a.If)
		if a.InHouse == nil {
			a.InHouse = []recall.Stock{}
		}
		return r.writeJSON(a)
	}
	if what {
		r.printf("%s\n", r.strong("If it were so, against the scope that stands"))
		r.printChanges(tx, changes)
		return nil
	}
	r.printf("%s (%s), hazard %s: %s\nAs known with entry %d.\n\n%s\n", now.Code, now.Kind(), now.Hazard, now.Reason, head, cautionText())
	r.showStock(stock)
	r.printf("\n%s\n", r.strong("What is affected"))
	r.showTotals(s.Answer)
	r.showConsignees(s.Answer)
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

func (r *inRecall) showStock(stock []recall.Stock) {
	t := &table{head: []string{"in the house", "code", "band", "what", "#by the books", "place", "held"}}
	for _, x := range stock {
		quantity := number(x.Quantity) + " " + x.Unit
		if !x.Sure {
			quantity = "at most " + quantity
		}
		held := ""
		if x.Held {
			held = "held"
		}
		t.add(x.Kind, x.Code, x.Band, x.What, quantity, orDash(x.Place), held)
	}
	r.printf("\n%s\n", r.strong("In the house: "+counted(len(stock), "thing")+" to stop"))
	r.printMost(t, false)
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
		r.printf("\nTaken out by a correction and kept until the lead signs for it (heeltap recall sign-off CODE… --reason TEXT):\n")
		for _, i := range s.Kept {
			r.printf("  %s %s\n", i.Kind, i.Code)
		}
	}
	if len(s.Declared) > 0 {
		r.printf("\nThe product of %s declares the allergen; proposed for exclusion:\n  heeltap recall exclude %s --reason \"declared on the label\"\n", counted(len(s.Declared), "unit"), strings.Join(s.Declared, " "))
	}
}

// printChanges lists what changed, and the entries that changed it.
func (r *inRecall) printChanges(tx *store.Tx, changes []recall.Change) {
	if len(changes) == 0 {
		r.printf("  nothing changes\n")
		return
	}
	t := &table{head: []string{"", "kind", "code", "now", "was", "because of"}}
	for _, c := range changes {
		now := c.Band
		if c.Affected > 0 {
			now += fmt.Sprintf(", %d affected", c.Affected)
		}
		if c.What == recall.Removed {
			now = "-"
		}
		t.add(c.What, c.Kind, c.Code, now, orDash(c.Was), r.entriesText(tx, c.Entries))
	}
	r.print(t)
}

func (r *inRecall) entriesText(tx *store.Tx, entries []int64) string {
	var out []string
	for _, n := range entries {
		x, ok, err := tx.Entry(n)
		if err != nil || !ok {
			continue
		}
		text := fmt.Sprintf("entry %d (%s by %s, recorded %s", n, x.Kind, x.By, stampOf(x.Recorded, tx.Site().Zone))
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
		db, err := e.open(ctx)
		if err != nil {
			return err
		}
		defer func() {
			if closing := db.Close(); err == nil {
				err = closing
			}
		}()
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
					r.printChanges(tx, last.Changes)
				}
				if parties := after.NewParties(last.Items); len(parties) > 0 {
					r.printf("To notify: %s\n", strings.Join(parties, ", "))
				}
				return nil
			})
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why now")
	return cmd
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
				r.printChanges(tx, changes)
				return nil
			})
		})
	cmd.Flags().BoolVar(&json, "json", false, "answer as JSON")
	cmd.Flags().IntVar(&version, "version", 0, "what this version changed against the one before")
	return cmd
}

func signOffCommand(e *env) *cobra.Command {
	var reason string
	cmd := e.step(&cobra.Command{Use: "sign-off CODE…", Short: "Let what a correction took out of scope go, by signature", Args: cobra.MinimumNArgs(1),
		Example: `  heeltap recall sign-off P26-0817 --reason "weigh sheet and photo show the other lot"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if err := needed(reason, "reason"); err != nil {
				return err
			}
			s, err := now.SignOff(tx, args, reason)
			if err != nil {
				return err
			}
			return r.take(tx, now, s)
		})
	cmd.Flags().StringVar(&reason, "reason", "", "why (needed)")
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
			r.showStock(stock)
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
			r.showStock(stock)
			return nil
		})
	cmd.Flags().StringVar(&out, "out", "", "write it as .pdf, .html or .txt")
	return cmd
}

func letGoCommand(e *env) *cobra.Command {
	var reason string
	var all bool
	cmd := e.step(&cobra.Command{Use: "release [CODE…]", Short: "Release some or all of what is held for the recall",
		Example: `  heeltap recall release P26-0817 --reason "opened and inspected, sheet 4"`},
		func(r *inRecall, tx *store.Tx, now *recall.Recall, args []string) error {
			if len(args) == 0 && !all {
				return lots.Errorf(lots.Invalid, "name what to release, or --all")
			}
			after, err := now.LetGo(tx, args, reason, r.by)
			if err != nil {
				return err
			}
			r.saidStep(tx, after)
			return nil
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
