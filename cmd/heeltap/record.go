package main

import (
	"cmp"
	"context"
	"strings"

	"github.com/spf13/cobra"

	"heeltap/graph/desk"
	"heeltap/lots"
	"heeltap/lots/store"
)

func dashed(name string) string { return strings.ReplaceAll(name, "_", "-") }

// recordCommand records one row of a sheet.
func (e *env) recordCommand(s *lots.Sheet) *cobra.Command {
	first := s.Columns[0]
	by, override, reason, scan, told, try := "", "", "", "", "", false
	cells := map[string]*string{}
	cmd := &cobra.Command{
		Use:     s.Verb + " [" + strings.ToUpper(first.Name) + "]",
		Short:   verbs[s.Name].short,
		Long:    verbs[s.Name].long,
		Example: verbs[s.Name].example,
		Args:    namedIn(first),
	}
	for _, c := range s.Columns {
		if c.Name == "by" {
			continue
		}
		help := c.Help
		if c.Need && !desk.DefaultsToNow(s, c.Name) && c.Type != lots.NewCode {
			help += " (needed)"
		}
		if len(c.Values) > 0 {
			help += ": " + strings.Join(c.Values, " ")
		}
		cells[c.Name] = cmd.Flags().String(dashed(c.Name), "", help)
		if c.Name == "perhaps" {
			cmd.Flags().Lookup(c.Name).NoOptDefVal = "yes"
		}
		e.completes(cmd, c)
	}
	cmd.Flags().StringVar(&by, "by", "", "who did it or reports it (else HEELTAP_BY)")
	cmd.Flags().BoolVar(&e.json, "json", false, "print what was recorded as JSON")
	if s.When != "" {
		overrides(cmd, &override)
	}
	if s.Has("status") {
		cmd.Flags().StringVar(&reason, "reason", "", "with --status hold: what the lot is waiting for; becomes the reason of the hold")
	}
	if s.Name == "receipts" {
		cmd.Flags().StringVar(&scan, "scan", "", "the GS1 bar code on the goods, as the scanner sends it or as printed in brackets: fills in what it says")
		cmd.Flags().StringVar(&told, "expected", "", "the number of the delivery that its supplier told of (heeltap expected): fills in what was told, compares what came, and closes it")
	}
	tries(cmd, &try)
	cmd.ValidArgsFunction = e.codesOf(first.Kinds)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		row := lots.Row{}
		for name, v := range cells {
			if t := strings.TrimSpace(*v); t != "" {
				row[name] = t
			}
		}
		if named := strings.TrimSpace(strings.Join(args, ";")); named != "" {
			if row[first.Name] != "" && row[first.Name] != named {
				return lots.Errorf(lots.Invalid, "%s is given twice: %s and %s", first.Name, named, row[first.Name])
			}
			row[first.Name] = named
		}
		if s.Name == "site" && len(row) == 0 {
			return e.showSite(cmd)
		}
		return e.record(cmd, desk.Act{Sheet: s, Row: row, By: by, Override: override, Reason: reason, Scan: scan, Expected: told}, try)
	}
	return cmd
}

// namedIn says how many codes may stand behind a verb: one, or a list of them.
func namedIn(first lots.Column) cobra.PositionalArgs {
	if first.Type == lots.ListOf {
		return cobra.ArbitraryArgs
	}
	return cobra.MaximumNArgs(1)
}

// who names the person behind an entry: as given, else whoever is logged in.
func (e *env) who(by string) (string, error) {
	by = cmp.Or(strings.TrimSpace(by), e.getenv("HEELTAP_BY"), e.getenv("USER"), e.getenv("USERNAME"))
	if by == "" {
		return "", lots.Errorf(lots.Invalid, "say who you are: --by NAME, or set HEELTAP_BY")
	}
	return by, nil
}

// tries adds --try to a verb that records something: it then only says what it would record.
func tries(cmd *cobra.Command, try *bool) {
	cmd.Flags().BoolVar(try, "try", false, "only show what would be recorded and any doubts about it; record nothing")
}

// act runs f and keeps what it records, or only tries it.
func (e *env) act(ctx context.Context, try bool, f func(*store.Tx) error) (err error) {
	if !try {
		return e.update(ctx, f)
	}
	db, err := e.open(ctx)
	if err != nil {
		return err
	}
	defer func() { err = cmp.Or(err, db.Close()) }()
	return desk.Try(ctx, db, e.telling(f))
}

// onlyTried ends a trial by saying that nothing was recorded.
func (e *env) onlyTried(try bool) {
	if try {
		e.printf("Nothing was recorded: leave out --try to record it.\n")
	}
}

// record enters one row, then prints what was recorded and anything worth knowing about it.
func (e *env) record(cmd *cobra.Command, a desk.Act, try bool) error {
	by, err := e.who(a.By)
	if err != nil {
		return err
	}
	a.By = by
	var said *desk.Said
	if err := e.act(cmd.Context(), try, func(tx *store.Tx) (err error) { said, err = desk.Record(tx, a); return err }); err != nil {
		return err
	}
	for _, text := range append(said.Warnings, said.Findings...) {
		e.note("%s", text)
	}
	if e.json {
		said.Tried = try
		return e.writeJSON(said)
	}
	if try {
		e.printf("Would record: %s\n", said.Text)
	} else {
		e.printf("%s (entry %d)\n", said.Text, said.Entry)
	}
	for _, text := range said.Also {
		e.printf("%s\n", text)
	}
	e.onlyTried(try)
	return nil
}
