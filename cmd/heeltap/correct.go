package main

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) amendCommand() *cobra.Command {
	var c desk.Change
	try := false
	cmd := &cobra.Command{
		Use:   "amend CODE|REF|ENTRY COLUMN=VALUE…",
		Short: "Correct a recorded row",
		Long: `Correct a recorded row. Name it by its code, its ref or its entry number (heeltap show and
heeltap journal list them). An empty VALUE clears a cell. Some cells are the same in every row
of a code, such as the times of a split brew or a shipment's consignee: name the code, and all
its rows are corrected. The journal keeps both readings, and --known-at still shows what was
known before.`,
		Example: `  heeltap amend L26-0142 supplier_lot="WH 24/171" --reason "misread, photo of the bag" --by Ines
  heeltap amend 812 at="2026-04-02 14:00" --reason "cellar sheet found" --by Ines`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			set := map[string]string{}
			for _, a := range args[1:] {
				column, value, ok := strings.Cut(a, "=")
				if !ok {
					return lots.Errorf(lots.Invalid, "%q is not COLUMN=VALUE", a)
				}
				set[strings.ReplaceAll(strings.TrimSpace(column), "-", "_")] = strings.TrimSpace(value)
			}
			c.Name = args[0]
			return e.correct(cmd, &c, try, "correct", func(tx *store.Tx) (*desk.Corrected, error) { return desk.Amend(tx, c, set) })
		},
	}
	e.corrects(cmd, &c.Reason, &c.By, &try)
	overrides(cmd, &c.Override)
	return cmd
}

func (e *env) voidCommand() *cobra.Command {
	var c desk.Change
	try := false
	cmd := &cobra.Command{
		Use:   "void CODE|REF|ENTRY|FIRST..LAST",
		Short: "Void a recorded row, or undo a correction",
		Long: `Void a recorded row. It stays in the journal but no longer counts. To undo a correction, void its entry
number. FIRST..LAST voids all rows of these entries together, such as one import.`,
		Example: `  heeltap void T26-0044 --reason "entered twice" --by Ines
  heeltap void 812 --reason "wrong tank" --by Ines
  heeltap void 812..931 --reason "imported the wrong file" --by Ines`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			c.Name = args[0]
			return e.correct(cmd, &c, try, "void", func(tx *store.Tx) (*desk.Corrected, error) { return desk.Void(tx, c) })
		},
	}
	e.corrects(cmd, &c.Reason, &c.By, &try)
	overrides(cmd, &c.Override)
	return cmd
}

func overrides(cmd *cobra.Command, override *string) {
	cmd.Flags().StringVar(override, "override", "", "record it even though it takes goods on hold, for this reason; the override goes on record")
}

func (e *env) corrects(cmd *cobra.Command, reason, by *string, try *bool) {
	cmd.Flags().StringVar(reason, "reason", "", "why (needed)")
	cmd.Flags().StringVar(by, "by", "", "who does it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "print what was recorded as JSON")
	tries(cmd, try)
	cmd.ValidArgsFunction = e.codesOf(nil)
}

// mostListed is how many corrected rows are listed one by one.
const mostListed = 20

// correct records a correction and prints what it changed.
func (e *env) correct(cmd *cobra.Command, change *desk.Change, try bool, done string, f func(*store.Tx) (*desk.Corrected, error)) error {
	by, err := e.who(change.By)
	if err != nil {
		return err
	}
	change.By = by
	var c *desk.Corrected
	if err := e.act(cmd.Context(), try, func(tx *store.Tx) (err error) { c, err = f(tx); return err }); err != nil {
		return err
	}
	for _, w := range c.Warnings {
		e.note("%s", w)
	}
	if e.json {
		c.Tried = try
		return e.writeJSON(c)
	}
	if len(c.Pairs) > mostListed {
		e.printf("%s %s together\n", map[bool]string{true: "Would " + done, false: map[string]string{"correct": "Corrected", "void": "Voided"}[done]}[try], counted(len(c.Pairs), "row"))
		e.onlyTried(try)
		return nil
	}
	for _, p := range c.Pairs {
		if try {
			e.printf("Would %s entry %d\n", done, p.Corrects)
		} else {
			e.printf("%s entry %d (entry %d)\n", map[string]string{"correct": "Corrected", "void": "Voided"}[done], p.Corrects, p.Entry)
		}
	}
	for _, x := range c.Changes {
		e.printf("  was: %s\n  now: %s\n", orVoid(x.Was), orVoid(x.Now))
	}
	e.onlyTried(try)
	return nil
}

func orVoid(text string) string {
	if text == "" {
		return "void"
	}
	return text
}

func (e *env) releaseCommand() *cobra.Command {
	var reason, by, at string
	try := false
	cmd := &cobra.Command{
		Use:   "release SUBJECT",
		Short: "Release what was put on hold",
		Long: `Release what was put on hold. This ends the hold and any other hold on it for the same reason.
What is on hold for another reason, or for a recall, stays on hold.`,
		Example: `  heeltap release L26-0142 --reason "supplier's analysis: not our pallets" --by Quint`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			var entries []int64
			var subject string
			err = e.act(cmd.Context(), try, func(tx *store.Tx) error {
				at, err := desk.Moment(tx, at)
				if err != nil {
					return err
				}
				if subject, err = desk.Subject(tx, args[0]); err != nil {
					return err
				}
				entries, err = recall.Release(tx, subject, at, reason, by)
				return err
			})
			if err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"subject": subject, "entries": entries, "tried": try})
			}
			did := "Released"
			if try {
				did = "Would release"
			}
			e.printf("%s %s (%s)\n", did, subject, counted(len(entries), "hold"))
			e.onlyTried(try)
			return nil
		},
	}
	e.corrects(cmd, &reason, &by, &try)
	cmd.Flags().StringVar(&at, "at", "", "when (else now)")
	return cmd
}

func stampOf(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04")
}
