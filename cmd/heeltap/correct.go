package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"heeltap/graph/recall"
	"heeltap/lots"
	"heeltap/lots/store"
)

func (e *env) amendCommand() *cobra.Command {
	var reason, by string
	cmd := &cobra.Command{
		Use:   "amend CODE|REF|ENTRY COLUMN=VALUE…",
		Short: "Correct a recorded row",
		Long: `Correct a recorded row. It is named by its code, by its ref, or by its entry number
(heeltap show and heeltap journal list them). An empty VALUE takes a cell away. The journal
keeps both readings, and every answer with --known-at shows what was known before.`,
		Example: `  heeltap amend L26-0142 supplier_lot="WH 24/171" --reason "misread, photo of the bag" --by Ines
  heeltap amend 812 at="2026-04-02 14:00" --reason "cellar sheet found" --by Ines`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			set := map[string]string{}
			for _, a := range args[1:] {
				column, value, ok := strings.Cut(a, "=")
				if !ok {
					return lots.Errorf(lots.Invalid, "%q is not COLUMN=VALUE", a)
				}
				set[strings.ReplaceAll(strings.TrimSpace(column), "-", "_")] = strings.TrimSpace(value)
			}
			return e.correct(cmd, args[0], "amended", func(tx *store.Tx, entry int64) (int64, error) {
				return tx.Amend(entry, set, reason, by)
			})
		},
	}
	e.corrects(cmd, &reason, &by)
	return cmd
}

func (e *env) voidCommand() *cobra.Command {
	var reason, by string
	cmd := &cobra.Command{
		Use:   "void CODE|REF|ENTRY",
		Short: "Take a recorded row, or a correction, back",
		Long:  "Take a recorded row back. It stays in the journal and counts no more. Voiding a correction, by its entry number, takes that back.",
		Example: `  heeltap void T26-0044 --reason "entered twice" --by Ines
  heeltap void 812 --reason "wrong tank" --by Ines`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			if err != nil {
				return err
			}
			return e.correct(cmd, args[0], "void", func(tx *store.Tx, entry int64) (int64, error) {
				return tx.Void(entry, reason, by)
			})
		},
	}
	e.corrects(cmd, &reason, &by)
	return cmd
}

func (e *env) corrects(cmd *cobra.Command, reason, by *string) {
	cmd.Flags().StringVar(reason, "reason", "", "why (needed)")
	cmd.Flags().StringVar(by, "by", "", "who says so (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "say what was recorded as JSON")
	cmd.ValidArgsFunction = e.codesOf(nil)
}

// correct finds the row meant and records a correction of it.
func (e *env) correct(cmd *cobra.Command, name, done string, f func(*store.Tx, int64) (int64, error)) error {
	var target, entry int64
	err := e.update(cmd.Context(), func(tx *store.Tx) (err error) {
		if target, err = entryOf(tx, name); err != nil {
			return err
		}
		entry, err = f(tx, target)
		return err
	})
	if err != nil {
		return err
	}
	if e.json {
		return e.writeJSON(map[string]int64{"entry": entry, "corrects": target})
	}
	e.printf("entry %d is %s (entry %d)\n", target, done, entry)
	return nil
}

// entryOf finds the one row that a code, a ref or an entry number names.
func entryOf(tx *store.Tx, name string) (int64, error) {
	rows, err := tx.RowsOf(name)
	if err != nil {
		return 0, err
	}
	switch len(rows) {
	case 1:
		return rows[0].Seq, nil
	case 0:
		if n, err := strconv.ParseInt(name, 10, 64); err == nil && n > 0 {
			return n, nil
		}
		near := tx.Nearest(name)
		if len(near) == 0 {
			return 0, lots.Errorf(lots.NotFound, "no row is called %q: give its code, its ref or its entry number", name)
		}
		return 0, lots.Errorf(lots.NotFound, "no row is called %q; near it are: %s", name, strings.Join(near, ", "))
	}
	list := make([]string, len(rows))
	for i, r := range rows {
		list[i] = fmt.Sprintf("%d (%s)", r.Seq, describe(r))
	}
	return 0, lots.Errorf(lots.Conflict, "%s stands in %d rows: give the entry number of one, %s", name, len(rows), strings.Join(list, ", "))
}

// describe says a row in a few words.
func describe(r lots.Entered) string {
	var parts []string
	for _, c := range r.Sheet.Columns {
		if v := r.Row[c.Name]; v != "" && c.Name != "by" && len(parts) < 6 {
			parts = append(parts, c.Name+"="+v)
		}
	}
	return r.Sheet.Noun + " " + strings.Join(parts, " ")
}

func (e *env) releaseCommand() *cobra.Command {
	var reason, by, at string
	cmd := &cobra.Command{
		Use:     "release SUBJECT",
		Short:   "Let go of what was stopped by a hold",
		Example: `  heeltap release L26-0142 --reason "supplier's analysis: not our pallets" --by Quint`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := e.who(by)
			switch {
			case err != nil:
				return err
			case strings.TrimSpace(reason) == "":
				return lots.Errorf(lots.Invalid, "a release needs a reason: --reason TEXT")
			}
			var entries []int64
			err = e.update(cmd.Context(), func(tx *store.Tx) error {
				var err error
				entries, err = recall.Release(tx, args[0], at, reason, by)
				return err
			})
			if err != nil {
				return err
			}
			if e.json {
				return e.writeJSON(map[string]any{"subject": args[0], "entries": entries})
			}
			e.printf("released %s (%s)\n", args[0], counted(len(entries), "hold"))
			return nil
		},
	}
	e.corrects(cmd, &reason, &by)
	cmd.Flags().StringVar(&at, "at", "", "when (else now)")
	return cmd
}

func stampOf(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04")
}
